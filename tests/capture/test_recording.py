"""What the recording itself shows, before the hardware is blamed: `padbench.inspect` on tables."""

from pathlib import Path

import numpy as np
import pytest

import padbench
from padbench.results.text import as_text
from padbench.waveio import WaveError

SHEET = str(Path(__file__).parents[2] / "sim" / "sheets" / "harbour-b.toml")


def lines(held, *, step=1e-7, wanted=8, frame=5e-4, low=5e-7):
    """Times and levels of latch, clock and data, a row every ``step``: a read each frame."""
    at = np.arange(0, len(held) * frame, step)
    within, number = at % frame, np.minimum((at / frame).astype(int), len(held) - 1)
    latch = (within >= 100e-6) & (within < 109e-6)
    since = within - 114e-6
    clock = ~((since >= 0) & (since < wanted * 6e-6) & (since % 6e-6 < low))
    bit = np.clip(np.floor((since - low - 0.7 * step) / 6e-6 + 1), 0, wanted).astype(int)
    levels = np.array([[*(1 - (n >> wanted - 1 - k & 1) for k in range(wanted)), 0] for n in held])
    data = np.where(within < 100e-6, 0, levels[number, bit])
    return at, np.stack([latch, clock, data]).astype(int)


def table(path, at, levels, *, names="time,latch,clock,data", form="{:.9g}", rows=slice(None)):
    body = zip(at[rows].tolist(), *levels[:, rows].tolist(), strict=True)
    text = "".join(",".join([form.format(t), *map(str, row)]) + "\n" for t, *row in body)
    path.write_text(f"{names}\n{text}")
    return path


@pytest.fixture(scope="module")
def good():
    return lines([0, 0x80, 0x80, 0])


@pytest.fixture
def path(tmp_path):
    return tmp_path / "bench.csv"


def bytes_of(result):
    return [read.byte for read in result.data.reads()]


def the(result, id_, case=None):
    return next(f for f in result.findings if f.id == id_ and case in (None, f.case))


def test_a_good_one_says_nothing_of_its_recording(path, good):
    result = padbench.inspect(table(path, *good))
    assert (result.verdict, bytes_of(result)) == ("pass", [0, 0x80, 0x80, 0])
    assert not {f.id for f in result.findings} & {
        *("capture.times", "capture.sampling", "capture.left-out", "capture.channels"),
    }


@pytest.mark.parametrize("line", ["latch", "clock", "data"])
def test_a_line_upside_down_is_put_right(path, good, line):
    at, levels = good
    levels = levels.copy()
    row = ["latch", "clock", "data"].index(line)
    levels[row] ^= 1
    table(path, at, levels)
    told = the(padbench.inspect(path), "capture.channels", line)
    assert told.verdict == ("not-judged" if line == "clock" else "fail")
    assert f"--invert {line}" in told.says
    right = padbench.inspect(path, invert=line)
    assert (right.verdict, bytes_of(right)) == ("pass", [0, 0x80, 0x80, 0])
    assert right.data.measures["clock low"].median == pytest.approx(500_000, abs=100_000)


def test_data_upside_down_are_told_with_a_direction_held(path):
    at, levels = lines([1, 0x81, 0x41, 1])
    levels[2] ^= 1
    told = the(padbench.inspect(table(path, at, levels)), "capture.channels")
    assert (told.verdict, told.case) == ("fail", "data")
    # Many buttons are nothing to wonder at as long as no rocker is pressed at both its ends.
    assert padbench.inspect(table(path, *lines([0xF9, 0xF5, 0xFA, 0xF1]))).verdict == "pass"


def test_an_inverted_latch_of_the_sheet_is_known(path, good):
    at, levels = good
    table(path, at, np.stack([1 - levels[0], *levels[1:]]))
    sheet = padbench.load_sheet(SHEET)
    assert padbench.inspect(path, sheet=sheet).verdict == "fail"
    text = Path(SHEET).read_text().replace("latch-inverted = false", "latch-inverted = true")
    found = padbench.inspect(path, sheet=text)
    assert bytes_of(found) == [0, 0x80, 0x80, 0]
    assert not [f for f in found.findings if f.id == "capture.channels"]


