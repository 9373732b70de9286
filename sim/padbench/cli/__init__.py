"""The command line. This module answers ``--help`` by itself and imports a command only to run it.

Exit codes: 0 all holds, 1 something is wrong with the design, 2 the input could not be used.
"""

import sys
from collections.abc import Callable
from importlib import import_module

from padbench import __version__

__all__ = ["COMMANDS", "main"]

COMMANDS = {
    "new": "write a commented starter sheet",
    "verify": "judge a design sheet: wiring, scenarios in simulation, ports; writes waves",
    "regress": "the same scenarios against Verilog or VHDL that the sheet names",
    "play": "run one scenario: prints its reads, writes its wave",
}
"""Name and one line of help; the command ``x`` is the function ``run`` of ``padbench.cli.x``."""

_HELP = """usage: padbench COMMAND [ARGUMENT ...]

Judges a shift-register game pad from its design sheet, before anything is built.

commands:
{commands}

options:
  -h, --help  this text; after a command, its own
  --version   the version

example:
  padbench new my-pad.toml && padbench verify my-pad.toml

exit code: 0 all holds, 1 the design has a fault, 2 the input could not be used
"""


def main(arguments: list[str]) -> int:
    """Run one command line (without the program's name) and return its exit code."""
    name, *rest = arguments or ["--help"]
    if name in ("-h", "--help"):
        lines = (f"  {command:10}  {says}" for command, says in COMMANDS.items())
        print(_HELP.format(commands="\n".join(lines)), end="")
        return 0
    if name == "--version":
        print(f"padbench {__version__}")
        return 0
    if name not in COMMANDS:
        return _refuse(name)
    return _guarded(import_module(f"padbench.cli.{name}").run, rest)


def _refuse(name: str) -> int:
    from difflib import get_close_matches

    near = get_close_matches(name, COMMANDS, 1)
    known = f"did you mean {near[0]}?" if near else "commands: " + ", ".join(COMMANDS)
    print(f"padbench: {name[:60]!r} is not a command; {known}", file=sys.stderr)
    return 2


def _guarded(command: Callable[[list[str]], int], arguments: list[str]) -> int:
    """Run a command; whatever the input or the machine did wrong becomes one line."""
    from padbench.cli.errors import UsageError, one_line

    try:
        return command(arguments)
    except UsageError as error:
        print(f"padbench: {error}", file=sys.stderr)
    except BrokenPipeError:
        # The reader of our output went away; nothing is left to say, nor anyone to say it to.
        sys.stdout = None
    except OSError as error:
        print(f"padbench: {one_line(error)}", file=sys.stderr)
    except KeyboardInterrupt:
        print("padbench: stopped", file=sys.stderr)
        return 130
    return 2
