"""Noise: up to half the gap between the thresholds no read changes; beyond it none is wrong."""

import numpy as np
import pytest

from padbench.capture.inspect import inspect, usual_settings
from padbench.core.levels import HIGH, LOW
from padbench.waveio import THRESHOLDS, Piece

US = 1_000_000
TICK = 50_000
HELD = [0x00, 0x80, 0x5A, 0x01, 0xC3, 0xFF, 0x00]
GAP = THRESHOLDS.high - THRESHOLDS.low


def clean():
    """Times (ps) and volts of latch, clock, data: rail to rail, edges of 300 ns."""
    end = (len(HELD) * 120 + 20) * US
    times = np.arange(0, end, TICK)
    lines = {"latch": [(0, 0)], "clock": [(0, 1)], "data": [(0, 1)]}
    for number, byte in enumerate(HELD):
        start = (number * 120 + 10) * US
        lines["latch"] += [(start, 1), (start + 9 * US, 0)]
        levels = [1 - (byte >> 7 - n & 1) for n in range(8)] + [0]
        lines["data"].append((start + US // 4, levels[0]))
        for n in range(8):
            fall = start + 14 * US + n * 6 * US
            lines["clock"] += [(fall, 0), (fall + 600_000, 1)]
            lines["data"].append((fall + 850_000, levels[n + 1]))
    volts = {}
    for name, changes in lines.items():
        points = [(changes[0][0], 5.0 * changes[0][1])]
        for when, level in changes[1:]:
            points += [(when - 150_000, points[-1][1]), (when + 150_000, 5.0 * level)]
        volts[name] = np.interp(times, *zip(*points, strict=True))
    return times, volts


TIMES, VOLTS = clean()


def seen(amplitude, seed, shape="uniform"):
    random = np.random.default_rng(seed)
    changes = {}
    for name, volts in VOLTS.items():
        noise = random.uniform(-1, 1, len(volts))
        if shape == "two-valued":
            noise = np.sign(noise)
        changes[name] = (TIMES, THRESHOLDS.zones(volts + amplitude * noise))
    return inspect([Piece(int(TIMES[-1]), changes)], usual_settings())


@pytest.mark.parametrize("shape", ["uniform", "two-valued"])
@pytest.mark.parametrize("part", [0, 0.2, 0.4, 0.6, 0.8, 0.9, 0.999])
def test_up_to_half_the_gap_no_read_changes(part, shape):
    for seed in range(4):
        reads = [*seen(part * GAP / 2, seed, shape).reads()]
        assert [read.byte for read in reads] == HELD
        assert all(read.sure for read in reads)


@pytest.mark.parametrize("amplitude", [1.1, 1.3, 1.5, 1.6, 1.8, 2.0, 2.4, 2.8, 3.2])
def test_beyond_it_reads_are_undecided_rather_than_wrong(amplitude):
    undecided = 0
    for seed in range(4):
        for read in seen(amplitude, seed).reads():
            held = HELD[min(max((read.start_ps // US - 5) // 120, 0), len(HELD) - 1)]
            known = 0xFF & ~(read.undecided | read.missing)
            assert (read.byte ^ held) & known == 0
            undecided += not read.sure
    if amplitude >= 1.8:
        assert undecided


def test_without_hysteresis_the_same_noise_would_be_read_wrong():
    """So that the tests above are known to have something to hold against."""
    noise = np.random.default_rng(1).uniform(-0.95, 0.95, len(TIMES))
    plain = VOLTS["clock"] + noise > (THRESHOLDS.low + THRESHOLDS.high) / 2
    assert np.count_nonzero(np.diff(plain.astype(int)) > 0) > 8 * len(HELD)


def test_a_runt_is_found_where_it_is():
    volts = VOLTS["clock"].copy()
    at = 28 * US
    volts[at // TICK : at // TICK + 3] = 2.5
    changes = {n: (TIMES, THRESHOLDS.zones(v)) for n, v in (VOLTS | {"clock": volts}).items()}
    result = inspect([Piece(int(TIMES[-1]), changes)], usual_settings())
    assert result.runts == {"latch": (0, ()), "clock": (1, (at,))}
    first = next(result.reads())
    # One of its clocks came before; from the second bit on the pad may have shifted.
    assert first.undecided == 0b01111111
    assert {LOW, HIGH} == {0, 1}
