"""Chosen columns of a CSV file of any size, block by block.

    with open_bytes(path) as stream:
        scan = CsvScan(stream)
        for piece in scan.pieces(Columns(time=0, rate=None, channels={"latch": 1})):
            ...

The fields are taken apart by pyarrow, which knows decimal commas and leaves the interpreter free
meanwhile: each core has a block of its own. Here the columns become times and levels, and are
checked.
"""

import math
import os
import re
from collections import deque
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field
from functools import partial
from itertools import cycle
from typing import Any

import numpy as np
from numpy.typing import NDArray

from padbench.core.levels import HIGH, LOW, UNKNOWN
from padbench.core.timeline import Times
from padbench.waveio.csv_layout import (
    LEVEL_WORDS,
    LONGEST_LINE,
    OUT_OF_RANGE,
    Layout,
    find_layout,
    is_number,
    is_text,
    is_value,
    plain_lines,
    split,
)
from padbench.waveio.stream import (
    THRESHOLDS,
    ByteStream,
    Changes,
    Piece,
    Points,
    Thresholds,
    WaveError,
)

_LINE_END = 10
_HEAD = 1 << 16
_BLOCK = 1 << 20  # each is one core's work, and fits its cache
_SOON = 0.2
"""Of the usual step; where clocks change, data does so sooner after (assumed)."""
_STEPS = 16  # so many that are alike are no chance
_MOST_TEXT = 100  # lines; among rows more are no accident
_LETTERS = re.compile(rb"^[^\n]*[^\W\d_]{2}[^\n]*$", re.MULTILINE)
_PAUSE = 0.1
"""Seconds put between two segments that both begin at the same time: nothing looks too short, and
no button as if it had been let go for a moment only."""
_DAY = 86_400 * 10**9
"""Nanoseconds; a clock that falls by more than half of it has passed midnight."""
_CLOCK = r"[012]\d:[0-5]\d:[0-5]\d"
_LATEST = float(2**63 - 2**11)  # ps; the largest double below the end of int64

_NO_LEVEL = (
    "among levels; 0, 1, H, L, High, Low, True or False should stand here, or give --thresholds if "
    "the column is in volts"
)
_NO_LEVELS = ["x", "X", "z", "Z"]
_NO_VALUES = [*_NO_LEVELS, *OUT_OF_RANGE]
_ZONES = np.array([LOW, UNKNOWN, HIGH], np.uint8)
_AS_BEFORE = 255


@dataclass(frozen=True, slots=True)
class Columns:
    """Which column (from 0) is what.

    ``time`` is None where ``rate``, in samples a second, takes its place; ``unit`` is that of the
    time in seconds, None as the file says. ``channels`` become
    levels; ``measured`` ones are followed in volts only. ``thresholds`` None: 0 and 1 are taken as
    levels, anything else as volts at the usual thresholds. ``bits`` are the channels that are a bit
    of a packed column, hexadecimal or decimal; ``scale`` is what numbers are volts after.
    """

    time: int | None
    rate: float | None
    channels: Mapping[str, int]
    measured: Mapping[str, int] = field(default_factory=dict)
    thresholds: Thresholds | None = None
    unit: float | None = None
    bits: Mapping[str, int] = field(default_factory=dict)
    scale: float = 1.0


_Parsed = tuple[int, list[Any]]


@dataclass(frozen=True, slots=True)
class _Block:
    """``tail`` is what follows the last line end of the file, or of a line that is ``too_long``."""

    rows: memoryview
    tail: bytes
    too_long: bool
    last: bool


class RowFault(Exception):
    """What is wrong with the row of that number in its block."""

    def __init__(self, row: int, what: str) -> None:
        super().__init__(what)
        self.row = row
        self.what = what


