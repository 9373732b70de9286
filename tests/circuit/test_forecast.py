"""What is foretold of a run is what a run measures: every rule of the wires, at its limit too."""

import warnings

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from padbench.circuit.design import design_of, stacked
from padbench.circuit.forecast import NOT_FORETOLD
from padbench.circuit.pad_model import CORNERS
from padbench.circuit.quantities import QUANTITIES, of_circuits
from padbench.circuit.worst_case import worst_case
from padbench.core.findings import worst_of_each
from padbench.core.timing import RULES
from padbench.scenarios import SCENARIOS
from padbench.trials.trial import run_scenario
from sheets import FIRMWARE, VALUES, written

ARRIVES = {"timing.latch-arrives", "timing.clock-arrives"}
LOAD_END = "timing.clock-at-load-end"
"""Asked for by the 74HC165 only."""
BOTH = ("push-pull", "pull-down-only")


def foretold(sheet):
    """Id, and (measured, limit, whether it holds) on the worst port."""
    ports = sheet.works_with.ports
    designs = stacked([design_of(sheet, sheet.part, sheet.port(name)) for name in ports])
    rows = {}
    for worst in worst_case(designs, of_circuits("run")):
        at = worst.margin.argmin()
        rows[worst.id] = (worst.measured[at], worst.limit[at], bool(worst.holds.all()))
    return rows


def seen(sheet, scenarios=("cut-short",)):
    return {
        finding.id: finding
        for finding in worst_of_each(
            finding
            for port in sheet.works_with.ports
            for corner in CORNERS
            for name in scenarios
            for finding in run_scenario(sheet, SCENARIOS[name], port, corner).findings
        )
    }


def ps(seconds):
    return round(seconds * 1e12)


def agree(sheet, ids, scenarios=("cut-short", "back-to-back")):
    """Numbers to the picosecond, and verdicts; edges are counted in a run, and foretold in time.

    Where an edge gets lost, that is all that is foretold: the others are measured on what is left.
    """
    rows = foretold(sheet)
    if not all(rows[id_][2] for id_ in ARRIVES):
        ids = [id_ for id_ in ids if id_ in ARRIVES]
    run = seen(sheet, scenarios)
    for id_ in ids:
        (measured, limit, holds), finding = rows[id_], run.get(id_)
        if id_ == LOAD_END and finding is None:
            assert holds
            assert not sheet.part.clock_high_at_load_end
            continue
        if measured == float("inf"):
            assert finding.verdict == "not-judged", id_
            continue
        if finding.case == "silent":  # other limits are broken, so that no bit is at a level
            assert not all(row[2] for row in rows.values())
            continue
        assert finding.verdict == ("pass" if holds else "fail"), (id_, finding, measured, limit)
        if id_ == "timing.clocks":
            assert (finding.measured, finding.limit) == (measured, limit)
        elif id_ not in {*ARRIVES, LOAD_END}:
            assert (ps(finding.measured), ps(finding.limit)) == (ps(measured), ps(limit)), id_
    return {(id_, rows[id_][2]) for id_ in ids}


def test_every_rule_is_foretold_or_says_why_not():
    assert set(RULES) == {*of_circuits("run"), *NOT_FORETOLD}
    assert all(NOT_FORETOLD.values())
    for id_ in of_circuits("run"):
        assert QUANTITIES[id_].rule is RULES[id_]


QUICK = {
    **{"poll.latch-width": "1 us", "poll.latch-to-clock": "0.5 us", "poll.clock-low": "0.5 us"},
    **{"poll.clock-high": "0.6 us", "poll.sample": "0.1 us"},
}
SHEETS = {
    "the usual": ({}, BOTH),
    "quick": (QUICK, ("push-pull",)),
    "with spreads": (
        {key: f"{VALUES[key].replace(' us', '')} us ± 7 %" for key in QUICK},
        ("push-pull",),
    ),
    "far too quick": (
        {
            **{"poll.latch-width": "120 ns", "poll.latch-to-clock": "10 ns"},
            **{"poll.clock-low": "100 ns", "poll.clock-high": "90 ns", "poll.sample": "110 ns"},
        },
        ("push-pull",),
    ),
    "a first sample too soon": (
        {
            **{"poll.latch-width": "250 ns", "poll.latch-to-clock": "50 ns"},
            **{"poll.clock-low": "300 ns", "poll.sample": "100 ns"},
        },
        ("push-pull",),
    ),
    "a long cable": ({"cable.length": "12 m"}, BOTH),
    "a low supply": ({"pad.supply": "3.5 V ± 10 %"}, ("push-pull",)),
    "another part": ({"register.part": "HEF4021B", "poll.clocks": 12}, BOTH),
    "the clock falls as the load ends": (
        {
            **{"register.part": "74HC165", "register.latch-inverted": True},
            **{"poll.latch-to-clock": "1 ps", "resistors.clock-to-supply": "absent"},
        },
        ("push-pull",),
    ),
    "few clocks": ({"poll.clocks": 5}, BOTH),
    "a program": (FIRMWARE, BOTH),
    "a slow program": (FIRMWARE | {"register.next-bit": "2 us to 8 us"}, ("push-pull",)),
    "a program and a late sample": (FIRMWARE | {"poll.sample": "2 us"}, ("push-pull",)),
}


def test_forecast_and_run_agree_on_sheets_that_keep_and_break_each_rule():
    agreed = set()
    for change, ports in SHEETS.values():
        agreed |= agree(written(change, ports=ports), of_circuits("run"))
    # That edges get lost is below.
    wanted = {(id_, holds) for id_ in of_circuits("run") for holds in (True, False)}
    assert wanted - agreed == {(id_, False) for id_ in ARRIVES}


