"""What people who build and repair these pads know, held against the bench.

Class C (common practice, no source) unless a test says otherwise: M (from memory) where it is
believed and was not looked up, "arithmetic" where it follows from the others. These tests were
written from the trade's facts, not from the code; where one needs the right answer to a stopped
read, it works it out here, on plain lists.
"""

import json
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from padbench.cli import main
from padbench.core.decode import Read, decode
from padbench.core.findings import Source
from padbench.core.limits import Limit, Limits
from padbench.core.pad import PadModel
from padbench.core.stimulus import PollTiming, ScriptedRead, Stimulus
from padbench.core.timeline import Timeline
from padbench.model.simulation import simulate

NS, US = 1_000, 1_000_000
ANSWER = 320 * NS

BUTTONS = ("A", "B", "Select", "Start", "Up", "Down", "Left", "Right")  # C: the order on the wire
GROUND, SUPPLY, OPEN = 0, 1, None
LOW, HIGH, UNKNOWN = 0, 1, 2

LIMITS = Limits(  # M: CD4021B at 5 V, 25 °C, 50 pF
    load_width=Limit(160 * NS, (Source("CD4021B data sheet", "from memory"),)),
    clock_width=Limit(180 * NS, (Source("CD4021B data sheet", "from memory"),)),
    clock_period=Limit(333_333, (Source("CD4021B data sheet", "from memory"),)),
    removal=Limit(280 * NS, (Source("CD4021B data sheet", "from memory"),)),
    setup_parallel=Limit(50 * NS, (Source("CD4021B data sheet", "from memory"),)),
    answer=Limit(320 * NS, (Source("CD4021B data sheet", "from memory"),)),
)
TIMING = PollTiming(
    latch_width=3 * US,
    latch_to_clock=2 * US,
    clock_low=500 * NS,
    clock_high=1500 * NS,
    sample=400 * NS,
)
EVERY = 50 * US

SHEETS = Path(__file__).resolve().parents[2] / "sim" / "sheets"


# -- the right answers, worked out here


def pressed(held: int) -> list[bool]:
    """A is bit 7 and first on the wire."""
    return [bool(held >> 7 - n & 1) for n in range(8)]


def stopped(held: int, bit: int, past_the_end: bool, extra: int = 1) -> list[bool]:
    """The pad is clocked ``extra`` times too often at bit 1…8, so that many bits are never seen."""
    whole = pressed(held) + [past_the_end] * (8 + extra)
    return (whole[: bit - 1] + whole[bit - 1 + extra :])[:8]


def byte(bits: Sequence[bool]) -> int:
    return sum(1 << 7 - n for n, bit in enumerate(bits[:8]) if bit)


# -- running the bench


def run(
    reads: list[tuple[int, int, int]],
    serial: int | None = GROUND,
    timing: PollTiming = TIMING,
    load: str = "transparent",
) -> tuple[Timeline, tuple[Read, ...]]:
    """Each read is what is held, the bit that is stopped (0: none) and the clocks too many."""
    stimulus = Stimulus(
        contacts=tuple((n * EVERY, held) for n, (held, _, _) in enumerate(reads)),
        reads=tuple(
            ScriptedRead(n * EVERY + 5 * US, timing, stopped_bit=bit, extra_clocks=extra)
            for n, (_, bit, extra) in enumerate(reads)
        ),
        end=(len(reads) + 1) * EVERY,
    )
    timeline = simulate(PadModel(LIMITS, serial=serial, answer=ANSWER, load=load), stimulus)
    decoded = decode(timeline)
    assert len(decoded) == len(reads)
    return timeline, decoded


ALL_STATES = [(held, 0, 0) for held in range(256)]


@pytest.fixture(scope="module", params=[GROUND, SUPPLY], ids=["ground", "supply"])
def plain(request: pytest.FixtureRequest) -> tuple[Timeline, tuple[Read, ...]]:
    """Each of the 256 held states once, nothing stopped."""
    return run(ALL_STATES, request.param)


