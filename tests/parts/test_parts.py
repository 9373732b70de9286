import copy
from dataclasses import fields

import pytest

from padbench.circuit.laws import stretch
from padbench.core.findings import Source
from padbench.core.units import read_value
from padbench.parts import (
    Figure,
    named_poll,
    poll_names,
    port_kind,
    port_names,
    register_names,
    register_part,
    worst_of_family,
)
from padbench.parts.figure import FigureEntry, read_table
from padbench.parts.registers import registers_from


def seconds(text: str | int) -> float:
    return read_value(text, "s", example="").nominal


def test_the_named_parts_are_there() -> None:
    assert register_names() == (
        *("CD4021B", "MC14021B", "HCF4021B", "HEF4021B"),
        *("MC14014B", "CD4014B", "HCF4014B", "74HC165"),
    )
    assert port_names() == (
        "push-pull",
        "push-pull-weak-high",
        "pull-down-only",
        "pull-down-all-diodes",
        "3v3-adapter",
    )
    assert {"plain-loop", "slow-loop", "brisk"} <= set(poll_names())


@pytest.mark.parametrize("look_up", [register_part, port_kind, named_poll])
def test_an_unknown_name_is_a_key_error(look_up: object) -> None:
    with pytest.raises(KeyError):
        look_up("4O21")  # type: ignore[operator]


@pytest.mark.parametrize("name", register_names())
def test_every_figure_has_its_source(name: str) -> None:
    part = register_part(name)
    assert part.cited.title
    for field in fields(part):
        figure = getattr(part, field.name)
        if isinstance(figure, Figure):
            assert figure.cited.title, field.name
            assert figure.at, field.name
            assert figure.unit in ("s", "V", "A", "F", "Hz", "s/F", "fraction", "°C")
            # The class says it; a title that says so too would be told twice.
            assert "from memory" not in figure.cited.title, field.name


# Class M: the figures of the CD4021B data sheet at 5 V as remembered.
@pytest.mark.parametrize(
    ("figure", "bound", "number"),
    [
        ("clock_to_output", "typ", 160e-9),
        ("clock_to_output", "max", 320e-9),
        ("output_transition", "max", 200e-9),
        ("clock_width", "min", 180e-9),
        ("clock_width", "typ", 90e-9),
        ("load_width", "min", 160e-9),
        ("setup_serial", "min", 120e-9),
        ("setup_parallel", "min", 50e-9),
        ("removal", "min", 280e-9),
        ("clock_frequency", "min", 3e6),
        ("clock_edge_max", "max", 15e-6),
        ("leakage", "max", 0.1e-6),
        ("leakage_over_temperature", "max", 1e-6),
        ("input_capacitance", "max", 7.5e-12),
        ("sink_current", "min", 0.51e-3),
        ("sink_current_over_temperature", "min", 0.36e-3),
        ("source_current", "min", 0.51e-3),
    ],
)
def test_figures_of_the_cd4021b(figure: str, bound: str, number: float) -> None:
    assert getattr(getattr(register_part("CD4021B"), figure), bound) == number


# Class P: JEDEC JESD13-B, at a supply of 5 V.
@pytest.mark.parametrize(
    "name", ["CD4021B", "MC14021B", "HCF4021B", "HEF4021B", "MC14014B", "CD4014B"]
)
def test_b_series_levels(name: str) -> None:
    part = register_part(name)
    assert (part.input_low.max, part.input_high.min, part.input_low.unit) == (1.5, 3.5, "V")
    assert part.input_low.cited.kind == part.input_high.cited.kind == "published"


# Class P: pins of the MC14021B, Motorola CMOS Logic Data.
def test_pins() -> None:
    pins = register_part("CD4021B").pins
    assert sorted(pins.values()) == list(range(1, 17))
    by_number = {number: name for name, number in pins.items()}
    order = " ".join(by_number[number] for number in range(1, 17))
    assert order == "P8 Q6 Q8 P4 P3 P2 P1 VSS load clock serial Q7 P5 P6 P7 VDD"
    assert sorted(register_part("74HC165").pins.values()) == list(range(1, 17))


def test_what_sets_the_parts_apart() -> None:
    # Class P: MC14014B/MC14021B, HEF4021B and 74HC165 data sheets.
    assert register_part("MC14014B").load == "synchronous"
    assert register_part("MC14021B").load == "transparent"
    assert register_part("74HC165").load_level == "low"
    assert register_part("CD4021B").load_level == "high"
    assert [n for n in register_names() if register_part(n).schmitt_clock] == ["HEF4021B"]
    assert register_part("HEF4021B").clock_edge_max.max is None


def test_borrowed_figures_say_so() -> None:
    own, borrowed = register_part("CD4021B").removal, register_part("HEF4021B").removal
    assert borrowed.min == own.min
    assert borrowed.cited == Source("taken from the CD4021B", "from memory")
    assert register_part("HEF4021B").borrowed["removal"] == "CD4021B"
    assert not register_part("CD4021B").borrowed


def test_what_is_borrowed_is_also_taken_at_the_worst_of_the_family() -> None:
    worst = worst_of_family(register_part("HEF4021B"))
    assert worst is not None
    # Classes P2 (MC line, fact 36) and M (CD line, fact 7).
    assert worst.clock_to_output == register_part("MC14021B").clock_to_output
    assert (worst.removal.min, worst.clock_frequency.min) == (280e-9, 1.5e6)
    # Its own stay, though another line's drive or supply is better.
    assert worst.sink_current == register_part("HEF4021B").sink_current
    assert worst.clock_edge_max.max is None
    assert worst_of_family(register_part("CD4021B")) is None
    assert worst_of_family(register_part("74HC165")) is None