def test_rounded_times_are_a_fault_of_the_recording(path, good):
    result = padbench.inspect(table(path, *good, form="{:.6f}"))
    assert (the(result, "capture.times").verdict, result.verdict) == ("fail", "fail")
    assert "give --rate" in the(result, "capture.times").says
    assert {f.verdict for f in result.findings if f.id.startswith("timing.")} == {"not-judged"}
    lossy = padbench.inspect(table(path, *good, form="{:.5f}"))
    assert {f.id.partition(".")[0] for f in lossy.findings if f.verdict == "fail"} == {"capture"}
    table(path, *good, form="{:.6f}")
    assert padbench.inspect(path, rate="10M").verdict == "pass"


def test_two_rows_of_one_time_among_changes_are_told(path, good):
    at, levels = good
    changed = np.flatnonzero((np.diff(levels, axis=1, prepend=9) != 0).any(axis=0))
    at = at.copy()
    at[changed[5]] = at[changed[4]]
    result = padbench.inspect(table(path, at, levels, rows=changed))
    assert the(result, "capture.times").verdict == "not-judged"


@pytest.mark.parametrize("start", [1_700_000_000, 1_700_000_000_000])
def test_unix_times_keep_their_digits(path, good, start):
    at, levels = good
    many = [f"{start}.{round(t * 1e9):09d}" for t in at.tolist()]
    body = zip(many, *levels.tolist(), strict=True)
    path.write_text("time,latch,clock,data\n" + "".join(f"{','.join(map(str, r))}\n" for r in body))
    result = padbench.inspect(path)
    assert bytes_of(result) == [0, 0x80, 0x80, 0]
    assert result.data.measures["latch width"].median == 9_000_000
    assert result.make_document()["channels"]["time"]["how"].endswith("counted from the first row")


def test_pulses_between_the_samples_are_not_the_hardware(path):
    at, levels = lines([0, 0x80, 0x80, 0], step=2e-6)
    result = padbench.inspect(table(path, at, levels))
    assert the(result, "capture.sampling").verdict == "fail"
    assert "pulses are missing" in the(result, "capture.sampling").says
    assert [f.id for f in result.findings if f.verdict == "fail"] == ["capture.sampling"]


@pytest.mark.parametrize(("low", "step"), [(5e-7, 6e-7), (6e-7, 6.3e-7)])
def test_clocks_that_fell_between_the_samples_of_some_reads_are_told(path, low, step):
    """More reads than a stopped program gives up are short; most are whole."""
    result = padbench.inspect(table(path, *lines([0] * 10, step=step, low=low, frame=5.0137e-4)))
    assert [f.id for f in result.findings if f.verdict == "fail"] == ["capture.sampling"]
    assert "nothing is said of reads.cut-short" in the(result, "capture.sampling").says


@pytest.mark.parametrize(("step", "blamed"), [(1e-6, "capture.sampling"), (1e-7, "levels.moves")])
def test_a_clock_that_no_sample_hits_is_not_the_hardware(path, step, blamed):
    at, levels = lines([0, 0x80, 0x80, 0], step=step)
    levels[1] = 1
    result = padbench.inspect(table(path, at, levels))
    failed = {f.id for f in result.findings if f.verdict == "fail"}
    assert {blamed} <= failed <= {"levels.moves", "capture.sampling"}
    assert "there is no clock" in the(result, blamed).says or blamed == "levels.moves"


def test_what_one_sample_more_or_less_decides_is_not_judged(path):
    """A clock low for 100 ns or, as far as samples 100 ns apart tell, for up to 200 ns."""
    for low, verdict in ((1e-7, "not-judged"), (2e-7, "not-judged"), (4e-7, "pass")):
        result = padbench.inspect(table(path, *lines([0, 0x80], low=low)))
        found = next(f for f in result.findings if "timing.clock-low" in (f.id, f.name))
        assert (low, found.verdict) == (low, verdict)


