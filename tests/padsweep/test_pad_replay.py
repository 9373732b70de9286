"""Cases played again on the MyHDL model read what the sweep counted."""

import random

import numpy as np
import pytest

from padbench.core.findings import Source
from padbench.core.limits import Limit, Limits
from padbench.core.pad import Defect, LineDelays, PadModel
from padbench.core.stimulus import PollTiming
from padbench.model.simulation import simulate
from padbench.padsweep.counting import count_parts, moments, pad_parts, run_part
from padbench.padsweep.replay import case_from_text, case_text, case_timing, pad_case
from padbench.padsweep.tally import FAULTS, PadCase, PadExample, PadPart, PadTally
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
    "no pull-ups": {"floating": True, "stage_of": SWAPPED},
    "upside down": {"load_inverted": True},
    "no latch": {"latch_line": NOTHING},
    "latch that stays": {"latch_line": LineDelays(0, None)},
    "no clock": {"clock_line": NOTHING},
    "neither": {"latch_line": NOTHING, "clock_line": NOTHING},
    "dead and bridged": {"defect": Defect(dead=0x80, also=((64, 3), (4, 7)))},
    "inputs stuck": {"defect": Defect(inputs=(0x91, 0x10))},
    "weak and loose": {"defect": Defect(no_level=(0x0A, 0x60))},
    "stages stuck": {"defect": Defect(stages=(0x24, 0x20), serial=1)},
    "latch high": {"defect": Defect(latch="high", inverted=True)},
    "clock gone": {"defect": Defect(clock="low", serial=2)},
    "clock lost": {"defect": Defect(lost=3)},
    "clock twice": {"defect": Defect(extra=5)},
    "data low": {"defect": Defect(data=0)},
    "twelve, no latch": {"latch_line": NOTHING, "stages": 12},
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
        scenario,
        script,
        timeline,
        pad.limits,
        port="any",
        corner="fast",
        play=lambda: read_back(script, timeline),
    )


def played(pad, case, clocks=8):
    """The read of the case itself."""
    return judged(pad, case, clocks).reads[1]


@pytest.mark.parametrize(
    ("name", "clocks"), [*((name, 8) for name in PADS), ("swapped", 5), ("synchronous", 11)]
)
def test_first_cases_of_every_kind_read_as_counted(name, clocks, limits):
    """Of random blocks of pads with all kinds of faults; also that each is of its kind."""
    pad = PadModel(limits, **PADS[name])
    blocks = [part for parts in pad_parts(clocks) for part in parts]
    kinds = set()
    for part in random.Random(name).sample(blocks, 4):
        tally = count_parts(pad, [part], clocks)
        kinds |= set(tally.first)
        for kind, found in tally.first.items():
            read = played(pad, found, clocks)
            assert (read.byte, read.expected.byte) == (found.got, found.expected), (kind, found)
            assert read.as_expected == (kind not in FAULTS and not wrong(tally, found))
            held = read.expected.passed_on & 0xFF00 >> min(8, clocks)
            assert is_of(kind, found, held, read), (kind, found)
    assert kinds or name == "good"


def wrong(tally, found):
    """Whether the case is one of the wrong ones, as opposite directions may be."""
    return (tally.wrong and found.got != found.expected) or found == tally.first.get("past_the_end")


def is_of(kind, found, held, read):
    got, must = found.got, found.expected
    both = any(got & pair == pair for pair in (0x0C, 0x03))
    return {
        "seen_not_pressed": got & ~must,
        "pressed_not_seen": must & ~got,
        "past_the_end": read.read.bits[8:] != read.expected.bits[8:],
        "spoilt_not_pressed": got == must and got & ~held,
        "spoilt_not_seen": got == must and held & ~got,
        "opposites": both,
    }[kind]