# -- order, levels, the first button


def test_serial_order() -> None:
    _, reads = run([(0x80 >> n, 0, 0) for n in range(8)])
    for n, read in enumerate(reads):
        assert [bool(b) for b in read.bits] == [n == k for k in range(8)], BUTTONS[n]
        assert read.byte == 0x80 >> n


def test_every_held_state_reads_as_held(plain: tuple[Timeline, tuple[Read, ...]]) -> None:
    _, reads = plain
    assert [read.byte for read in reads] == list(range(256))
    assert not any(read.undecided for read in reads)


def test_a_stands_on_the_line_before_any_clock(plain: tuple[Timeline, tuple[Read, ...]]) -> None:
    """As soon as the latch is given, so while it is still high; and until the first rising edge."""
    timeline, _ = plain
    data, latches = timeline.wires["cable.data"], timeline.wires["pad.load"].rises()
    falls, rises = timeline.wires["pad.clock"].falls(), timeline.wires["pad.clock"].rises()
    assert len(latches) == 256
    for held, latch in enumerate(latches):
        a = LOW if held & 0x80 else HIGH
        first_fall, first_rise = min(falls[falls > latch]), min(rises[rises > latch])
        assert latch + 3 * US < first_fall < first_rise
        given = [latch + ANSWER, latch + 3 * US - 1, first_fall - 1, first_fall + 1, first_rise - 1]
        assert list(data.at(given)) == [a] * 5, f"held {held:08b}"


def test_a_pressed_while_the_latch_is_high_is_on_the_line_at_once() -> None:
    """P: the load is transparent (CD4021B, SCHS024). Without one clock in the whole run."""
    stimulus = Stimulus(
        contacts=((0, 0x00), (20 * US, 0x80), (30 * US, 0x00)),
        reads=(ScriptedRead(10 * US, replace(TIMING, latch_width=40 * US, clocks=0)),),
        end=100 * US,
    )
    timeline = simulate(PadModel(LIMITS, serial=0, answer=ANSWER, load="transparent"), stimulus)
    assert len(timeline.wires["pad.clock"].rises()) == 0
    moments = [t + ANSWER for t in (10 * US, 20 * US, 30 * US, 60 * US)]
    assert list(timeline.wires["cable.data"].at(moments)) == [HIGH, LOW, HIGH, HIGH]


def test_active_low_on_the_wire_and_inverted_in_the_console(
    plain: tuple[Timeline, tuple[Read, ...]],
) -> None:
    """C: a pressed button pulls its line low. M: the console inverts, so pressed arrives as 1.

    M: the program sees the level that stood before the rising edge that ends the clock pulse.
    """
    timeline, reads = plain
    cable, console = timeline.wires["cable.data"], timeline.wires["console.data"]
    for held, read in enumerate(reads):
        before = [t - 1 for t in read.clock_rises]
        assert list(cable.at(before)) == [LOW if p else HIGH for p in pressed(held)]
        assert list(console.at(before)) == [1 if p else 0 for p in pressed(held)]
    moments = range(10 * US, 255 * EVERY, 70 * NS)
    assert all(cable.at(moments) + console.at(moments) == 1)


def test_one_read_is_one_latch_and_eight_clock_pulses(
    plain: tuple[Timeline, tuple[Read, ...]],
) -> None:
    """Seven that step through the buttons and a trailing one. M: the clock idles high."""
    timeline, reads = plain
    for scope in ("pad.load", "console.latch"):
        latch = timeline.wires[scope]
        assert (len(latch.rises()), len(latch.falls())) == (256, 256)
    for scope in ("pad.clock", "console.clock"):
        clock = timeline.wires[scope]
        assert (len(clock.rises()), len(clock.falls())) == (8 * 256, 8 * 256)
        idle = [n * EVERY + moment for n in range(256) for moment in (1, 5 * US, 8 * US)]
        assert all(clock.at(idle) == HIGH)
    for held, read in enumerate(reads):
        assert len(read.clock_rises) == 8
        # the last button is on the line after seven; the eighth pulse only ends its read
        seven = read.clock_rises[6] + ANSWER
        assert timeline.wires["cable.data"].at([seven])[0] == (LOW if held & 1 else HIGH)