def test_samples_that_come_early_and_late_are_as_far_apart_as_they_can_be(path, good):
    at, levels = good
    early = np.random.default_rng(1).uniform(-0.4e-7, 0.4e-7, len(at))
    result = padbench.inspect(table(path, at + 1e-7 + early, levels))
    assert 150_000 < result.data.apart_ps < 180_000
    assert "fail" not in {f.verdict for f in result.findings if f.id != "capture.sampling"}


def test_few_samples_a_pulse_are_told(path):
    result = padbench.inspect(table(path, *lines([0, 0x80], step=2.5e-7)))
    assert the(result, "capture.sampling").verdict == "not-judged"
    assert result.verdict == "pass"


def test_a_logger_that_writes_changes_is_known_by_its_step(tmp_path):
    at, levels = lines([0x80, 0] * 4, step=1e-6, low=1.5e-6, frame=2e-3)
    text = ["$timescale 1 ns $end"]
    text += [
        f"$var wire 1 {c} {n} $end" for c, n in zip("!#%", ("latch", "clock", "data"), strict=True)
    ]
    text += ["$enddefinitions $end"]
    changed = np.flatnonzero((np.diff(levels, axis=1, prepend=9) != 0).any(axis=0))
    for n in changed.tolist():
        text += [f"#{round(at[n] * 1e9)}", *(f"{levels[k, n]}{c}" for k, c in enumerate("!#%"))]
    (tmp_path / "a.vcd").write_text("\n".join([*text, "#99999999", ""]))
    result = padbench.inspect(tmp_path / "a.vcd", sheet=SHEET)
    assert result.data.apart_ps == 1_000_000
    assert the(result, "capture.sampling").verdict == "not-judged"
    delay = next(
        f for f in result.findings if f.id == "timing.data-delay" or f.name == "timing.data-delay"
    )
    assert delay.verdict == "not-judged"


@pytest.mark.parametrize(("lowest", "verdict"), [(4.9, "pass"), (3.1, "fail"), (5.6, "fail")])
def test_the_supply_is_held_to_the_sheet(path, good, lowest, verdict):
    at, levels = good
    supply = np.where(np.arange(len(at)) == 500, lowest, 5.0)
    table(path, at, np.vstack([levels, supply]), names="time,latch,clock,data,supply")
    path.write_text(path.read_text().replace(".0\n", "\n"))
    result = padbench.inspect(path, sheet=SHEET, channels={"supply": "supply"})
    found = the(result, "levels.supply")
    assert found.verdict == verdict
    assert found.verdict == "pass" or f"{lowest:.3g}" in found.says
    other = padbench.inspect(path, channels={"supply": "supply"})
    assert the(other, "levels.supply").verdict == ("fail" if lowest == 3.1 else "not-judged")


@pytest.mark.parametrize(("lowest", "verdict"), [(4.9, "not-judged"), (3.1, "fail")])
def test_a_supply_is_found_by_its_level(path, good, lowest, verdict):
    at, levels = good
    supply = np.where(np.arange(len(at)) == 5000, lowest, 4.95)
    table(path, at, np.vstack([levels * 5.0, supply]), names="time,latch,clock,data,CH4")
    result = padbench.inspect(path)
    assert result.make_document()["channels"]["supply"] == {
        **{"name": "CH4", "found": True, "how": "found by its level, near 5 V"}
    }
    assert the(result, "levels.supply").verdict == verdict
    assert the(padbench.inspect(path, sheet=SHEET), "levels.supply").verdict == (
        "fail" if verdict == "fail" else "pass"
    )


