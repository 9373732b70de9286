"""What the figures draw is the result, point for point, and no text runs into another."""

from itertools import combinations, pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from matplotlib.axis import Axis
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.text import Text

from padbench.circuit.electric import spread_of
from padbench.core.findings import COUNTED
from padbench.core.sentences import amount
from padbench.jobs.routine_sections import map_strips, phase_strips
from padbench.parts import console_timing
from padbench.results.blocks import Strip, Strips, spans_of
from padbench.results.margins_plot import LEAST, MOST, margins_figure
from padbench.results.sweep_plots import latency_figure, strips_figure
from padbench.routines.console import Console
from padbench.routines.counts import OUTCOMES
from padbench.routines.fast import Part, baseline_of_survey, count, survey
from padbench.routines.latency import LatencySetup, press_to_picture
from padbench.routines.lengths import design_map
from padbench.routines.looks import RoutineLooks
from padbench.routines.poll import with_timings as timed
from padbench.routines.source import load_routine
from padbench.sheet import load_sheet

ROOT = Path(__file__).parents[2]
EXPOSED = str(ROOT / "tests" / "routines" / "sources" / "read-twice-36.asm")
SVG = Path("a.svg")
PERIODS = (3424, 576, 432)


def run_into(figure) -> list[tuple[str, str]]:
    """Pairs of texts that overlap; all of them lie on the sheet."""
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    # Ticks beyond the ends of an axis are there and not drawn.
    outside = {
        label
        for axis in figure.findobj(Axis)
        for tick in axis.get_major_ticks()
        if not min(axis.get_view_interval()) <= tick.get_loc() <= max(axis.get_view_interval())
        for label in (tick.label1, tick.label2)
    }
    boxes = [
        (text.get_text(), text.get_window_extent(canvas.get_renderer()))
        for text in figure.findobj(Text)
        if text.get_text() and text.get_visible() and text not in outside
    ]
    width, height = canvas.get_width_height()
    assert len(boxes) > 5
    for said, box in boxes:
        assert min(box.x0, box.y0, width - box.x1, height - box.y1) >= -1, said
    return [(a, b) for (a, one), (b, other) in combinations(boxes, 2) if one.overlaps(other)]


@pytest.fixture(scope="module")
def swept():
    routine, console = load_routine(EXPOSED), Console(console_timing("60hz"), "joined")
    known = survey(routine, console)
    tallies = [count(known, Part(period)) for period in PERIODS]
    return tallies, baseline_of_survey(known).longest


def placed(tallies) -> dict[str, set[tuple[int, int]]]:
    """Phase and row of every phase that came to something, by what it came to."""
    return {
        OUTCOMES[code]: {
            (phase, row)
            for row, tally in enumerate(tallies)
            for phase, worst in enumerate(tally.by_phase)
            if worst == code
        }
        for code in range(1, len(OUTCOMES))
    }


def test_each_phase_is_marked_by_what_it_came_to(swept):
    tallies, _ = swept
    figure = strips_figure(phase_strips(tallies), "mine $x", SVG)
    (axes,) = figure.axes
    got = {}
    for bar in axes.patches:
        if bar.get_gid() is not None:
            start, row = round(bar.get_x()), -round(bar.get_y())
            phases = range(start, start + round(bar.get_width()))
            got.setdefault(bar.get_gid(), set()).update((phase, row) for phase in phases)
    assert got == {name: places for name, places in placed(tallies).items() if places}
    assert {"pass misread", "wrong byte"} <= set(got)
    # Readable in grey: the worse, the taller.
    tall = {bar.get_gid(): bar.get_height() for bar in axes.patches if bar.get_gid()}
    assert [*sorted(tall, key=tall.get)] == [name for name in OUTCOMES if name in got]
    assert [one.get_text() for one in axes.get_yticklabels()] == [str(p) for p in PERIODS]
    assert run_into(figure) == []


