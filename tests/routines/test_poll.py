"""A read routine as the poll of a sheet: the wires come from its cycles."""

import random
from dataclasses import replace
from pathlib import Path
from typing import ClassVar

import numpy as np
import pytest

from padbench.circuit.mending import with_remedies
from padbench.core.levels import LOW
from padbench.jobs.verify import play as play_job
from padbench.jobs.verify import verify
from padbench.parts import console_timing
from padbench.routines import fast
from padbench.routines import poll as poll_module
from padbench.routines.console import Console
from padbench.routines.poll import poll_of, routine_poll, with_timings
from padbench.routines.routine import RoutineError
from padbench.routines.source import load_routine
from padbench.routines.wave import case_wave
from padbench.scenarios import ROUTINE_SCENARIOS, SCENARIOS
from padbench.scenarios.polled_routine import AnsweringPad
from padbench.sheet import load_sheet, sheet_from_text
from padbench.toml import SheetError
from padbench.trials.trial import run_scenario, setting_of, try_sheet

SHEET = Path(__file__).parents[2] / "sim" / "sheets" / "harbour-b.toml"


def sheet(poll: str):
    return sheet_from_text(SHEET.read_text().replace('use = "plain-loop"', poll), "test.toml")


PORT = "push-pull"
EXPOSED = Path(__file__).parent / "sources" / "read-twice-36.asm"

LATCH = "lda #1\nsta $4016\nlsr a\nsta $4016\n"
UNEVEN = (
    "ldx #0\nstx $00\n"
    + LATCH
    + "loop: lda $4016\nlsr a\nrol $00\ncpx #3\nbcc quick\nnop\nnop\nnop\n"
    + "quick: inx\ncpx #8\nbne loop\n"
    + LATCH
    + "ldy #8\nagain: lda $4016\nand #$03\ncmp #$01\nrol $01\ndey\nbne again\n"
    + "lda $00\ncmp $01\nbeq same\nlda $02\nsame: sta $02\nrts\n"
)
"""Two passes of different loops, the first uneven in itself; keeps the old state in memory."""
SECOND = (
    LATCH + "ldy #8\nloop: lda $4017\nand #$03\ncmp #$01\nrol $00\ndey\nbne loop\nlda $00\nrts\n"
)
LATCHED = "lda #1\nsta $4016\nlda $4016\nlsr a\nlda #0\nsta $4016\nrol a\nrts\n"
"""Reads the first button while the latch is high, and nothing else; hands on 0 or 1."""
UNTIL_PRESSED = LATCH + "ldx #0\nloop: inx\nlda $4016\nlsr a\nbcc loop\ntxa\nrts\n"
"""Reads on until a bit is pressed, and hands on which."""


def made(tmp_path, source, more=""):
    """Its file and a sheet with it as the poll."""
    file = tmp_path / "own.asm"
    file.write_text(source)
    return sheet(f'routine = "{file}"\n{more}')


def play(design, name, port=PORT, corner="slow"):
    scenario = (SCENARIOS | ROUTINE_SCENARIOS)[name]
    return run_scenario(design, scenario, port, corner)


def cycles(console, *counts):
    return [console_timing(console).to_ps(count) for count in counts]


@pytest.mark.parametrize("console", ["60hz", "50hz"])
@pytest.mark.parametrize("name", ["read-once", "read-until-agree-both"])
def test_the_wires_of_a_poll_are_those_of_the_routine_itself(name, console, pad):
    """Edge for edge what the routine's own accesses make, but for the rounding of single times."""
    own = case_wave(load_routine(name), Console(console_timing(console)), pad, held=0)
    played = play(sheet(f'routine = "{name}"\nconsole = "{console}"'), "idle")
    first = own.wires["console.latch"].rises()[0], played.timeline.wires["console.latch"].rises()[0]
    for wire in ("console.latch", "console.clock"):
        theirs, ours = (w.wires[wire].times[1:] for w in (own, played.timeline))
        moved = ours[: len(theirs)] - first[1] - (theirs - first[0])
        assert np.abs(moved).max() <= 2
        assert len(ours) == 2 * len(theirs)  # two polls


