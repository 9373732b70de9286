"""A progress bar on standard error, only where a person sees it."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Protocol

from rich.console import Console
from rich.progress import Progress

__all__ = ["Step", "progress"]


class Step(Protocol):
    """Moves the bar on."""

    def __call__(self, by: int = 1, /) -> None:
        """By one, or by so much of the total."""


@contextmanager
def progress(says: str, total: int) -> Iterator[Step]:
    """``with progress("scenarios", 40) as step:`` and call ``step()`` 40 times."""
    screen = Console(stderr=True)
    if not screen.is_terminal:
        yield lambda by=1, /: None
        return
    with Progress(console=screen, transient=True) as bar:
        task = bar.add_task(says, total=total)
        yield lambda by=1, /: bar.advance(task, by)
