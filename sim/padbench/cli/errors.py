"""Errors that end a command with one line."""

import sys

__all__ = ["UsageError", "one_line", "said"]


class UsageError(Exception):
    """The input cannot be used; ``lines`` are what people read, one line a problem."""

    def __init__(self, *lines: str) -> None:
        super().__init__("; ".join(lines))
        self.lines = lines


def said(line: str) -> None:
    """Say one line on standard error; what would break or hide it is escaped."""
    shown = "".join(
        c if c.isprintable() else c.encode("unicode_escape", "backslashreplace").decode("ascii")
        for c in line
    )
    print(f"padbench: {shown}", file=sys.stderr)


def one_line(error: OSError) -> str:
    """A system error with its file, and what would do."""
    where = error.filename if error.filename is not None else "output"
    return f"{where}: {(error.strerror or str(error)).lower()}; name a file that can be used"
