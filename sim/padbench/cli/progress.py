"""A progress bar on standard error, only where a person sees it."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager

from rich.console import Console
from rich.progress import BarColumn, Progress, ProgressColumn, Task, TimeRemainingColumn
from rich.text import Text

__all__ = ["case_progress", "progress"]


@contextmanager
def progress(says: str) -> Iterator[Callable[[int, int], None]]:
    """``with progress("scenarios") as step:`` and call ``step(done, total)`` now and then."""
    screen = Console(stderr=True)
    if not screen.is_terminal:
        yield lambda done, total: None
        return
    with Progress(console=screen, transient=True) as bar:
        task = bar.add_task(says, total=None)
        yield lambda done, total: bar.update(task, completed=done, total=total)


class _Rate(ProgressColumn):
    """How many cases a second."""

    def render(self, task: Task) -> Text:
        speed = task.finished_speed or task.speed
        return Text("" if speed is None else f"{speed:,.0f} cases/s")


@contextmanager
def case_progress(total: int) -> Iterator[Callable[[int], None]]:
    """``with case_progress(110592) as advance:`` and call ``advance(256)`` until all are done."""
    screen = Console(stderr=True)
    if not screen.is_terminal:
        yield lambda count: None
        return
    columns = ("{task.percentage:>3.0f} %", BarColumn(), _Rate(), TimeRemainingColumn())
    with Progress(*columns, console=screen, transient=True) as bar:
        task = bar.add_task("cases", total=total)
        yield lambda count: bar.advance(task, count)
