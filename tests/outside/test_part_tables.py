"""The tables of parts against published ones, written down here once more, each with its class.

Published: 74HC165; 74HCT165 product data sheet rev. 03 (14 March 2008), table 7; CD74HC165
(SCHS156) and SN74HC165 (SCLS116); HEF4000B data sheets; Motorola CMOS Logic Data (MC14001B).
Second-hand: Motorola CMOS Logic Data (1995) and the HCF4014B data sheet, quoted in a public
driver's source. From memory: the CD4021B.
"""

import numpy as np
import pytest

from padbench.circuit.circuits import thresholds
from padbench.circuit.laws import stretch
from padbench.parts import RegisterPart, register_names, register_part

NS, MA = 1e-9, 1e-3
QUOTED, PUBLISHED, MEMORY = "second-hand", "published", "from memory"

SLOW_LINE = [  # P2: the MC line at 5 V, 25 °C, 50 pF, worst case; P: its gates
    ("clock_to_output", "max", 800 * NS, QUOTED),
    ("clock_width", "min", 400 * NS, QUOTED),
    ("load_width", "min", 400 * NS, QUOTED),
    ("removal", "min", 200 * NS, QUOTED),
    ("clock_frequency", "min", 1.5e6, QUOTED),
    ("output_transition", "typ", 100 * NS, PUBLISHED),
    ("output_transition", "max", 200 * NS, PUBLISHED),
    ("transition_slope", "typ", 1.35 * NS / 1e-12, PUBLISHED),
    ("delay_slope", "typ", 0.9 * NS / 1e-12, PUBLISHED),
]
QUICK_LINE = [  # P2: the 4014 of the CD and HCF lines
    ("clock_to_output", "max", 320 * NS, QUOTED),
    ("clock_width", "min", 180 * NS, QUOTED),
    ("load_width", "min", 160 * NS, QUOTED),
    ("clock_frequency", "min", 3e6, QUOTED),
]
TABLES = {
    "CD4021B": [(key, end, number, MEMORY) for key, end, number, _ in QUICK_LINE],
    "MC14021B": SLOW_LINE,
    "MC14014B": SLOW_LINE,
    "HCF4021B": QUICK_LINE,
    "HCF4014B": QUICK_LINE,
    "CD4014B": QUICK_LINE,
    "HEF4021B": [  # P
        ("supply", "min", 3.0, PUBLISHED),
        ("supply", "max", 15.0, PUBLISHED),
        ("sink_current", "min", 0.44 * MA, PUBLISHED),
        ("sink_current_over_temperature", "min", 0.36 * MA, PUBLISHED),
        ("source_current", "min", 0.44 * MA, PUBLISHED),
        ("source_current_over_temperature", "min", 0.36 * MA, PUBLISHED),
        ("output_transition", "typ", 10 * NS + 50 * NS, PUBLISHED),
        ("transition_slope", "typ", 1.0 * NS / 1e-12, PUBLISHED),
        ("delay_slope", "typ", 0.55 * NS / 1e-12, PUBLISHED),
    ],
    "74HC165": [  # P: at 4.5 V, 25 °C, 50 pF
        ("clock_to_output", "typ", 19 * NS, PUBLISHED),
        ("clock_to_output", "max", 33 * NS, PUBLISHED),
        ("load_to_output", "typ", 18 * NS, PUBLISHED),
        ("load_to_output", "max", 33 * NS, PUBLISHED),
        ("output_transition", "typ", 7 * NS, PUBLISHED),
        ("output_transition", "max", 15 * NS, PUBLISHED),
        ("clock_width", "min", 16 * NS, PUBLISHED),
        ("clock_width", "typ", 6 * NS, PUBLISHED),
        ("load_width", "min", 16 * NS, PUBLISHED),
        ("removal", "min", 20 * NS, PUBLISHED),
        ("clock_edge_max", "max", 500 * NS, PUBLISHED),
        ("sink_drop", "max", 0.26, PUBLISHED),
        ("source_drop", "max", 4.5 - 3.98, PUBLISHED),
        ("sink_current", "min", 4 * MA, PUBLISHED),
        ("source_current", "min", 4 * MA, PUBLISHED),
    ],
}


@pytest.mark.parametrize(
    ("name", "key", "end", "number", "kind"),
    [(name, *row) for name, rows in TABLES.items() for row in rows],
)
def test_each_figure_and_its_class(name, key, end, number, kind):
    figure = getattr(register_part(name), key)
    assert getattr(figure, end) == pytest.approx(number, rel=1e-12)
    assert figure.cited.kind == kind
    assert key not in register_part(name).borrowed


def test_every_shipped_register_is_compared():
    assert set(TABLES) == set(register_names())


def longer(part: RegisterPart, volts: float, celsius: float) -> float:
    law = part.derating
    assert law is not None
    numbers = (law.volts, law.threshold, law.exponent, law.per_degree)
    return float(stretch(volts, celsius, *numbers))


@pytest.mark.parametrize(
    ("key", "end", "columns"),
    [  # P: ns at 4.5 V and 85 °C, at 4.5 V and 125 °C, at 2 V, at 6 V
        ("clock_to_output", "max", (41, 50, 165, 28)),
        ("load_to_output", "max", (41, 50, 165, 28)),
        ("clock_width", "min", (20, 24, 80, 14)),
        ("load_width", "min", (20, 24, 80, 14)),
        ("removal", "min", (25, 30, 100, 17)),
    ],
)
def test_the_other_columns_of_the_74hc165(key, end, columns):
    """A fitted law goes near each of them, and below none by more than a rounded nanosecond."""
    part = register_part("74HC165")
    number = getattr(getattr(part, key), end)
    for column, at in zip(columns, [(4.5, 85), (4.5, 125), (2, 25), (6, 25)], strict=True):
        fitted = number * longer(part, *at) / NS
        assert column - 1 < fitted < 1.08 * column, at


@pytest.mark.parametrize(
    ("celsius", "low", "high"), [(25, 0.26, 3.98), (85, 0.33, 3.84), (125, 0.40, 3.70)]
)
def test_the_output_of_the_74hc165_over_temperature(celsius, low, high):
    """P: volts at 4.5 V and 4 mA; in the table as the current that drops as at 25 °C."""
    part, way = register_part("74HC165"), (celsius - 25) / 100
    for name, drop in (("sink", low), ("source", 4.5 - high)):
        cold = getattr(part, f"{name}_current").min
        hot = getattr(part, f"{name}_current_over_temperature").min
        ohms = getattr(part, f"{name}_drop").max / (cold + way * (hot - cold))
        assert ohms * 4 * MA == pytest.approx(drop, rel=0.01)


@pytest.mark.parametrize(
    ("volts", "low", "high"), [(2, 0.5, 1.5), (4.5, 1.35, 3.15), (6, 1.8, 4.2)]
)
def test_the_thresholds_of_the_74hc165(volts, low, high):
    """At 2 V published; 30 and 70 % from memory."""
    part = register_part("74HC165")
    assert part.levels == "hc"
    parts = (np.array([part.input_low.max]), np.array([part.input_high.min]))
    at = thresholds(*parts, np.zeros(1), np.array([float(volts)]), np.ones(1))
    assert (float(at[0][0]), float(at[1][0])) == pytest.approx((low, high))


def test_the_clock_of_the_74hc165_stands_high_when_its_load_ends():
    """P: the same data sheet, general description; no 4021 asks for it."""
    asks = [name for name in register_names() if register_part(name).clock_high_at_load_end]
    assert asks == ["74HC165"]