def test_what_crosses_the_thresholds_is_no_supply(path, good):
    at, levels = good
    other = np.where(np.arange(len(at)) > 5000, 0.1, 4.95)
    table(path, at, np.vstack([levels * 5.0, other]), names="time,latch,clock,data,CH4")
    result = padbench.inspect(path, sheet=SHEET)
    found = the(result, "levels.supply")
    assert (found.verdict, found.case) == ("not-judged", "none")
    assert "CH4 begins near 5 V as a supply does, but goes to 100 mV" in short(result)
    # What has the name of another line is none from the start.
    steady = np.full(len(at), 4.95)
    table(path, at, np.vstack([levels * 5.0, steady]), names="time,latch,clock,data,B")
    assert "supply" not in padbench.inspect(path).make_document()["channels"]
    # Of several that might be it, one that crosses is none, and of the others the lowest counts.
    dips = np.where(np.arange(len(at)) == 99, 3.1, 4.95)
    more = np.vstack([levels * 5.0, steady, dips, other])
    table(path, at, more, names="time,latch,clock,data,CH4,CH5,CH6")
    result = padbench.inspect(path, sheet=SHEET)
    assert result.make_document()["channels"]["supply"]["name"] == "CH5"
    found = the(result, "levels.supply")
    assert (found.verdict, found.measured) == ("fail", pytest.approx(3.1))
    assert [*result.data.volts] == ["supply"]


def test_a_supply_in_a_wave_is_found_by_its_level(tmp_path, good):
    """One that dips among its first values, beside a line that idles high."""
    at, levels = good
    codes = "!#$"
    head = "".join(
        f"$var wire 1 {code} {name} $end\n"
        for code, name in zip(codes, ("latch", "clock", "data"), strict=True)
    )
    head += "$var real 64 % CH4 $end\n$var real 64 & CH5 $end\n$enddefinitions $end\n"
    body = []
    for n in np.flatnonzero(np.any(np.diff(levels, prepend=2) != 0, axis=0)).tolist():
        bits = "".join(f"{levels[k, n]}{code}\n" for k, code in enumerate(codes))
        dip = 3.1 if len(body) == 40 else 5.01 if len(body) % 2 else 5.0
        body.append(f"#{round(at[n] * 1e9)}\n{bits}r{dip} %\nr{5.1 * (len(body) != 60)} &\n")
    path = tmp_path / "bench.vcd"
    path.write_text(f"$timescale 1 ns $end\n{head}{''.join(body)}#{round(at[-1] * 1e9)}\n")
    for sheet in (None, SHEET):
        result = padbench.inspect(path, sheet=sheet)
        assert bytes_of(result) == [0, 0x80, 0x80, 0]
        assert result.make_document()["channels"]["supply"]["name"] == "CH4"
        found = the(result, "levels.supply")
        assert (found.verdict, found.measured) == ("fail", pytest.approx(3.1))


def short(result):
    """The short answer in one line; it fits a screen."""
    text = as_text(result, 80, whole=False)
    assert len(text.splitlines()) <= 24
    return " ".join(text.split())


@pytest.mark.parametrize("order", [(0, 2, 1), (1, 0, 2), (2, 1, 0), (1, 2, 0), (2, 0, 1)])
def test_exchanged_lines_are_the_recordings_fault(path, good, order):
    at, levels = good
    result = padbench.inspect(table(path, at, levels[list(order)]))
    assert [f.id for f in result.findings if f.verdict == "fail"] == ["capture.channels"]
    roles = ("latch", "clock", "data")
    says = short(result)
    for role, is_now in enumerate(order):
        other = f"what is named {roles[role]} is the {roles[is_now]}"
        assert (other in says) == (role != is_now)
    right = {roles[is_now]: roles[role] for role, is_now in enumerate(order)}
    assert padbench.inspect(path, channels=right).verdict == "pass"


@pytest.mark.parametrize(
    ("line", "verdict"), [("latch", "fail"), ("clock", "fail"), ("data", "pass")]
)
def test_a_line_that_never_moves_is_told_in_words(path, good, line, verdict):
    at, levels = good
    levels = levels.copy()
    levels[["latch", "clock", "data"].index(line)] = 1
    result = padbench.inspect(table(path, at, levels))
    assert result.verdict == verdict
    assert f"{line} stood high all through: nothing was seen on it" in short(result)


def test_a_button_that_is_always_held_makes_no_latch_of_the_data(path):
    """Its bit rises once a read, eight clocks apart; but there are clocks while it is high."""
    at, levels = lines([0x80] * 4)
    result = padbench.inspect(table(path, at, levels[[2, 1, 0]]))
    assert the(result, "capture.channels").case == "exchanged"


