"""The figure of a swept pad shows the counts, and shows them without colour."""

from pathlib import Path

import pytest

from padbench.core.buttons import BUTTONS
from padbench.core.pad import PadModel
from padbench.padsweep.counting import count_parts, pad_parts
from padbench.padsweep.tally import PadCounts
from padbench.results.sweep_plots import pad_sweep_figure
from padbench.scenarios.expect import expected_bits


@pytest.fixture(scope="module")
def result(limits):
    """A pad whose Left and Right change places, some of its kinds of read."""
    stages = ((128, 8), (64, 7), (32, 6), (16, 5), (8, 4), (4, 3), (2, 1), (1, 2))
    pad = PadModel(limits, stage_of=stages)
    swept = PadCounts(("push-pull",), "both", 0)
    for parts in pad_parts(8):
        if parts[0].stopped_bit in (0, 3, 8):
            swept.add("both", parts[0], count_parts(pad, parts))
    return swept


def test_each_place_holds_the_share_that_was_counted(result):
    figure = pad_sweep_figure("mine $x", result, Path("a.svg"))
    panels = [(tie, name) for tie in (0, 1) for name in ("shown", "lost")]
    assert len(figure.axes) == len(panels)
    for axes, (tie, name) in zip(figure.axes, panels, strict=True):
        reads = sorted(read for read in result.reads if read[0] == tie)
        drawn = axes.images[0].get_array()
        assert drawn.shape == (len(BUTTONS) + 1, len(reads)) == (9, 7)
        for column, read in enumerate(reads):
            tally = result.reads[read]
            counts = [*getattr(tally, name), tally.wrong]
            assert drawn[:, column].tolist() == [100 * n / tally.cases for n in counts]
        said = {text.get_gid(): text.get_text() for text in axes.texts}
        places = {f"{name}-{tie}-{r}-{c}" for r in range(9) for c in range(7) if drawn[r, c]}
        assert set(said) == places
        assert all(
            text == f"{drawn[tuple(map(int, gid.split('-')[2:]))]:.0f}"
            for gid, text in said.items()
        )
        ticks = [tick.get_text() for tick in axes.get_xticklabels()]
        assert ticks == ["–", "3·1", "3·2", "3·3", "8·1", "8·2", "8·3"]
        title = axes.get_title(loc="left")
        assert ("ground" if tie == 0 else "supply") in title
        assert ("seen and not held" if name == "shown" else "held and not seen") in title


def test_the_shares_are_those_of_reads_worked_out_one_by_one(result):
    """Swapped buttons: what is held is moved to their places first; then as `expected_bits`."""
    figure = pad_sweep_figure("mine", result, Path("a.svg"))
    shown = figure.axes[0].images[0].get_array()
    for column, (bit, extra) in enumerate([(0, 0), (3, 1), (3, 2), (3, 3), (8, 1), (8, 2), (8, 3)]):
        counts = [0] * 8
        for held in range(256):
            moved = held & 0xFC | held >> 1 & 1 | held << 1 & 2
            bits = expected_bits(moved, serial=0, stopped_bit=bit, extra_clocks=extra)
            for place, one in enumerate(bits):
                counts[place] += bool(one and not held & 128 >> place)
        assert shown[:8, column].tolist() == [100 * count / 256 for count in counts]


def test_it_needs_no_colour(result):
    figure = pad_sweep_figure("mine", result, Path("a.svg"))
    for axes in figure.axes:
        assert axes.images[0].get_cmap().name == "Greys"
        for text in axes.texts:
            assert text.get_color() in ("black", "white")


def test_nothing_counted_is_nothing_to_draw():
    with pytest.raises(ValueError, match="nothing to draw"):
        pad_sweep_figure("mine", PadCounts(("push-pull",), "both", 0), Path("a.svg"))
