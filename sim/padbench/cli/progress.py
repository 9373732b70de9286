"""A progress bar on standard error, only where a person sees it."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager

from rich.console import Console
from rich.progress import Progress, ProgressColumn, Task
from rich.text import Text


class _Rate(ProgressColumn):
    """How many cases a second."""

    def render(self, task: Task) -> Text:
        speed = task.finished_speed or task.speed
        return Text("" if speed is None else f"{speed:,.0f}/s")


@contextmanager
def progress(says: str, *, rate: bool = False) -> Iterator[Callable[[int, int], None]]:
    """``with progress("scenarios") as step:`` and call ``step(done, total)`` now and then.

    ``rate`` shows how many are done in a second.
    """
    screen = Console(stderr=True)
    if not screen.is_terminal:
        yield lambda done, total: None
        return
    columns = (*Progress.get_default_columns(), *([_Rate()] if rate else []))
    with Progress(*columns, console=screen, transient=True) as bar:
        task = bar.add_task(says, total=None)
        yield lambda done, total: bar.update(task, completed=done, total=total)
