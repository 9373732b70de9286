"""A quantity is one row: a made-up one gets all that follows; those that there are hold up."""

import string
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from padbench.circuit.circuits import each
from padbench.circuit.design import changed, design_of
from padbench.circuit.electric import judge_electric, spread_of
from padbench.circuit.quantities import (
    QUANTITIES,
    followed_by_a_program,
    growing_with_cable,
    kept_by,
    of_circuits,
)
from padbench.circuit.quantity import Quantity
from padbench.circuit.worst_case import worst_case
from padbench.core.findings import Met, Place, Rule, Source
from padbench.parts import port_kind, port_names, register_names, register_part
from padbench.sheet import load_sheet
from sheets import FIRMWARE, VALUES, written

SHEETS = Path(__file__).parents[2] / "sim" / "sheets"
LAW = Source("a made-up law", "assumed")
ROW = Quantity(
    Rule(
        "levels.made-up",
        "V",
        {
            "pass": "a made-up level stands at {measured}; {limit} and less is fine",
            "fail": "a made-up level stands at {measured}, above {limit}",
        },
        ("pull-up.value", "cable.length"),
    ),
    "inputs",
    "at most",
    # 1 mV for each metre of cable and kilo-ohm: no circuit has that.
    lambda c: (
        1e-6 * c.at_inputs.pull_up * each(c.design.cable_length),
        each(np.full(len(c.design), 0.05)),
    ),
    ("part.input_low", LAW),
)


@pytest.fixture
def made_up(monkeypatch):
    monkeypatch.setitem(QUANTITIES, ROW.id, ROW)


def finding(sheet, id_=ROW.id, *, remedies=False):
    found = judge_electric(sheet, remedies=remedies).findings
    return next(one for one in found if one.id == id_)


@pytest.mark.usefixtures("made_up")
def test_one_row_gives_finding_sentence_source_and_remedy():
    found = finding(written(), remedies=True)
    # 39 kΩ + 5 % and 2.5 m.
    assert found.measured == pytest.approx(1e-6 * 39e3 * 1.05 * 2.5)
    assert (found.verdict, found.limit) == ("fail", 0.05)
    assert found.says == "a made-up level stands at 102 mV, above 50 mV"
    assert found.sources == (Source("JEDEC JESD13-B", "published"), LAW)
    assert found.met == Met(ends=(("resistors", "resistors at their most"),))
    assert found.where == "resistors at their most"
    assert found.place == Place("pull-up.value")
    # With so small a pull-up a worn contact reads as released, so the cable comes first.
    cable, pull_up = found.remedy, found.remedy.also[0]
    assert (cable.key, pull_up.key) == ("cable.length", "pull-up.value")
    assert cable.high == pytest.approx(0.05 / (1e-6 * 39e3 * 1.05), rel=1e-5)
    assert pull_up.high == pytest.approx(0.05 / (1e-6 * 2.5 * 1.05), rel=1e-5)
    assert (pull_up.e24, "no preferred value" in pull_up.says) == ((), True)
    assert ROW.id in kept_by("pull-up.value")
    assert ROW.id in growing_with_cable()
    spread = {one.id: one.margins for one in spread_of(written(), [found])}
    assert len(spread[ROW.id]) == 2 * 32


@pytest.mark.usefixtures("made_up")
def test_a_remedy_of_the_row_put_back_holds_and_bounds_the_cable():
    longest = 0.05 / (1e-6 * 39e3 * 1.05)
    assert finding(written({"cable.length": f"{longest * 0.999} m"})).verdict == "pass"
    found = finding(written(), "cable.length", remedies=True)
    assert found.measured == pytest.approx(longest, rel=1e-5)


def test_a_row_of_each_port_has_a_finding_of_each(monkeypatch):
    row = replace(
        ROW,
        circuit="data",
        of_port="made-up",
        values=lambda c: (c.data_levels[0], c.data_thresholds[0]),
    )
    monkeypatch.setitem(QUANTITIES, row.id, row)
    ids = [one.id for one in judge_electric(written(), remedies=False).findings]
    assert {"port.push-pull.made-up", "port.pull-down-only.made-up"} <= set(ids)


def test_ids_are_those_of_their_rules():
    assert [row.id for row in QUANTITIES.values()] == list(QUANTITIES)


