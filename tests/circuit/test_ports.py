"""Ports as built: which pad works on which, what must not pass, and what a port may sink."""

import pytest

from padbench.circuit.circuits import Circuits
from padbench.circuit.design import design_of, feeding
from padbench.circuit.electric import judge_electric
from padbench.parts import port_kind, port_names, register_names
from padbench.sheet import load_sheet
from padbench.toml import SheetError
from sheets import FIRMWARE, written

BARE = {"resistors.latch-to-supply": "absent", "resistors.clock-to-supply": "absent"}
FAMILY = [name for name in register_names() if "021" in name]


def failing(*changes, ports):
    found = judge_electric(written(*changes, ports=ports), remedies=False).findings
    return {one.id for one in found if one.verdict == "fail"}


@pytest.mark.parametrize("port", ["push-pull", "pull-down-only"])
@pytest.mark.parametrize("part", FAMILY)
def test_the_usual_pad_of_any_makers_part_passes(part, port):
    assert failing({"register.part": part}, ports=(port,)) == set()


@pytest.mark.parametrize("port", port_names())
def test_the_usual_pad_of_the_usual_part_passes_on_every_kind_of_port(port):
    assert failing(ports=(port,)) == set()


def test_only_a_port_that_lifts_all_the_way_works_without_resistors():
    """Common practice for the two old kinds; the weak high by calculation (2.5 V of 3.5 V)."""
    works = {port for port in port_names() if not failing(BARE, ports=(port,))}
    assert works == {"push-pull", "3v3-adapter"}
    rows = judge_electric(written(BARE), remedies=False).ports
    assert {row.port for row in rows} == set(port_names())


def test_a_weak_high_is_where_it_was_left():
    found = judge_electric(written(BARE, ports=("push-pull-weak-high",)), remedies=False).findings
    clock = next(one for one in found if one.id == "port.push-pull-weak-high.clock")
    # 2.5 V, less a kilo-ohm's drop of 6 µA.
    assert clock.measured == pytest.approx(2.494, abs=1e-3)


@pytest.mark.parametrize("kind", ["register", "program"])
def test_a_pad_of_3_volts_on_a_port_of_5_fails_and_says_over_voltage(kind):
    change = FIRMWARE if kind == "program" else {}
    found = failing(change, {"pad.supply": "3.3 V ± 3 %"}, ports=("push-pull",))
    assert {"port.push-pull.over-voltage", "data.high"} <= found
    # What only pulls down lifts no line above anything.
    quiet = failing(change, {"pad.supply": "3.3 V ± 3 %"}, ports=("pull-down-only",))
    assert "port.pull-down-only.over-voltage" not in quiet
    assert failing(change, {"pad.supply": "3.3 V ± 3 %"}, ports=("3v3-adapter",)) == set()


def test_over_voltage_is_by_the_worst_ends_and_has_a_remedy_that_is_no_value():
    found = judge_electric(written({"pad.supply": "3.3 V ± 3 %"}, ports=("push-pull",))).findings
    above = next(one for one in found if one.id == "port.push-pull.over-voltage")
    # 5.5 V of the port's table (assumed) over 3.3 V less 3 %.
    assert above.measured == pytest.approx(5.5 - 3.201)
    assert above.limit == pytest.approx(0.3 + 75 * 10e-6)
    assert "assumed" in {source.kind for source in above.sources}
    assert "level shifter" in above.remedy.says


def test_a_register_at_12_volts_fails_on_every_port_that_its_lines_or_data_reach():
    change = {"pad.supply": "12 V ± 5 %"}
    assert {"port.push-pull.latch", "data.over-voltage"} <= failing(change, ports=("push-pull",))
    for port in ("pull-down-only", "push-pull-weak-high", "3v3-adapter"):
        assert "data.over-voltage" in failing(change, ports=(port,))


@pytest.mark.parametrize(
    ("volts", "port", "by"),
    [
        ("5 V ± 5 %", "push-pull", "sheet"),
        ("5 V ± 5 %", "3v3-adapter", "port"),
        ("3.3 V", "3v3-adapter", "sheet"),
        ("3.3 V", "pull-down-all-diodes", "itself"),
        ("12 V", "3v3-adapter", "itself"),
    ],
)
def test_who_feeds_the_pad(volts, port, by):
    sheet = written({"pad.supply": volts}, ports=(port,))
    assert feeding(sheet.pad.supply, sheet.port(port)) == by
    over = Circuits(design_of(sheet, sheet.part, port_kind(port))).at_lines
    if by == "port":
        assert over.supply.min() == 3.135
        says = [one.says for one in judge_electric(sheet, remedies=False).findings]
        assert any("the port's own and not the sheet's" in text for text in says)
    assert (over.supply == over.console).all() == (by != "itself")


