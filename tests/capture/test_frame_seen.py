"""Where in the frame a read falls: the sync is made here line by line, so the lines are known."""

from fractions import Fraction
from itertools import pairwise

import numpy as np
import pytest

from padbench.capture.inspect import inspect, usual_settings
from padbench.capture.judging import findings_of
from padbench.waveio import Piece

US = 1_000_000
# Lines of a frame, a line in picoseconds (341 * 2/3 of a cycle of 315/88 MHz; ITU-R BT.1700), the
# line in which vertical sync begins.
CONSOLES = {
    "60hz": (262, Fraction(341 * 2 * 88 * US, 3 * 315), 245),
    "50hz": (312, Fraction(64 * US), 266),
}
FRAMES = 4


def sync_of(console, shape):
    """Times and levels over some frames, from the start of line 0, the first that draws."""
    lines, line, begin = CONSOLES[console]
    changes = [(0, 1)]
    for number in range(FRAMES * lines):
        at = number * line
        within = number % lines
        if shape == "vertical":
            if within in (begin, begin + 3):
                changes.append((int(at), int(within != begin)))
        elif shape == "half lines" and begin - 3 <= within < begin + 6:
            # Equalising pulses, broad pulses, equalising pulses, two a line.
            low = 27.1 if begin <= within < begin + 3 else 2.3
            for half in (0, 1):
                fall = int(at + half * line / 2)
                changes += [(fall, 0), (fall + round(low * US), 1)]
        else:
            low = line - 4.7 * US if begin <= within < begin + 3 else 4.7 * US
            changes += [(int(at), 0), (int(at + int(low)), 1)]
    times, levels = (np.asarray(part) for part in zip(*changes, strict=True))
    return times, levels.astype(np.uint8)


def reads_at(console, places):
    """A read of nothing, 60 µs long, that begins half way through each (frame, line)."""
    lines, line, _ = CONSOLES[console]
    latch, clock = [(0, 0)], [(0, 1)]
    for frame, number in places:
        start = int((frame * lines + number + Fraction(1, 2)) * line)
        latch += [(start, 1), (start + 6 * US, 0)]
        for n in range(8):
            clock += [(start + (10 + 6 * n) * US, 0), (start + (11 + 6 * n) * US, 1)]
    wires = {"latch": latch, "clock": clock, "data": [(0, 1)]}
    return {
        name: (np.asarray([t for t, _ in some]), np.asarray([v for _, v in some], np.uint8))
        for name, some in wires.items()
    }


PLACES = [(0, 10), (0, 243), (1, 0), (1, 239), (1, 240), (2, 241), (2, 250), (3, 3)]


def seen(console, shape, *, turned=False, cuts=(), sync_from=None):
    wires = reads_at(console, PLACES)
    times, levels = sync_of(console, shape)
    wires["sync"] = (times, 1 - levels if turned else levels)
    settings = usual_settings()
    object.__setattr__(settings, "sync_from", sync_from)
    end = int(times[-1]) + US
    stream = []
    for begin, stop in pairwise([-1, *sorted(cuts), end]):
        own = {
            n: (t[(t > begin) & (t <= stop)], v[(t > begin) & (t <= stop)])
            for n, (t, v) in wires.items()
        }
        stream.append(Piece(stop, own))
    return inspect(stream, settings)


def spans(result):
    return [result.place(read).span for read in result.reads()]


@pytest.mark.parametrize("turned", [False, True])
@pytest.mark.parametrize("shape", ["lines", "half lines", "vertical"])
@pytest.mark.parametrize("console", CONSOLES)
def test_each_read_is_in_the_line_it_was_made_in(console, shape, turned):
    result = seen(console, shape, turned=turned)
    assert result.frame.timing.name == console
    assert [span.first_line for span in spans(result)] == [line for _, line in PLACES]
    assert [(span.picture, span.blanking) for span in spans(result)] == [
        *((True, False), (False, True), (True, False), (True, False)),
        *((False, True), (False, True), (False, True), (True, False)),
    ]
    lines = result.frame.frame_ps / result.frame.line_ps
    assert lines == pytest.approx(CONSOLES[console][0], rel=1e-3)
    if shape != "vertical":
        line = float(CONSOLES[console][1])
        assert result.measures["line period"].median == pytest.approx(line, abs=2)
    period = float(CONSOLES[console][0] * CONSOLES[console][1])
    assert result.measures["frame period"].median == pytest.approx(period, rel=1e-6)


def test_pieces_make_no_difference():
    whole = seen("60hz", "half lines")
    random = np.random.default_rng(2)
    for count in (1, 7, 300):
        cuts = random.integers(1, 60_000 * US, count).tolist()
        other = seen("60hz", "half lines", cuts=cuts)
        assert spans(other) == spans(whole)
        assert np.array_equal(other.frame.starts, whole.frame.starts)
        assert other.measures["line period"] == whole.measures["line period"]


def test_a_sync_that_is_lost_for_a_while_is_no_vertical_sync():
    lines, line, _ = CONSOLES["60hz"]
    wires = reads_at("60hz", PLACES)
    times, levels = sync_of("60hz", "lines")
    begin, end = ((lines + number) * line for number in (100, 150))
    kept = (times <= int(begin)) | (times > end)  # it falls, and stays there for fifty lines
    wires["sync"] = (times[kept], levels[kept])
    result = inspect([Piece(int(times[-1]) + US, wires)], usual_settings())
    assert len(result.frame.starts) == FRAMES
    assert [span.first_line for span in spans(result)] == [line for _, line in PLACES]


def test_the_line_of_vertical_sync_can_be_given():
    moved = seen("60hz", "lines", sync_from=255)
    assert next(span.first_line for span in spans(moved)) == 20


def test_it_is_told():
    (found,) = [f for f in findings_of(seen("60hz", "lines")) if f.id == "reads.in-frame"]
    assert found.verdict == "not-judged"
    assert "of 8 reads fall 4 in picture, 4 in vertical blanking" in found.says
    assert "the frame of 262 lines is taken to do in 245" in found.says


def test_without_a_vertical_sync_nothing_is_claimed():
    wires = reads_at("60hz", PLACES[:2])
    times, levels = sync_of("60hz", "lines")
    early = times < 200 * CONSOLES["60hz"][1]
    wires["sync"] = (times[early], levels[early])
    result = inspect([Piece(20_000 * US, wires)], usual_settings())
    assert result.frame is None
    assert result.measures["line period"].median == pytest.approx(63.509 * US, abs=1000)
