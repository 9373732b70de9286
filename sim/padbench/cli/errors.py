"""Errors that end a command with one line."""

__all__ = ["UsageError", "one_line"]


class UsageError(Exception):
    """The input cannot be used; the message is what people read, one line a problem."""


def one_line(error: OSError) -> str:
    """A system error with its file, and what would do."""
    where = error.filename if error.filename is not None else "output"
    return f"{where}: {(error.strerror or str(error)).lower()}; name a file that can be used"
