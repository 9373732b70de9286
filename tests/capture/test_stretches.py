"""Stretches cut from a stream are those of the whole, wherever the pieces end."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from padbench.capture.windows import stretches
from padbench.core.levels import UNKNOWN
from padbench.core.timeline import Wire
from padbench.waveio import Piece

NAMES = ("latch", "data")
edges = st.lists(
    st.tuples(st.integers(0, 200), st.sampled_from([0, 1, 2])), min_size=1, max_size=40
).map(sorted)


@given(
    st.lists(edges, min_size=2, max_size=2),
    st.lists(st.integers(1, 199), max_size=5).map(sorted),
    st.lists(st.tuples(st.integers(0, 190), st.integers(1, 60)), max_size=4).map(sorted),
)
@settings(deadline=None, max_examples=50)
def test_a_stretch_is_the_same_for_any_cut_of_the_stream(wires, cuts, places):
    whole = {name: Wire.of(changes) for name, changes in zip(NAMES, wires, strict=True)}
    ends = [*cuts, 260]
    pieces, start = [], -1
    for end in ends:
        changes = {}
        for name, wire in whole.items():
            inside = (wire.times > start) & (wire.times <= end)
            changes[name] = (wire.times[inside], wire.levels[inside])
        pieces.append(Piece(end, changes, {"sample": np.arange(start + 1, end + 1)}))
        start = end
    # Begins rise; so do ends, as those of reads do.
    spans, last = [], 0
    for begin, size in places:
        last = max(last + 1, begin + size)
        spans.append((begin, last))
    found = [*stretches(iter(pieces), spans)]
    assert [begin for begin, _ in found] == [begin for begin, _ in spans]
    for (begin, line), (_, end) in zip(found, spans, strict=True):
        assert line.end_ps == end - begin
        at = np.arange(end - begin + 1)
        for name, wire in whole.items():
            got = line.wires[name].at(at) if name in line.wires else np.full(len(at), UNKNOWN)
            assert got.tolist() == wire.at(at + begin).tolist()
        assert line.events["sample"].tolist() == at.tolist()


def test_the_stream_is_left_after_the_last_stretch():
    def pieces():
        yield Piece(10, {"latch": (np.array([0]), np.array([0], np.uint8))})
        raise AssertionError("read on")

    ((begin, line),) = stretches(pieces(), [(2, 8)])
    assert (begin, line.end_ps, line.wires["latch"].levels.tolist()) == (2, 6, [0])