def test_a_poll_starts_once_a_frame_in_true_cycles():
    played = play(sheet('routine = "read-twice"'), "held")
    starts = played.timeline.wires["console.latch"].rises()[::2]
    frame = 16_639_267_300  # 29 780.5 cycles of 176/315 us, from memory
    assert np.abs(np.diff(starts) - frame).max() < 100_000


@pytest.mark.parametrize(
    ("source", "more"),
    [(UNEVEN, ""), (SECOND, ""), (LATCHED, ""), (UNTIL_PRESSED, ""), (SECOND, 'result = "$00"')],
)
def test_any_routine_that_reads_a_port_can_be_the_poll(source, more, tmp_path):
    design = made(tmp_path, source, more)
    names = ["bounce", "press-in-latch", "past-the-end", "stopped-last-bit", "fetch-cases"]
    for name in names:
        result = play(design, name)
        assert result.verdict == "pass", (name, result.problems, result.broken)


def test_what_is_judged_are_the_shortest_times_found_in_any_pass(tmp_path):
    design = with_timings(made(tmp_path, UNEVEN))
    # 17 cycles from read to read in the quick part of the first pass, 19 in the second one.
    loop = 4 + 2 + 5 + 2 + 3 + 2 + 2 + 3
    again = 4 + 2 + 2 + 5 + 2 + 3
    assert again < loop
    low, high = cycles("60hz", 1, again - 1)
    assert design.poll.clock_low.nominal == pytest.approx(low * 1e-12)
    assert design.poll.clock_high.nominal == pytest.approx(high * 1e-12, abs=3e-12)
    assert (design.poll.clocks, design.poll.passes) == (8, 2)


def test_the_second_port_alone_clocks_the_pad(tmp_path):
    result = play(made(tmp_path, SECOND), "each-button")
    assert result.accepted == tuple(128 >> place for place in range(8))


def test_a_sheet_says_which_pad_of_a_routine_for_two_it_is(tmp_path):
    """Of the shipped one for both, and of one that hands on the first pad's byte for both."""
    both = load_routine("read-once-both").sources["read-once-both"]
    buttons = tuple(128 >> place for place in range(8))
    for pad, port in ((1, 0x4016), (2, 0x4017)):
        found = sheet(f'routine = "read-once-both"\npad = {pad}')
        assert poll_of(found.poll).routine.ports[0] == port
        assert play(found, "each-button").accepted == buttons
    copied = both.replace("        rts", "        lda pad1\n        sta pad2\n        rts")
    wrong = play(made(tmp_path, copied, "pad = 2"), "each-button")
    assert wrong.accepted != buttons  # the other pad holds the opposite
    assert play(made(tmp_path, copied, "pad = 1"), "each-button").accepted == buttons
    with pytest.raises(RoutineError, match=r"second port only; leave out poll\.pad"):
        poll_of(made(tmp_path, SECOND, "pad = 1").poll)


@pytest.mark.parametrize(
    ("name", "handed_on"),
    [
        ("read-once", (0, 1, 0, 129, 128)),
        ("read-twice", (0, 0, 0, 0, 128)),  # differing passes: the old state
        ("read-until-agree", (0, 0, 0, 128, 128)),  # reads on, and has the new state at once
        ("read-twice-both", (0, 0, 0, 0, 128)),
    ],
)
def test_what_a_poll_hands_on_is_the_routines_own_doing(name, handed_on):
    """Nothing held, then A; the first pass's last bit is stopped, the second's, the first's."""
    result = play(sheet(f'routine = "{name}"'), "read-twice-rejects")
    assert result.problems == ()
    assert result.accepted == handed_on


def test_a_pad_that_reads_wrong_is_told_by_what_the_routine_hands_on():
    design = sheet('routine = "read-until-agree"')
    swapped = {**design.buttons, "Up": design.buttons["Down"], "Down": design.buttons["Up"]}
    result = play(design.model_copy(update={"buttons": swapped}), "each-button")
    assert [p.says for p in result.problems if "routine" in p.says] == [
        "poll 5: the routine hands on Down, expected: hands on Up",
        "poll 6: the routine hands on Up, expected: hands on Down",
    ]