@pytest.mark.parametrize("part", [PadPart(0, 0, 0, 5), PadPart(1, 6, 2, 0), PadPart(0, 3, 1, 9)])
def test_every_count_of_a_block_by_plain_arithmetic(part, limits):
    """All 65 536 reads as bytes; what must come out from `expected_bits`."""
    pad = PadModel(limits, stage_of=SWAPPED)
    tally = count_parts(pad, [part])
    bits = [np.unpackbits(w.view(np.uint8), bitorder="little") for w in run_part(pad, part)]
    got = sum(bit.astype(int) << 7 - place for place, bit in enumerate(bits))
    case = np.arange(1 << 16)
    held = case & 0xFF if part.moment <= 1 else case >> 8
    must = np.array(
        [
            sum(128 >> n for n, bit in enumerate(bits) if bit)
            for bits in (
                expected_bits(
                    state, serial=part.tie, stopped_bit=part.stopped_bit, extra_clocks=part.extra
                )
                for state in range(256)
            )
        ]
    )[held]

    def by_button(mask):
        return [int(np.count_nonzero(mask & 128 >> place)) for place in range(8)]

    right, stopped = got == must, bool(part.stopped_bit)
    both = (got & 0x0C == 0x0C) | (got & 0x03 == 0x03)
    assert (tally.wrong, tally.opposites) == ((~right).sum(), both.sum())
    assert (tally.ghost, tally.missed) == (by_button(got & ~must), by_button(must & ~got))
    assert (tally.shown, tally.lost) == (by_button(got & ~held), by_button(held & ~got))
    spoilt = (tally.spoilt, tally.spoilt_ghost, tally.spoilt_missed)
    for count, mask in zip(spoilt, (got ^ held, got & ~held, held & ~got), strict=True):
        assert count == stopped * np.count_nonzero(right & (mask != 0))
    for kind, mask in (("seen_not_pressed", got & ~must), ("opposites", both)):
        first = int(np.flatnonzero(mask)[0])
        assert tally.first[kind] == PadExample(
            first >> 8, first & 0xFF, part, int(must[first]), int(got[first])
        )


@pytest.mark.parametrize("name", PADS)
def test_blocks_counted_together_are_those_counted_one_by_one(name, limits):
    """Counts and first examples, in whichever order; blocks that are alike are run together."""
    pad = PadModel(limits, **PADS[name])
    parts = random.Random(name).choice(pad_parts(8))
    whole, turned = count_parts(pad, parts), PadTally()
    for part in reversed(parts):
        turned.add(count_parts(pad, [part]))
    assert turned == whole
    for kind, found in whole.first.items():
        alone = [count_parts(pad, [part]).first.get(kind) for part in parts]
        assert found == next(one for one in alone if one is not None)


# For how long a bit is held is no time that anything has to wait, nor how the clock stands.
@pytest.mark.parametrize(
    "slow", sorted(set(Limits.__dataclass_fields__) - {"hold", "clock_at_load_end"})
)
def test_a_part_that_is_slow_gets_a_slower_read(slow, limits):
    """A limit of a millisecond, as a program has it; no bit is in doubt."""
    figures = {name: getattr(limits, name) for name in Limits.__dataclass_fields__}
    pad = PadModel(Limits(**figures | {slow: Limit(1_000 * US, (Source("a program", "assumed"),))}))
    result = judged(pad, PadCase(0xA5, 0x5A, PadPart(1, 3, 2, 7)))
    assert result.verdict == "pass"
    assert not any(read.read.undecided for read in result.reads)
    assert case_timing(pad.limits).length > 1_000 * US


def test_words_of_a_case_and_back():
    draw = random.Random(2)
    for _ in range(300):
        bit = draw.randrange(9)
        extra = draw.randint(1, 3) if bit else 0
        part = PadPart(draw.randrange(2), bit, extra, draw.randrange(moments(8, bit, extra)))
        case = PadCase(draw.randrange(256), draw.randrange(256), part)
        assert case_from_text(case_text(case)) == case
    assert case_from_text("held=129") == PadCase(129, 129, PadPart(0, 0, 0, 0))
    assert case_text(PadExample(0, 1, PadPart(1, 0, 0, 4), 0, 1)) == (
        "held=nothing then=Right at=4 serial-input=supply"
    )


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "held is missing"),
        ("held=C", '"C" is no button'),
        ("held=256", "from 0 to 255"),
        ("held=A held=B", "twice"),
        ("held=A stage=3", "is none of held, then, at"),
        ("held", "is none of"),
        ("held=A stopped-bit=9", "from 0 to 8"),
        ("held=A stopped-bit=1 extra-clocks=4", "from 1 to 3"),
        ("held=A at=-1", "at=-1: write a number"),
        ("held=A serial-input=open", "ground or supply"),
    ],
)
def test_words_that_are_no_case(text, says):
    with pytest.raises(ValueError, match=says):
        case_from_text(text)


@pytest.mark.parametrize("text", ["held=A at=20", "held=A at=17 stopped-bit=8"])
def test_a_moment_or_bit_that_the_reads_do_not_have(text, limits):
    case = case_from_text(text)
    with pytest.raises(ValueError, match=r"this read has|the poll reads"):
        pad_case(case).build(setting(PadModel(limits), 8 if "20" in text else 7))
