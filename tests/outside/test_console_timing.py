"""Clock, lines and frames of the consoles against the broadcast standards, and what people see."""

from itertools import pairwise

import pytest
from yardstick import baseline_of

from padbench.parts import console_timing
from padbench.routines.console import Console
from padbench.routines.frames import lines_of, where_in_frame
from padbench.routines.source import load_routine, routine_from_source

HZ60, HZ50 = console_timing("60hz"), console_timing("50hz")


def test_the_60hz_clock_is_half_the_subcarrier_of_smpte_170m():
    """SMPTE 170M: subcarrier 315/88 MHz; line = subcarrier x 2/455 = 15 734.266 Hz, 63.556 us."""
    subcarrier = 2 * HZ60.clock
    assert float(subcarrier) == pytest.approx(3_579_545.4545, abs=1e-3)
    line = subcarrier * 2 / 455
    assert float(line) == pytest.approx(15_734.266, abs=1e-3)
    assert float(10**6 / line) == pytest.approx(63.556, abs=1e-3)
    # 525 lines, two fields: 59.94 fields a second; the console's own frame is near, not equal.
    assert float(line * 2 / 525) == pytest.approx(59.94, abs=1e-2)
    assert float(HZ60.frame_rate) == pytest.approx(59.94, rel=0.003)


def test_the_50hz_clock_is_six_sixteenths_of_the_subcarrier_of_bt_1700():
    """ITU-R BT.1700: 4.43361875 MHz, line 64 us, 625 lines."""
    assert HZ50.clock * 16 / 6 == 4_433_618.75
    assert float(HZ50.cycles_per_line * HZ50.cycle_ps / 10**6) == pytest.approx(64, rel=0.002)
    assert float(HZ50.frame_rate) == pytest.approx(50, rel=0.0005)


def test_vertical_sync_begins_where_the_standards_have_it():
    """From memory. SMPTE 170M: lines 4 to 6 of the field, the picture from line 21 or 22 on.

    ITU-R BT.1700, 625 lines: with line 1, the picture of 287.5 lines from the middle of line 23 on.
    """
    before_picture = HZ60.lines - HZ60.sync_from
    assert 21 - 4 <= before_picture <= 22 - 4
    # 240 lines in the middle of 287.5.
    assert HZ50.lines - HZ50.sync_from - (287.5 - HZ50.picture_lines) / 2 == pytest.approx(
        22.5, abs=1
    )


def test_lines_and_frames_from_memory():
    assert float(HZ60.clock) == pytest.approx(1_789_773, abs=1)
    assert float(HZ60.frame_cycles) == 29_780.5
    assert float(HZ60.frame_rate) == pytest.approx(60.0988, abs=1e-4)
    assert float(HZ60.cycles_per_line * HZ60.cycle_ps / 10**6) == pytest.approx(63.51, abs=5e-3)
    assert float(HZ50.clock) == pytest.approx(1_662_607, abs=1)
    assert float(HZ50.cycles_per_line) == 106.5625
    assert float(HZ50.frame_rate) == pytest.approx(50.007, abs=1e-3)


ORDINARY_LOOP = """
port = $4016
        lda #1
        sta port
        lsr a
        sta port
        ldx #8
loop:   lda port        ; 4
        and #3          ; 2  both data lines
        cmp #1          ; 2  into the carry
        ror $00         ; 5
        lda port+1      ; 4  the second player's, while at it
        and #3          ; 2
        cmp #1          ; 2
        ror $01         ; 5
        {more:12}    ; bookkeeping
        dex             ; 2
        bne loop        ; 3
        rts
"""


@pytest.mark.parametrize(("more", "cycles"), [("sta $02", 34), ("sta $0202", 35), ("inc $02", 36)])
def test_two_and_a_half_scan_lines_are_an_ordinary_loop(more, cycles):
    """Common practice, no source: about two and a half lines, about 34 to 36 cycles a bit."""
    routine = routine_from_source(ORDINARY_LOOP.format(more=more), "ordinary.asm")
    run = baseline_of(routine, Console(HZ60)).longest
    reads = [a.cycle for a in run.accesses if a.kind == "read" and a.port == 0]
    assert {b - a for a, b in pairwise(reads)} == {cycles}
    assert 2.4 < lines_of(run.cycles, HZ60) < 2.85


def test_a_quick_read_takes_about_one_line_and_fits_into_blanking():
    """Common practice, no source."""
    cycles = baseline_of(load_routine("read-once"), Console(HZ60)).most
    assert 1 <= lines_of(cycles, HZ60) < 1.3
    span = where_in_frame(HZ60, 245, cycles)
    assert (span.blanking, span.picture, span.last_line) == (True, False, 246)