# -- past the end


@pytest.mark.parametrize(("serial", "shows"), [(GROUND, True), (SUPPLY, False), (OPEN, None)])
def test_past_the_end_shows_the_serial_input(serial: int | None, shows: bool | None) -> None:
    """At ground pressed, at supply not pressed; left open nobody can say."""
    timing = replace(TIMING, clocks=16)
    timeline, reads = run(ALL_STATES, serial, timing)
    line = {True: LOW, False: HIGH, None: UNKNOWN}[shows]
    for held, read in enumerate(reads):
        assert read.bits[:8] == tuple(pressed(held))
        assert read.bits[8:] == (shows,) * 8
        past = [t - 1 for t in read.clock_rises[8:]]
        assert list(timeline.wires["cable.data"].at(past)) == [line] * 8


# -- a stopped read

CASES = [(held, bit) for held in range(256) for bit in range(1, 9)]
Passes = dict[tuple[int, int], tuple[Read, Read]]


@pytest.fixture(scope="module", params=[GROUND, SUPPLY], ids=["ground", "supply"])
def passes(request: pytest.FixtureRequest) -> tuple[bool, Passes]:
    """All 2048 cases: a clean pass, then one in which that bit's read was stopped.

    With it, what the serial input puts in the last place.
    """
    script = [read for held, bit in CASES for read in ((held, 0, 0), (held, bit, 1))]
    _, reads = run(script, request.param)
    return request.param == GROUND, dict(
        zip(CASES, zip(reads[::2], reads[1::2], strict=True), strict=True)
    )


def test_stopped_read_loses_its_bit_and_the_later_ones_move_up(
    passes: tuple[bool, Passes],
) -> None:
    """C for the effect on the last button, M for the rest."""
    last, results = passes
    for (held, bit), (clean, hit) in results.items():
        was = pressed(held)
        assert clean.byte == held
        assert not hit.undecided
        assert hit.bits[: bit - 1] == tuple(was[: bit - 1])
        assert hit.bits[bit - 1 : 7] == tuple(was[bit:])
        assert hit.bits[7] is last
        assert hit.byte == byte(stopped(held, bit, last))
        assert (len(clean.clock_rises), len(hit.clock_rises)) == (8, 9)


def test_nothing_held_and_the_last_button_reads_pressed(passes: tuple[bool, Passes]) -> None:
    """With the serial input at ground, whichever bit was stopped; at supply it is lost instead."""
    at_ground, results = passes
    for bit in range(1, 9):
        assert results[0x00, bit][1].byte == (0x01 if at_ground else 0x00)
        assert results[0xFF, bit][1].byte == (0xFF if at_ground else 0xFE)


def test_how_many_stopped_reads_give_a_wrong_byte(passes: tuple[bool, Passes]) -> None:
    """Arithmetic.

    The loss at bit k hides only where each later place holds what moves into it: bit k like
    bit k + 1, and so on to the last, which must be like the serial input. So bits k…8 are all
    pressed (serial at ground) or all not (at supply), bits 1…k - 1 are free, and 2^(k - 1) of
    256 states hide it: 1, 2, 4 … 128, together 255. All other cases are wrong.
    """
    at_ground, results = passes
    hidden = {case for case, (_, hit) in results.items() if hit.byte == case[0]}
    for bit in range(1, 9):
        tail = 0xFF >> bit - 1
        fill = tail if at_ground else 0
        states = {held for held, stopped_bit in hidden if stopped_bit == bit}
        assert states == {held for held in range(256) if held & tail == fill}
        assert len(states) == 2 ** (bit - 1)
    wrong = [case for case, (_, hit) in results.items() if hit.byte != case[0]]
    assert len(wrong) == 256 * 8 - 255