@pytest.mark.parametrize("id_", [id_ for id_, row in QUANTITIES.items() if row.circuit != "run"])
def test_every_row_has_words_for_every_case_and_a_source_for_every_figure(id_):
    row = QUANTITIES[id_]
    facts = {"measured", "limit", "port", "fed", "latch_end", "clock_end"}
    for text in row.rule.texts.values():
        assert {name for _, name, _, _ in string.Formatter().parse(text) if name} <= facts
    for measured, limit in ((1.0, 1.0), (1.0, np.inf), (np.inf, 1.0), (-np.inf, np.inf)):
        for port in map(port_kind, port_names()):
            for holds in (True, False):
                case = row.case(measured, limit, port, holds=holds)
                assert case in {"", *row.rule.texts}
    for part in map(register_part, register_names()):
        for port in map(port_kind, port_names()):
            sources = row.sources(part, port)
            assert len(set(sources)) == len(sources) > 0
    assert row.mends


def test_times_of_a_line_rest_on_the_port_and_on_what_was_not_looked_up():
    part, port = register_part("CD4021B"), port_kind("pull-down-only")
    titles = {source.title for source in QUANTITIES["latch.fall"].sources(part, port)}
    for figure in (port.output_low_resistance, port.diode_saturation_current, part.clock_edge_max):
        assert figure.cited.title in titles
    kinds = {source.kind for source in QUANTITIES["latch.pulse"].sources(part, port)}
    assert kinds >= {"from memory", "given", "calculated"}


def test_a_line_that_cannot_get_there_says_so():
    found = {one.id: one for one in judge_electric(NO_LATCH, remedies=False).findings}
    for id_, words in (
        ("latch.rise", "the latch line never gets high"),
        ("latch.pulse", "the register never sees the latch"),
        ("data.first-bit", "the first bit never stands"),
        ("port.pull-down-only.latch", "a pull-down-only port cannot lift it"),
    ):
        assert words in found[id_].says
    assert (found["latch.rise"].measured, found["latch.rise"].margin) == (None, None)


NO_LATCH = written({"resistors.latch-to-supply": "absent"})


def test_where_there_is_no_limit_the_sentence_has_none():
    found = judge_electric(written({"register.part": "HEF4021B"}), remedies=False).findings
    rise = next(one for one in found if one.id == "clock.rise")
    assert (rise.limit, rise.case) == (None, "unlimited")
    assert "any time is allowed" in rise.says
    # At the threshold of its transistors, to which no sheet goes.
    pulse = QUANTITIES["latch.pulse"]
    case = pulse.case(1e-6, np.inf, port_kind("push-pull"), holds=False)
    assert "takes in no pulse" in pulse.rule.texts[case]


def test_groups_follow_from_the_rows():
    assert of_circuits("supply") == (
        *("supply.idle", "supply.all-held", "supply.least", "supply.most"),
    )
    assert set(growing_with_cable()) == {
        *("latch.rise", "latch.fall", "latch.pulse", "clock.rise", "clock.fall"),
        *("clock.low-pulse", "clock.high-pulse", "data.rise", "data.fall"),
        *("data.first-bit", "data.later-bits", "latch.removal", "clock.coupling"),
    }


def test_a_program_is_held_to_every_rule_of_a_run_but_the_number_of_clocks():
    followed = set(followed_by_a_program())
    assert set(of_circuits("run")) - followed == {"timing.clocks", "timing.clock-at-load-end"}
    assert followed - set(of_circuits("run")) == {
        *("latch.pulse", "latch.removal", "clock.low-pulse", "clock.high-pulse"),
        *("data.first-bit", "data.later-bits"),
    }
    assert set(followed_by_a_program("poll.sample")) == {
        *("data.first-bit", "data.later-bits"),
        *("timing.first-bit", "timing.later-bits", "timing.sample-point"),
    }


def test_what_a_resistor_must_not_break_is_all_that_changes_with_it():
    """Turned by a factor of ten, nothing else moves than what is kept by it."""
    sheet = written()
    design = design_of(sheet, sheet.part, sheet.port("push-pull"))
    for key, field in (
        ("pull-up.value", "pull_up"),
        ("resistors.latch-to-supply", "latch_r"),
        ("resistors.clock-to-supply", "clock_r"),
        ("port.push-pull.data-pull-up", "data_up"),
        ("port.push-pull.data-pull-down", "data_down"),
    ):
        turned = changed(design, **{field: getattr(design, field) / 10})
        if field.startswith("data"):
            turned = changed(design, **{field: 5e3})
        pairs = zip(worst_case(design), worst_case(turned), strict=True)
        moved = {one.id for one, other in pairs if one.margin[0] != other.margin[0]}
        assert moved <= set(kept_by(key)), (key, moved - set(kept_by(key)))