def test_behind_its_diode_a_pad_has_4_volts_and_its_thresholds_go_with_that():
    sheet = written(ports=("pull-down-all-diodes",))
    circuits = Circuits(design_of(sheet, sheet.part, sheet.port("pull-down-all-diodes")))
    supply = circuits.at_lines.supply
    assert 3.9 < supply.min() < 4.1
    assert 4.6 < supply.max() < 4.9
    assert (circuits.latch.high_at == 0.7 * supply).all()
    assert set(circuits.data_thresholds[1].round(4).ravel()) == {3.325, 3.675}
    # The low of data is a diode above the register's own.
    assert 0.5 < circuits.data_levels[0].min() < circuits.data_levels[0].max() < 1.3


def test_what_a_port_may_sink_bounds_the_resistors_that_are_offered():
    """5.25 V less the low, through 470 ohm less 5 %: some 9 mA where 4.4 mA are allowed."""
    small = {"resistors.latch-to-supply": "470 Ω ± 5 %"}
    found = judge_electric(written(small)).findings
    sink = next(one for one in found if one.id == "latch.sink")
    assert sink.verdict == "fail"
    assert sink.measured == pytest.approx(5.25 / (0.95 * 470 + 75), rel=0.01)
    assert sink.remedy.key == "resistors.latch-to-supply"
    assert sink.remedy.low > 1.1e3
    for one in judge_electric(written(BARE)).findings:
        if one.verdict == "fail" and one.remedy is not None:
            assert all(ohms > 1.1e3 for ohms in one.remedy.e24), one.id
    assert "latch.sink" in failing(
        {"resistors.latch-to-supply": "1.5k ± 5 %"}, ports=("push-pull-weak-high",)
    )


def own(tmp_path, *lines):
    text = written().document.text
    table = "\n".join(
        [
            "[port.mine]",
            *lines,
            'note = "mine"\nsource = "mine"\nclass = "C"',
            *(
                f'{key} = {{ {end} = {number}, unit = "{unit}", at = "all", source = "mine",'
                ' class = "C" }'
                for key, end, number, unit in (
                    ("input-capacitance", "max", 20, "pF"),
                    ("output-low-resistance", "max", 75, "Ω"),
                    ("output-leakage", "max", 5, "µA"),
                    ("input-low", "max", 0.3, "fraction"),
                    ("input-high", "min", 0.7, "fraction"),
                    ("input-leakage", "max", 1, "µA"),
                    ("supply-current", "max", 50, "mA"),
                )
            ),
        ]
    )
    (tmp_path / "mine.toml").write_text(table)
    target = tmp_path / "pad.toml"
    target.write_text(
        '[parts]\nfile = "mine.toml"\n'
        + text.replace("['push-pull', 'pull-down-only']", '["mine"]')
    )
    return load_sheet(target)


LIFTS = (
    "drives-high = true\ndiode = false",
    'output-high-resistance = { max = 75, unit = "Ω", at = "5 V", source = "mine", class = "C" }',
)


def test_a_table_of_the_old_keys_goes_with_the_sheets_supply(tmp_path):
    sheet = own(tmp_path, *LIFTS)
    over = Circuits(design_of(sheet, sheet.part, sheet.port("mine"))).at_lines
    assert (over.console == over.supply).all()
    sink = next(
        one for one in judge_electric(sheet, remedies=False).findings if one.id == "latch.sink"
    )
    assert (sink.verdict, sink.limit) == ("pass", None)
    assert "nobody says" in sink.says


@pytest.mark.parametrize(
    ("lines", "wrong"),
    [
        ((*LIFTS, "supply-diode = true"), "has no diode-saturation-current"),
        (("drives-high = false\ndiode = false", "lifts-only = true"), "has lifts-only"),
    ],
)
def test_figures_that_do_not_go_together_are_refused(tmp_path, lines, wrong):
    with pytest.raises(SheetError, match=wrong):
        own(tmp_path, *lines)
