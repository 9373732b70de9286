"""Blocks of a pad's cases against the MyHDL model and plain arithmetic."""

import random

import numpy as np
import pytest

from padbench.core.decode import decode
from padbench.core.pad import Defect, LineDelays, PadModel
from padbench.core.stimulus import ScriptedRead, Stimulus
from padbench.model.bench import simulate
from padbench.padsweep import counting
from padbench.padsweep.counting import (
    PAIRS,
    ContactLanes,
    count_parts,
    moments,
    pad_parts,
    run_part,
)
from padbench.padsweep.replay import case_timing, moment_ps
from padbench.padsweep.tally import PadPart, PadTally
from padbench.scenarios.expect import expected_bits, held_state

PARTS, CASES = 25, 100
SWAPPED = ((128, 8), (64, 7), (32, 6), (16, 5), (8, 3), (4, 4), (2, 1), (1, 1))
PADS = {
    "plain": {},
    "swapped": {"stage_of": SWAPPED, "serial": 1},
    "neither": {"policy": "neither"},
    "newer": {"policy": "newer"},
    "older": {"policy": "older", "stuck": 0x08},
    "stuck": {"stuck": 0x81, "policy": "newer"},
    "twelve": {"stages": 12, "stage_of": tuple((1 << bit, bit + 5) for bit in range(8))},
    "inverted": {"load_inverted": True},
}

BLOCKS = [part for parts in pad_parts(8) for part in parts]


def count_part(pad, part):
    return count_parts(pad, [part])


@pytest.mark.parametrize("name", PADS)
def test_20_000_random_cases_as_the_myhdl_model(name, limits):
    """2 500 for each of eight pads, drawn from the blocks that a sweep counts; both in one go."""
    pad = PadModel(limits, **PADS[name])
    draw = random.Random(name)
    reads, moves, wanted = [], [(0, pad.stuck)], []
    at, timing = 1_000_000_000, case_timing(limits)
    for part in draw.sample(BLOCKS, PARTS):
        seen = run_part(pad, part)
        for case in draw.sample(range(PAIRS), CASES):
            before, after = case >> 8, case & 0xFF
            first = ScriptedRead(at, timing, serial=part.tie)
            second = ScriptedRead(
                at + 200_000_000, timing, part.stopped_bit, part.extra, serial=part.tie
            )
            moves += [
                (at - 20_000_000, before | pad.stuck),
                (moment_ps(second, part.moment), after | pad.stuck),
                (second.start + second.length + 50_000_000, pad.stuck),
            ]
            reads += [first, second]
            at = second.start + 300_000_000
            wanted.append(sum(128 >> bit for bit in range(8) if level(seen[bit], case)))
    timeline = simulate(pad, Stimulus(tuple(moves), tuple(reads), at))
    got = list(decode(timeline))[1::2]
    assert len(got) == PARTS * CASES
    assert not any(read.undecided for read in got)
    assert [read.byte for read in got] == wanted