def test_the_short_answer_says_what_the_recording_can_show(path, good):
    at, levels = good
    says = short(padbench.inspect(table(path, at, levels, form="{:.6f}")))
    assert "have the time of the row before" in says
    table(path, at, np.stack([levels[0], 1 - levels[1], levels[2]]))
    assert "recorded upside down; then give --invert clock" in short(padbench.inspect(path))
    table(path, *lines([0, 0x80], step=2e-7))
    assert "shorter pulses may be missing" in short(padbench.inspect(path))


def test_the_second_pad_is_in_the_short_answer(path, good):
    at, levels = good
    table(
        path, at, np.vstack([levels, lines([0, 1, 1, 1])[1][2]]), names="time,latch,clock,data,D2"
    )
    says = short(padbench.inspect(path, channels={"data": ["data", "D2"]}))
    assert "bench.csv, data: Holds." in says
    assert "bench.csv, D2: Holds." in says
    assert "nothing, Right (3 times)" in says


def contacts(path, at, levels, low):
    """With the contact of A as a channel, low at the moments (s) in between."""
    own = np.where((at > low[0]) & (at < low[1]), 0, 1)
    table(path, at, np.vstack([levels, own]), names="time,latch,clock,data,D4")
    return padbench.inspect(path, channels={"A": "D4"})


def test_each_read_is_held_to_the_recorded_inputs(path, good):
    result = contacts(path, *good, (0.45e-3, 1.4e-3))
    assert (the(result, "reads.inputs").verdict, result.verdict) == ("pass", "pass")
    # Let go before the third read, which has it pressed all the same.
    result = contacts(path, *good, (0.45e-3, 0.95e-3))
    found = the(result, "reads.inputs")
    assert (found.verdict, found.measured, found.met.read) == ("fail", 1, 3)
    document = [*result.make_document()["reads"]]
    assert [read["inputs"] for read in document] == [[], ["A"], [], []]
    assert "of A the inputs had nothing, and A was read" in found.says
    # What changes just as the load ends may have come out either way.
    result = contacts(path, *good, (0.45e-3, 1.1085e-3))
    assert the(result, "reads.inputs").verdict == "pass"
    result = contacts(path, *good, (0.6085e-3, 1.4e-3))
    assert the(result, "reads.inputs").verdict == "pass"


def test_inputs_that_never_stand_still_are_not_judged(path, good):
    at, levels = good
    noise = 2.5 + 0 * at
    table(path, at, np.vstack([levels * 5.0, noise]), names="time,latch,clock,data,D4")
    result = padbench.inspect(path, channels={"A": "D4"})
    assert the(result, "reads.inputs").verdict == "not-judged"


def test_ringing_beside_an_edge_is_not_called_clean(path, good):
    at, levels = good
    volts = levels * 5.0
    rises = np.flatnonzero(np.diff(levels[1]) == 1) + 1
    volts[1, rises + 1] = 2.8
    found = the(padbench.inspect(table(path, at, volts)), "levels.runts", "ringing")
    assert (found.verdict, found.measured, found.met.other) == ("not-judged", len(rises), "clock")


def test_a_dip_that_comes_later_is_no_ringing(path):
    """1.5 µs after a rise, while a slow clock is high for 6 µs."""
    at, levels = lines([0, 0x80], low=3e-6)
    volts = levels * 5.0
    rise = (np.flatnonzero(np.diff(levels[1]) == 1) + 1)[3]
    volts[1, rise + 15 : rise + 20] = 2.4
    found = padbench.inspect(table(path, at, volts)).findings
    runts = {f.met.other: (f.verdict, f.measured) for f in found if f.id == "levels.runts"}
    assert runts == {"latch": ("pass", 0), "clock": ("fail", 1)}


def test_no_delay_is_measured_over_a_gap(path):
    at, levels = lines([0, 0x80, 0], low=3e-6)
    kept = (at < 620e-6) | (at > 640e-6)
    result = padbench.inspect(table(path, at, levels, rows=kept), sheet=SHEET)
    assert not [f.id for f in result.findings if f.verdict == "fail"]
    assert the(result, "capture.gap").measured == 1


