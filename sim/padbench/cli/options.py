"""Argument parsing that several commands share."""

import argparse
import re
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, NoReturn

from padbench.cli.errors import UsageError
from padbench.files import plan
from padbench.sheet import SheetError

OUTPUTS = (
    *(
        "report",
        "junit",
        "waves",
        "picture",
        "margins",
        "scope",
        "analogue",
        "csv",
        "drawing",
        "schematic",
        "spice",
        "fit",
        "export",
        "card",
    ),
)
"""Options that name a file to write; whoever repeats a run names his own."""


class Parser(argparse.ArgumentParser):
    """A parser for one command whose mistakes are one line, like everybody else's."""

    def __init__(self, command: str, says: str, example: str) -> None:
        super().__init__(
            prog=f"padbench {command}",
            description=says,
            epilog=f"example: {example}",
            allow_abbrev=False,
        )
        self.register("type", Path, _path)
        self.add_argument("--json", action="store_true", help="one JSON object on standard output")

    def error(self, message: str) -> NoReturn:
        """Refuse in one line instead of printing the usage."""
        said = re.sub(
            r"^argument (\S+): invalid int value: (.*)$", r"\1: \2 is no whole number", message
        )
        raise UsageError(f"{said}; see {self.prog} --help")

    def print_help(self, file: Any = None) -> None:
        """Print it; argparse would be silent where it cannot be written."""
        (file or sys.stdout).write(self.format_help())

    def parse_args(self, *arguments: Any, intermixed: bool = False, **options: Any) -> Any:
        """Parse, and try the outputs: one that cannot be written is refused before the work.

        ``intermixed``: options may stand between the words.
        """
        parse = super().parse_intermixed_args if intermixed else super().parse_args
        parsed = parse(*arguments, **options)
        folders = {action.dest for action in self._actions if action.metavar == "DIR"}
        for name in OUTPUTS:
            path = getattr(parsed, name, None)
            if path is not None and name not in folders:
                plan(path)
        return parsed


def _path(text: str) -> Path:
    """An empty name would be that of the folder one is in."""
    if not text:
        raise argparse.ArgumentTypeError("the name is empty; name a file or a folder")
    return Path(text)


def add_wave_options(parser: Parser) -> None:
    """Where waves go, and which further scenarios there are."""
    parser.add_argument(
        "--waves",
        metavar="DIR",
        type=Path,
        help="folder for the VCD files (default: waves/out/NAME-OF-SHEET)",
    )
    parser.add_argument("--no-waves", action="store_true", help="write no VCD files")
    parser.add_argument(
        "--scenarios",
        metavar="FILE",
        type=Path,
        help="a TOML file with scenarios of your own, beside the shipped ones",
    )


@contextmanager
def usable(file: Path | None = None) -> Iterator[None]:
    """What a job refuses becomes a `UsageError`, a line each.

    A refusal names a key of the sheet ``file``, an option, or nothing where it says all itself.
    """
    from padbench.jobs.loading import Refusal
    from padbench.routines.routine import RoutineError

    try:
        yield
    except SheetError as error:
        raise UsageError(*map(str, error.problems)) from None
    except RoutineError as error:
        raise UsageError(str(error)) from None
    except Refusal as error:
        where = f"{file}: " if "." in error.option else "--" if error.option else ""
        raise UsageError(f"{where}{error.option}: {error.says}".removeprefix(": ")) from None
