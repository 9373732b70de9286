"""What is drawn of a sweep is what was counted."""

from pathlib import Path

from padbench.results.sweep_plots import map_figure, phases_figure
from padbench.routines.counts import OUTCOMES, SweepCounts
from padbench.routines.lengths import DesignMap


def test_each_phase_is_marked_by_its_worst_outcome():
    tallies = [SweepCounts(9, by_phase=bytearray([0, 1, 2, 3, 4, 0, 1, 4, 2])), SweepCounts(8)]
    tallies[1].by_phase[5] = 3
    (axes,) = phases_figure(tallies, "a_b $x", Path("a.svg")).axes
    drawn = {marks.get_gid(): marks.get_offsets().tolist() for marks in axes.collections}
    assert drawn == {
        name: [
            [phase, row]
            for row, tally in enumerate(tallies)
            for phase, worst in enumerate(tally.by_phase)
            if worst == code
        ]
        for code, name in enumerate(OUTCOMES)
        if code
    }
    assert [tick.get_text() for tick in axes.get_yticklabels()] == ["9", "8"]
    # Readable in grey: each outcome has a shape of its own.
    shapes = {marks.get_paths()[0].vertices.tobytes() for marks in axes.collections}
    assert len(shapes) == len(OUTCOMES) - 1


def test_unsafe_places_of_the_map_are_crossed():
    unsafe = (((), (432,), ()), ((432, 576), (576,), ()))
    chart = DesignMap(14, (14, 15), (0, 1, 2), unsafe)
    assert chart.safe == ((True, False, True), (False, False, True))
    one, several = map_figure(chart, "mine", Path("a.png")).axes[0].collections
    assert one.get_offsets().tolist() == [[1, 14], [1, 15]]
    assert several.get_offsets().tolist() == [[0, 15]]
    assert one.get_paths()[0].vertices.tobytes() != several.get_paths()[0].vertices.tobytes()