@pytest.mark.parametrize(("rows", "tall"), [(1, 26), (3, 26), (61, 10)])
def test_the_numbers_of_the_worst_places_lie_within_the_axes(rows, tall):
    marks = [(18, 4, 4), (22, 99, 1)]
    kinds = [(1, "a"), (4, "b")]
    strips = Strips("", "up", "across", [Strip("432", 135, marks)] * rows, kinds, "", tall=tall)
    figure = strips_figure(strips, "mine", SVG)
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    (axes,) = figure.axes
    frame = axes.get_window_extent(canvas.get_renderer())
    numbers = [one.get_window_extent(canvas.get_renderer()) for one in axes.texts]
    assert numbers
    assert all(frame.y0 <= one.y0 and one.y1 <= frame.y1 for one in numbers)


def test_the_strips_on_the_page_are_the_same_phases(swept):
    tallies, run = swept
    strips = phase_strips(tallies)
    got = {name: set() for name in OUTCOMES[1:]}
    for row, strip in enumerate(strips.rows):
        for start, size, code in strip.spans:
            got[OUTCOMES[code]] |= {(phase, row) for phase in range(start, start + size)}
    assert got == placed(tallies)
    assert [says for _, says in strips.kinds] == [name for name in OUTCOMES[1:] if got[name]]
    assert max(phase for places in got.values() for phase, _ in places) < strips.length <= 3424
    chart = design_map(run, [432], loops=range(30, 44), gaps=range(20))
    unsafe = [
        {at for start, size, _ in strip.spans for at in range(start, start + size)}
        for strip in map_strips(chart).rows
    ]
    assert unsafe == [
        {gap for gap, good in enumerate(row) if not good} for row in reversed(chart.safe)
    ]  # the longest loop on top, as in the figure
    assert [strip.label for strip in map_strips(chart).rows if strip.now] == ["36"]


@given(st.lists(st.integers(0, 4), max_size=60))
def test_stretches_of_equal_codes_come_apart_into_the_codes(codes):
    spans = spans_of(codes)
    made = [0] * len(codes)
    for start, size, code in spans:
        made[start : start + size] = [code] * size
    assert made == codes
    # As few as there can be.
    assert len(spans) == sum(bool(b) and a != b for a, b in pairwise([0, *codes]))


def test_each_unsafe_place_of_the_map_has_a_cross(swept):
    chart = design_map(swept[1], [432], loops=range(24, 60), gaps=range(40))
    figure = strips_figure(map_strips(chart), "mine", SVG)
    (axes,) = figure.axes
    loops = [*reversed(chart.loops)]
    marked = {
        (gap, loops[-round(bar.get_y())])
        for bar in axes.patches
        if bar.get_gid() is not None
        for gap in range(round(bar.get_x()), round(bar.get_x() + bar.get_width()))
    }
    wanted = {
        (gap, loop)
        for loop, row in zip(chart.loops, chart.safe, strict=True)
        for gap, good in zip(chart.gaps, row, strict=True)
        if not good
    }
    assert marked == wanted
    assert (0, 36) in wanted
    (now,) = [line for line in axes.lines if line.get_gid() == "now"]
    # In the middle of the square of no gap: that is as wide as 1 and as high as 0.8.
    (square,) = [
        bar
        for bar in axes.patches
        if bar.get_gid() is not None and (bar.get_x(), loops[-round(bar.get_y())]) == (0, 36)
    ]
    assert now.get_xdata()[0] == 0.5
    assert now.get_ydata()[0] == pytest.approx(square.get_y() + square.get_height() / 2)
    assert run_into(figure) == []


def test_the_latency_curve_is_the_distribution():
    timing = console_timing("60hz")
    looks = RoutineLooks(load_routine("read-twice"), Console(timing))
    setup = LatencySetup(timing, (241,), looks, bounce=5 * timing.clock / 1000)
    delays = press_to_picture(setup)
    figure = latency_figure(delays, setup, SVG, name="my-read.asm")
    lines = {line.get_gid(): line for line in figure.axes[0].lines}
    to_ms = 1000 / float(timing.clock)
    assert list(lines["share"].get_xdata()) == [float(at) * to_ms for at, _ in delays.corners]
    assert list(lines["share"].get_ydata()) == [100 * float(share) for _, share in delays.corners]
    assert set(lines["mean"].get_xdata()) == {float(delays.mean) * to_ms}
    title = figure.axes[0].get_title()
    assert title == "my-read.asm: 60hz console, polled in line 241 of every frame"
    assert run_into(figure) == []


