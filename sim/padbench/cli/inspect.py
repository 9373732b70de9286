"""``padbench inspect CAPTURE``."""

import re
import signal
import sys
from argparse import Namespace
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from padbench.capture.inspect import Watcher
from padbench.capture.reads import SeenRead
from padbench.cli.errors import UsageError
from padbench.cli.options import Parser, usable
from padbench.cli.outputs import add_output_options, emit
from padbench.cli.progress import progress
from padbench.core.buttons import BUTTONS, spelled
from padbench.core.findings import Finding
from padbench.jobs.inspect import ROLES, by_data, inspect_one
from padbench.results.capture_sections import comments
from padbench.results.result import Result
from padbench.waveio import Follow, WaveError

_AS_GIVEN = (
    *("sheet", "port", "time", "time_unit", "rate", "clocks", "passes", "expect", "against"),
    *("scenario", "sync_line", "all_reads", "fit", "scale"),
)
"""Options that the job takes as they stand, under the same names."""

_CHANNELS = (
    ("--supply", "CHANNEL", "the supply in volts; its lowest and highest are told"),
    ("--sync", "CHANNEL", "the video sync, composite or vertical"),
    ("--time", "COLUMN", "the column of times (default: found by its name)"),
    (
        "--time-unit",
        "UNIT",
        "the unit of that column: s, ms, us, ns, ps (default: as the file says)",
    ),
)
_OPTIONS: tuple[tuple[str, str, type, str], ...] = (
    ("--scale", "FACTOR", str, "what numbers are multiplied with to be volts"),
    ("--rate", "HERTZ", str, "samples a second, where the file has no time"),
    (
        "--thresholds",
        "LOW,HIGH",
        str,
        "volts up to which a line is low and from which it is high (default: auto, which is "
        "1.5,3.5 or, where these do not part the clock's levels, 30 and 70 %% of them)",
    ),
    ("--sheet", "SHEET", Path, "judge against this design's limits"),
    ("--port", "KIND", str, "the kind of port (default: the first that the sheet names)"),
    ("--expect", "FILE", Path, "a TOML file that says which buttons were held when"),
    (
        "--against",
        "OTHER",
        Path,
        "another capture, or with --scenario a sheet to simulate, compared read by read",
    ),
    ("--scenario", "NAME", str, "the scenario that the sheet of --against plays"),
    ("--scenarios", "FILE", Path, "a TOML file with scenarios of your own"),
    (
        "--sync-line",
        "N",
        int,
        "line of the frame, 0 draws first, in which vertical sync begins (default: 245 of 262"
        " lines, 266 of 312)",
    ),
    ("--clocks", "N", int, "how many bits a whole read has (default: 8)"),
    ("--passes", "N", int, "how many reads a poll has (default: as found)"),
    (
        "--fit",
        "FILE",
        Path,
        "parts file to write: the sheet's port and register as a capture in volts shows them",
    ),
)


def run(arguments: list[str]) -> int:
    """Decode and judge captures; 1 if anything in them is wrong."""
    options = _parser().parse_args(arguments)
    if options.fit is not None and len(options.captures) > 1:
        raise UsageError("--fit: there are several captures; give the one to fit")
    if Path("-") in options.captures and len(options.captures) * len(options.data or "d") > 1:
        raise UsageError("-: standard input is read by itself, with one data line")
    with usable():
        channels = {role: getattr(options, role.replace("-", "_")) for role in ROLES}
        for text in options.input:
            name, equals, channel = text.partition("=")
            button = next((one for one in BUTTONS if one.casefold() == name.casefold()), None)
            if button is None or not (equals and channel):
                what = f"{text[:40]!r} is no button and channel; write for example A=CH4"
                raise UsageError(f"--input: {what}")
            if button in channels:
                raise UsageError(f"--input: {button} has two channels; give it once")
            channels[button] = channel
        results = [
            named(_inspected(capture, options, own.get("channels", channels)))
            for capture in options.captures
            for named, own in by_data(channels)
        ]
    return emit(results, options, arguments)