def test_no_scenario_is_harder_than_the_one_that_cuts_a_read_off():
    agree(written(QUICK, ports=("push-pull",)), of_circuits("run"), tuple(SCENARIOS))


# A value with which a rule is brought to its limit, and which way a longer one moves its margin.
TURNED = {
    "timing.latch-width": ("poll.latch-width", 1),
    "timing.clock-low": ("poll.clock-low", 1),
    "timing.clock-high": ("poll.clock-high", 1),
    "timing.clock-period": ("poll.clock-high", 1),
    "timing.removal": ("poll.latch-to-clock", 1),
    "timing.first-bit": ("poll.latch-to-clock", 1),
    "timing.later-bits": ("poll.clock-high", 1),
    "timing.sample-point": ("poll.sample", -1),
    "timing.latch-arrives": ("poll.latch-width", 1),
    "timing.clock-arrives": ("poll.clock-high", 1),
}
SLOW_RISE = {"cable.length": "8 m", "poll.clock-high": "3 us", "poll.latch-width": "3 us"}
START = {
    "timing.clock-period": QUICK | {"poll.clock-low": "200 ns"},
    "timing.removal": QUICK | {"poll.clock-low": "250 ns"},
    "timing.first-bit": QUICK | {"poll.latch-width": "200 ns"},
    "timing.latch-arrives": QUICK | SLOW_RISE,
    "timing.clock-arrives": QUICK | SLOW_RISE,
}
# A line that rises as fast as it falls loses no edge.
AT_THE_LIMIT = [(id_, port) for id_ in TURNED for port in BOTH if id_ not in ARRIVES] + [
    (id_, "pull-down-only") for id_ in sorted(ARRIVES)
]


def decide_alike(change, port, id_, key, way):
    """Put a value where the forecast has its limit: a picosecond more or less, and run it."""
    sheet = written(change, ports=(port,))
    value = ps(getattr(sheet.poll, key.removeprefix("poll.").replace("-", "_")).nominal)
    measured, limit, _ = foretold(sheet)[id_]
    at = value - way * (ps(measured) - ps(limit))
    for more, holds in ((0, True), (-way, False)):
        again = written(change | {key: f"{at + more} ps"}, ports=(port,))
        assert foretold(again)[id_][2] is holds, more
        agree(again, (id_,), ("cut-short",))


@pytest.mark.parametrize(("id_", "port"), AT_THE_LIMIT)
def test_a_picosecond_decides_alike(id_, port):
    decide_alike(START.get(id_, QUICK), port, id_, *TURNED[id_])


def test_a_cut_that_comes_so_soon_that_two_latches_become_one():
    """On a line that falls more slowly than it rises; the forecast has the cut of the scenario."""
    change = {
        **{"poll.clock-low": "100 ps", "poll.clock-high": "101 ps", "poll.sample": "50 ps"},
        **{"poll.latch-to-clock": "3 ns", "poll.latch-width": "1 us"},
    }
    decide_alike(change, "push-pull", "timing.latch-arrives", "poll.latch-to-clock", 1)


def test_a_clock_that_falls_as_the_load_ends():
    """Latch and clock are alike, so that they fall alike."""
    part = {"register.part": "74HC165", "register.latch-inverted": True}
    slow = {"poll.latch-to-clock": "100 ns", "resistors.latch-to-supply": "3.3k ± 5 %"}
    decide_alike(QUICK | part | slow, "push-pull", LOAD_END, "poll.latch-to-clock", 1)


def test_only_a_part_that_asks_for_it_is_held_to_the_clock_at_the_end_of_the_load():
    hasty = {"poll.latch-to-clock": "1 ps", "resistors.clock-to-supply": "absent"}
    asks = {"register.part": "74HC165", "register.latch-inverted": True}
    for part, holds in (({}, True), (asks, False)):
        assert foretold(written(hasty | part, ports=("push-pull",)))[LOAD_END][2] is holds


def test_a_cut_that_leaves_too_little_of_the_clock():
    change = QUICK | {"poll.latch-width": "60 ns", "poll.latch-to-clock": "20 ns"}
    change |= {"poll.clock-high": "251 ns"}
    decide_alike(change, "push-pull", "timing.clock-high", "poll.latch-to-clock", 1)


def test_every_rule_is_brought_to_its_limit():
    assert {*TURNED, LOAD_END, "timing.clocks"} == set(of_circuits("run"))


@pytest.mark.parametrize("line", ["latch", "clock"])
def test_a_line_that_nothing_lifts_never_arrives(line):
    sheet = written({f"resistors.{line}-to-supply": "absent"}, ports=("pull-down-only",))
    with warnings.catch_warnings():
        warnings.simplefilter("error")  # of inf less inf
        foretold(sheet)
    agree(sheet, (f"timing.{line}-arrives",))
    assert not foretold(sheet)[f"timing.{line}-arrives"][2]


@settings(deadline=None, max_examples=12)
@given(st.tuples(*[st.integers(150, 3_000)] * 4), st.floats(0, 1), st.sampled_from(BOTH))
def test_any_poll_is_foretold(times, part, port):
    """In nanoseconds; ``part`` says where between fall and rise the sample lies."""
    names = ("latch-width", "latch-to-clock", "clock-low", "clock-high")
    change = {f"poll.{name}": f"{time} ns" for name, time in zip(names, times, strict=True)}
    change["poll.sample"] = f"{max(1, int(times[2] * part))} ns"
    sheet = written(change, ports=(port,))
    agree(sheet, of_circuits("run"), ("cut-short",))
