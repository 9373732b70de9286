"""Values of ports in extended VCD files, which $dumpports writes (IEEE Std 1364-2005, 18.4.3).

A state tells who drives: the test fixture (input), the device (output) or, where both may, an
unknown direction. Here only the level counts that the wire then has. The letters are those of
18.4.3.1, from memory of the standard and held to an independent converter in ``tests/outside/``:

======================  ===  ===  =======  ==========
direction               low  high unknown  three-state
======================  ===  ===  =======  ==========
input                   D d  U u  N        Z
output                  L l  H h  X        T
unknown                 0    1    ?        F f
======================  ===  ===  =======  ==========

Small letters mean two or more drivers. ``A`` and ``a``, ``B`` and ``b``, ``C`` and ``c`` are a
conflict of input and output, so unknown.
"""

import numpy as np
from numpy.typing import NDArray

from padbench.core.timeline import FLOATING, HIGH, LOW, UNKNOWN

__all__ = ["LEVEL_OF_STATE", "NO_STATE", "bad_strength", "port_values"]

Bytes = NDArray[np.uint8]
Places = NDArray[np.intp]

NO_STATE = 255

LEVEL_OF_STATE = np.full(256, NO_STATE, np.uint8)
"""By character; `NO_STATE` for one that is none."""
for _states, _level in (
    (b"DdLl0", LOW),
    (b"UuHh1", HIGH),
    (b"NX?AaBbCc", UNKNOWN),
    (b"ZTFf", FLOATING),
):
    LEVEL_OF_STATE[list(_states)] = _level


def port_values(candidates: Places) -> Places:
    """Which tokens that begin with ``p`` are values; a code three tokens further may begin so too.

    Both are token numbers in rising order.
    """
    if (np.diff(candidates) > 3).all():
        return candidates
    kept: list[int] = []
    for place in candidates.tolist():
        if not kept or place > kept[-1] + 3:
            kept.append(place)
    return np.asarray(kept, np.intp)


def bad_strength(bytes_: Bytes, starts: Places, spaces: Places) -> int | None:
    """Where the first token begins, of those at ``starts``, that has another digit than 0 to 7."""
    others = np.concatenate([[0], np.cumsum((bytes_ < ord("0")) | (bytes_ > ord("7")))])
    wrong = others[spaces[np.searchsorted(spaces, starts)]] > others[starts]
    return int(starts[np.argmax(wrong)]) if wrong.any() else None