class _Told:
    """Prints what changes as reads come: when, what is held, what is odd or breaks a rule."""

    def __init__(self) -> None:
        self._held: int | None = None
        self._reads = 0
        self._broken: set[str] = set()

    def __call__(self, rows: NDArray[np.void], findings: Sequence[Finding]) -> None:
        for row in rows:
            self._reads += 1
            read = SeenRead.of(row, self._reads)
            odd = comments(read)
            if read.byte != self._held or odd:
                says = spelled(read.byte) + (f"  ({odd})" if odd else "")
                print(f"{read.start_ps / 1e12:12.6f} s  {says}", flush=True)
            self._held = read.byte
        for finding in findings:
            if finding.verdict == "fail" and finding.id not in self._broken:
                self._broken.add(finding.id)
                print(f"{finding.id}: {finding.says}", flush=True)


def _inspected(path: Path, options: Namespace, channels: Mapping[str, str]) -> Result:
    if path != Path("-"):
        return _one(path, options, channels, lambda *_: None)
    follow = Follow(sys.stdin.fileno())

    def stop(*_: object) -> None:
        follow.stopped = True

    before = signal.signal(signal.SIGINT, stop)
    try:
        return _one(follow, options, channels, (lambda *_: None) if options.json else _Told())
    finally:
        signal.signal(signal.SIGINT, before)


def _one(
    capture: Path | Follow, options: Namespace, channels: Mapping[str, str], watcher: Watcher
) -> Result:
    thresholds = options.thresholds
    plain: dict[str, Any] = {name: getattr(options, name) for name in _AS_GIVEN}
    try:
        with progress(f"reading {capture.name}") as step:
            return inspect_one(
                capture,  # type: ignore[arg-type]  # bytes come from it
                channels=channels,
                thresholds=None if thresholds is None else re.split(r"[,;:]", thresholds),
                own_scenarios=options.scenarios,
                invert=[line for some in options.invert for line in re.split(r"[,;]", some)],
                watcher=watcher,
                progress=step,
                **plain,
            )
    except WaveError as error:
        raise UsageError(str(error)) from None


def _parser() -> Parser:
    parser = Parser(
        "inspect",
        "Decode captures of real hardware or of a simulation (VCD or CSV, plain or gzip): every "
        "read, every width, held to the rules that a simulation is held to.",
        "padbench inspect bench.csv --clock CH2 --latch CH1 --data CH3 --sheet my-pad.toml",
    )
    parser.add_argument(
        "captures",
        metavar="CAPTURE",
        type=Path,
        nargs="+",
        help="or - for standard input, followed as it grows; Ctrl-C ends it with the summary",
    )
    group = parser.add_argument_group(
        "channels, by name or (CSV) by number from 1; where a number is a name, it is the name"
    )
    for role in ("latch", "clock"):
        says = f"the {role} line (default: found by its name)"
        group.add_argument(f"--{role}", metavar="CHANNEL", help=says)
    says = "the data line (default: found by its name); once more for another pad"
    group.add_argument("--data", metavar="CHANNEL", action="append", help=says)
    for role in ROLES[5:]:
        says = f"the {role.removeprefix('far-')} line at the pad's end of the cable"
        group.add_argument(f"--{role}", metavar="CHANNEL", help=says)
    says = (
        "an input of the pad's register and its channel: what its contacts did, held beside what "
        "was read; once for each"
    )
    group.add_argument("--input", metavar="BUTTON=CHANNEL", action="append", default=[], help=says)
    for option, metavar, says in _CHANNELS:
        group.add_argument(option, metavar=metavar, help=says)
    says = "a line that was recorded upside down, as data; more than once if there are more"
    group.add_argument("--invert", metavar="LINE", action="append", default=[], help=says)
    for option, metavar, kind, says in _OPTIONS:
        parser.add_argument(option, metavar=metavar, type=kind, help=says)
    parser.add_argument(
        "--all-reads", action="store_true", help="list all reads, with --all too, not the first 40"
    )
    add_output_options(parser, {})
    return parser
