"""Options and channel names of a capture, for every command that reads one."""

import math
import re
from argparse import Namespace
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from padbench.capture.channels import ChannelError, choose, guess
from padbench.cli.errors import UsageError
from padbench.cli.options import Parser
from padbench.waveio import (
    SECONDS,
    THRESHOLDS,
    Columns,
    CsvScan,
    Pick,
    Piece,
    Thresholds,
    VcdScan,
    WaveError,
    open_capture,
    unit_named,
)

__all__ = ["OpenCapture", "add_capture_options", "opened"]

_NEEDED = ("latch", "clock", "data")
_EXTRA = ("supply", "sync")
_REALS = ("real", "realtime")


def add_capture_options(parser: Parser) -> None:
    """Which channel is what, and how volts become levels."""
    group = parser.add_argument_group(
        "channels, by name or (CSV) by number from 1; where a number is a name, it is the name"
    )
    for role in _NEEDED:
        group.add_argument(f"--{role}", metavar="CHANNEL", help="default: found by its name")
    group.add_argument("--supply", metavar="CHANNEL", help="in volts; its extremes are told")
    group.add_argument("--sync", metavar="CHANNEL", help="video sync, composite or vertical")
    group.add_argument("--time", metavar="COLUMN", help="default: found by its name")
    group.add_argument(
        "--time-unit", metavar="UNIT", help="of that column: s, ms, us, ns, ps (default: as named)"
    )
    parser.add_argument(
        "--rate", metavar="HERTZ", help="samples a second, where the file has no time"
    )
    parser.add_argument(
        "--thresholds",
        metavar="LOW,HIGH",
        help="volts up to which a line is low and from which it is high (default: 1.5,3.5)",
    )


@dataclass(frozen=True)
class OpenCapture:
    """``channels`` says for each role which name was taken; ``found`` how, where nobody said.

    ``time_unit`` is the unit of a column of times and who says so; None where there is none.
    """

    channels: dict[str, str]
    found: dict[str, str]
    time_unit: tuple[str, str] | None
    scan: VcdScan | CsvScan
    _chosen: dict[str, int]
    _thresholds: Thresholds | None
    _rate: float | None

    def pieces(self) -> Iterator[Piece]:
        """The stream of the chosen channels. Raises `WaveError`."""
        if isinstance(self.scan, VcdScan):
            variables = self.scan.variables
            picks = {
                role: Pick(
                    variables[place],
                    _bit_of(self.channels[role]),
                    self._thresholds or THRESHOLDS,
                    measured=role == "supply",
                )
                for role, place in self._chosen.items()
            }
            return self.scan.pieces(picks)
        chosen = dict(self._chosen)
        time = chosen.pop("time", None)
        measured = {role: chosen.pop(role) for role in ("supply",) if role in chosen}
        unit = None if self.time_unit is None else SECONDS[self.time_unit[0]]
        columns = Columns(time, self._rate, chosen, measured, self._thresholds, unit)
        return self.scan.pieces(columns)


@contextmanager
def opened(
    path: Path,
    options: Namespace,
    step: Callable[[int], None] = lambda _: None,
    *,
    lenient: bool = False,
) -> Iterator[OpenCapture]:
    """Open a capture and settle its channels; what cannot be used is a `UsageError`.

    ``lenient``: the options were meant for another file in the first place; a name that this one
    does not have is looked for as if none had been given.
    """
    thresholds = _thresholds(options.thresholds)
    rate = _rate(options.rate)
    given = _unit(options.time_unit)
    try:
        with open_capture(path, step) as scan:
            names = (
                [variable.name for variable in scan.variables]
                if isinstance(scan, VcdScan)
                else list(scan.layout.names)
            )
            chosen, channels, found = _settle(path, scan, names, options, lenient=lenient)
            if isinstance(scan, CsvScan) and rate is None:
                rate = _settle_time(path, scan, options, chosen, channels, found, lenient=lenient)
            _no_two(path, chosen, channels)
            unit = None
            if isinstance(scan, CsvScan) and "time" in chosen:
                unit = _time_unit(path, scan, chosen["time"], given)
            elif given is not None and not lenient:
                raise UsageError(f"{path}: --time-unit: no column is the time here; leave it out")
            yield OpenCapture(channels, found, unit, scan, chosen, thresholds, rate)
    except WaveError as error:
        raise UsageError(str(error)) from None
    except ImportError as error:
        what = f"{error.name} is not installed; pip install 'padbench[csv]'"
        raise UsageError(f"{path}: reading CSV needs more: {what}") from None