def test_two_passes_disagree_and_read_twice_rejects(passes: tuple[bool, Passes]) -> None:
    """The cure: act only when both agree. With one pass stopped, nothing wrong is acted on."""
    _, results = passes
    accepted = rejected = 0
    for (held, _), (clean, hit) in results.items():
        if clean.byte == hit.byte:
            accepted += 1
            assert hit.byte == held
        else:
            rejected += 1
    assert (accepted, rejected) == (255, 256 * 8 - 255)


def test_both_passes_stopped_at_the_same_bit_agree_on_the_wrong_byte() -> None:
    """Arithmetic: why read-twice is not safe for every routine."""
    _, (first, second) = run([(0x00, 8, 1), (0x00, 8, 1)])
    assert (first.byte, second.byte) == (0x01, 0x01)


@pytest.mark.parametrize("extra", [1, 2, 3])
@pytest.mark.parametrize("serial", [GROUND, SUPPLY])
def test_each_repeated_cycle_may_clock_by_itself(serial: int, extra: int) -> None:
    """M: two or three clocks too many on some consoles. Each costs one bit."""
    script = [(held, bit, extra) for held in range(0, 256, 15) for bit in range(1, 9)]
    _, reads = run(script, serial)
    for (held, bit, _), read in zip(script, reads, strict=True):
        assert read.bits[:8] == tuple(stopped(held, bit, serial == GROUND, extra))
        assert len(read.clock_rises) == 8 + extra


def test_open_serial_input_makes_the_last_button_chance() -> None:
    script = [(held, bit, 1) for held in range(0, 256, 15) for bit in range(1, 9)]
    _, reads = run(script, OPEN)
    for (held, bit, _), read in zip(script, reads, strict=True):
        assert read.bits[:7] == tuple(stopped(held, bit, False)[:7])
        assert read.bits[7] is None
        assert read.undecided == 0x01


# -- the sister part
#
# P: MC14014B/MC14021B, Motorola CMOS Logic Data: the 4014 loads on the clock edge, not at once


@pytest.mark.parametrize(("serial", "shows"), [(GROUND, 0xFF), (SUPPLY, 0x00)])
def test_synchronous_part_never_sees_the_buttons(serial: int, shows: int) -> None:
    """No clock edge falls inside the latch, so nothing is ever loaded.

    After the first read the register holds nothing but the serial input, whatever is pressed.
    """
    _, reads = run(ALL_STATES, serial, load="synchronous")
    assert reads[0].undecided == 0xFF  # what stood in it at power-up
    assert {read.byte for read in reads[1:]} == {shows}
    assert not any(read.undecided for read in reads[1:])


# -- the same, at the command line


def say(capsys: pytest.CaptureFixture[str], *words: object) -> tuple[int, dict[str, Any]]:
    capsys.readouterr()
    code = main([str(word) for word in words])
    return code, json.loads(capsys.readouterr().out)


def play(
    capsys: pytest.CaptureFixture[str], waves: Path, scenario: str, sheet: Path | None = None
) -> list[dict[str, Any]]:
    sheet = sheet or SHEETS / "harbour-b.toml"
    code, said = say(capsys, "play", sheet, "--scenario", scenario, "--json", "--waves", waves)
    assert code == (0 if said["verdict"] == "pass" else 1)
    for read in said["reads"]:
        assert byte([name in read["pressed"] for name in BUTTONS]) == read["byte"]
        assert read["pressed"] == [name for name in BUTTONS if name in read["pressed"]]
    assert Path(said["vcd"]).is_file()
    return said["reads"]


def changed(tmp_path: Path, *changes: tuple[str, str]) -> Path:
    """The sheet that passes, with these lines changed."""
    text = (SHEETS / "harbour-b.toml").read_text(encoding="utf-8")
    for old, new in changes:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    sheet = tmp_path / "changed.toml"
    sheet.write_text(text, encoding="utf-8")
    return sheet


def failed(said: dict[str, Any]) -> list[str]:
    return [f["says"] for f in said["findings"] if f["verdict"] == "fail"]


