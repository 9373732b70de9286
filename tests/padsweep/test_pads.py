"""Every case of a pad: against the MyHDL model, plain arithmetic, and as a case played again."""

import random
from types import SimpleNamespace

import pytest

from padbench.core.buttons import byte_of
from padbench.core.findings import Source
from padbench.core.limits import Limit, Limits
from padbench.core.pad import Defect, LineDelays, PadModel
from padbench.core.stimulus import PollTiming
from padbench.model.simulation import simulate
from padbench.padsweep import counting
from padbench.padsweep.counting import (
    FAULTS,
    KINDS,
    STATES,
    PadCase,
    PadCounts,
    PadExample,
    PadPart,
    PadTally,
    pad_parts,
    read_part,
)
from padbench.padsweep.replay import case_from_text, case_text, case_timing, pad_case
from padbench.scenarios import Setting
from padbench.scenarios.expect import expected_bits
from padbench.trials.trial import judge, read_back

US = 1_000_000
SWAPPED = ((128, 8), (64, 7), (32, 6), (16, 5), (8, 3), (4, 4), (2, 2), (1, 1))
TWO_ON_ONE = (*SWAPPED[:6], (2, 2), (1, 2))
NOTHING = LineDelays(None, None)
PADS = {
    "good": {"policy": "newer"},
    "swapped": {"stage_of": SWAPPED, "serial": None},
    "two on a stage": {"stage_of": TWO_ON_ONE, "policy": "older"},
    "stuck": {"stage_of": SWAPPED, "stuck": 0x41, "policy": "neither"},
    "synchronous": {"load": "synchronous"},
    "synchronous twelve": {"load": "synchronous", "stages": 12},
    "twelve": {"stages": 12, "stage_of": tuple((1 << bit, bit + 5) for bit in range(8))},
    "no pull-ups": {"floating": True, "stage_of": SWAPPED},
    "upside down": {"load_inverted": True},
    "no latch": {"latch_line": NOTHING},
    "latch that stays": {"latch_line": LineDelays(0, None)},
    "no clock": {"clock_line": NOTHING},
    "neither": {"latch_line": NOTHING, "clock_line": NOTHING},
    "dead and bridged": {"defect": Defect(dead=0x80, joined=((7, 3), (3, 7)))},
    "swapped, a stage early": {"defect": Defect(moved=((8, 3), (4, 4)), early=True)},
    "input at the output": {"defect": Defect(joined=((8, 4),), drags=8)},
    "inputs stuck": {"defect": Defect(inputs=(0x91, 0x10))},
    "weak and loose": {"defect": Defect(no_level=(0x0A, 0x60))},
    "stages stuck": {"defect": Defect(stages=(0x24, 0x20), serial=1)},
    "latch high": {"defect": Defect(latch="high", inverted=True)},
    "clock gone": {"defect": Defect(clock="low", serial=2)},
    "clock lost": {"defect": Defect(lost=3)},
    "clock twice": {"defect": Defect(extra=5)},
    "data low": {"defect": Defect(data=0)},
}


