"""Errors that end a command with one line."""

import sys
from contextlib import suppress
from errno import EDQUOT, EFBIG, ENOSPC, ENOTDIR, EROFS


class UsageError(Exception):
    """The input cannot be used; ``lines`` are what people read, one line a problem.

    ``code`` is the exit code: 4 where it is an output that cannot be written.
    """

    def __init__(self, *lines: str, code: int = 2) -> None:
        super().__init__("; ".join(lines))
        self.lines, self.code = lines, code


def said(line: str) -> None:
    """Say one line on standard error, if it can be written; what would hide it is escaped."""
    from padbench.core.units import printable  # --help does not need it

    with suppress(OSError, ValueError):
        print(f"padbench: {printable(line)}", file=sys.stderr, flush=True)


def exit_code(error: OSError) -> int:
    """4 for an output whose place takes none, else 2: the name is wrong, or it is an input's."""
    from padbench.files import NotAllowed  # --help does not need it

    nowhere = error.errno in (ENOSPC, EDQUOT, EFBIG, EROFS) or isinstance(error, NotAllowed)
    return 4 if error.filename is None or nowhere else 2


def one_line(error: OSError) -> str:
    """A system error with its file, and what would do."""
    where = error.filename if error.filename is not None else "standard output"
    if error.errno in (ENOSPC, EDQUOT):
        return f"{where}: the disk is full; make room, or write elsewhere"
    wanted = "folder" if error.errno == ENOTDIR else "file"
    return f"{where}: {(error.strerror or str(error)).lower()}; name a {wanted} that can be used"
