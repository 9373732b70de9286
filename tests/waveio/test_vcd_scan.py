"""The reader of VCD finds what was written, however the file falls into blocks."""

import gzip
import io
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from padbench.core.levels import HIGH, LOW, UNKNOWN
from padbench.core.timeline import Timeline, Wire, Word
from padbench.waveio import Pick, VcdScan, WaveError, open_capture, read_wave, vcd_scan, write_wave

END = 10**13
# So many names that codes of one, two and three characters occur.
MANY = [f"many.w{n}" for n in range(9000)]

moments = st.one_of(st.integers(1, 20), st.integers(1, END))
wires = st.builds(
    lambda first, later: Wire.of([(0, first), *sorted(later)]),
    st.integers(0, 3),
    st.lists(st.tuples(moments, st.integers(0, 3)), max_size=12),
)
words = st.builds(
    lambda later: Word.of(4, [(0, None), *sorted(later)]),
    st.lists(st.tuples(moments, st.integers(0, 15)), max_size=12, unique_by=lambda pair: pair[0]),
)


def scanned(path: Path, block: int = 1 << 20, **picks: str) -> tuple[Timeline, list]:
    """All pieces joined; picks as ``role="name"`` or ``role="name[bit]"``."""
    kept = vcd_scan.BLOCK
    vcd_scan.BLOCK = block
    try:
        with open_capture(path) as scan:
            assert isinstance(scan, VcdScan)
            by_name = {variable.name: variable for variable in scan.variables}
            chosen = {}
            for role, name in picks.items():
                plain, _, bit = name.partition("#")
                chosen[role] = Pick(by_name[plain], int(bit or 0))
            pieces = list(scan.pieces(chosen))
    finally:
        vcd_scan.BLOCK = kept
    joined = {}
    for role in picks:
        parts = [piece.changes[role] for piece in pieces if role in piece.changes]
        times = np.concatenate([[0], *(t for t, _ in parts)])
        levels = np.concatenate([[UNKNOWN], *(v for _, v in parts)])
        joined[role] = Wire.from_arrays(times, levels)
    events = {
        role: np.concatenate([p.events[role] for p in pieces if role in p.events])
        for role in picks
        if any(role in piece.events for piece in pieces)
    }
    return Timeline(pieces[-1].end_ps, joined, events=events), pieces


@settings(deadline=None, max_examples=60)
@given(st.lists(wires, min_size=2, max_size=4), words, st.integers(1, 400))
def test_finds_what_was_written_however_it_falls_into_blocks(tmp_path_factory, drawn, word, block):
    path = tmp_path_factory.getbasetemp() / "scan.vcd"
    before = Timeline(
        END,
        {f"a.w{n}": wire for n, wire in enumerate(drawn)},
        {"b.word": word},
        {"b.tick": np.array([3, 9])},
    )
    write_wave(before, path)
    picks = {f"w{n}": f"a.w{n}" for n in range(len(drawn))}
    found, _ = scanned(path, block, **picks, tick="b.tick", bit="b.word#1")
    assert found.end_ps == END
    assert found.events["tick"].tolist() == [3, 9]
    for n in range(len(drawn)):
        assert found.wires[f"w{n}"] == drawn[n]
    of_word = [UNKNOWN if v is None else v >> 1 & 1 for v in word.values]
    assert found.wires["bit"] == Wire.from_arrays(word.times, of_word)


def test_codes_of_any_length(tmp_path):
    path = tmp_path / "many.vcd"
    wires_ = {name: Wire.of([(0, n % 2), (n + 1, 1 - n % 2)]) for n, name in enumerate(MANY)}
    write_wave(Timeline(10**5, wires_), path)
    for block in (1 << 20, 5000):
        found, _ = scanned(path, block, a=MANY[3], b=MANY[150], c=MANY[-1])
        assert [found.wires[role] for role in "abc"] == [wires_[MANY[n]] for n in (3, 150, -1)]


HEAD = (
    "$date today $end $timescale 10 ns $end $scope module top $end $var wire 1 b a $end "
    '$var wire 1 " c $end $var reg 4 # w [7:4] $end $var real 64 $ r $end '
    "$var wire 1 identifier_of_any_length d $end $upscope $end $enddefinitions $end\n"
)


def _file(tmp_path, body):
    path = tmp_path / "one.vcd"
    path.write_text(HEAD + body)
    return path


def _read(tmp_path, body, **picks):
    return scanned(_file(tmp_path, body), **picks)


def test_codes_that_look_like_values(tmp_path):
    body = '#1 b1 b 1" b0101 # 0b r1.5 $ #2 b0 b b1 b #3 b1 " 1b\n'
    found, _ = _read(tmp_path, body, a="top.a", c="top.c", w="top.w#2")
    assert found.wires["a"] == Wire.of([(0, 2), (10_000, LOW), (20_000, HIGH)])
    assert found.wires["c"] == Wire.of([(0, 2), (10_000, HIGH)])
    assert found.wires["w"] == Wire.of([(0, 2), (10_000, HIGH)])


