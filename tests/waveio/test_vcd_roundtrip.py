"""What is written comes back, and files of other writers are understood."""

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from padbench import __version__
from padbench.core.levels import FLOATING, HIGH, LOW, UNKNOWN
from padbench.core.timeline import Timeline, Wire, Word
from padbench.waveio import read_wave, write_wave

NAMES = (
    *("contacts.A", "contacts.Select", "pad.stages", "pad.clock", "cable.data", "console.sample"),
    *("tb.pad.clock", "tb.latch", "alone", "pad.D[3]", "pad.D[7:0]", "odd.a-b", "a+b.$end"),
)
END = 10**13

moments = st.one_of(st.integers(1, 20), st.integers(1, END))
wires = st.builds(
    lambda first, later: Wire.of([(0, first), *sorted(later)]),
    st.integers(0, 3),
    st.lists(st.tuples(moments, st.integers(0, 3)), max_size=8),
)
times = st.lists(st.one_of(st.just(0), moments), max_size=8).map(sorted)
events = times.map(lambda when: np.unique(np.asarray(when, np.int64)))
texts = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), max_size=6)
notes = st.lists(st.tuples(st.one_of(st.just(0), moments), texts), max_size=5).map(
    lambda pairs: tuple(sorted(pairs, key=lambda pair: pair[0]))
)


@st.composite
def words(draw: st.DrawFn) -> Word:
    width = draw(st.integers(1, 70))
    values = st.one_of(st.none(), st.integers(0, (1 << width) - 1))
    later = draw(st.lists(st.tuples(moments, values), max_size=8))
    return Word.of(width, [(0, draw(values)), *sorted(later, key=lambda pair: pair[0])])


@st.composite
def timelines(draw: st.DrawFn) -> Timeline:
    names = draw(st.permutations(NAMES))
    a, b, c = sorted(draw(st.tuples(*[st.integers(0, len(NAMES))] * 3)))
    return Timeline(
        END,
        {name: draw(wires) for name in names[:a]},
        {name: draw(words()) for name in names[a:b]},
        {name: draw(events) for name in names[b:c]},
        draw(notes),
    )


@settings(max_examples=40)
@given(timelines())
def test_comes_back_as_it_was(tmp_path_factory: pytest.TempPathFactory, before: Timeline) -> None:
    path = tmp_path_factory.getbasetemp() / "round.vcd"
    write_wave(before, path)
    written = path.read_bytes()
    after = read_wave(path)
    assert after == before
    write_wave(after, path)
    assert path.read_bytes() == written


def _round(before: Timeline, folder: Path, comment: str = "") -> tuple[Timeline, str]:
    path = folder / "waves.vcd"
    write_wave(before, path, comment=comment)
    return read_wave(path), path.read_text()


def _read(text: str, folder: Path) -> Timeline:
    path = folder / "waves.vcd"
    path.write_text(text)
    return read_wave(path)


def test_the_file_itself(tmp_path: Path) -> None:
    before = Timeline(
        900,
        {
            "console.latch": Wire.of([(0, LOW), (500, HIGH)]),
            "cable.data": Wire.of([(0, FLOATING), (500, UNKNOWN)]),
            "contacts.A": Wire.of([(0, HIGH)]),
            "bench.clock": Wire.of([(0, LOW)]),
        },
        {"pad.stages": Word.of(8, [(0, None), (500, 5)]), "pad.one": Word.of(1, [(0, 1)])},
        {"console.sample": np.array([0, 700, 700])},
        ((500, "Hi"),),
    )
    assert _round(before, tmp_path, "scenario idle")[1].splitlines() == [
        "$comment scenario idle $end",
        "$timescale 1 ps $end",
        f"$version padbench {__version__} $end",
        "$scope module contacts $end",
        "$var wire 1 ! A $end",
        "$upscope $end",
        "$scope module pad $end",
        '$var reg 8 " stages[7:0] $end',
        "$var reg 1 # one[0:0] $end",
        "$upscope $end",
        "$scope module cable $end",
        "$var wire 1 $ data $end",
        "$upscope $end",
        "$scope module console $end",
        "$var wire 1 % latch $end",
        "$var event 1 & sample $end",
        "$var reg 16 ' note[15:0] $end",
        "$upscope $end",
        "$scope module bench $end",
        "$var wire 1 ( clock $end",
        "$upscope $end",
        "$enddefinitions $end",
        *("#0", "$dumpvars", "1!", 'bx "', "1#", "z$", "0%", "bx '", "0(", "$end", "1&"),
        *("#500", 'b101 "', "x$", "1%", "b100100001101001 '"),
        *("#700", "1&"),
        "#900",
    ]