def test_play_stopped_last_bit(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """A press that never happened: Right, while nothing was held."""
    reads = play(capsys, tmp_path, "stopped-last-bit")
    ghosts = [read for read in reads if read["pressed"]]
    assert ghosts
    for read in ghosts:
        assert read["held"] == []
        assert read["pressed"] == ["Right"]
        assert read["byte"] == 0x01


def test_play_stopped_last_bit_needs_the_serial_input_low(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    sheet = changed(tmp_path, ('serial-input = "ground"', 'serial-input = "supply"'))
    reads = play(capsys, tmp_path, "stopped-last-bit", sheet)
    assert reads
    assert not any(read["pressed"] for read in reads)


def test_play_each_button(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    reads = play(capsys, tmp_path, "each-button")
    assert [read["pressed"] for read in reads] == [[name] for name in BUTTONS]
    assert [read["byte"] for read in reads] == [0x80 >> n for n in range(8)]
    assert {read["clocks"] for read in reads} == {8}


def test_play_all_states(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    reads = play(capsys, tmp_path, "all-states")
    assert sorted(read["byte"] for read in reads) == list(range(256))


def test_play_read_twice_rejects(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """Reads come in pairs; at least one pair disagrees, and where a pair agrees it is right."""
    reads = play(capsys, tmp_path, "read-twice-rejects")
    pairs = list(zip(reads[::2], reads[1::2], strict=True))
    assert any(first["byte"] != second["byte"] for first, second in pairs)
    assert any(first["byte"] == second["byte"] for first, second in pairs)
    for first, second in pairs:
        assert first["held"] == second["held"]
        if first["byte"] == second["byte"]:
            assert first["pressed"] == first["held"]


def test_verify_names_the_swapped_buttons(capsys: pytest.CaptureFixture[str]) -> None:
    """Up stands where Down belongs; no finding may blame a pair that is right."""
    code, said = say(capsys, "verify", SHEETS / "harbour-a.toml", "--json", "--no-waves")
    assert (code, said["verdict"]) == (1, "fail")
    swapped = [says for says in failed(said) if "Up" in says and "Down" in says]
    assert len(swapped) == 1
    assert not any(name in swapped[0].split() for name in set(BUTTONS) - {"Up", "Down", "A"})


def test_swapped_buttons_read_as_each_other(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    sheet = changed(tmp_path, ("Up = 4", "Up = 3"), ("Down = 3", "Down = 4"))
    seen = {
        tuple(read["held"]): read["pressed"]
        for read in play(capsys, tmp_path, "each-button", sheet)
    }
    right = {(name,): [name] for name in BUTTONS}
    assert seen == right | {("Up",): ["Down"], ("Down",): ["Up"]}


def test_play_synchronous_part(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """P: the 4014 loads on a clock edge, and there is none in the latch: no button gets through."""
    sheet = changed(tmp_path, ('part = "CD4021B"', 'part = "MC14014B"'))
    reads = play(capsys, tmp_path, "each-button", sheet)
    assert [read["held"] for read in reads] == [[name] for name in BUTTONS]
    assert not any(read["pressed"] == read["held"] for read in reads)


def test_verify_names_both_of_two_faults(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """The synchronous part, and two buttons swapped that no shipped sheet has swapped."""
    sheet = changed(
        tmp_path,
        ('part = "CD4021B"', 'part = "MC14014B"'),
        ("Left = 2", "Left = 1"),
        ("Right = 1", "Right = 2"),
    )
    code, said = say(capsys, "verify", sheet, "--json", "--no-waves")
    assert (code, said["verdict"]) == (1, "fail")
    assert any("4014" in says for says in failed(said))
    assert any({"Left", "Right"} <= set(says.split()) for says in failed(said))
    assert not any({"Up", "Down"} <= set(says.split()) for says in failed(said))
    verdicts = {scenario["name"]: scenario["verdict"] for scenario in said["scenarios"]}
    assert verdicts["each-button"] == "fail"