def level(wire, case):
    return int(wire[case // 64]) >> (case % 64) & 1


def packed(bits):
    return np.packbits(bits, bitorder="little").view(np.uint64)


def unpacked(words):
    return np.unpackbits(words.view(np.uint8), bitorder="little")


@pytest.mark.parametrize("policy", ["both", "neither", "newer", "older"])
@pytest.mark.parametrize("stuck", [0x00, 0x0A])
def test_contacts_follow_the_policy_through_random_moves(policy, stuck, limits):
    """Against `held_state`, which looks back over all moves, in 640 cases of 9 moves."""
    draw = np.random.default_rng(4)
    moves = draw.choice([0, 4, 8, 12, 3, 1, 2, 0xFF, 0x0F], (9, 640))
    contacts = ContactLanes(PadModel(limits, policy=policy, stuck=stuck), 10)
    done = [[(0, stuck)] for _ in range(640)]
    for time, now in enumerate(moves, 1):
        contacts.move([packed(now >> (7 - place) & 1 == 1) for place in range(8)])
        for case, byte in enumerate(now.tolist()):
            done[case].append((time, byte | stuck))
        wires = [unpacked(wire) for wire in contacts.effective()]
        got = sum(wire.astype(int) << (7 - place) for place, wire in enumerate(wires))
        assert got.tolist() == [held_state(row, time, policy) for row in done]


def test_a_good_pad_is_right_in_every_block_of_either_tie(limits):
    assert len(BLOCKS) == len(set(BLOCKS)) == 2 * (19 + 8 * (20 + 21 + 22))
    for parts in pad_parts(8):
        tally = count_parts(PadModel(limits), parts)
        assert (tally.wrong, tally.cases) == (0, PAIRS * len(parts))


@pytest.mark.parametrize(("tie", "bit", "extra"), [(0, 8, 1), (0, 3, 1), (1, 5, 2), (0, 2, 3)])
def test_spoilt_reads_are_as_many_as_by_enumeration(tie, bit, extra, limits):
    """Class C: one bit is lost, later ones move up, the serial input's level comes in."""
    part = PadPart(tie, bit, extra, moments(8, bit, extra) - 1)
    tally = count_part(PadModel(limits), part)
    spoilt = ghost = 0
    for held in range(256):
        bits = expected_bits(held, serial=tie, stopped_bit=bit, extra_clocks=extra)
        read = sum(128 >> place for place, one in enumerate(bits) if one)
        spoilt += read != held
        ghost += bool(read & ~held)
    assert (tally.spoilt, tally.spoilt_ghost) == (256 * spoilt, 256 * ghost)
    if extra == 1 and not tie:
        assert spoilt == 256 - 2 ** (bit - 1)


def test_two_buttons_swapped_are_seen_and_missed(limits):
    """Up and Down change places: wrong in the half of the states in which they differ."""
    pad = PadModel(limits, stage_of=(*SWAPPED[:6], (2, 2), (1, 1)))
    tally = count_part(pad, PadPart(0, 0, 0, 18))
    assert tally.wrong == PAIRS // 2
    assert tally.ghost == tally.missed == [0, 0, 0, 0, PAIRS // 4, PAIRS // 4, 0, 0]


@pytest.mark.parametrize(
    "fault",
    [
        {"load": "synchronous"},
        {"load_inverted": True},
        {"floating": True},
        {"latch_line": LineDelays(None, None)},
        {"clock_line": LineDelays(None, None)},
    ],
    ids=lambda fault: next(iter(fault)),
)
def test_faults_that_the_sweep_must_see(fault, limits):
    assert count_part(PadModel(limits, **fault), PadPart(1, 0, 0, 18)).wrong > PAIRS // 2


@pytest.mark.parametrize(
    ("defect", "ghost", "missed"),
    [
        (Defect(no_level=(0, 0x80)), 0, PAIRS // 2),
        (Defect(no_level=(0x80, 0)), PAIRS // 2, 0),
        (Defect(dead=0x80), 0, PAIRS // 2),
        (Defect(inputs=(0x80, 0)), PAIRS // 2, 0),
        (Defect(stages=(0x80, 0x80)), 0, PAIRS // 2),
    ],
)
def test_a_defect_of_one_input_is_seen_in_half_of_all_cases(defect, ghost, missed, limits):
    """Stage 8 is read first: what is wrong with it spoils no other bit, but once it is stuck."""
    tally = count_part(PadModel(limits, defect=defect), PadPart(1, 0, 0, 18))
    assert (tally.ghost[0], tally.missed[0]) == (ghost, missed)
    if not defect.stages[0]:
        assert sum(tally.ghost[1:]) == sum(tally.missed[1:]) == 0


def test_tallies_joined_in_any_order_are_the_same(limits):
    pad = PadModel(limits, stage_of=SWAPPED)
    tallies = [count_part(pad, part) for part in BLOCKS[:40]]
    ways = []
    for order in (tallies, tallies[::-1], random.Random(3).sample(tallies, 40)):
        whole = PadTally()
        for tally in order:
            whole.add(tally)
        ways.append(whole)
    assert ways[0] == ways[1] == ways[2]
    assert ways[0].cases == 40 * PAIRS
    in_one = PadTally()
    for parts in (BLOCKS[:19], BLOCKS[19:39], BLOCKS[39:40]):
        in_one.add(count_parts(pad, parts))
    assert in_one == ways[0]


def test_a_stage_stuck_high_would_be_noticed(limits, monkeypatch):
    """The judgement does not come from the register: break that, and cases are wrong."""
    whole = counting._Register._clock

    def broken(self):
        whole(self)
        self.stages[3] = frozenset()

    monkeypatch.setattr(counting._Register, "_clock", broken)
    # Three of eight bits come through the fourth stage after it went wrong.
    assert count_part(PadModel(limits), PadPart(0, 0, 0, 18)).wrong == PAIRS * 7 // 8