def test_equal_notes_stay_apart(tmp_path: Path) -> None:
    said = ((0, ""), (0, ""), (3, "A"), (3, "A"), (3, "µs"), (9, "µs"), (9, " s"))
    assert _round(Timeline(9, notes=said), tmp_path)[0].notes == said


def test_a_note_takes_no_more_than_it_needs(tmp_path: Path) -> None:
    assert "reg 8 ! note[7:0]" in _round(Timeline(0, notes=((0, "A"),)), tmp_path)[1]
    assert "reg 8 ! note[7:0]" in _round(Timeline(0, notes=((0, ""),)), tmp_path)[1]
    assert "reg 16 ! note[15:0]" in _round(Timeline(0, notes=((0, "µ"), (0, "A"))), tmp_path)[1]


def test_forms_that_come_back_plainer(tmp_path: Path) -> None:
    before = Timeline(
        90,
        {"a.late": Wire.of([(5, HIGH)]), "a.never": Wire.of([(5, UNKNOWN)])},
        {"a.word": Word.of(4, [(5, 3)]), "a.empty": Word(4, (), ())},
        {"a.twice": np.array([7, 7])},
        ((8, "later"), (6, "\0sooner")),
    )
    assert _round(before, tmp_path)[0] == Timeline(
        90,
        {"a.late": Wire.of([(0, UNKNOWN), (5, HIGH)]), "a.never": Wire.of([(0, UNKNOWN)])},
        {"a.word": Word.of(4, [(0, None), (5, 3)]), "a.empty": Word.of(4, [(0, None)])},
        {"a.twice": np.array([7])},
        ((6, "sooner"), (8, "later")),
    )


def test_nothing_at_all(tmp_path: Path) -> None:
    assert _round(Timeline(0), tmp_path)[0] == Timeline(0)
    assert _round(Timeline(5), tmp_path)[0] == Timeline(5)


@pytest.mark.parametrize(
    "comment",
    [
        "a $end $var wire 1 ! fake $end",
        "$e\0nd #5",
        "$$endend",
        "one\r\n#7\n1!\n$end",
        "47 kΩ",
        " ",
    ],
)
def test_a_comment_stays_one(tmp_path: Path, comment: str) -> None:
    before = Timeline(5, {"a.b": Wire.of([(0, LOW)])})
    assert _round(before, tmp_path, comment)[0] == before
    header = (tmp_path / "waves.vcd").read_bytes().decode("ascii").partition("$timescale")[0]
    assert header.replace("\n", "").replace("\t", "").isprintable()
    assert header.count("$") == header.count("$ ") + bool(header) * 2 + header.count("$$")


