"""Pin tables against a library of symbols that Debian packages (kicad-symbols 6.0.10).

Class P2: the library's symbols were drawn after the data sheets that they name. It counts stages
from 0 where the parts tables count from 1.
"""

import re
from pathlib import Path

import pytest

from padbench.parts.own import find_part, known_parts

LIBRARY = Path("/usr/share/kicad/symbols")
SYMBOLS = {
    "4021": ("4xxx", "4021"),
    "4014": ("4xxx_IEEE", "4014"),
    "165": ("74xx", "74LS165"),  # 74HC165 there is the same symbol
}
OURS = {"PL": "load", "CP": "clock", "DS": "serial", "~{CE}": "clock-inhibit", "~{PL}": "load"}
OURS |= {"Vdd": "VDD", "VCC": "VDD", "Vss": "VSS", "GND": "VSS", "~{Q7}": "Q8-inverted"}


def drawn(library: str, symbol: str) -> dict[int, str]:
    """Name of each pin by its number, in our words."""
    path = LIBRARY / f"{library}.kicad_sym"
    if not path.exists():
        pytest.fail(
            "kicad-symbols is not installed; install it with: apt-get install kicad-symbols"
        )
    text = path.read_text(encoding="utf-8")
    begin = text.index(f'\n  (symbol "{symbol}"')
    own = text[begin : text.index('\n  (symbol "', begin + 1)]
    named = re.findall(r'\(name "([^"]*)".*?\(number "([0-9]+)"', own, re.DOTALL)
    stage = re.compile("([DPQ])([0-9])")
    return {
        int(number): f"{found[1].replace('D', 'P')}{int(found[2]) + 1}"
        if (found := stage.fullmatch(name))
        else OURS.get(name, name)
        for name, number in named
    }


@pytest.mark.parametrize("name", known_parts())
def test_a_register_has_the_pins_of_its_symbol(name):
    part = find_part(name)
    assert {number: pin for pin, number in part.pins.items()} == drawn(*SYMBOLS[part.family])
