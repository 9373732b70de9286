"""The outputs that every command has: text or JSON, a page, JUnit XML, pictures.

add_output_options(parser, figures={"picture": "a figure of one read"})
options = parser.parse_args(arguments)
...
return emit([result], options, arguments)
"""

import shlex
import sys
from argparse import Namespace
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from padbench.cli.errors import UsageError
from padbench.cli.options import OUTPUTS, Parser
from padbench.files import one_run, whole_file
from padbench.results.result import Result, combined


def add_output_options(parser: Parser, figures: Mapping[str, str]) -> None:
    """Where the page, the file for CI servers and the pictures go; ``figures`` by their option."""
    parser.add_argument(
        "--report",
        metavar="FILE",
        type=Path,
        help="one page (HTML) with everything: verdict, what to change, findings, waves, figures",
    )
    parser.add_argument(
        "--all", action="store_true", help="print every table instead of the short answer"
    )
    parser.add_argument("--junit", metavar="FILE", type=Path, help="JUnit XML for CI servers")
    for name, says in figures.items():
        parser.add_argument(
            f"--{name}", metavar="FILE", type=Path, help=f"{says}, .svg, .png or .pdf"
        )
    parser.set_defaults(figure_options=tuple(figures))


def emit(
    results: Sequence[Result],
    options: Namespace,
    arguments: Sequence[str],
    whole: Result | None = None,
) -> int:
    """Write all that was asked for, and return the worst exit code.

    ``whole`` is what the results are together, where a command knows better than `combined`.
    """
    again = repeated(results[0].command, arguments)
    result = replace(whole or combined(results), again=again)
    wrote = dict(result.wrote)
    if options.report is not None:
        from padbench.results.html_page import write_page

        with whole_file(options.report) as out:
            write_page(result, out)
        wrote["Report"] = options.report
    if options.junit is not None:
        from padbench.results.junit import write_junit

        with whole_file(options.junit) as out:
            write_junit(results, out)
        wrote["JUnit"] = options.junit
    for name in options.figure_options:
        path: Path | None = getattr(options, name)
        if path is not None:
            _draw(result, name, path)
            wrote[name.capitalize()] = path
    if options.json:
        from padbench.results.documents import json_texts

        for text in json_texts(result):
            sys.stdout.write(text)
    else:
        from padbench.results.text import console, print_result

        # What could not be written is told at the end of the run, and is not there.
        with one_run() as files:
            lost = [Path(error.filename) for error in files.failed if error.filename]
        there = {
            what: path
            for what, path in wrote.items()
            if path not in lost and path not in [one.parent for one in lost]
        }
        print_result(replace(result, wrote=there), console(whole=options.all), whole=options.all)
    return result.exit_code


def _draw(result: Result, name: str, path: Path) -> None:
    """What cannot be drawn is a `UsageError`."""
    from padbench.results.pictures import save_figure

    try:
        figure = result.figures[name](path)
    except ValueError as error:
        raise UsageError(f"--{name}: {error}") from None
    save_figure(figure, path)


def repeated(command: str, arguments: Sequence[str]) -> str:
    """The command as a page repeats it: files by name, as if in one folder, and no outputs."""
    words, left = ["padbench", command], list(arguments)
    while left:
        word = left.pop(0)
        option, equals, value = word.partition("=")
        if option.removeprefix("--") in OUTPUTS:
            left = left if equals else left[1:]
        elif word not in ("--json", "--all", "--no-waves"):
            value = value if equals else word
            name = Path(value).name if _is_file(value) else value
            words.append(f"{option}={name}" if equals else name)
    return shlex.join(words)


def _is_file(text: str) -> bool:
    try:
        return Path(text).is_file()
    except (OSError, ValueError):  # too long for a name, or a NUL in it
        return False