def _settle(
    path: Path,
    scan: VcdScan | CsvScan,
    names: list[str],
    options: Namespace,
    *,
    lenient: bool,
) -> tuple[dict[str, int], dict[str, str], dict[str, str]]:
    chosen: dict[str, int] = {}
    channels: dict[str, str] = {}
    found: dict[str, str] = {}
    is_csv = isinstance(scan, CsvScan)
    outer = [names] if is_csv else [_without_aliases(scan, volts=volts) for volts in (False, True)]
    wanted = [*_NEEDED, *(role for role in _EXTRA if getattr(options, role))]
    if isinstance(scan, VcdScan):
        wanted.append("sample")
        if (options.time or options.rate) and not lenient:
            raise UsageError(f"{path}: --time and --rate are for CSV; a VCD file has its own times")
    for role in wanted:
        given = getattr(options, role, None)
        place = None
        if given is not None:
            try:
                place, label = _given(path, scan, names, role, given)
            except UsageError:
                if not lenient:
                    raise
        if place is None:
            place = _guessed(outer, role)
            if place is not None:
                label = names[place] or f"column {place + 1}"
                found[role] = "found by its name"
        if role == "sample" and (place is None or not _is_event(scan, place)):
            found.pop(role, None)
            continue
        if place is None:
            fit = [name for name in names if any(name in kind for kind in outer) and name]
            some = ", ".join(fit[:8]) or (f"{len(names)} columns" if is_csv else "no single bits")
            raise UsageError(
                f"{path}: --{role}: no one channel is clearly the {role}; "
                f"name one, there are {some[:200]}"
            )
        chosen[role], channels[role] = place, label
    return chosen, channels, found


def _settle_time(
    path: Path,
    scan: CsvScan,
    options: Namespace,
    chosen: dict[str, int],
    channels: dict[str, str],
    found: dict[str, str],
    *,
    lenient: bool,
) -> float | None:
    """The time column, or the rate that the preamble states; nothing that could be otherwise."""
    layout = scan.layout
    names = list(layout.names)
    given = _unit(options.time_unit)
    unit = layout.seconds(0) if given is None else SECONDS[given]
    if options.time is not None:
        try:
            chosen["time"], channels["time"] = _given(path, scan, names, "time", options.time)
            return None
        except UsageError:
            if not lenient:
                raise
    place = guess(names, "time")
    counts = layout.steps == (1.0, 1.0) and unit == 1.0
    if place is not None and not (place == 0 and counts):
        chosen["time"], channels["time"] = place, names[place]
        found["time"] = "found by its name"
        return None
    stated = layout.stated
    first_is_free = 0 not in chosen.values()
    if stated is not None and stated.hertz is not None:
        least, most = (step * stated.hertz * unit for step in layout.steps)
        even = 0.99 < least <= most < 1.01
        if not first_is_free or counts or even or least < 0 or most == 0:
            channels["time"] = f"{stated.hertz:.6g} samples a second"
            found["time"] = f"line {stated.line} says {stated.text}"
            return stated.hertz
        raise UsageError(
            f"{path}: --time: line {stated.line} says {stated.text}, but the first column rises "
            "otherwise; give --time 1 or --rate"
        )
    if first_is_free and not counts:
        # Common practice, no source: time comes first.
        chosen["time"], channels["time"] = 0, names[0] or "column 1"
        found["time"] = "the first column"
        return None
    says = f" (line {stated.line} says {stated.text}, {stated.why})" if stated is not None else ""
    what = "the first column counts the rows" if first_is_free else "no column is the time"
    raise UsageError(f"{path}: --time: {what}{says}; give --time or --rate")


def _time_unit(path: Path, scan: CsvScan, place: int, given: str | None) -> tuple[str, str]:
    """The unit of a column of times and who says so; what is no unit is refused, not passed by."""
    layout = scan.layout
    own, stated = layout.units[place], layout.time_unit
    if given is not None:
        return given, "given"
    remedy = "give --time-unit, as us"
    said = [(own, f"column {place + 1}")]
    if stated is not None:
        said.append((stated.unit, f"line {stated.line}"))
    for unit, where in said:
        if unit and unit not in SECONDS:
            says = f"{where} has {unit[:40]!r} for the unit of the time, which is none known here"
            raise UsageError(f"{path}: --time-unit: {says}; {remedy}")
    if own and stated is not None and own != stated.unit:
        says = f"column {place + 1} is in {own}, but line {stated.line} says {stated.unit}"
        raise UsageError(f"{path}: --time-unit: {says}; {remedy}")
    if own:
        return own, "as its column says"
    if stated is not None:
        return stated.unit, f"as line {stated.line} says"
    return "s", "as nothing says otherwise"