def test_reals_are_volts(tmp_path):
    body = "#1 r0.2 $ 1b #2 R4.9e0 $ #3 r2.5 $ #4 r-1 $\n"
    for block in (1 << 20, 7):
        found, _ = scanned(_file(tmp_path, body), block, volts="top.r", a="top.a")
        assert found.wires["volts"] == Wire.of(
            [(0, 2), (10_000, LOW), (20_000, HIGH), (30_000, UNKNOWN), (40_000, LOW)]
        )
        assert found.wires["a"].levels.tolist() == [UNKNOWN, HIGH]
    with open_capture(_file(tmp_path, body)) as scan:
        (real,) = (v for v in scan.variables if v.kind == "real")
        pieces = list(scan.pieces({"supply": Pick(real, measured=True)}))
    assert [piece.volts for piece in pieces] == [{"supply": (-1, 4.9)}]


@pytest.mark.parametrize("value", ["rnan $", "rinf $", "r $", "rhigh $", "1$", "b1 $", "r1e999 $"])
def test_what_is_no_voltage(tmp_path, value):
    with pytest.raises(WaveError, match=r"line 3: .* is no (voltage|level)"):
        scanned(_file(tmp_path, f"#1\n{value}\n#2\n"), volts="top.r")


def test_short_vectors_are_extended_to_the_left(tmp_path):
    body = "#1 b1 # #2 bx # #3 bz1 # #4 bX0 #\n"
    found, _ = _read(tmp_path, body, top="top.w#3", low="top.w#0")
    assert found.wires["top"] == Wire.of(
        [(0, 2), (10_000, 0), (20_000, 2), (30_000, 3), (40_000, 2)]
    )
    assert found.wires["low"] == Wire.of(
        [(0, 2), (10_000, 1), (20_000, 2), (30_000, 1), (40_000, 0)]
    )


def test_comments_say_nothing(tmp_path):
    body = '#1 0b $comment 1b #9 q0 \x07 µ $dumpvars $end 1" #2 1b\n'
    found, _ = _read(tmp_path, body, a="top.a", c="top.c")
    assert found.wires["a"] == Wire.of([(0, 2), (10_000, LOW), (20_000, HIGH)])
    assert found.wires["c"] == Wire.of([(0, 2), (10_000, HIGH)])


def test_what_was_not_recorded_is_a_gap_and_no_edge(tmp_path):
    body = '#1 1b #2 $dumpoff xb x" $end #5 $dumpon 1b 0" $end #7 0b\n'
    found, pieces = _read(tmp_path, body, a="top.a")
    assert found.wires["a"] == Wire.of([(0, 2), (10_000, HIGH), (70_000, LOW)])
    assert [gap for piece in pieces for gap in piece.gaps] == [(20_000, 50_000)]


def test_a_gap_may_last_to_the_end(tmp_path):
    _, pieces = _read(tmp_path, "#1 1b #2 $dumpoff xb $end #9\n", a="top.a")
    assert pieces[-1].gaps == ((20_000, 90_000),)


def test_long_codes(tmp_path):
    found, _ = _read(tmp_path, "#1 1identifier_of_any_length\n", d="top.d")
    assert found.wires["d"] == Wire.of([(0, 2), (10_000, HIGH)])


@pytest.mark.parametrize("digits", range(1, 18))
def test_times_of_any_length(tmp_path, digits):
    path = tmp_path / "time.vcd"
    ticks = sorted({10 ** (digits - 1) + n for n in range(3)} | {10**digits - 2, 10**digits - 1})
    head = HEAD.replace("10 ns", "1 ps")
    path.write_text(head + "".join(f"#{t} {n % 2}b\n" for n, t in enumerate(ticks)))
    found, _ = scanned(path, a="top.a")
    assert found.wires["a"].times.tolist()[-len(ticks) :] == ticks


def test_gzip_and_windows_line_ends(tmp_path):
    path = tmp_path / "packed"
    path.write_bytes(gzip.compress((HEAD + "#1 1b\n#2 0b\n").replace("\n", "\r\n").encode()))
    found, _ = scanned(path, a="top.a")
    assert found.wires["a"] == Wire.of([(0, 2), (10_000, HIGH), (20_000, LOW)])