@pytest.mark.parametrize("name", ["harbour-a", "harbour-b"])
def test_margins_at_every_corner_are_those_of_the_findings(page_of, name):
    sheet, (_, result) = load_sheet(ROOT / "sim" / "sheets" / f"{name}.toml"), page_of(name)
    spreads = [*spread_of(timed(sheet), result.findings)]
    by_id = {found.id: found for found in result.findings}
    for one in spreads:
        found = by_id[one.id]
        assert one.worst == found.where
        # The least of all corners is the finding's, and its sign the verdict.
        assert (one.margins.min() < 0) == (found.verdict == "fail")
        if found.margin is not None and found.limit:
            assert one.margins.min() == pytest.approx(found.margin / abs(found.limit))
    drawn = {found.id for found in result.findings if found.margin is not None and found.limit}
    # As many clocks as it takes are no margin of nought.
    counts = {found.id for found in result.findings if found.unit in COUNTED}
    holding = {one for one in counts if by_id[one].verdict == "pass"}
    assert "timing.clocks" in counts
    assert drawn - holding <= {one.id for one in spreads}
    assert not holding & {one.id for one in spreads}
    # All 32 corners, on both ports where a finding speaks for both.
    sizes = {one.id: len(one.margins) for one in spreads}
    assert (sizes["port.push-pull.latch"], sizes["latch.low"], sizes["timing.clock-low"]) == (
        32,
        64,
        1,
    )

    figure = margins_figure(spreads, result.findings, sheet.pad.name, SVG)
    spreads.sort(key=lambda one: one.margins.min())
    lines = {line.get_gid(): line for line in figure.axes[0].lines}
    for row, one in enumerate(spreads):
        drawn = lines[f"corners {one.id}"]
        assert np.array_equal(drawn.get_xdata(), np.clip(one.margins, LEAST, MOST))
        assert set(drawn.get_ydata()) == {row}
        worst = lines[f"worst {one.id}"]
        assert worst.get_xdata() == [max(LEAST, min(MOST, one.margins.min()))]
        hollow = worst.get_markerfacecolor() == "white"
        assert hollow == (by_id[one.id].verdict == "fail")
    texts = {text.get_text() for text in figure.axes[0].texts}
    for one in spreads:
        found = by_id[one.id]
        if found.measured is not None:
            said = f"{amount(found.measured, found.unit)}, {amount(found.limit, found.unit)}"
            assert said in texts
    # All of them on a page of A4 (8.27 by 11.69 inches), and legible: a seventh of an inch a row.
    wide, tall = figure.get_size_inches()
    assert (wide < 8.27, tall < 11.69, tall / len(spreads) > 1 / 7) == (True, True, True)
    assert run_into(figure) == []


def test_long_names_leave_titles_whole_and_on_the_sheet(page_of, swept):
    sheet, (_, result) = (
        load_sheet(ROOT / "sim" / "sheets" / "harbour-b.toml"),
        page_of("harbour-b"),
    )
    spreads = [*spread_of(timed(sheet), result.findings)]
    name = "Harbour Street replacement pad for the long shelf at the left window, revision M"
    assert run_into(margins_figure(spreads, result.findings, name, SVG)) == []
    title = f"read-twice-36.asm, {'the worst case of each rate, one of many ' * 3}"[:-1]
    figure = strips_figure(phase_strips(swept[0]), title, SVG)
    assert figure.axes[0].get_title().replace("\n", " ") == title
    assert run_into(figure) == []


def test_the_least_margin_of_a_pressed_input_by_hand(page_of):
    """5.25 V over 10 kΩ less 5 % and a worn contact of 10 kΩ, 1 µA more (CD4021B, from memory)."""
    sheet = load_sheet(ROOT / "sim" / "sheets" / "harbour-a.toml")
    spreads = spread_of(timed(sheet), page_of("harbour-a")[1].findings)
    (one,) = [one for one in spreads if one.id == "levels.pressed"]
    level = (5.25 / 9500 + 1e-6) / (1 / 9500 + 1 / 10_000)
    limit = 0.3 * 5.25  # JEDEC JESD13-B: 1.5 V at 5 V
    assert one.margins.min() == pytest.approx((limit - level) / limit)
    assert len(set(np.round(one.margins, 9))) > 4