def _unit(text: str | None) -> str | None:
    if text is None:
        return None
    unit = unit_named(text)
    if unit not in SECONDS:
        raise UsageError(f"--time-unit: {text[:40]!r} is no unit of time; write for example us")
    return unit


def _no_two(path: Path, chosen: dict[str, int], channels: dict[str, str]) -> None:
    """Refuse one channel in two roles."""
    by_place: dict[tuple[int, int], str] = {}
    for role, place in chosen.items():
        key = place, _bit_of(channels[role])
        if key in by_place:
            raise UsageError(
                f"{path}: --{role}: {channels[role]} is the {by_place[key]} already; name another"
            )
        by_place[key] = role


def _given(
    path: Path, scan: VcdScan | CsvScan, names: list[str], role: str, given: str
) -> tuple[int, str]:
    try:
        place = choose(names, given, numbered=isinstance(scan, CsvScan))
    except ChannelError as error:
        bit = re.fullmatch(r"(.+)\[(\d{1,6})\]", given)
        if bit is None or isinstance(scan, CsvScan):
            raise UsageError(f"{path}: --{role}: {error}") from None
        try:
            place = choose(names, bit[1], numbered=False)
        except ChannelError:
            raise UsageError(f"{path}: --{role}: {error}") from None
        variable = scan.variables[place]
        high = variable.size - 1 if variable.high is None else variable.high
        low = 0 if variable.low is None else variable.low
        number = int(bit[2])
        if not min(high, low) <= number <= max(high, low):
            raise UsageError(
                f"{path}: --{role}: {variable.name} has bits {high} to {low}; name one of them"
            ) from None
        return place, f"{variable.name}[{abs(number - low)} from the right]"
    if isinstance(scan, VcdScan):
        variable = scan.variables[place]
        in_volts = variable.kind in _REALS
        if not in_volts and (variable.size != 1 or variable.kind == "string"):
            raise UsageError(
                f"{path}: --{role}: {variable.name} has {variable.size} bits of type "
                f"{variable.kind}; name one bit, such as {variable.name}[0]"
            )
    return place, names[place] or f"column {place + 1}"


def _bit_of(label: str) -> int:
    bit = re.fullmatch(r".*\[(\d+) from the right\]", label)
    return int(bit[1]) if bit else 0


def _is_event(scan: VcdScan | CsvScan, place: int) -> bool:
    return isinstance(scan, VcdScan) and scan.variables[place].kind == "event"


def _guessed(kinds: list[list[str]], role: str) -> int | None:
    """In the first kind that has any; levels come before the volts that they were made from."""
    places = (guess(names, role) for names in kinds)
    return next((place for place in places if place is not None), None)


def _without_aliases(scan: VcdScan | CsvScan, *, volts: bool) -> list[str]:
    """Names by place: of bits, or of reals; of several for one signal only the outermost."""
    assert isinstance(scan, VcdScan)
    best: dict[bytes, int] = {}
    for place, variable in enumerate(scan.variables):
        real = variable.kind in _REALS
        if real != volts or variable.kind in ("string", "parameter"):
            continue
        if not real and variable.size != 1:
            continue
        known = best.get(variable.code)
        if known is None or variable.name.count(".") < scan.variables[known].name.count("."):
            best[variable.code] = place
    kept = set(best.values())
    return [v.name if place in kept else "" for place, v in enumerate(scan.variables)]


def _thresholds(text: str | None) -> Thresholds | None:
    if text is None:
        return None
    parts = re.split(r"[,;:]", text)
    try:
        low, high = (float(part) for part in parts)
    except ValueError:
        low, high = math.nan, math.nan
    if not (math.isfinite(low) and math.isfinite(high) and low < high):
        raise UsageError(
            f"--thresholds: {text[:40]!r} is not two rising voltages; write for example 1.5,3.5"
        )
    return Thresholds(low, high)


def _rate(text: str | None) -> float | None:
    if text is None:
        return None
    match = re.fullmatch(r"([0-9.eE+]+)\s*([kMG]?)(?:Hz|S/s)?", text.strip())
    try:
        number = float(match[1]) * {"": 1, "k": 1e3, "M": 1e6, "G": 1e9}[match[2]] if match else 0
    except ValueError:
        number = 0
    if not 1e-3 <= number <= 1e12:
        raise UsageError(
            f"--rate: {text[:40]!r} is no number of samples a second; write for example 10M"
        )
    return number