def test_a_mended_value_is_one_of_the_sheet():
    dotted = {*VALUES, *FIRMWARE, "poll.routine", "cable.capacitance"}
    for row in QUANTITIES.values():
        assert {key for key in row.mends if not key.startswith("port.*")} <= dotted


def test_the_shipped_sheets_have_a_place_and_sources_for_every_electrical_finding():
    for name in ("harbour-a", "harbour-b", "harbour-hdl"):
        for one in judge_electric(load_sheet(SHEETS / f"{name}.toml"), remedies=False).findings:
            assert one.sources, one.id
            assert one.place is not None or one.id in ("data.low", "data.high")


def test_a_late_latch_with_an_early_clock_leaves_too_little_removal():
    """Neither corner of a run has it: no edge late in one, both in the other."""
    poll = {
        **{"poll.latch-width": "2.5 us", "poll.latch-to-clock": "200 ns", "poll.sample": "0.2 us"},
        **{"poll.clock-low": "250 ns", "poll.clock-high": "5 us"},
    }
    lead = {"cable.length": "10 m", "resistors.clock-to-supply": "1k ± 5 %"}
    found = {one.id: one for one in judge_electric(written(poll, lead)).findings}
    removal = found["latch.removal"]
    # CD4021B, from memory: 280 ns at 5 V and 25 °C.
    assert (removal.verdict, removal.limit > 280e-9) == ("fail", True)
    assert removal.measured < 450e-9
    assert {removal.remedy.key, *(more.key for more in removal.remedy.also)} >= {
        *("cable.length", "poll.latch-to-clock", "poll.clock-low")
    }
    sheet = written(poll, lead)
    for name in sheet.works_with.ports:
        design = design_of(sheet, sheet.part, sheet.port(name))
        (run,) = (one for one in worst_case(design, ["timing.removal"]))
        assert run.holds[0]


@pytest.mark.parametrize(("metres", "farads"), [(2, 60), (2.5, 100), (3, 120)])
@pytest.mark.parametrize("part", [name for name in register_names() if name.endswith("4021B")])
def test_the_usual_pad_passes_with_any_makers_part(part, metres, farads):
    """Class C and M: 39 kΩ pull-ups, 3.6 kΩ on latch and clock, a lead of 2 to 3 m, 5 V."""
    lead = {"cable.length": f"{metres} m", "cable.capacitance": f"{farads} pF/m"}
    sheet = written(lead, {"register.part": part})  # on both of the old ports
    found = judge_electric(sheet, remedies=False).findings
    assert [one.id for one in found if one.verdict == "fail"] == []


@pytest.mark.parametrize(("share", "verdict"), [("15 %", "pass"), ("30 %", "fail")])
def test_data_that_drag_the_clock_back_fail_with_a_remedy_that_holds(share, verdict):
    coupled = {"cable.coupling": share}
    only = {"ports": ("pull-down-only",)}
    found = {one.id: one for one in judge_electric(written(coupled, **only)).findings}
    coupling = found["clock.coupling"]
    assert coupling.verdict == verdict
    if verdict == "fail":
        # Half of the 90 ns that clock a usual CD4021B, from memory.
        assert (coupling.limit, coupling.measured > 100e-9) == (pytest.approx(45e-9), True)
        assert coupling.remedy.key == "resistors.clock-to-supply"
        stronger = {"resistors.clock-to-supply": f"{coupling.remedy.e24[-1]!r} Ω ± 5 %"}
        for mended in (stronger, {"register.part": "HEF4021B"}):
            assert finding(written(coupled, mended, **only), "clock.coupling").verdict == "pass"


def test_edges_of_a_line_are_those_of_a_data_sheet():
    """10 to 90 %, common practice: 2.2 time constants, where 30 to 70 % are 0.85."""
    tau = 3.6e3 * 1.05 * (2.5 * 100e-12 + 7.5e-12)
    for id_ in ("clock.rise", "latch.rise"):
        assert finding(written(), id_).measured == pytest.approx(tau * np.log(9), rel=1e-6)


def test_brisk_is_kept_by_its_own_part_and_is_about_the_shortest():
    poll = {key: None for key in VALUES if key.startswith("poll.")} | {"poll.use": "brisk"}
    own = written(poll, {"register.part": "CD4021B"}, ports=("push-pull",))
    found = {one.id: one for one in judge_electric(own, remedies=False).findings}
    failed = {id_ for id_, one in found.items() if one.verdict == "fail"}
    assert failed == {"bounce.polls"}  # as any poll that looks more often than a contact bounces
    for id_ in ("data.first-bit", "data.later-bits"):
        assert found[id_].measured > 0.9 * found[id_].limit
