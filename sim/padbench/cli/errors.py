"""Errors that end a command with one line."""

import sys
from contextlib import suppress
from errno import EDQUOT, ENOSPC, ENOTDIR


class UsageError(Exception):
    """The input cannot be used; ``lines`` are what people read, one line a problem."""

    def __init__(self, *lines: str) -> None:
        super().__init__("; ".join(lines))
        self.lines = lines


def said(line: str) -> None:
    """Say one line on standard error, if it can be written; what would hide it is escaped."""
    from padbench.core.units import printable  # --help does not need it

    with suppress(OSError, ValueError):
        print(f"padbench: {printable(line)}", file=sys.stderr, flush=True)


def one_line(error: OSError) -> str:
    """A system error with its file, and what would do."""
    where = error.filename if error.filename is not None else "standard output"
    if error.errno in (ENOSPC, EDQUOT):
        return f"{where}: the disk is full; make room, or write elsewhere"
    wanted = "folder" if error.errno == ENOTDIR else "file"
    return f"{where}: {(error.strerror or str(error)).lower()}; name a {wanted} that can be used"
