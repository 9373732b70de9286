"""The command line. This module answers ``--help`` by itself and imports a command only to run it.

Exit codes: 0 all holds, 1 something is wrong with the design, 2 the input could not be used, 3 the
bench itself failed, 4 output could not be written, 130 stopped by Ctrl-C.
"""

import contextlib
import io
import os
import sys
from collections.abc import Callable
from importlib import import_module

from padbench import __version__

TYPE_CHECKING = False  # importing typing would take a third of the time that --help has
if TYPE_CHECKING:
    from typing import NoReturn

__all__ = ["COMMANDS", "main", "on_interrupt"]

COMMANDS = {
    "new": "write a commented starter sheet",
    "verify": "judge a design sheet: wiring, scenarios in simulation, ports; writes waves",
    "wiring": "what to solder, pin by pin, and the voltages to find with a meter",
    "diagnose": "what is broken in a pad, from what it reads; the next test, the repair",
    "inspect": "decode and judge a capture of real hardware (VCD, CSV)",
    "regress": "the same scenarios against Verilog or VHDL that the sheet names",
    "play": "run one scenario: prints its reads, writes its wave",
    "live": "a page with switches, a scope and dials, on this machine only",
    "routine": "judge a 6502 read routine: cycles, scan lines, exposure to the sample fetch",
    "sweep": "every held state in every fetch phase and rate, or every case of a pad",
    "latency": "the delay from a press to the first picture that can show it",
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

exit code: 0 all holds, 1 the design has a fault, 2 the input could not be used,
3 the bench itself failed (PADBENCH_DEBUG=1 shows where), 4 output could not be
written (a full disk, a closed pipe)
"""


def main(arguments: list[str]) -> int:
    """Run one command line (without the program's name) and return its exit code."""
    if sys.stdout is None or sys.stderr is None:
        return _closed()
    # What a terminal or a pipe cannot show is escaped rather than a reason to fail.
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")
    return _guarded(arguments or ["--help"])


def on_interrupt(number: int, frame: object) -> "NoReturn":
    """Ctrl-C: remembered, since a library that is being imported may make another error of it."""
    _interrupted.append(number)
    raise KeyboardInterrupt


_interrupted: list[int] = []
_MOST_LINES = 5


def _closed() -> int:
    """A standard output or error that is closed: the next file opened would take its place."""
    print("padbench: standard output or error is closed; send it somewhere", file=sys.stderr)
    return 4


def _dispatch(arguments: list[str]) -> int:
    name, *rest = arguments
    if name in ("-h", "--help"):
        lines = (f"  {command:10}  {says}" for command, says in COMMANDS.items())
        print(_HELP.format(commands="\n".join(lines)), end="")
        return 0
    if name == "--version":
        print(f"padbench {__version__}")
        return 0
    if name not in COMMANDS:
        _refuse(name)
    command: Callable[[list[str]], int] = import_module(f"padbench.cli.{name}").run
    from padbench.cli.errors import one_line, said
    from padbench.files import one_run

    with one_run() as run:
        code = command(rest)
    if not run.failed:
        return code
    sys.stdout.flush()
    for error in run.failed[:_MOST_LINES]:
        said(one_line(error))
    if len(run.failed) > _MOST_LINES:
        said(f"and {len(run.failed) - _MOST_LINES} more files could not be written")
    return 4


def _refuse(name: str) -> "NoReturn":
    from difflib import get_close_matches

    from padbench.cli.errors import UsageError

    near = get_close_matches(name[:60], COMMANDS, 1)
    known = f"did you mean {near[0]}?" if near else "commands: " + ", ".join(COMMANDS)
    raise UsageError(f"{name[:60]!r} is not a command; {known}")


def _guarded(arguments: list[str]) -> int:
    """Run a command; whatever the input or the machine did wrong becomes one line."""
    from padbench.cli.errors import UsageError, exit_code, one_line, said

    try:
        code = _finished(arguments)
    except UsageError as error:
        for line in error.lines:
            said(line)
        code = error.code
    except BrokenPipeError:
        # The reader of our output went away; nothing is left to say, nor anyone to say it to.
        _abandon_output()
        code = 4
    except OSError as error:
        _abandon_output()
        said(one_line(error))
        code = exit_code(error)
    except KeyboardInterrupt:
        said("stopped; files already written are whole")
        code = 130
    except Exception as error:
        if _interrupted:
            said("stopped; files already written are whole")
            return 130
        # A fault of ours must not look like a fault of the design, whose exit code is 1.
        if os.environ.get("PADBENCH_DEBUG"):
            raise
        said(f"a fault in padbench itself: {type(error).__name__}: {str(error)[:200]}")
        code = 3
    return code


def _finished(arguments: list[str]) -> int:
    """The exit code, once all output is out: what is still buffered may not fit on the disk."""
    try:
        code = _dispatch(arguments)
    finally:  # also after --help, which raises
        sys.stdout.flush()
    return code


def _abandon_output() -> None:
    """Let Python not try again, at its end, to write what could not be written."""
    try:
        sys.stdout.flush()
    except (OSError, ValueError):
        with contextlib.suppress(OSError, ValueError):
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
