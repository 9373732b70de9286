"""A netlist from a file, whatever its format."""

import re
import stat
from collections.abc import Callable, Mapping
from pathlib import Path

from padbench.core.units import found_text
from padbench.files import was_read
from padbench.toml import SheetError
from padbench.wiring.netlists.board import Board, Drawing, refused
from padbench.wiring.netlists.ipc_d_356 import read_ipc_d_356
from padbench.wiring.netlists.s_expression import read_s_expression
from padbench.wiring.netlists.spice_deck import read_spice

_LARGEST = 32 << 20
_Reader = Callable[[str, Drawing], None]
_FORMS: tuple[tuple[str, str, _Reader], ...] = (
    (r"\s*\(", "s-expression netlist", read_s_expression),
    (r"(?:[CP]\b.*\n|[ \t\r]*\n)*(?:317|327|367|999)", "IPC-D-356 netlist", read_ipc_d_356),
    (r"(?:.*\n)*?\.(?:subckt|end|title)\b", "SPICE netlist", read_spice),
)
"""How the beginning of a file looks, in the order of trying."""

_HEAD = 1 << 16


def _form(head: str) -> tuple[str, _Reader] | None:
    return next(
        ((form, reader) for look, form, reader in _FORMS if re.match(look, head, re.IGNORECASE)),
        None,
    )


def is_netlist(path: Path) -> bool:
    """Whether a file begins, or is named, as a netlist is; one named .toml is a sheet."""
    ending = path.suffix.lower()
    if ending in (".toml", ".cir", ".ipc") or not path.is_file():
        return ending != ".toml" and path.is_file()
    try:
        with path.open("rb") as file:
            return _form(file.read(_HEAD).decode("utf-8-sig", "replace")) is not None
    except OSError:
        return False


def read_board(path: Path, values: Mapping[str, str]) -> Board:
    """The board in a netlist; ``values`` are those of ``[board.parts]``.

    Raises:
        SheetError: it cannot be read, is no netlist of a known format, larger than 32 MiB, breaks
            off, or contradicts itself.
    """
    name = str(path)
    try:
        # Looked at before opening: opening a pipe would wait for a writer.
        if not stat.S_ISREG(path.stat().st_mode):
            raise refused(name, "is not a file", "name a netlist")
        with path.open("rb") as file:
            raw = file.read(_LARGEST + 1)
    except (OSError, ValueError) as error:  # a NUL in the name
        if isinstance(error, SheetError):
            raise
        reason = getattr(error, "strerror", None) or "no file's name"
        raise refused(name, f"cannot be read ({reason})", "name a netlist") from None
    if len(raw) > _LARGEST:
        raise refused(name, "is larger than 32 MiB", "name the netlist of a pad alone")
    was_read(path)
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        raise refused(name, "is not UTF-8", "export it as text", line) from None
    known = _form(text[:_HEAD])
    if known is None:
        begins = found_text(text.lstrip()[:30])
        raise refused(
            name,
            f"is no netlist that is known: it begins with {begins}",
            "export an s-expression netlist, IPC-D-356, or a SPICE netlist with its .subckt lines",
        )
    form, reader = known
    drawing = Drawing(name, form, values)
    reader(text, drawing)
    return drawing.board()
