"""IPC-D-356 and IPC-D-356A, the file for the test of bare boards: nets by fixed columns.

Columns, from 1: record 1 to 3, net 4 to 17, reference 21 to 26, a dash 27, pin 28 to 31 (from
memory). It has neither values nor kinds of part; these come from ``[board.parts]``.
"""

import re

from padbench.core.units import found_text
from padbench.wiring.netlists.board import Drawing

_PINS = ("317", "327")
"""A pad through the board, and one on its surface."""

_OTHERS = frozenset(
    ("017", "027", "307", "309", "367", "370", "378", "379", "388", "389", "078", "089")
)
"""Holes, tracks, edges, and further lines of a record: nothing that joins pins."""

_UNUSED = frozenset(("N/C", "NC"))
"""Pins on no net; each stands alone, though they share the name."""

_ALIAS = re.compile(r"P +(NNAME\w+) +(\S.*)")


def read_ipc_d_356(text: str, drawing: Drawing) -> None:
    """Fill a drawing. Raises `SheetError` for an unknown record, or if the end record is missing.

    ``P  NNAME1  long/name`` stands for a net whose name is longer than its columns.
    """
    long_names: dict[str, str] = {}
    for number, raw in enumerate(text.splitlines(), 1):
        line = raw.rstrip()
        record = line[:3]
        if record == "999":
            return
        if alias := _ALIAS.fullmatch(line):
            long_names[alias[1]] = alias[2]
        if not line or line[0] in "CP" or record in _OTHERS:
            continue
        if record not in _PINS:
            raise drawing.refuse(
                f"{found_text(record)} is no record of IPC-D-356", "export it again", number
            )
        net, reference, pin = line[3:17].strip(), line[20:26].strip(), line[27:31].strip()
        if reference in ("", "VIA"):
            continue
        if line[26:27] != "-":
            raise drawing.refuse(
                "has no dash between reference and pin, in column 27", "export it again", number
            )
        if not drawing.known(reference):
            drawing.part(reference, "", number)
        if net not in _UNUSED:
            drawing.pin(reference, pin, long_names.get(net, net), number)
    raise drawing.refuse("breaks off: the end record 999 is missing", "export it again")
