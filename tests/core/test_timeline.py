import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from padbench.core.levels import FLOATING, HIGH, LOW, UNKNOWN
from padbench.core.timeline import Timeline, Wire, Word

changes = st.lists(st.tuples(st.integers(0, 10**15), st.integers(0, 3)), min_size=1, max_size=40)


def test_edges_and_levels():
    wire = Wire.of([(0, LOW), (500, HIGH), (900, LOW)])
    assert list(wire.rises()) == [500]
    assert list(wire.falls()) == [900]
    assert list(wire.at([0, 499, 500, 899, 900])) == [LOW, LOW, HIGH, HIGH, LOW]
    assert list(wire.before([0, 500, 501])) == [UNKNOWN, LOW, HIGH]


def test_the_start_of_a_wire_is_no_edge():
    assert not len(Wire.of([(0, HIGH), (5, LOW)]).rises())


def test_an_edge_out_of_the_unknown_counts():
    assert list(Wire.of([(0, UNKNOWN), (7, HIGH)]).rises()) == [7]


def test_the_last_of_several_values_at_one_moment_counts():
    word = Word.of(8, [(0, 0), (5, 1), (5, 2), (9, 2), (9, 2), (11, None), (11, 2)])
    assert word == Word(8, (0, 5), (0, 2))


def test_the_four_levels_are_those_of_a_wave_file():
    """IEEE Std 1364-2005, 18.2.1: 0, 1, x, z."""
    assert (LOW, HIGH, UNKNOWN, FLOATING) == (0, 1, 2, 3)
    assert Wire.of([(0, UNKNOWN)]) != Wire.of([(0, FLOATING)])


@pytest.mark.parametrize(
    ("levels", "silent"),
    [
        ((UNKNOWN,), True),
        ((FLOATING, UNKNOWN), True),
        ((UNKNOWN, HIGH), False),
        ((LOW, FLOATING), False),
    ],
)
def test_a_wire_that_is_never_at_a_level_is_silent(levels, silent):
    assert Wire.of(enumerate(levels)).silent == silent


def test_a_wire_that_a_timeline_lacks_is_silent():
    kept = Wire.of([(0, LOW)])
    timeline = Timeline(9, {"a": kept})
    assert timeline.wire("a") is kept
    assert timeline.wire("b") == Wire.of([(0, UNKNOWN)])


@pytest.mark.parametrize(
    ("pairs", "says"),
    [
        ([], "at least one"),
        ([(5, 0), (4, 1)], "backwards, from 5 to 4"),
        ([(0, 0), (2, 1), (7, 0), (6, 1), (9, 0)], "backwards, from 7 to 6"),
        ([(0, 4)], "level 4"),
        ([(0, 0), (1, 5), (2, 1)], "level 5"),
    ],
)
def test_what_is_no_wire(pairs, says):
    with pytest.raises(ValueError, match=says):
        Wire.of(pairs)


@given(changes)
def test_a_wire_keeps_the_last_level_of_every_moment(pairs):
    pairs.sort(key=lambda pair: pair[0])
    wire = Wire.of(pairs)
    assert np.all(np.diff(wire.times) > 0)
    assert np.all(np.diff(wire.levels) != 0)
    for when, level in dict(pairs).items():
        assert wire.at(when) == level


@given(st.lists(st.tuples(st.integers(0, 99), st.none() | st.integers(0, 255)), max_size=30))
def test_a_word_keeps_the_last_value_of_every_moment(pairs):
    pairs.sort(key=lambda pair: pair[0])
    word = Word.of(8, pairs)
    held = dict(zip(word.times, word.values, strict=True))
    last = None
    for when, value in sorted(dict(pairs).items()):
        last = held.get(when, last)
        assert last == value
    assert all(a != b for a, b in zip(word.values, word.values[1:], strict=False))


@pytest.mark.parametrize(
    ("pairs", "says"),
    [
        ([(0, 256)], "8 bits"),
        ([(0, -1)], "8 bits"),
        ([(0, 0), (5, 1), (7, 2), (3, 3)], "from 7 to 3 ps"),
    ],
)
def test_what_is_no_word(pairs, says):
    with pytest.raises(ValueError, match=says):
        Word.of(8, pairs)


def test_timelines_compare_by_content():
    def make(**changed):
        parts = {
            "wires": {"a": Wire.of([(0, LOW), (3, HIGH)])},
            "words": {"w": Word.of(4, [(0, 1)])},
            "events": {"e": np.array([1, 2])},
            "notes": ((1, "so"),),
        }
        return Timeline(**{"end_ps": 10, **parts, **changed})

    assert make() == make()
    assert make(events={}) == make(events={})
    two = {"e": np.array([1, 2]), "f": np.array([3])}
    assert make(events=two) != make(events={**two, "f": np.array([4])})
    assert make() != "something else"
    assert Wire.of([(0, LOW)]) != "something else"
    for changed in (
        {"end_ps": 11},
        {"wires": {"a": Wire.of([(0, LOW), (4, HIGH)])}},
        {"wires": {"a": Wire.of([(0, LOW), (3, UNKNOWN)])}},
        {"wires": {"b": Wire.of([(0, LOW), (3, HIGH)])}},
        {"words": {"w": Word.of(4, [(0, 2)])}},
        {"words": {}},
        {"events": {"e": np.array([1, 3])}},
        {"events": {"f": np.array([1, 2])}},
        {"events": {}},
        {"notes": ()},
    ):
        assert make() != make(**changed)


def test_wires_and_timelines_cannot_be_keys():
    for thing in (Wire.of([(0, LOW)]), Timeline(1)):
        with pytest.raises(TypeError, match="unhashable"):
            hash(thing)
