"""Opening a capture: which of its channels is what, what its times mean, and the stream of them.

    with opened(Path("bench.csv"), Choices({"latch": "CH1", "data": "3"})) as capture:
        for piece in capture.pieces(): ...

What is not given is taken where it is obvious, and said; what could mean two things is refused.
"""

import re
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from functools import partial
from typing import NoReturn

import numpy as np

from padbench.capture.channels import ChannelError, choose, guess
from padbench.core.buttons import BUTTONS
from padbench.core.levels import HIGH
from padbench.waveio import (
    SECONDS,
    THRESHOLDS,
    CaptureFile,
    Columns,
    CsvScan,
    Pick,
    Piece,
    Thresholds,
    VcdScan,
    WaveError,
    name_of,
    open_capture,
)
from padbench.waveio.csv_layout import Layout
from padbench.waveio.vcd_header import REALS, Variable

NEEDED = ("latch", "clock", "data")
_BY_NAME = "found by its name"
_FIRST = "counted from the first row"
_BIT = re.compile(r"(.+)\[(\d{1,3})\]")
NOBODY_SAYS = "as nothing says otherwise"
BY_LEVEL = "found by its level,"
USUAL_SUPPLIES = (5.0, 3.3)
_MOST_SUPPLIES = 8
STEADY = 0.1
"""Part of the supply by which it may be off: ±10 % (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Choices:
    """What somebody says of a capture; what is left out is found.

    ``channels`` are names, or numbers from 1 of columns, by role: "latch", "clock", "data",
    "supply", "sync", and "far-latch" and so on at the pad's end of the cable. ``time`` is the
    column of times, in ``time_unit`` (a key of `SECONDS`); ``rate``, in samples a second, stands in
    its place. ``inverted`` are the roles that were recorded upside down, ``scale`` what
    numbers of CSV, arrays and sound are multiplied with to be volts.
    """

    channels: Mapping[str, str] = field(default_factory=dict)
    time: str | None = None
    time_unit: str | None = None
    rate: float | None = None
    thresholds: Thresholds | None = None
    inverted: frozenset[str] = frozenset()
    scale: float = 1.0


@dataclass(frozen=True, slots=True)
class Channel:
    """A variable or column of a file (``place``, from 0), of a wide or packed one a bit, from the
    right.

    ``label`` is what people read; ``how`` it was found, None where it was given. ``place`` is None
    where a stated sample rate takes the place of a column.
    """

    label: str
    place: int | None
    bit: int | None = None
    how: str | None = None


@dataclass(frozen=True, slots=True)
class OpenCapture:
    """``channels`` by role, with "time" where a column or a stated rate says it; beside "supply",
    "supply 1" and so on are what may be it by the first values.

    ``time_unit`` is the unit of a column of times and who says so; None where there is none.
    """

    channels: Mapping[str, Channel]
    time_unit: tuple[str, str] | None
    _scan: VcdScan | CsvScan
    _choices: Choices
    _rate: float | None

    def pieces(self) -> Iterator[Piece]:
        """The stream of the chosen channels, each the right way up. Raises `WaveError`."""
        inverted = self._choices.inverted
        return map(partial(_upright, inverted), self._pieces()) if inverted else self._pieces()

    def _pieces(self) -> Iterator[Piece]:
        thresholds = self._choices.thresholds
        places = {
            role: channel.place
            for role, channel in self.channels.items()
            if channel.place is not None
        }
        if isinstance(self._scan, VcdScan):
            picks = {
                role: Pick(
                    self._scan.variables[place],
                    self.channels[role].bit or 0,
                    thresholds or THRESHOLDS,
                    measured=role.startswith("supply"),
                )
                for role, place in places.items()
            }
            return self._scan.pieces(picks)
        time = places.pop("time", None)
        supplies = [role for role in places if role.startswith("supply")]
        measured = {role: places.pop(role) for role in supplies}
        unit = None if self.time_unit is None else SECONDS[self.time_unit[0]]
        bits = {role: c.bit for role, c in self.channels.items() if c.bit is not None}
        return self._scan.pieces(
            Columns(
                *(time, self._rate, places, measured, thresholds, unit, bits, self._choices.scale)
            )
        )


def _upright(inverted: frozenset[str], piece: Piece) -> Piece:
    """Low for high and high for low; no level stays none."""
    changes = {
        role: (times, np.where(levels <= HIGH, levels ^ 1, levels)) if role in inverted else own
        for role, own in piece.changes.items()
        for times, levels in (own,)
    }
    return replace(piece, changes=changes)


@contextmanager
def opened(
    file: CaptureFile,
    choices: Choices,
    step: Callable[[int, int], None] = lambda *_: None,
) -> Iterator[OpenCapture]:
    """Open a capture and settle its channels; ``step`` is told of bytes read, and of how many.

    Raises `WaveError`, a line with file and option, for what cannot be used.
    """
    try:
        with open_capture(file, step) as scan:
            yield _Settler(name_of(file), choices, scan).settled()
    except ImportError as error:
        what = f"{error.name} is not installed; pip install 'padbench[csv]'"
        raise WaveError(f"{name_of(file)}: reading CSV needs more: {what}") from None


class _Settler:
    """Settles the channels of one file: variables of VCD, or columns."""

    def __init__(self, file: str, choices: Choices, scan: VcdScan | CsvScan) -> None:
        self.file, self.choices, self._scan = file, choices, scan
        self.channels: dict[str, Channel] = {}
        self._layout: Layout | None = None
        self._variables: tuple[Variable, ...] | None = None
        if isinstance(scan, CsvScan):
            self._layout = scan.layout
            self.names = [column.name for column in scan.layout.columns]
            self._heads = [column.head for column in scan.layout.columns]
            self.kinds = [self.names]
        else:
            self._variables = scan.variables
            self.names = [variable.name for variable in scan.variables]
            self._heads = self.names
            self.kinds = [self._without_aliases(volts=volts) for volts in (False, True)]

    def refuse(self, option: str, says: str) -> NoReturn:
        own = f"input {option}" if option in BUTTONS else option
        raise WaveError(f"{self.file}: --{own}: {says}")

    def settled(self) -> OpenCapture:
        choices, rate, unit = self.choices, None, None
        if self._layout is None and (choices.time or choices.rate):
            what = "--time and --rate are for CSV; a VCD file has its own times"
            raise WaveError(f"{self.file}: {what}")
        given = {role: self.named(role, name) for role, name in choices.channels.items() if name}
        for role in (*NEEDED, *(role for role in given if role not in NEEDED)):
            channel = given.get(role) or (None if role.startswith("far-") else self.found(role))
            if channel is None:
                nothing = f"{len(self.names)} columns" if self._layout else "no single bits"
                some = ", ".join(self.offered()[:8]) or nothing
                what = f"no one channel is clearly the {role}; name one, there are {some[:200]}"
                self.refuse(role, what)
            self.channels[role] = channel
        if self._layout is not None:
            if (rate := choices.rate) is None:
                self.channels["time"], rate = self._time(self._layout)
        elif (sample := self.found("sample")) and self._kind(sample.place) == "event":
            self.channels["sample"] = sample
        self.no_two()
        time = self.channels.get("time")
        moment = ""
        if self._layout is not None and time is not None and time.place is not None:
            moment = self._layout.columns[time.place].moment
            if moment in ("", "long"):
                unit = self._time_unit(self._layout, time.place)
            if moment:
                how = f"{time.how or 'as given'}, {_FIRST}"
                self.channels["time"] = replace(time, how=how)
        if unit is None and choices.time_unit is not None:
            self.refuse("time-unit", "no column is the time here; leave it out")
        if "supply" not in self.channels:
            for number, supply in enumerate(self._supplies()):
                self.channels[f"supply {number}" if number else "supply"] = supply
        return OpenCapture(self.channels, unit, self._scan, choices, rate)

    def _supplies(self) -> list[Channel]:
        """By its name, or the lines in volts that mostly stand at a usual supply at first."""
        taken = {channel.place for channel in self.channels.values()}
        named = self.found("supply")
        if named is not None and named.place not in taken and self._in_volts(named.place):
            return [named]
        return [
            Channel(self.label(place), place, how=f"{BY_LEVEL} near {usual:g} V")
            for place, usually in self._first_volts()
            for usual in USUAL_SUPPLIES
            if place not in taken and not self._meant(place)
            if all(abs(volts - usual) < STEADY * usual for volts in usually)
        ][:_MOST_SUPPLIES]

    def _first_volts(self) -> Iterator[tuple[int, tuple[float, float]]]:
        """Of each line in volts the ends of the middle half of its first values."""
        if isinstance(self._scan, VcdScan):
            found = self._scan.first_volts()
            for place, name in enumerate(self.kinds[1]):
                if name and (ends := found.get(self._scan.variables[place].code)):
                    yield place, ends
            return
        for place, column in enumerate(self._scan.layout.columns):
            if self._in_volts(place):
                volts = column.volts * self.choices.scale
                yield place, (column.usually[0] * volts, column.usually[1] * volts)

    def _meant(self, place: int) -> bool:
        """Whether the name is that of something else."""
        name = self.names[place]
        button = name.rpartition(".")[2].casefold() in [button.casefold() for button in BUTTONS]
        return button or any(guess([name], role) is not None for role in (*NEEDED, "sync"))

    def _in_volts(self, place: int | None) -> bool:
        if place is None or self._layout is None:
            return self._kind(place) in REALS
        return self._layout.columns[place].kind == "numbers"

    def _kind(self, place: int | None) -> str:
        return "" if self._variables is None else self._variables[place or 0].kind

    def named(self, role: str, wanted: str) -> Channel:
        """A channel, or one bit of a wide variable or a packed column, as ``pad.stages[7]``."""
        match = _BIT.fullmatch(wanted)
        try:
            place, number = self.place(wanted), None
        except ChannelError as error:
            try:
                place, number = self.place(match[1] if match else ""), int(match[2] if match else 0)
            except ChannelError:
                self.refuse(role, str(error))
        if self._variables is None:
            if number is None:
                return Channel(self.label(place), place)
            assert self._layout is not None
            base = {16: "hexadecimal", 10: "decimal"}[self._layout.columns[place].base]
            return Channel(f"{self.label(place)}[{number}]", place, number, f"of {base} numbers")
        variable = self._variables[place]
        if number is None:
            if variable.kind not in REALS and (variable.size != 1 or variable.kind == "string"):
                self.refuse(
                    role,
                    f"{variable.name} has {variable.size} bits of type {variable.kind}; "
                    f"name one bit, such as {variable.name}[0]",
                )
            return Channel(variable.name, place)
        high = variable.size - 1 if variable.high is None else variable.high
        low = 0 if variable.low is None else variable.low
        if not min(high, low) <= number <= max(high, low):
            self.refuse(role, f"{variable.name} has bits {high} to {low}; name one of them")
        return Channel(f"{variable.name}[{number}]", place, abs(number - low))

    def place(self, wanted: str) -> int:
        """Where the channel of that name stands; raises `ChannelError`."""
        if self._heads.count(wanted) == 1:
            return self._heads.index(wanted)
        return choose(self.names, wanted, numbered=self._variables is None)

    def found(self, role: str) -> Channel | None:
        """In the first kind that has any; levels come before the volts that they were made from."""
        places = (guess(names, role) for names in self.kinds)
        place = next((place for place in places if place is not None), None)
        return None if place is None else Channel(self.label(place), place, how=_BY_NAME)

    def label(self, place: int) -> str:
        return self.names[place] or f"column {place + 1}"

    def offered(self) -> list[str]:
        return [name for name in self.names if name and any(name in kind for kind in self.kinds)]

    def no_two(self) -> None:
        """Refuse one channel in two roles."""
        roles: dict[tuple[int, int | None], str] = {}
        for role, channel in self.channels.items():
            if channel.place is None:
                continue
            first = roles.setdefault((channel.place, channel.bit), role)
            if first != role:
                self.refuse(role, f"{channel.label} is the {first} already; name another")

    def _without_aliases(self, *, volts: bool) -> list[str]:
        """Names by place: of bits, or of reals; of several for one signal only the outermost."""
        best: dict[bytes, int] = {}
        for place, variable in enumerate(self._variables or ()):
            real = variable.kind in REALS
            if real != volts or variable.kind in ("string", "parameter"):
                continue
            if not real and variable.size != 1:
                continue
            known = best.get(variable.code)
            if known is None or variable.name.count(".") < self.names[known].count("."):
                best[variable.code] = place
        kept = set(best.values())
        return [name if place in kept else "" for place, name in enumerate(self.names)]

    def _time(  # noqa: RET503 - `refuse` never returns
        self, layout: Layout
    ) -> tuple[Channel, float | None]:
        """The time column, or the rate that the preamble states; nothing that may be otherwise."""
        given, wanted = self.choices.time_unit, self.choices.time
        channel = None if wanted is None else self.named("time", wanted)
        if channel is not None:
            return channel, None
        unit = layout.seconds(0) if given is None else SECONDS[given]
        counts = layout.steps == (1.0, 1.0) and unit == 1.0
        channel = self.found("time")
        if channel is not None and not (channel.place == 0 and counts):
            return channel, None
        stated = layout.stated
        first_is_free = all(channel.place != 0 for channel in self.channels.values())
        if stated is not None and stated.hertz is not None:
            least, most = (step * stated.hertz * unit for step in layout.steps)
            even = 0.99 < least <= most < 1.01
            if not first_is_free or counts or even or least < 0 or most == 0:
                label = f"{stated.hertz:.6g} samples a second"
                return Channel(label, None, how=stated.says), stated.hertz
            what = "but the first column rises otherwise; give --time 1 or --rate"
            self.refuse("time", f"{stated.says}, {what}")
        if first_is_free and not counts:
            # Common practice, no source: time comes first.
            return Channel(self.label(0), 0, how="the first column"), None
        says = "" if stated is None else f" ({stated.says}, {stated.why})"
        what = "the first column counts the rows" if first_is_free else "no column is the time"
        self.refuse("time", f"{what}{says}; give --time or --rate")

    def _time_unit(self, layout: Layout, place: int) -> tuple[str, str]:
        """The unit of a column of times and who says so; what is no unit is refused."""
        if self.choices.time_unit is not None:
            return self.choices.time_unit, "given"
        own, stated = layout.columns[place].unit, layout.time_unit
        remedy = "give --time-unit, as us"
        units = [(own, f"column {place + 1}")]
        if stated is not None:
            units.append((stated.unit, f"line {stated.line}"))
        for unit, where in units:
            if unit and unit not in SECONDS:
                what = f"{where} has {unit[:40]!r} for the unit of the time, which is none known"
                self.refuse("time-unit", f"{what} here; {remedy}")
        if own and stated is not None and own != stated.unit:
            what = f"column {place + 1} is in {own}, but line {stated.line} says {stated.unit}"
            self.refuse("time-unit", f"{what}; {remedy}")
        if own:
            return own, "as its column says"
        if stated is not None:
            return stated.unit, f"as line {stated.line} says"
        return "s", NOBODY_SAYS
