"""A progress bar on standard error, only where a person sees it."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager

from rich.console import Console
from rich.progress import Progress

__all__ = ["progress"]


@contextmanager
def progress(says: str, total: int) -> Iterator[Callable[[], None]]:
    """``with progress("scenarios", 40) as step:`` and call ``step()`` 40 times."""
    screen = Console(stderr=True)
    if not screen.is_terminal:
        yield lambda: None
        return
    with Progress(console=screen, transient=True) as bar:
        task = bar.add_task(says, total=total)
        yield lambda: bar.advance(task)