def setting(pad, clocks=8):
    timing = PollTiming(12 * US, 12 * US, US, US, US // 2, clocks)
    return Setting(pad, timing, period=1_000 * US, bounce=US)


def judged(pad, case, clocks=8):
    """A case as `play` judges it."""
    scenario, wanted = pad_case(case), setting(pad, clocks)
    script = scenario.build(wanted)
    timeline = simulate(pad, script.stimulus)
    return judge(
        scenario, script, timeline, pad.limits, port="any", corner="fast",
        play=lambda: read_back(script, timeline),
    )  # fmt: skip


def counted(pad, part, clocks=8):
    return PadTally.of([read_part(pad, pad.policy, part, clocks)])


@pytest.mark.parametrize(
    ("name", "clocks"), [*((name, 8) for name in PADS), ("swapped", 5), ("synchronous", 11)]
)
def test_cases_read_on_the_myhdl_model_as_they_were_counted(name, clocks, limits):
    """The first case of each kind of random parts, and that a case which is of none is right."""
    pad = PadModel(limits, **PADS[name])
    parts = [part for policy, part in pad_parts(pad, clocks) if policy == pad.policy]
    draw = random.Random(name)
    for part in draw.sample(parts, 3):
        tally = counted(pad, part, clocks)
        for kind, found in tally.first.items():
            read = judged(pad, found, clocks).reads[1]
            assert (read.byte, read.expected.byte) == (found.got, found.expected), (kind, found)
            if kind in FAULTS:
                assert not read.as_expected
        if not tally.wrong:
            case = PadCase(draw.randrange(STATES), part)
            assert judged(pad, case, clocks).reads[1].as_expected


def test_a_good_pad_is_right_in_every_part(limits):
    pad = PadModel(limits)
    counts = PadCounts(["any"], pad, 8)
    parts = list(pad_parts(pad, 8))
    assert len(parts) == len(set(parts)) == 4 * 2 * (1 + 8 * 3)
    for policy, part in parts:
        counts.reads[policy, part] = read_part(pad, policy, part)
    assert (counts.whole.wrong, counts.whole.cases) == (0, STATES * 50)
    assert counts.safest == [("neither", 1), ("newer", 1), ("older", 1)]
    assert counts.total("both", 1, stopped=True).cases == STATES * 24


@pytest.mark.parametrize(("tie", "bit", "extra"), [(0, 8, 1), (0, 3, 1), (1, 5, 2), (0, 2, 3)])
@pytest.mark.parametrize("swapped", [False, True])
def test_every_count_of_a_part_by_enumeration(tie, bit, extra, swapped, limits):
    """One bit is lost, later ones move up, the serial input's level comes in (common practice)."""
    pad = PadModel(limits, stage_of=SWAPPED) if swapped else PadModel(limits)
    tally = counted(pad, PadPart(tie, bit, extra))
    wanted = SimpleNamespace(
        cases=STATES, wrong=0, spoilt=0, numbers=dict.fromkeys(KINDS, 0), first={},
        first_wrong=None, **{name: [0] * 8 for name in ("ghost", "missed", "shown", "lost")},
    )  # fmt: skip
    for held in range(STATES):

        def read(state):
            bits = expected_bits(state, serial=tie, stopped_bit=bit, extra_clocks=extra)
            return sum(128 >> place for place, one in enumerate(bits) if one)

        there = held & 0xF3 | (held & 8) >> 1 | (held & 4) << 1 if swapped else held
        got, must = read(there), read(held)
        spoilt = got == must
        wanted.wrong += got != must
        wanted.spoilt += spoilt and got != held
        seen = {
            "seen_not_pressed": got & ~must,
            "pressed_not_seen": must & ~got,
            "past_the_end": 0,
            "spoilt_not_pressed": spoilt and got & ~held,
            "spoilt_not_seen": spoilt and held & ~got,
            "opposites": got & 0x0C == 0x0C or got & 0x03 == 0x03,
        }
        for kind, met in seen.items():
            wanted.numbers[kind] += bool(met)
            if met and kind not in wanted.first:
                wanted.first[kind] = PadExample(held, PadPart(tie, bit, extra), must, got)
        masks = {"ghost": got & ~must, "missed": must & ~got, "shown": got & ~held}
        for name, mask in (masks | {"lost": held & ~got}).items():
            for place in range(8):
                getattr(wanted, name)[place] += bool(mask & 128 >> place)
        if got != must and wanted.first_wrong is None:
            wanted.first_wrong = PadExample(held, PadPart(tie, bit, extra), must, got)
    assert vars(tally) == vars(wanted)
    if extra == 1 and not tie and not swapped:
        assert tally.spoilt == 256 - 2 ** (bit - 1)


@pytest.mark.parametrize(
    "fault",
    [
        {"load": "synchronous"},
        {"load_inverted": True},
        {"floating": True},
        {"latch_line": NOTHING},
        {"clock_line": NOTHING},
    ],
    ids=lambda fault: next(iter(fault)),
)
def test_faults_that_the_sweep_must_see(fault, limits):
    assert counted(PadModel(limits, **fault), PadPart(1)).wrong > STATES // 2


@pytest.mark.parametrize(
    ("defect", "ghost", "missed"),
    [
        (Defect(no_level=(0, 0x80)), 0, STATES // 2),
        (Defect(no_level=(0x80, 0)), STATES // 2, 0),
        (Defect(dead=0x80), 0, STATES // 2),
        (Defect(inputs=(0x80, 0)), STATES // 2, 0),
        (Defect(stages=(0x80, 0x80)), 0, STATES // 2),
    ],
)
def test_a_defect_of_one_input_is_seen_in_half_of_all_cases(defect, ghost, missed, limits):
    """Stage 8 is read first: what is wrong with it spoils no other bit, but once it is stuck."""
    tally = counted(PadModel(limits, defect=defect), PadPart(1))
    assert (tally.ghost[0], tally.missed[0]) == (ghost, missed)
    if not defect.stages[0]:
        assert sum(tally.ghost[1:]) == sum(tally.missed[1:]) == 0


def test_counts_of_parts_together_are_the_sums_of_theirs(limits):
    pad = PadModel(limits, stage_of=SWAPPED)
    reads = [read_part(pad, "both", part) for policy, part in pad_parts(pad, 8) if policy == "both"]
    whole, each = PadTally.of(reads), [PadTally.of([one]) for one in reads]
    assert whole.cases == 50 * STATES
    assert whole.wrong == sum(one.wrong for one in each)
    assert whole.ghost == [sum(column) for column in zip(*(one.ghost for one in each), strict=True)]
    for kind, found in whole.first.items():
        assert found == next(one.first[kind] for one in each if kind in one.first)
    assert PadTally.of([]).cases == 0


def test_the_judgement_does_not_come_from_the_register(limits, monkeypatch):
    """Break that, and cases are wrong."""
    whole = counting._events
    monkeypatch.setattr(counting, "_events", lambda *asked: ["clock" if e == "fall" else e
                                                             for e in whole(*asked)])  # fmt: skip
    assert counted(PadModel(limits), PadPart(0)).wrong > STATES // 2


# For how long a bit is held is no time that anything has to wait, nor how the clock stands.
@pytest.mark.parametrize(
    "slow", sorted(set(Limits.__dataclass_fields__) - {"hold", "clock_at_load_end"})
)
def test_a_part_that_is_slow_gets_a_slower_read(slow, limits):
    """A limit of a millisecond, as a program has it; no bit is in doubt."""
    figures = {name: getattr(limits, name) for name in Limits.__dataclass_fields__}
    pad = PadModel(Limits(**figures | {slow: Limit(1_000 * US, (Source("a program", "assumed"),))}))
    result = judged(pad, PadCase(0xA5, PadPart(1, 3, 2)))
    assert result.verdict == "pass"
    assert not any(read.read.undecided for read in result.reads)
    assert case_timing(pad.limits).length > 1_000 * US


def test_words_of_a_case_and_back():
    draw = random.Random(2)
    for _ in range(300):
        bit = draw.randrange(9)
        part = PadPart(draw.randrange(2), bit, draw.randint(1, 3) if bit else 0)
        case = PadCase(draw.randrange(256), part)
        assert case_from_text(case_text(case)) == case
    assert case_from_text("held=129") == PadCase(129, PadPart(0))
    assert case_from_text("held=A+Up").held == byte_of(["A", "Up"])
    assert case_text(PadExample(1, PadPart(1), 0, 1)) == "held=Right serial-input=supply"


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "held is missing"),
        ("held=C", '"C" is no button'),
        ("held=256", "from 0 to 255"),
        ("held=A held=B", "twice"),
        ("held=A stage=3", "is none of held, stopped-bit"),
        ("held", "is none of"),
        ("held=A stopped-bit=9", "from 0 to 8"),
        ("held=A stopped-bit=1 extra-clocks=4", "from 1 to 3"),
        ("held=A stopped-bit=-1", "stopped-bit=-1: write a number"),
        ("held=A serial-input=open", "ground or supply"),
    ],
)
def test_words_that_are_no_case(text, says):
    with pytest.raises(ValueError, match=says):
        case_from_text(text)


def test_a_bit_that_the_reads_do_not_have(limits):
    case = case_from_text("held=A stopped-bit=8")
    with pytest.raises(ValueError, match="the poll reads 7 bits"):
        pad_case(case).build(setting(PadModel(limits), 7))
