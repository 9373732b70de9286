"""``padbench new FILE``."""

import json
from pathlib import Path

from padbench.cli.errors import UsageError
from padbench.cli.options import Parser
from padbench.core.units import printable
from padbench.files import whole_file
from padbench.results.documents import SCHEMA
from padbench.sheet import STARTER

__all__ = ["run"]


def run(arguments: list[str]) -> int:
    """Write the starter sheet; an existing file is left alone."""
    parser = Parser("new", "Write a commented starter sheet.", "padbench new my-pad.toml")
    parser.add_argument("file", metavar="FILE", type=Path)
    options = parser.parse_args(arguments)
    file: Path = options.file
    try:
        with whole_file(file, overwrite=False) as out:
            out.write(STARTER)
    except FileExistsError:
        raise UsageError(
            f"{file}: there is such a file already and it is left alone; name one that is new"
        ) from None
    if options.json:
        print(json.dumps({"schema": SCHEMA, "sheet": str(file)}))
    else:
        name = printable(str(file))
        print(f"{name} written. Change it to your pad, then: padbench verify {name}")
    return 0
