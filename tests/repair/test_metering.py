"""What a meter, a scope, a swap parts: all pairs of faults, by readings."""

import numpy as np
import pytest

from padbench.repair.metering import WRONG, MeterBench
from padbench.repair.observed import Meter, each_place, kind_of


@pytest.fixture(scope="module")
def bench(known):
    return MeterBench(known)


def may_share(bench, where, held):
    """(rows, rows): whether some reading there is taken for both; readings are near the ends and
    in the middle of what each row has, and volts in twentieths."""
    spans = np.unique(bench.expected(where, held), axis=0)
    spans = np.clip(spans[~np.isnan(spans[:, 0])], 0, 1e9)
    near = (1e-3, 0.5, 1 - 1e-3)  # the very end of a stretch belongs to the next one too
    inner = [spans @ (1 - part, part) for part in near]
    grid = np.linspace(0.01, 6.01, 121) if kind_of(where) == "volts" else ()
    values = {*np.concatenate([*inner, grid])}
    taken = np.array([bench.chance(Meter(where, held, value)) > WRONG for value in values])
    return (taken.T.astype(int) @ taken) > 0


def faults_of(bench, matrix):
    """The same of faults: any row of one with any of the other."""
    starts = np.flatnonzero(np.diff(bench.known.fault_of, prepend=-1))
    return np.logical_or.reduceat(np.logical_or.reduceat(matrix, starts), starts, axis=1)


def told_apart(bench, where, held):
    """(faults, faults): whether no outcome is told for both."""
    known = bench.known
    place = {fault and fault.model_dump_json(): n for n, fault in enumerate(known.faults)}
    beside = np.zeros((len(known.faults),) * 2, bool)
    for some in bench.outcomes(where, held, range(len(known.rows))).values():
        at = [place[fault and fault.model_dump_json()] for fault in some]
        beside[np.ix_(at, at)] = True
    return ~beside


def test_what_a_test_is_said_to_part_no_reading_leaves_together(bench):
    tried = 0
    for where, held in bench.points():
        apart = told_apart(bench, where, held)
        together = faults_of(bench, may_share(bench, where, held))
        tried += apart.sum()
        assert np.array_equal(apart, ~together), where  # and nothing is held back
    assert tried > 10_000


def test_a_series_parts_what_one_of_its_places_parts(bench):
    for head, ends, tail in bench.series():
        where = f"{head}{' '.join(ends)}{tail}"
        each = [may_share(bench, one, held) for one, held in each_place(where)]
        together = np.logical_and.reduce(each)
        apart = told_apart(bench, where, 0)
        assert apart.any()
        assert not (apart & faults_of(bench, together)).any(), where


def test_a_loose_core_and_its_loose_joint_are_told_for_the_same_ohms(bench):
    """While it has contact a loose core is a sound one; only without is it known."""
    shown = bench.outcomes("latch to clock", 0, range(len(bench.known.rows)))
    kinds = {"core-loose", "joint-loose"}
    loose = {
        said: {fault.kind for fault in some if fault and fault.at == "clock"} & kinds
        for said, some in shown.items()
    }
    assert kinds in loose.values()
    assert {"joint-loose"} not in loose.values()
    assert {"core-loose"} in loose.values()