@pytest.mark.parametrize(
    ("timeline", "says"),
    [
        (Timeline(5, {"a.b": Wire.of([(-1, LOW)])}), "changes at -1 ps"),
        (Timeline(5, {"a.b": Wire.of([(0, LOW), (6, HIGH)])}), "after the end at 5 ps"),
        (Timeline(5, notes=((6, "late"),)), "after the end at 5 ps"),
        (Timeline(-5), "ends at -5 ps"),
        (Timeline(5, {"a.b": Wire.of([(0, LOW)])}, {"a.b": Word.of(2, [(0, 1)])}), "two things"),
        (Timeline(5, {"a. b": Wire.of([(0, LOW)])}), "printable ASCII"),
        (Timeline(5, {"a..b": Wire.of([(0, LOW)])}), "printable ASCII"),
        (Timeline(5, {"": Wire.of([(0, LOW)])}), "printable ASCII"),
        (Timeline(5, {"unscoped.b": Wire.of([(0, LOW)])}), "another scope"),
        (Timeline(5, {}, {"console.note": Word.of(8, [(0, 1)])}), "another name"),
        (Timeline(5, {}, {"a.b": Word.of(0, [(0, 0)])}), "at least one"),
        (Timeline(5, {}, {"a.b": Word(2, (0,), (4,))}), "2 bits"),
    ],
)
def test_what_cannot_be_written(tmp_path: Path, timeline: Timeline, says: str) -> None:
    with pytest.raises(ValueError, match=says):
        write_wave(timeline, tmp_path / "waves.vcd")
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize(
    ("scale", "ticks", "ps"),
    [
        *((f"{n} ps", 7, 7 * n) for n in (1, 10, 100)),
        *((f"{n} ns", 7, 7_000 * n) for n in (1, 10, 100)),
        *((f"{n} us", 7, 7 * 10**6 * n) for n in (1, 10, 100)),
        *((f"{n} ms", 7, 7 * 10**9 * n) for n in (1, 10, 100)),
        *((f"{n} s", 7, 7 * 10**12 * n) for n in (1, 10, 100)),
        *(("1fs", 7499, 7), ("1fs", 7500, 8), ("10 fs", 749, 7), ("100fs", 75, 8)),
        ("\n\t10us\n", 3, 30_000_000),
    ],
)
def test_any_timescale(tmp_path: Path, scale: str, ticks: int, ps: int) -> None:
    text = f"$timescale {scale} $end $var wire 1 ! a $end $enddefinitions $end #{ticks} 1!"
    assert _read(text, tmp_path) == Timeline(ps, {"a": Wire.of([(0, UNKNOWN), (ps, HIGH)])})


HEADER = """$date March $end $version some tool $end $timescale 1 ns $end
$scope module top $end
$var wire 1 ! clk $end
$scope begin inner $end
$var reg 1 ! alias $end
$var wire 4 " bus [3:0] $end
$var wire 1 # bit [2] $end
$var reg 2 $ part [5:4] $end
$upscope $end
$var event 1 % tick $end
$var real 64 & volts $end
$var integer 32 ' count $end
$upscope $end
$var wire 1 ( outside $end
$enddefinitions $end
"""


def test_a_file_of_another_writer(tmp_path: Path) -> None:
    body = """$dumpvars x! bz " Z# 1% b1 $ r0.5 & b0 ' L( $end
#0 1!
$comment in between $end
#2 0! 1! b1X0 " U#
1% b10 ' H(
#3 0% 1% r1e3 & b0101 " -# b1 ( bHL $
#4 0!
$dumpoff x! bx " x% $end
$dumpon 1! b0 " $end
#5
"""
    assert _read(HEADER + body, tmp_path) == Timeline(
        5000,
        {
            "top.clk": Wire.of([(0, HIGH)]),
            "top.inner.alias": Wire.of([(0, HIGH)]),
            "top.inner.bit[2]": Wire.of([(0, FLOATING), (2000, UNKNOWN)]),
            "outside": Wire.of([(0, LOW), (2000, HIGH)]),
        },
        {
            "top.inner.bus": Word.of(4, [(0, None), (3000, 5), (4000, 0)]),
            "top.inner.part[5:4]": Word.of(2, [(0, 1), (3000, 2)]),
            "top.count": Word.of(32, [(0, 0), (2000, 2)]),
        },
        {"top.tick": np.array([2000, 3000])},
    )
