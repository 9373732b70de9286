"""Names of pins as data sheets have them."""

import pytest

from padbench.parts.own import find_part
from padbench.wiring.netlists.pin_names import our_names

# Data sheets of the family, from memory; each in the order of the pins.
NAMES = {
    "CD4021B": (
        "P8 Q6 Q8 P4 P3 P2 P1 VSS load clock serial Q7 P5 P6 P7 VDD",
        "PI-8 Q6 Q8 PI-4 PI-3 PI-2 PI-1 VSS PARALLEL/SERIAL_CONTROL CLOCK SERIAL_IN Q7 PI-5 PI-6"
        " PI-7 VDD",
        "P8 Q6 Q8 P4 P3 P2 P1 VSS P/S C DS Q7 P5 P6 P7 VDD",
        "D7 Q5 Q7 D3 D2 D1 D0 VSS PL CP DS Q6 D4 D5 D6 VDD",
        "P7 O5 O7 P3 P2 P1 P0 VSS PL CP DS O6 P4 P5 P6 VDD",
        "D7 Q6 Q8 D3 D2 D1 D0 GND P/~{S} CLK SER Q7 D4 D5 D6 VCC",
        "H QF QH D C B A GND LOAD CLK SI QG E F G VCC",
    ),
    "74HC165": (
        "load clock P5 P6 P7 P8 Q8-inverted VSS Q8 serial P1 P2 P3 P4 clock-inhibit VDD",
        "SH/LD CLK E F G H QH_N GND QH SER A B C D CLK_INH VCC",
        "SH/~{LD} CLK E F G H ~{QH} GND QH SER A B C D CLK_INH VCC",
        "~{PL} CP D4 D5 D6 D7 ~{Q7} GND Q7 DS D0 D1 D2 D3 ~{CE} VCC",
        "/PL CP D4 D5 D6 D7 /Q7 GND Q7 DS D0 D1 D2 D3 /CE VCC",
        "S/L CK E F G H QH' GND QH SI A B C D CK_INH VCC",
        "SH_LDN CLK P5 P6 P7 P8 NQ8 GND Q8 SER P1 P2 P3 P4 CLKINH VCC",
    ),
}
CASES = [(part, names) for part, several in NAMES.items() for names in several]


@pytest.mark.parametrize(("part", "names"), CASES)
def test_each_name_of_a_data_sheet_is_its_pin(part, names):
    numbers = find_part(part).pins
    named = our_names(names.split(), numbers)
    assert [numbers[named[name]] for name in names.split()] == [*range(1, 17)]
    lower = our_names(names.lower().split(), numbers)
    assert [*lower.values()] == [*named.values()]


def test_what_nothing_counts_is_left_out():
    """Stages 1 to 7 may be the first seven, or the last of D0 to D7."""
    numbers = find_part("CD4021B").pins
    inputs = [f"D{stage}" for stage in range(1, 8)]
    assert our_names([*inputs, "PL"], numbers) == {"PL": "load"}
    assert our_names([*inputs, "Q8"], numbers)["D7"] == "P7"
    assert our_names([*inputs, "Q5"], numbers)["D7"] == "P8"
    assert our_names(["D0", "D8", "Q6", "Q7"], numbers) == {}
    assert our_names(["X", "CE", "OUT"], numbers) == {}