def test_data_at_no_level_is_no_crash(path, good):
    at, levels = good
    table(path, at, np.vstack([levels[:2] * 5.0, np.full(len(at), 2.5)]))
    result = padbench.inspect(path)
    assert the(result, "levels.reached").met.other == "data"
    assert all(read.undecided for read in result.data.reads())


def test_the_name_with_its_unit_is_a_name(path, good):
    table(path, *good, names="time,Latch [V],Clock [V],Data [V]")
    result = padbench.inspect(path, channels={"latch": "Latch [V]"})
    assert bytes_of(result) == [0, 0x80, 0x80, 0]


def test_a_few_lines_of_text_are_left_out_and_many_refused(path, good):
    table(path, *good)
    rows = path.read_text().splitlines(keepends=True)
    few = [*rows[:900], "trigger again\n", *rows[900:2000], "trigger again\n", *rows[2000:]]
    path.write_text("".join(few))
    result = padbench.inspect(path)
    assert bytes_of(result) == [0, 0x80, 0x80, 0]
    found = the(result, "capture.left-out")
    assert (found.measured, "line 901: trigger again" in found.says) == (2, True)
    path.write_text(
        "".join(row + "trigger again\n" * (n % 100 == 50) for n, row in enumerate(rows))
    )
    with pytest.raises(WaveError, match="line 52: 1 fields; there should be 4"):
        padbench.inspect(path)


def test_several_segments_are_one_after_the_other(path, good):
    table(path, *good)
    body = path.read_text()
    path.write_text(body + "\nsegment 2\n" + body)
    result = padbench.inspect(path)
    assert bytes_of(result) == [0, 0x80, 0x80, 0] * 2
    assert the(result, "capture.gaps").measured == 1
    assert result.verdict == "pass"
    # A pause stands between them, so that nothing at the seam looks too short.
    starts = result.data.rows["start"]
    assert starts[4] - starts[3] == pytest.approx(100.5 * 10**9, rel=1e-3)


def test_what_lies_between_two_segments_is_no_poll_and_their_titles_are_no_values(path, good):
    """Each segment is one read here, and has its head line again: nobody saw two polls."""
    at, levels = good
    table(path, at[:5000], levels[:, :5000])
    path.write_text(f"{path.read_text()}\n" * 4)
    result = padbench.inspect(path)
    assert (result.verdict, bytes_of(result)) == ("pass", [0] * 4)
    assert "poll period" not in result.data.measures
    assert the(result, "levels.runts").verdict == "pass"
    assert the(result, "capture.gaps").says == (
        "3 stretches were not recorded, the first from 499.900 µs to 100499.900 µs; 3 times the "
        "time begins anew, and how long after what stands before it nobody knows"
    )


def test_passes_of_a_poll_are_found_in_segments_too(path, good):
    at, levels = good
    table(path, at[:10_000], levels[:, :10_000])
    path.write_text(f"{path.read_text()}\n" * 4)
    result = padbench.inspect(path)
    assert result.data.passes == 2
    assert "poll period" not in result.data.measures


def test_a_gap_breaks_its_read_alone(path, good):
    at, levels = good
    kept = np.ones(len(at), bool)
    kept[6_300:8_000] = False
    result = padbench.inspect(table(path, at[kept], levels[:, kept]))
    assert [read.in_gap for read in result.data.reads()] == [False, True, False, False]
    assert the(result, "capture.gaps").measured == 1


def test_all_bits_of_chained_pads_are_shown(path):
    held = 0x80A5
    at, levels = lines([held, 0], wanted=16)
    result = padbench.inspect(table(path, at, levels), clocks=16)
    reads = [*result.data.reads()]
    assert (reads[0].byte, reads[0].later_bits(16)) == (0x80, "10100101")
    assert "bits 9 to 16 10100101, 00000000" in short(result)
    assert [read["later_bits"] for read in result.make_document()["reads"]] == [
        *("10100101", "00000000")
    ]