INDEXED = (
    "lda #$16\nsta $30\nlda #$40\nsta $31\nldy #0\nlda #1\nsta ($30),y\nsta $40\nlsr a\n"
    "sta ($30),y\nloop: lda ($30),y\nlsr a\nrol $40\nbcc loop\nlda $40\nrts\n"
)
"""Each store to the port reads it in the cycle before, as the Hardware Manual has it."""


def test_a_store_that_reads_the_port_belongs_to_no_byte(tmp_path):
    result = play(made(tmp_path, INDEXED), "each-button")
    assert result.problems == ()
    assert result.broken == ()
    assert [pair.byte for pair in result.reads] == [128 >> place for place in range(8)]
    assert [pair.expected.byte for pair in result.reads] == [pair.byte for pair in result.reads]
    assert all(len(pair.read.clock_rises) > len(pair.read.bits) for pair in result.reads)


def test_its_clock_that_comes_after_the_load_is_the_cause(tmp_path):
    """The line that a resistor lifts is later than the latch that is pulled down: a bit is lost."""
    result = play(made(tmp_path, INDEXED), "each-button", "pull-down-only")
    says = [problem.says for problem in result.problems]
    assert says[0] == "read 1 of 8: held A, read Right"
    assert says[1] == "read 2 of 8: held B, read A+Right"
    design = with_timings(made(tmp_path, INDEXED))
    (broken,) = [one for one in with_remedies(design, result.findings) if one.verdict == "fail"]
    assert broken.id == "timing.removal"
    assert "sent before the load ends" in broken.says
    assert broken.remedy is not None
    assert "reads no port while its latch is high" in broken.remedy.says


def test_a_clock_that_never_arrives_is_followed_to_the_end(tmp_path):
    """The routine waits for a press that the wire never shows: it does not come back."""
    design = made(tmp_path, UNTIL_PRESSED)
    bare = design.resistors.model_copy(update={"clock_to_supply": None})
    design = design.model_copy(update={"resistors": bare})
    result = play(design, "idle", "pull-down-only")
    assert result.accepted == (None, None)
    assert any("does not come back, expected: hands on" in p.says for p in result.problems)


def test_the_routine_ends_up_with_exactly_the_bits_of_the_wire():
    """Each poll made again by a routine that is told what the finished wave shows."""
    design = sheet('routine = "read-until-agree"')
    setting = setting_of(design, PORT, "fast")
    result = play(design, "bounce", corner="fast")
    at = result.timeline.events["console.sample"]
    levels = iter(result.timeline.wires["cable.data"].before(at).tolist())

    class Wire:
        passes: ClassVar[list] = []

        def strobe(self, *_): ...
        def read(self, _):
            return next(levels) == LOW

    session, start = setting.routine.begin(), setting.period // 2
    again = [
        session.call(start + n * setting.period, Wire(), fetch=None, other=0, preset=None)[0]
        for n in range(len(result.accepted))
    ]
    assert tuple(again) == result.accepted
    assert next(levels, None) is None
    latches = result.timeline.wires["console.latch"].times
    assert np.abs(np.subtract(session.lines.latch, latches[1:])).max() == 0


def test_reads_that_no_routine_makes_are_made_one_by_one_at_its_shortest_times():
    result = play(sheet('routine = "read-twice"'), "open-serial-input")
    assert result.accepted == ()
    assert [len(pair.read.bits) for pair in result.reads] == [8, 16]