def test_a_published_figure_is_only_believed_of_another_part() -> None:
    table = copy.deepcopy(read_table("registers.toml"))
    del table["MC14021B"]["figures"]["input-low"]  # type: ignore[attr-defined]
    parts = registers_from(table)
    assert parts["CD4021B"].input_low.cited.kind == "published"
    assert parts["MC14021B"].input_low.cited.kind == "from memory"


@pytest.mark.parametrize("missing", ["source", "class", "at", "unit"])
def test_a_figure_without_a_source_is_refused(missing: str) -> None:
    table = copy.deepcopy(read_table("registers.toml"))
    del table["CD4021B"]["figures"]["removal"][missing]  # type: ignore[index]
    with pytest.raises(ValueError, match=missing):
        registers_from(table)


def test_an_empty_source_is_refused() -> None:
    table = copy.deepcopy(read_table("registers.toml"))
    table["CD4021B"]["source"] = ""
    with pytest.raises(ValueError, match="source"):
        registers_from(table)


def test_a_missing_figure_is_refused() -> None:
    table = copy.deepcopy(read_table("registers.toml"))
    del table["74HC165"]["figures"]["removal"]  # type: ignore[attr-defined]
    with pytest.raises(ValueError, match="removal"):
        registers_from(table)


def test_a_figure_says_something() -> None:
    raw = {"unit": "ns", "at": "5 V", "source": "x", "class": "M"}
    with pytest.raises(ValueError, match="no-limit"):
        FigureEntry.model_validate(raw)
    assert FigureEntry.model_validate({**raw, "no-limit": True}).figure().max is None


def test_ports() -> None:
    # Class C: two kinds of port.
    assert port_kind("push-pull").drives_high
    assert not port_kind("pull-down-only").drives_high
    assert port_kind("pull-down-only").diode
    assert port_kind("push-pull").input_capacitance.typ == 20e-12


def read_time(name: str) -> float:
    poll = named_poll(name).timings
    cycle = seconds(poll["clock-low"]) + seconds(poll["clock-high"])
    return (
        seconds(poll["latch-width"]) + seconds(poll["latch-to-clock"]) + int(poll["clocks"]) * cycle
    )


def test_loops_last_as_many_scan_lines_as_they_say() -> None:
    line = 341 * 2 / 3 / (315e6 / 88)  # class M: the console's own line, 63.51 µs
    assert read_time("plain-loop") == pytest.approx(line, rel=0.001)
    assert read_time("slow-loop") == pytest.approx(2.5 * line, rel=0.001)


def test_brisk_keeps_what_the_cd4021b_guarantees() -> None:
    part, poll = register_part("CD4021B"), named_poll("brisk").timings
    low, high = seconds(poll["clock-low"]), seconds(poll["clock-high"])
    assert part.load_width.min is not None
    assert part.removal.min is not None
    assert part.clock_width.min is not None
    assert part.clock_frequency.min is not None
    assert part.clock_to_output.max is not None
    assert seconds(poll["latch-width"]) >= part.load_width.min
    assert seconds(poll["latch-to-clock"]) + low >= part.removal.min
    assert min(low, high) >= part.clock_width.min
    assert 1 / (low + high) <= part.clock_frequency.min
    assert high + seconds(poll["sample"]) > part.clock_to_output.max


# Class M: maximum from clock to output in the data sheets' columns, V to ns.
@pytest.mark.parametrize(
    ("name", "columns"),
    [
        ("CD4021B", {5: 320, 10: 160, 15: 120}),
    ],
)
def test_the_derating_goes_through_the_columns(name: str, columns: dict[float, float]) -> None:
    part = register_part(name)
    law = part.derating
    assert law is not None
    assert law.cited.kind == "from memory"
    assert part.clock_to_output.max is not None
    for volts, nanoseconds in columns.items():
        longer = stretch(volts, 25, law.volts, law.threshold, law.exponent, law.per_degree)
        assert float(longer) * part.clock_to_output.max == pytest.approx(
            nanoseconds * 1e-9, rel=0.03
        )


def test_a_sister_part_derates_likewise() -> None:
    assert register_part("HEF4021B").derating == register_part("CD4021B").derating


@pytest.mark.parametrize(
    ("key", "value"),
    [("source", None), ("threshold", 3.0), ("exponent", 0.5), ("per-degree", -0.1), ("volts", 0)],
)
def test_a_derating_that_makes_no_sense_is_refused(key: str, value: float | None) -> None:
    table = copy.deepcopy(read_table("registers.toml"))
    entry = table["CD4021B"]["derating"]  # type: ignore[index]
    if value is None:
        del entry[key]
    else:
        entry[key] = value
    with pytest.raises(ValueError, match=key.split("-", maxsplit=1)[0]):
        registers_from(table)


def test_a_part_without_derating_is_taken_to_hold_anywhere() -> None:
    table = copy.deepcopy(read_table("registers.toml"))
    del table["CD4021B"]["derating"]  # type: ignore[attr-defined]
    assert registers_from(table)["CD4021B"].derating is None
