"""Pins of a register under the names of data sheets: SH/LD and QH, PL and Q7, P/S and PI-1.

our_names(["D0", "PL", "Q7"], part.pins)     # {"D0": "P1", "PL": "load", "Q7": "Q8"}
"""

import re
from collections.abc import Iterable, Mapping

from padbench.wiring.netlists.board import NAMES

_BESIDE = re.compile(r"[\s_{}()-]|~$")


def our_names(pins: Iterable[str], numbers: Mapping[str, int]) -> dict[str, str]:
    """Each pin's name in our tables; ``numbers`` are the pins of the part by those names.

    A name that no data sheet has is left out, and so are stages of which nothing tells whether they
    are counted from 0 or from 1.
    """
    words = {pin: _BESIDE.sub("", pin.upper()) for pin in pins}
    ours = {_BESIDE.sub("", name.upper()): name for name in numbers if not name[-1:].isdigit()}
    if not {*"ABDEFGH"} & {*words.values()}:
        ours["C"] = "clock"  # else it is the third input
    named = {pin: ours[word] for pin, word in words.items() if word in ours}
    for name, known in NAMES["pins"].items():
        named |= {pin: name for pin, word in words.items()
                  if name in numbers and re.fullmatch(known, word)}  # fmt: skip
    left = {pin: word for pin, word in words.items() if pin not in named}
    inputs, outputs = (_stages(kind, left, numbers) for kind in "PQ")
    for own, other in ((inputs, outputs), (outputs, inputs)):
        told = [first for first in own if len(own) == 1 or [*other] == [first]]
        if told or all(stages == own.get(1) for stages in own.values()):
            named |= own[told[0] if told else 1] if own else {}
    return named


def _stages(
    kind: str, words: Mapping[str, str], numbers: Mapping[str, int]
) -> dict[int, dict[str, str]]:
    """Inputs or outputs counted from 1 and from 0, as far as the part has all such stages."""
    found = {pin: re.fullmatch(NAMES["stages"][kind], word) for pin, word in words.items()}
    ways = {}
    for first in (1, 0):
        stages = {
            pin: f"{kind}{int(one[1]) + 1 - first if one[1] else ' ABCDEFGH'.index(one[2])}"
            for pin, one in found.items()
            if one
        }
        if {*stages.values()} <= numbers.keys():
            ways[first] = stages
    return ways