def test_the_worst_case_of_a_sweep_is_played_with_its_own_phase_and_state(pad):
    """Both passes lose a bit and agree: the wave shows nine clocks in each, and the wrong byte."""
    design = sheet(f'routine = "{EXPOSED}"')
    poll = setting_of(design, PORT, "slow").routine
    worst = fast.sweep(poll.routine, poll.console, 432).counterexample
    result = play(design, "fetch-cases")
    assert result.problems == ()
    assert result.accepted[1] == worst.got != worst.held
    first, second = result.reads[2:4]
    assert len(first.read.clock_rises) == len(second.read.clock_rises) == 9
    assert first.byte == second.byte == worst.got
    own = case_wave(poll.routine, poll.console, pad, held=worst.held, period=432, phase=worst.phase)
    theirs = np.diff(own.wires["console.clock"].times[1:])
    start = np.searchsorted(result.timeline.wires["console.clock"].times, first.read.start_ps)
    ours = np.diff(result.timeline.wires["console.clock"].times[start : start + len(theirs) + 1])
    assert np.abs(ours - theirs).max() <= 2
    told = {found.id: found.says for found in poll.findings()}
    assert told["routine.fetch"].startswith("exposed: ")


def test_each_kind_of_case_is_played_and_no_other():
    for name, says in [
        ("read-once", ["hand on a wrong byte", "no pass is misread"]),
        ("read-twice", ["makes a pass misread", "no pass is misread"]),
    ]:
        cases = setting_of(sheet(f'routine = "{name}"'), PORT, "slow").routine.cases()
        assert len(cases) == len(says)
        assert all(word in case.says for case, word in zip(cases, says, strict=True))


def test_repeated_reads_that_each_clock_lose_three_bits():
    result = play(sheet('routine = "read-once"\nrepeated-reads = "each"'), "stopped-last-bit")
    assert result.problems == ()
    assert len(result.reads[1].read.clock_rises) == 8 + 3


def test_where_repeated_reads_each_clock_every_low_pulse_is_half_a_cycle():
    """From memory: also in a routine that is never stopped; 279 ns of 559 at 60 Hz."""
    for mode, cycles in (("joined", 1), ("each", 0.5)):
        poll = poll_of(sheet(f'routine = "read-once"\nrepeated-reads = "{mode}"').poll)
        cycle = poll.console.timing.to_ps(2) / 2
        assert poll.timing.clock_low == pytest.approx(cycles * cycle, abs=1)
        # The data line is looked at when the clock rises.
        assert poll.timing.sample == poll.timing.clock_low
    assert poll.timing.clock_low == pytest.approx(279.4e3, abs=100)


def test_a_good_pad_passes_on_every_port_at_every_corner():
    result = try_sheet(sheet('routine = "read-twice"'), [SCENARIOS["bounce"]])
    assert result.verdict == "pass", [s.problems for s in result.runs]
    assert {"routine.result", "routine.fetch"} <= {found.id for found in result.findings}


def test_a_console_without_the_fault_stops_without_harm():
    design = sheet('routine = "read-once"\nconsole = "50hz"')
    result = run_scenario(design, SCENARIOS["stopped-last-bit"], "push-pull", "slow")
    assert [pair.byte for pair in result.reads] == [0, 0, 0]


@pytest.mark.parametrize(
    ("poll", "says"),
    [
        ('routine = "read-once"\nclocks = 8', "which brings its own timings, and clocks as well"),
        ('routine = "read-once"\nconsole = "70hz"', "is no known console"),
        ("routine = 3", "is not text in quotes"),
        ('use = "plain-loop"\nresult = "A"', "has result without a routine"),
        ('routine = "read-once"\nrepeated-reads = "some"', "repeated-reads"),
    ],
)
def test_polls_that_a_sheet_cannot_have(poll, says):
    with pytest.raises(SheetError, match=says):
        sheet(poll)


@pytest.mark.parametrize(
    ("source", "says"),
    [
        ("lda $4016\nrts", "never raises and drops the latch"),
        (LATCH + "rts", "never reads a port"),
        ("loop: jmp loop", "has not come back after 29780 cycles"),
        (".byte $02", "is not a documented opcode"),
    ],
)
def test_what_cannot_be_judged_is_refused_in_one_line(source, says, tmp_path):
    design = made(tmp_path, source)
    with pytest.raises(RoutineError, match=says) as refused:
        with_timings(design)
    assert "\n" not in str(refused.value)


def test_a_result_that_the_routine_never_writes_is_refused():
    with pytest.raises(RoutineError, match="never writes the place of its result"):
        with_timings(sheet('routine = "read-once"\nresult = "$55"'))


