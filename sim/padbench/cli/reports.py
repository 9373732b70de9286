"""``--report`` and ``--junit``, for every command that has them.

add_report_options(parser)
options = parser.parse_args(arguments)
...
write_reports(options, name, lambda: verify_page(..., told("verify", arguments)), ...)
...
say_reports(options)
"""

import shlex
from argparse import Namespace
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from padbench.cli.errors import UsageError
from padbench.cli.options import Parser
from padbench.files import whole_file

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from padbench.results.html_page import Page
    from padbench.results.inputs import Input
    from padbench.results.junit import Suite

__all__ = ["add_report_options", "draw", "read_inputs", "say_reports", "told", "write_reports"]

_OUTPUTS = ("--report", "--junit", "--waves", "--picture", "--margins", "--analogue")
"""Options that name a file to write; whoever repeats a run names his own."""


def add_report_options(parser: Parser) -> None:
    """Where the page and the file for CI servers go."""
    parser.add_argument(
        "--report",
        metavar="FILE",
        type=Path,
        help="one page (HTML) with everything: verdict, what to change, findings, waves, figures",
    )
    parser.add_argument("--junit", metavar="FILE", type=Path, help="JUnit XML for CI servers")


def told(command: str, arguments: Sequence[str]) -> str:
    """The command as a page repeats it: files by name, as if in one folder, and no outputs."""
    words, left = ["padbench", command], list(arguments)
    while left:
        word = left.pop(0)
        option, equals, value = word.partition("=")
        if option in _OUTPUTS:
            left = left if equals else left[1:]
        elif word not in ("--json", "--no-waves"):
            value = value if equals else word
            name = Path(value).name if _is_file(value) else value
            words.append(f"{option}={name}" if equals else name)
    return shlex.join(words)


def _is_file(text: str) -> bool:
    try:
        return Path(text).is_file()
    except (OSError, ValueError):  # too long for a name, or a NUL in it
        return False


def read_inputs(*paths: Path | None, origin: int | None = None) -> "list[Input]":
    """The files that a result hangs on, as they are now; what is no file is left out.

    ``origin`` is where a .bin lies.
    """
    from padbench.results.inputs import input_of

    found = [
        input_of(path, origin=origin if path.suffix.lower() == ".bin" else None)
        for path in dict.fromkeys(paths)
        if path is not None
    ]
    return [one for one in found if one is not None]


def write_reports(
    options: Namespace,
    name: str,
    page: "Callable[[], Page]",
    suites: "Callable[[], Sequence[Suite]]",
) -> None:
    """Write what was asked for; neither is made if it was not. ``name`` is of what was judged."""
    if options.report is not None:
        from padbench.results.html_page import write_page

        made = page()
        with whole_file(options.report) as out:
            write_page(made, out)
    if options.junit is not None:
        from padbench.results.junit import write_junit

        with whole_file(options.junit) as out:
            write_junit(suites(), out, name=name)


def draw(option: str, path: Path, figure: "Callable[[Path], Figure]") -> None:
    """Write a figure to the file that an option names; what cannot be drawn is a `UsageError`."""
    from padbench.results.pictures import save_figure

    try:
        made = figure(path)
    except ValueError as error:
        raise UsageError(f"{option}: {error}") from None
    save_figure(made, path)


def say_reports(options: Namespace) -> None:
    """Name the page that was written."""
    if options.report is not None:
        from padbench.cli.tables import console

        console().print(f"Report: {options.report}", soft_wrap=True)
