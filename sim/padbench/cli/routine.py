"""``padbench routine FILE``."""

from argparse import Namespace
from pathlib import Path
from typing import Any

from padbench.cli.options import Parser, usable
from padbench.cli.outputs import add_output_options, emit
from padbench.cli.progress import progress
from padbench.files import plan_folder
from padbench.jobs.routine import routine
from padbench.parts import console_names
from padbench.routines.cross import ASSEMBLERS
from padbench.routines.routine import DEFAULT_LIMIT


def run(arguments: list[str]) -> int:
    """Judge a read routine; 1 if it can hand on a wrong byte or never comes back."""
    parser = Parser(
        "routine",
        "Judge a 6502 read routine: its cycles and scan lines, and what the sample fetch does to "
        "it in every phase and held state.",
        "padbench routine read-twice --waves twice.vcd",
    )
    parser.add_argument("what", metavar="FILE", help="a .asm, .bin or .hex file, or one of ours")
    add_routine_options(parser)
    parser.add_argument("--waves", metavar="FILE", type=Path, help="VCD of the worst case found")
    parser.add_argument("--sheet", type=Path, help="the pad in that wave (default: a starter pad)")
    parser.add_argument("--line", type=int, help="the line of the frame at which the read starts")
    parser.add_argument(
        "--cures",
        metavar="DIR",
        type=Path,
        help="patches of the source that mend it, each swept at every rate",
    )
    add_output_options(parser, {"picture": "the passes, and what stops them"})
    options = parser.parse_args(arguments)
    with usable(), progress("cases", rate=True) as step:
        if options.cures is not None:
            plan_folder(options.cures)
        result = routine(
            options.what,
            **routine_arguments(options),
            **fetch_arguments(options),
            sheet=options.sheet,
            line=options.line,
            waves=options.waves,
            cures=options.cures,
            progress=step,
        )
    return emit([result], options, arguments)


def add_routine_options(
    parser: Parser, *, fetch: bool = True, periods: str = "all of them"
) -> None:
    """What names a routine and a console, and unless told otherwise its fetch.

    ``periods`` are those that the command takes if none is asked for.
    """
    parser.add_argument(
        "--entry",
        metavar="LABEL|ADDRESS",
        help="where the routine begins (default: its first byte)",
    )
    parser.add_argument("--origin", metavar="ADDRESS", help="where a .bin lies (default $8000)")
    parser.add_argument(
        "--result",
        metavar="PLACE",
        help="A, an address or a label; two with a comma for two pads (default: what is found by "
        "running it)",
    )
    parser.add_argument(
        "--ports",
        metavar="ONE,TWO",
        default="$4016,$4017",
        help="the addresses of the two ports (default: $4016,$4017)",
    )
    parser.add_argument(
        "--console",
        choices=console_names(),
        default=console_names()[0],
        help=f"the console that runs the routine (default: {console_names()[0]})",
    )
    parser.add_argument(
        "--limit",
        metavar="CYCLES",
        type=int,
        default=DEFAULT_LIMIT,
        help=f"a routine that takes longer never comes back (default: {DEFAULT_LIMIT}, a frame)",
    )
    parser.add_argument(
        "--assembler",
        choices=ASSEMBLERS,
        help="the file is source for this program, which is run (default: our own, for .asm)",
    )
    if not fetch:
        return
    parser.add_argument(
        "--period",
        metavar="N",
        action="append",
        help=f"fetch every N CPU cycles; can be repeated; all: every rate (default: {periods})",
    )
    parser.add_argument(
        "--clocks",
        choices=("joined", "each"),
        default="joined",
        help="repeated reads of the port: joined into one clock (default), or one each",
    )
    parser.add_argument(
        "--after-copy",
        metavar="CYCLES",
        type=int,
        help="the caller's sprite copy ends so many CPU cycles before the routine begins: phases "
        "of the fetch that this leaves out are not counted (default: every phase)",
    )


def routine_arguments(options: Namespace) -> dict[str, Any]:
    """What the jobs of a routine want of those options."""
    names = ("entry", "origin", "result", "ports", "console", "limit", "assembler")
    return {name: getattr(options, name) for name in names}


def fetch_arguments(options: Namespace) -> dict[str, Any]:
    """Of the fetch too; what is no number of cycles is for the job to refuse."""
    asked = options.period and [
        int(n) if n.isdecimal() and len(n) < 10 else n for n in options.period
    ]
    return {"clocks": options.clocks, "periods": asked, "after_copy": options.after_copy}