def test_a_result_that_hangs_on_what_stood_there_is_told(tmp_path):
    """Half of the byte is kept: right only as long as nothing changes."""
    half = "lda 0\nand #$F0\nsta 1\nlda 2\nand #$0F\nora 1\nsta 2\nrts"
    source = LATCH + "ldx #8\nl: lda $4016\nlsr a\nrol 0\ndex\nbne l\n" + half
    design = made(tmp_path, source, 'result = "$02"')
    (found, _) = poll_of(design.poll).findings()
    assert "depends on the byte that stood in the place of its result" in found.says


def test_a_routine_is_surveyed_once_for_a_sheet_however_many_ask(tmp_path, monkeypatch):
    """Reading the sheet, a setting for each port and corner, findings and the strip of the frame.

    Another place to begin is another routine, and so is another text in the same file.
    """
    surveyed = []
    whole = poll_module.undisturbed

    def counted(routine, console, held, **more):
        surveyed.append((routine.entry, held))
        return whole(routine, console, held, **more)

    monkeypatch.setattr(poll_module, "undisturbed", counted)
    file = tmp_path / "own.asm"
    file.write_text("nop\nown:\n" + SECOND)
    path = tmp_path / "pad.toml"

    def asked(more=""):
        surveyed.clear()
        text = SHEET.read_text().replace('use = "plain-loop"', f'routine = "{file}"\n{more}')
        path.write_text(text)
        result = verify(path, ["idle"])
        assert any(part.id == "frame" for part in result.sections)
        play_job(path, "idle")
        return surveyed

    assert asked() == [(0x8000, 0)]  # it goes alike whatever is held
    assert asked() == []
    assert asked('entry = "own"') == [(0x8001, 0)]
    file.write_text("nop\nnop\nown:\n" + SECOND)
    assert len(asked()) == 1


@pytest.mark.parametrize("source", [UNEVEN, SECOND, UNTIL_PRESSED, EXPOSED.read_text()])
def test_a_call_that_is_remembered_does_what_it_did_when_it_was_run(tmp_path, source):
    """Of sessions with other presses and stops one after the other, and each by itself."""
    poll = poll_of(made(tmp_path, source).poll)
    pad = setting_of(made(tmp_path, source), PORT, "slow").pad
    period = poll.period

    def session(seed, poll):
        rng = random.Random(seed)
        moves = [(0, 0), *((at * period // 3, rng.choice((0, 1, 128, 255))) for at in range(1, 30))]
        answering, calls = AnsweringPad(pad, moves, ()), poll.begin()
        said = []
        for at in range(10):
            fetch, other = (
                rng.choice((None, None, (432, 17), (432, 49), (576, 101))),
                rng.choice((0, 255)),
            )
            answering.begin(0, ())
            preset = 3 if at == 6 else None
            said.append(calls.call(at * period, answering, fetch=fetch, other=other, preset=preset))
        return said, calls.lines, answering.expected, answering.told

    for seed in (1, 2, 1, 3):
        alone = replace(poll, calls={})
        alone.counted(poll.sweeps)
        assert session(seed, poll) == session(seed, alone)
    assert len(poll.calls) > 3


def test_an_unknown_routine_is_refused():
    with pytest.raises(RoutineError, match="neither a shipped routine"):
        routine_poll("none", "60hz")


def test_the_shipped_sheet_is_untouched():
    assert load_sheet(SHEET).poll.routine is None


def test_the_sheet_says_where_the_result_was_found(tmp_path):
    path = tmp_path / "mine.asm"
    text = load_routine("read-once").sources["read-once"].split("; padbench: ")[0].rstrip()
    assert text.endswith("rts")
    path.write_text(text[: -len("rts")] + "ldx #0\n txa\n rts\n")
    result, _ = routine_poll(str(path), "60hz").findings()
    assert "as they are held, in $00 (buttons) (found by running it)" in result.says
    named, _ = routine_poll(str(path), "60hz", result="buttons").findings()
    assert named.says.endswith("as they are held")