@pytest.mark.parametrize(
    ("rest", "kept"),
    [
        ("#3", 30_000),
        ("#3 1", 30_000),
        ("#3 b10", 30_000),
        ("#3 b10 ", 30_000),
        ("#3 $comment and", 30_000),
        ("#3 $dumpall 1b", 30_000),
        ("#1", 20_000),
        ("#", 20_000),
        ("#3 1?", 30_000),
    ],
)
def test_a_file_that_breaks_off_gives_what_stood_before(tmp_path, rest, kept):
    found, pieces = _read(tmp_path, "#1 1b\n#2 0b\n" + rest, a="top.a")
    assert found.wires["a"].times[:3].tolist() == [0, 10_000, 20_000]
    assert pieces[-1].broken_off == "line 4"
    assert pieces[-1].end_ps == kept


def test_a_whole_file_does_not_break_off(tmp_path):
    _, pieces = _read(tmp_path, "#1 1b\n#2 0b\n", a="top.a")
    assert pieces[-1].broken_off is None


def test_a_bigger_file_is_checked_to_its_last_line(tmp_path):
    path = tmp_path / "late.vcd"
    body = "".join(f"#{n}\n{n % 2}b\n" for n in range(200_000))
    path.write_text(HEAD + body + "1?\n#200001\n")
    with pytest.raises(WaveError, match=r"late\.vcd: line 400002: code \? is not declared"):
        scanned(path, a="top.a")


@pytest.mark.parametrize(
    ("scale", "ticks", "ps"),
    [
        ("1 fs", [0, 499, 500, 1499, 1500, 2500], [0, 0, 1, 1, 2, 3]),
        ("10 fs", [49, 50, 149, 150], [0, 1, 1, 2]),
        ("100 fs", [4, 5, 14, 15, 10**9 + 5], [0, 1, 1, 2, 10**8 + 1]),
    ],
)
def test_times_finer_than_a_picosecond_are_rounded_halves_up(tmp_path, scale, ticks, ps):
    path = tmp_path / "fine.vcd"
    body = "".join(f"#{tick}\n{n % 2}b\n" for n, tick in enumerate(ticks))
    path.write_text(HEAD.replace("10 ns", scale) + body)
    with open_capture(path) as scan:
        (a,) = (v for v in scan.variables if v.name == "top.a")
        (piece,) = scan.pieces({"a": Pick(a)})
    times, levels = piece.changes["a"]
    assert times.tolist() == ps
    # What falls together keeps the order of the file, so that the last of it stands.
    assert levels.tolist() == [n % 2 for n in range(len(ticks))]


def test_a_wave_is_read_from_any_writer_packed_or_open(tmp_path):
    text = HEAD + "#1 1b b01x0 # #2 0b b0110 # #3\n"
    plain = Timeline(
        30_000,
        {
            "top.a": Wire.of([(0, UNKNOWN), (10_000, HIGH), (20_000, LOW)]),
            "top.c": Wire.of([(0, UNKNOWN)]),
            "top.d": Wire.of([(0, UNKNOWN)]),
        },
        {"top.w[7:4]": Word.of(4, [(0, None), (20_000, 6)])},
    )
    (tmp_path / "plain.vcd").write_text(text)
    (tmp_path / "packed").write_bytes(gzip.compress(text.encode()))
    assert read_wave(tmp_path / "plain.vcd") == plain
    assert read_wave(str(tmp_path / "packed")) == plain
    assert read_wave(io.BytesIO(text.encode())) == plain
    assert read_wave(io.StringIO(text)) == plain
    with (tmp_path / "plain.vcd").open() as file:
        assert read_wave(file) == plain
        assert not file.closed


def test_what_is_written_while_dumping_is_off_counts_in_a_whole_wave(tmp_path):
    path = _file(tmp_path, "#1 1b #2 $dumpoff xb $end #5 $dumpon 1b $end #7\n")
    assert read_wave(path).wires["top.a"] == Wire.of(
        [(0, UNKNOWN), (10_000, HIGH), (20_000, UNKNOWN), (50_000, HIGH)]
    )


@pytest.mark.parametrize("block", [4, 7, 1 << 20])
def test_reals_hold_until_they_change(tmp_path, block):
    """Each change is two points at one time, however the file falls into blocks."""
    path = tmp_path / "reals.vcd"
    head = "$timescale 1 ns $end $var real 64 $ r $end $enddefinitions $end\n"
    path.write_text(f"{head}#0\nr0.5 $\n#10\nr2 $\n#1000\nr4.25 $\nr5 $\n#2000\n")
    _, pieces = scanned(path, block, clock="r")
    parts = [piece.analogue["clock"] for piece in pieces if "clock" in piece.analogue]
    seconds, volts = (np.concatenate(some) for some in zip(*parts, strict=True))
    assert seconds * 1e9 == pytest.approx([0, 0, 10, 10, 1000, 1000, 1000, 1000])
    assert volts.tolist() == [0.5, 0.5, 0.5, 2, 2, 4.25, 4.25, 5]
