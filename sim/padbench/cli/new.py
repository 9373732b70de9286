"""``padbench new FILE [--from NETLIST]``."""

import json
import os
from pathlib import Path

from padbench.cli.errors import UsageError
from padbench.cli.options import Parser, usable
from padbench.core.units import printable
from padbench.files import whole_file
from padbench.results.documents import SCHEMA
from padbench.sheet import STARTER

_LINES = ("latch", "clock", "data", "supply", "ground")


def run(arguments: list[str]) -> int:
    """Write the starter sheet, or what a netlist makes of it; an existing file is left alone."""
    options = _parser().parse_args(arguments)
    file: Path = options.file
    board = {line: net for line in _LINES if (net := getattr(options, line)) is not None}
    if options.part:
        board["parts"] = dict(one.partition("=")[::2] for one in options.part)
        if "" in {*board["parts"], *board["parts"].values()}:
            raise UsageError("--part: is no REFERENCE=VALUE; write for example U1=CD4021B")
    text = STARTER
    check: list[str] = []
    mistakes: list[str] = []
    if options.netlist is not None:
        from padbench.wiring.netlists.sheet import sheet_text

        with usable():
            beside = os.path.relpath(options.netlist, file.parent)
            text, check, mistakes = sheet_text(options.netlist, beside, board)
    elif board:
        raise UsageError("--from: is missing, and the other options go with it; name a netlist")
    try:
        with whole_file(file, overwrite=False) as out:
            out.write(text)
    except FileExistsError:
        raise UsageError(
            f"{file}: there is such a file already and it is left alone; name one that is new"
        ) from None
    name = printable(str(file))
    if options.json:
        print(
            json.dumps({"schema": SCHEMA, "sheet": str(file), "check": check, "mistakes": mistakes})
        )
    elif check:
        from padbench.results.brief import broken
        from padbench.results.text import BRIEF_WIDTH

        says = [f"{name} written. Not in the netlist, so check: {', '.join(check)}."]
        says += ["Wrong on the board, or to look at:", *mistakes] if mistakes else []
        for line in says:
            print(*broken(line, BRIEF_WIDTH - 2), sep="\n  ")
        print(f"Then: padbench verify {name}")
    else:
        print(f"{name} written. Change it to your pad, then: padbench verify {name}")
    return 0


def _parser() -> Parser:
    parser = Parser("new", "Write a commented starter sheet.", "padbench new my-pad.toml")
    parser.add_argument("file", metavar="FILE", type=Path)
    parser.add_argument(
        "--from",
        dest="netlist",
        metavar="NETLIST",
        type=Path,
        help="the netlist of a board (s-expression, IPC-D-356 or SPICE) that it is to describe",
    )
    for line in _LINES:
        parser.add_argument(f"--{line}", metavar="NET", help=f"with --from: which net is {line}")
    parser.add_argument(
        "--part",
        metavar="REF=VALUE",
        action="append",
        default=[],
        help="with --from, for what it lacks: U1=CD4021B, R[1-8]=39k or SW5=Up",
    )
    return parser