class CsvScan:
    """Finds the layout at once; the rest as `pieces`."""

    def __init__(self, stream: ByteStream) -> None:
        """Raises `WaveError` if this is no table of numbers."""
        stream = plain_lines(stream)
        self._begun(stream)
        head = stream.read(_HEAD)
        while head.count(b"\n") < 20 and len(head) < 20 * LONGEST_LINE:
            more = stream.read(_HEAD)
            if not more:
                break
            head += more
            if len(head) - head.rfind(b"\n") > LONGEST_LINE + 1:
                break
        more = b"" if stream.live else stream.read(1)
        whole, head = not (more or stream.live), head + more
        self.layout: Layout = find_layout(head, stream.name, whole=whole)
        self._rest = head[self.layout.start :]
        self._line = self.layout.line

    def _begun(self, stream: ByteStream) -> None:
        """Nothing was read yet."""
        self._stream = stream
        self._rows = 0
        self._now: int | None = None
        self._seconds = 0.0
        self._apart = 0
        self._begin = 0.0
        self._shift = 0.0
        self._same_time = 0
        self._left_out = 0, ""
        self._anew: list[int] = []
        self._no_row: WaveError | None = None

    def pieces(self, columns: Columns) -> Iterator[Piece]:
        """Changes of the channels, in stretches of time; the first sample counts as a change.

        Times are those of the file. Raises `WaveError` with the line where a row does not fit
        those before it or a value is none. A last row without a line end is left out:
        ``broken_off`` of the last piece says so. So are a few lines of text, among the rows or
        after them. Where samples are evenly spaced a longer step is a gap, and a time that begins
        anew is another segment, put behind the one before; a clock goes on past midnight.
        """
        reader = Reader(self.layout, columns)
        cores = 0 if self._stream.live else os.cpu_count() or 1
        with ThreadPoolExecutor(cores or 1) as pool:
            waiting: deque[tuple[_Block, Future[_Parsed]]] = deque()
            for block in self._blocks(cores):
                waiting.append((block, pool.submit(reader.parsed, block.rows)))
                if len(waiting) > cores:
                    yield from self._finish(reader, *waiting.popleft())
            while waiting:
                yield from self._finish(reader, *waiting.popleft())
        if self._now is None:
            raise self._error(b"", 0, "no whole row; below the names should stand one a sample")

    def _blocks(self, cores: int) -> Iterator["_Block"]:
        """The rows of the file in portions of whole lines, what has no line end with the last.

        They lie in memory that is used again after as many blocks as may wait, for its pages
        need not be made ready anew.
        """
        carry, self._rest = self._rest, b""
        whole = carry.rfind(b"\n") + 1
        if whole:
            yield _Block(memoryview(carry)[:whole], b"", False, False)
            carry = carry[whole:]
        if len(carry) > LONGEST_LINE:
            yield _Block(memoryview(b""), carry, True, True)
            return
        places = cycle([bytearray(LONGEST_LINE + _BLOCK) for _ in range(cores + 2)])
        while True:
            place = next(places)
            place[: len(carry)] = carry
            end = len(carry) + self._stream.read_into(memoryview(place)[len(carry) :][:_BLOCK])
            last = end == len(carry)
            whole = place.rfind(b"\n", 0, end) + 1
            carry = bytes(memoryview(place)[whole:end])
            too_long = len(carry) > LONGEST_LINE
            last |= too_long
            yield _Block(memoryview(place)[:whole], carry if last else b"", too_long, last)
            if last:
                return

    def _finish(
        self, reader: "Reader", block: "_Block", parsed: "Future[_Parsed]"
    ) -> Iterator[Piece]:
        """The pieces of a block that was taken apart."""
        lines, piece = self._block(reader, block, parsed)
        self._line += lines
        if piece is not None:
            yield piece
        if block.too_long:
            what = f"a line of more than {LONGEST_LINE >> 10} KiB; a row should be one sample"
            raise self._error(b"", 0, what)
        broken = self._stream.broken
        if broken is None and block.tail.strip():
            # Its last number may have lost digits and still look whole.
            broken = f"line {self._line} has no line end and is left out"
        if block.last and self._now is not None:
            yield Piece(self._now, {}, broken_off=broken, left_out=self._left_out)

    def _block(
        self, reader: "Reader", block: "_Block", parsed: "Future[_Parsed]"
    ) -> tuple[int, Piece | None]:
        """How many lines a block has, and what they say."""
        before = self._rows, self._now, self._seconds, self._shift, self._same_time
        try:
            lines, batches = parsed.result()
            return lines, self._take(reader, batches)
        except RowFault as fault:
            rows = bytes(block.rows)
            error = self._error(rows, fault.row, fault.what)
        self._rows, self._now, self._seconds, self._shift, self._same_time = before
        rows = self._without_text(rows, error)
        try:
            lines, batches = reader.parsed(memoryview(rows))
            return lines, self._take(reader, batches)
        except RowFault as fault:
            raise self._error(rows, fault.row, fault.what) from None

    def _without_text(self, rows: bytes, error: WaveError) -> bytes:
        """The same with lines of text left empty; ``error`` if there are none, or many."""
        layout, parts, at = self.layout, [], 0
        for match in _LETTERS.finditer(rows):
            text = match[0].decode(layout.encoding, "replace")
            if is_text(text, layout.delimiter, layout.decimal):
                line = self._line + rows.count(b"\n", 0, match.start())
                count, first = self._left_out
                self._left_out = count + 1, first or f"line {line}: {text.strip()[:40]}"
                self._no_row = self._no_row or error
                if count == _MOST_TEXT:
                    raise self._no_row
                parts.append(rows[at : match.start()])
                at = match.end()
        if not parts:
            raise error
        return b"".join([*parts, rows[at:]])

    def _take(self, reader: "Reader", batches: list[Any]) -> Piece | None:
        parts: dict[str, list[Changes]] = {name: [] for name in reader.columns.channels}
        volts: dict[str, tuple[float, float]] = {}
        analogue: dict[str, list[Points]] = {}
        begin = self._rows
        self._anew = []
        gaps: list[tuple[int, int]] = []
        for batch in batches:
            seconds = reader.seconds(batch, self._rows, self._seconds)
            seconds, more = self._in_time(reader, seconds, begin)
            gaps += more
            try:
                for name, found in parts.items():
                    places, levels = reader.changes(batch, name)
                    found.append((_picoseconds(seconds[places]), levels))
                    points = reader.points(batch, name, seconds)
                    if points is not None:
                        analogue.setdefault(name, []).append(points)
                for name in reader.columns.measured:
                    least, most = reader.range(batch, name)
                    known = volts.get(name, (least, most))
                    volts[name] = min(known[0], least), max(known[1], most)
            except RowFault as fault:
                raise RowFault(self._rows - begin + fault.row, fault.what) from None
            self._rows += len(seconds)
            self._now = int(_picoseconds(seconds[-1:])[0])
        if self._rows == begin:
            return None
        changes = {name: _in_one(found) for name, found in parts.items() if found}
        lines = {name: _in_one(found) for name, found in analogue.items()}
        return Piece(
            self._now or 0,
            changes,
            gaps=tuple(gaps),
            volts=volts,
            analogue=lines,
            apart_ps=self._apart,
            same_time=(self._same_time, self._rows),
            left_out=self._left_out,
            anew=(*self._anew,),
        )

    def _in_time(
        self, reader: "Reader", seconds: NDArray[np.float64], begin: int
    ) -> tuple[NDArray[np.float64], list[tuple[int, int]]]:
        """Times that only grow, and the gaps between samples that are evenly spaced."""
        if self._now is None:
            self._begin = self._seconds = float(seconds[0])
        if self._shift:
            seconds = seconds + self._shift
        steps = np.diff(seconds, prepend=self._seconds)
        if steps.min() < 0:
            seconds, steps = self._segments(seconds, steps, begin)
        if not self._rows:
            self._apart = self._apart or _apart(seconds)
        if not reader.sparse:
            self._same_time += len(steps) - int(np.count_nonzero(steps)) - (not self._rows)
        self._seconds = float(seconds[-1])
        long = np.flatnonzero(steps > 1.5e-12 * self._apart) if self._apart else steps[:0]
        if 20 * len(long) > len(steps):
            self._apart = 0  # they were no samples
        elif len(long):
            ends = np.stack([seconds[long] - steps[long], seconds[long]], 1)
            return seconds, [(start, end) for start, end in _picoseconds(ends).tolist()]
        return seconds, []

    def _segments(
        self, seconds: NDArray[np.float64], steps: NDArray[np.float64], begin: int
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Times and steps where each segment comes after the one before.

        Only evenly spaced samples whose time begins where the file's began are a segment.
        """
        falls = np.flatnonzero(steps < 0)
        self._apart = self._apart or (0 if self._rows else _apart(seconds[: falls[0]]))
        starts = seconds[falls] - self._shift
        if not self._apart or (np.abs(starts - self._begin) > 2e-12 * self._apart).any():
            what = "time runs backwards; it should only grow"
            raise RowFault(self._rows - begin + int(falls[0]), what)
        steps = steps.copy()
        more = np.zeros(len(seconds))
        more[falls] = _PAUSE - steps[falls]
        steps[falls] = _PAUSE
        more = np.cumsum(more)
        self._shift += float(more[-1])
        self._anew += _picoseconds((seconds + more)[falls]).tolist()
        return seconds + more, steps

    def _error(self, rows: bytes, row: int, what: str) -> WaveError:
        line = self._line + rows.count(b"\n", 0, _begin_of_row(rows, row))
        says = what.encode("unicode_escape").decode("ascii")
        return WaveError(f"{self._stream.name}: line {line}: {says}")


class Reader:
    """Rows to columns, and columns to what they mean."""

    def __init__(self, layout: Layout, columns: Columns) -> None:
        # Heavy, and for CSV only.
        from pyarrow import csv, decimal128, float64, string, time64, timestamp  # noqa: PLC0415

        self.columns = columns
        self._layout = layout
        self._csv = csv
        chosen = {*columns.channels.values(), *columns.measured.values()}
        self.chosen = chosen | ({columns.time} if columns.time is not None else set())
        own = {place: layout.columns[place] for place in chosen}
        # With a rate each row is a sample, and one that is missing is missing.
        self._sparse = {place for place in own if own[place].sparse and columns.rate is None}
        self.sparse = bool(self._sparse)
        words = {columns.channels[name] for name in columns.bits}
        words |= {place for place in own if own[place].kind == "words"}
        self._texts = self._sparse | words
        self.volts = {
            place
            for place in chosen - words
            if columns.thresholds is not None
            or place in columns.measured.values()
            or own[place].kind == "numbers"
        }
        self._origin: int | None = None
        types = {
            f"c{place}": string() if place in self._texts else float64()
            for place in chosen - {columns.time}
        }
        self._moment = "" if columns.time is None else layout.columns[columns.time].moment
        if columns.time is not None:
            moments = {
                "clock": time64("ns"),
                "date": timestamp("ns"),
                "zoned": timestamp("ns", "UTC"),
                "long": decimal128(37, 18),
            }
            self._counted = moments.get(self._moment, float64())
            # The library knows no moments with a comma in them, and makes clocks of no text.
            comma = self._moment not in ("", "long") and layout.decimal == ","
            if comma and self._moment == "clock":
                self._counted = timestamp("ns")
            types[f"c{columns.time}"] = string() if comma else self._counted
        self._read = csv.ReadOptions(
            column_names=[f"c{place}" for place in range(len(layout.columns))],
            block_size=2 * (LONGEST_LINE + _BLOCK),  # all rows in one batch
            use_threads=False,
        )
        self._parse = csv.ParseOptions(delimiter=layout.delimiter)
        # A line with nothing in it is then a fault, and the block is taken again with the other.
        self._every_line = csv.ParseOptions(delimiter=layout.delimiter, ignore_empty_lines=False)
        # The words are looked up for each field, so the few come first.
        self._convert, self._convert_all = (
            csv.ConvertOptions(
                column_types=types,
                include_columns=list(types),
                null_values=words,
                quoted_strings_can_be_null=True,
                decimal_point=layout.decimal,
                check_utf8=bool(self._texts),
            )
            for words in (_NO_LEVELS, _NO_VALUES)
        )

    def parsed(self, rows: memoryview) -> _Parsed:
        """Of some whole rows, how many line ends they have, and record batches, none empty."""
        if not _has_rows(rows):
            return _line_ends(rows), []
        from pyarrow import ArrowInvalid  # noqa: PLC0415

        try:
            batches = self._batches(rows, self._every_line, self._convert)
            # Each line was a row, so they need not be counted.
            return sum(batch.num_rows for batch in batches), batches
        except ArrowInvalid:
            pass
        try:
            return _line_ends(rows), self._batches(rows, self._parse, self._convert_all)
        except ArrowInvalid as error:
            raise self._first_fault(bytes(rows), str(error)) from None

    def _batches(self, rows: memoryview, parse: Any, convert: Any) -> list[Any]:
        from pyarrow import BufferReader  # noqa: PLC0415

        table = self._csv.read_csv(
            BufferReader(rows),
            read_options=self._read,
            parse_options=parse,
            convert_options=convert,
        )
        return [batch for batch in table.to_batches() if batch.num_rows]

    def seconds(self, batch: Any, before: int, last: float) -> NDArray[np.float64]:
        """Times as many as rows; ``before`` rows came earlier, up to ``last``."""
        if self.columns.rate is not None:
            return np.arange(before, before + batch.num_rows) / self.columns.rate
        assert self.columns.time is not None
        column = batch.column(f"c{self.columns.time}")
        moment = self._moment
        if moment:
            column = self._since_first(column, whole=moment != "long")
        values = _finite(column, "time")
        if moment == "clock":
            midnights = np.diff(values, prepend=values[0]) < -_DAY / 2
            days = max(0, round((last * 1e9 - float(values[0])) / _DAY))
            values = values + _DAY * (days + np.cumsum(midnights))
        if moment and moment != "long":
            return values * 1e-9
        unit = self.columns.unit or self._layout.seconds(self.columns.time)
        return values if unit == 1 else values * unit

    def _since_first(self, column: Any, *, whole: bool) -> Any:
        """What a double does not hold, counted from the first row: nanoseconds, or a decimal."""
        from pyarrow import ArrowInvalid, compute, float64, int64  # noqa: PLC0415

        if whole and column.type != self._counted:
            wrong = compute.invert(compute.match_substring_regex(column, _CLOCK))
            column = compute.replace_substring(column, ",", ".")
            if self._moment == "clock":
                column = compute.binary_join_element_wise("1970-01-01", column, " ")
            try:
                column = column.cast(self._counted)
            except ArrowInvalid:
                row = max(0, compute.index(wrong, True).as_py())
                raise RowFault(row, "a time that is none; hh:mm:ss should stand here") from None
        if whole:
            column = column.cast(int64())
        if self._origin is None:
            self._origin = column[0]
        return compute.subtract(column, self._origin).cast(float64())

    def changes(self, batch: Any, name: str) -> tuple[NDArray[np.intp], NDArray[np.uint8]]:
        """Rows at which the level of a channel is another than in the row before."""
        place = self.columns.channels[name]
        column = batch.column(f"c{place}")
        if place in self._texts:
            return self._looked_up(column, place, name)
        volts = _finite(column, name, allow_none=True)
        low, high = self._zones(place)
        # Where it is low, between and high is 0, 1 and 2 here: quicker than levels for all rows.
        zone = (volts > low).view(np.uint8) + (volts >= high).view(np.uint8)
        if column.null_count:
            zone[np.isnan(volts)] = 1
        if place not in self.volts:
            wrong = ((volts != 0) & (volts != 1) & ~np.isnan(volts)).nonzero()[0]
            if len(wrong):
                raise RowFault(int(wrong[0]), f"{volts[wrong[0]]:g} {_NO_LEVEL}")
        rows = _changes(zone)
        return rows, _ZONES[zone[rows]]

    def _zones(self, place: int) -> tuple[float, float]:
        """Up to where a number is low and from where it is high, as the file has it."""
        if place not in self.volts:
            return 0.25, 0.75
        unit = self._layout.columns[place].volts * self.columns.scale
        thresholds = self.columns.thresholds or THRESHOLDS
        return thresholds.low / unit, thresholds.high / unit

    def _looked_up(
        self, column: Any, place: int, name: str
    ) -> tuple[NDArray[np.intp], NDArray[np.uint8]]:
        """Each word of a column once: they are few."""
        levels = self._each(column, partial(self._level, place, name)).astype(np.uint8)
        rows = np.flatnonzero(levels != _AS_BEFORE)
        levels = levels[rows]
        changes = _changes(levels) if len(rows) else rows
        return rows[changes], levels[changes]

    def _each(self, column: Any, means: Callable[[str], float]) -> NDArray[np.float64]:
        known = column.dictionary_encode()
        values: list[float] = []
        for number, word in enumerate(known.dictionary.to_pylist()):
            try:
                values.append(means(str(word).strip(' \t\r"')))
            except ValueError as error:
                row = int(np.argmax(known.indices.to_numpy() == number))
                raise RowFault(row, f"{str(word)[:20]!r} {error}") from None
        every: NDArray[np.float64] = np.array(values)[known.indices.to_numpy()]
        return every

    def _level(self, place: int, name: str, word: str) -> int:
        if not word and place in self._sparse:
            return _AS_BEFORE
        if not word or word in _NO_VALUES:
            return UNKNOWN
        if name in self.columns.bits:
            base = self._layout.columns[place].base
            try:
                return int(word, base) >> self.columns.bits[name] & 1
            except ValueError:
                what = "hexadecimal" if base == 16 else "whole"
                raise ValueError(f"is no {what} number as the rows before") from None
        if place in self.volts:
            number, (low, high) = self._number(place, word), self._zones(place)
            return HIGH if number >= high else LOW if number <= low else UNKNOWN
        level = {"0": LOW, "1": HIGH, **LEVEL_WORDS}.get(word)
        if level is None:
            raise ValueError(_NO_LEVEL)
        return level

    def _number(self, place: int, word: str) -> float:
        if not word:
            return math.nan
        if not is_number(word, self._layout.decimal):
            raise ValueError(f"in column {place + 1}; a number should stand here")
        return float(word.replace(",", "."))

    def points(self, batch: Any, name: str, seconds: NDArray[np.float64]) -> Points | None:
        """A channel in volts as it was sampled; None for levels and where samples are missing."""
        place = self.columns.channels[name]
        column = batch.column(f"c{place}")
        if place not in self.volts or place in self._texts or column.null_count:
            return None
        unit = self._layout.columns[place].volts * self.columns.scale
        volts: NDArray[np.float64] = column.to_numpy()
        return seconds, volts if unit == 1 else volts * unit

    def range(self, batch: Any, name: str) -> tuple[float, float]:
        """Least and greatest voltage."""
        place = self.columns.measured[name]
        column = batch.column(f"c{place}")
        if place in self._texts:
            values = self._each(column, partial(self._number, place))
            values = values[~np.isnan(values)]
            if not len(values):
                return math.inf, -math.inf
        else:
            values = _finite(column, name)
        unit = self._layout.columns[place].volts * self.columns.scale
        return float(values.min()) * unit, float(values.max()) * unit

    def _first_fault(self, rows: bytes, said: str) -> RowFault:
        """Which row it was: the library counts otherwise, and not always."""
        layout = self._layout
        lines = [row for row in rows.split(b"\n") if row.strip()]
        for number, row in enumerate(lines):
            fields = split(row.decode(layout.encoding, "replace").strip("\r"), layout.delimiter)
            if len(fields) != len(layout.columns):
                what = f"{len(fields)} fields; there should be {len(layout.columns)} as before"
                return RowFault(number, what)
            for place in sorted(self.chosen - self._texts):
                text, time = fields[place].strip(), place == self.columns.time
                if (time and self._moment and is_value(text, ".")) or (
                    not time and text.strip('"') in _NO_VALUES
                ):
                    continue
                if not is_number(text, layout.decimal):
                    what = f"{text[:20]!r} in column {place + 1}; a number should stand here"
                    return RowFault(number, what)
        return RowFault(0, f"rows that cannot be read ({said[:60]}); numbers should stand here")


def _apart(seconds: NDArray[np.float64]) -> int:
    """Picoseconds from sample to sample; 0 for a list of changes, which keep no step.

    Where samples come early and late, the longest step that is usual: nothing is known closer.
    """
    steps = np.diff(seconds)
    if len(steps) < _STEPS:
        return 0
    least, early, usual, late, most = map(float, np.percentile(steps, (1, 5, 50, 95, 99)))
    if 0.95 * usual <= early and late <= 1.05 * usual:
        return round(usual * 1e12)
    return round(most * 1e12) if _SOON * usual <= least and most <= 2 * usual else 0


def _in_one(parts: list[tuple[Any, Any]]) -> tuple[Any, Any]:
    if len(parts) == 1:
        return parts[0]
    return np.concatenate([first for first, _ in parts]), np.concatenate([own for _, own in parts])


def _line_ends(rows: memoryview) -> int:
    return int(np.count_nonzero(np.frombuffer(rows, np.uint8) == _LINE_END))


def _begin_of_row(rows: bytes, row: int) -> int:
    """Where a row begins, in bytes; empty lines are no rows."""
    begin = 0
    for text in rows.split(b"\n"):
        if text.strip():
            if not row:
                break
            row -= 1
        begin += len(text) + 1
    return min(begin, len(rows))


def _has_rows(rows: memoryview) -> bool:
    return bool(bytes(rows[:4096]).strip() or bytes(rows).strip())


def _changes(values: NDArray[np.uint8]) -> NDArray[np.intp]:
    """The first row, and those that differ from the one before."""
    return np.concatenate([[0], np.flatnonzero(values[1:] != values[:-1]) + 1])


def _finite(column: Any, name: str, *, allow_none: bool = False) -> NDArray[np.float64]:
    values: NDArray[np.float64] = column.to_numpy(zero_copy_only=False)
    # One number that is not finite makes the sum so; a sum may also simply be too large.
    with np.errstate(over="ignore", invalid="ignore"):
        if np.isfinite(values.sum()):
            return values
    finite = np.isfinite(values)
    if allow_none and column.null_count:
        finite |= column.is_null().to_numpy(zero_copy_only=False)
    if not finite.all():
        row = int(np.argmin(finite))
        raise RowFault(row, f"{values[row]} as {name}; a finite number should stand here")
    return values


def _picoseconds(seconds: NDArray[np.float64]) -> Times:
    picoseconds = np.rint(seconds * 1e12)
    too_far = np.abs(picoseconds) > _LATEST
    if too_far.any():
        raise RowFault(0, "a time beyond what can be counted in seconds; give --time-unit, as ns")
    return picoseconds.astype(np.int64)
