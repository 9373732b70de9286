"""What comes and goes, on presses written down by hand."""

import io

import numpy as np
import pytest

import padbench
from padbench.capture.expected import Held
from padbench.capture.intermittent import steadiness
from padbench.capture.reads import UNSEEN
from padbench.results.html_page import write_page
from padbench.results.text import as_text

MS = 10**9
NAMES = ("latch", "clock", "data")


def one(*times, end=1000, **more):
    """Of button A, down and up at these milliseconds in turn."""
    pairs = zip(times[::2], times[1::2], strict=True)
    (found,) = steadiness({"A": (*(np.array([*pairs]).T * MS),)}, end * MS, **more)
    return found


def test_a_steady_button():
    found = one(100, 200, 400, 500)
    assert (found.presses, found.dropouts, found.ghosts) == (2, 0, 0)
    assert (found.bounces_ps, found.late_ps, sum(found.trend)) == ((), (), 0)


def test_a_dropout_is_within_a_hold():
    found = one(100, 200, 240, 400)
    assert (found.presses, found.dropouts) == (1, 1)
    assert found.trend == (0, 0, 1, 0, 0, 0, 0, 0, 0, 0)
    # Longer than any dropout: two presses.
    assert (one(100, 200, 251, 400).presses, one(100, 200, 251, 400).dropouts) == (2, 0)


@pytest.mark.parametrize(("length", "ghosts"), [(29, 1), (30, 0)])
def test_a_ghost_is_short_and_alone(length, ghosts):
    found = one(100, 300, 960, 960 + length)
    assert (found.presses, found.ghosts, found.trend[9]) == (2 - ghosts, ghosts, ghosts)
    assert one(100, 300, 340, 340 + length).ghosts == 0


def test_bounces_have_a_length():
    found = one(100, 101, 103, 300, 305, 306)
    assert (found.presses, found.dropouts, found.ghosts) == (1, 0, 0)
    assert found.bounces_ps == (3 * MS, 6 * MS)


def test_a_release_after_its_time_is_late():
    held = [Held(0x80, 90 * MS, 200 * MS), Held(0x80, 400 * MS, 500 * MS), Held(0x40, 0, 1)]
    found = one(100, 260, 410, 505, held=held, slack=10 * MS)
    assert found.late_ps == (60 * MS,)


def test_presses_at_the_ends_of_the_recording_are_no_ghosts():
    found = steadiness(
        {"A": np.array([[UNSEEN], [5 * MS]]), "B": np.array([[990 * MS], [UNSEEN]])}, 1000 * MS
    )
    assert [(b.presses, b.ghosts) for b in found] == [(1, 0), (1, 0)]


def vcd(path, held):
    """A read of 8 clocks every 2 ms."""
    lines = ["$timescale 1 us $end"]
    lines += [f"$var wire 1 {c} {n} $end" for c, n in zip("lcd", NAMES, strict=True)]
    lines += ["$enddefinitions $end", "#0 0l 1c 1d"]
    for number, byte in enumerate(held):
        at = 100 + 2000 * number
        lines += [f"#{at} 1l {1 - (byte >> 7)}d", f"#{at + 9} 0l"]
        for n in range(8):
            level = 1 - (byte >> 6 - n & 1) if n < 7 else 0
            lines += [
                f"#{at + 14 + 6 * n} 0c",
                f"#{at + 16 + 6 * n} 1c",
                f"#{at + 17 + 6 * n} {level}d",
            ]
    path.write_text("\n".join([*lines, f"#{at + 1900}", ""]))
    return path


def test_it_stands_in_the_document_and_under_all(tmp_path):
    held = [0, 0x80, 0] + [0x80] * 12 + [0] * 9
    result = padbench.inspect(vcd(tmp_path / "a.vcd", held))
    (button,) = result.document["intermittents"]
    assert (button["button"], button["presses"], [*button["bounces_ps"]]) == ("A", 1, [4 * MS])
    assert sum(button["trend"]) == 1
    assert result.document["statistics"]["poll jitter"]["max"] == 0
    text = as_text(result)
    assert "Dropouts within a hold" in " ".join(text.split())
    out = io.StringIO()
    write_page(result, out)
    page = out.getvalue().replace("\N{NO-BREAK SPACE}", " ")
    assert "How long they bounced" in page
    assert ">4.00 ms</text>" in page
