"""Chosen wires of a VCD file of any size, block by block (IEEE Std 1364-2005, clause 18).

    with open_bytes(path) as stream:
        scan = VcdScan(stream)
        for piece in scan.pieces({"latch": Pick(scan.variables[3])}):
            ...

White space separates all tokens of the format, so a block is taken apart with array operations:
where tokens begin, what kind each is by its first character, all times and all codes at once.
Only vector values that somebody asked for, keywords and comments are looked at one by one.
Everything is checked, whether asked for or not: times that fall, codes that nobody declared,
characters that cannot be.
"""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from padbench.core.timeline import Times
from padbench.waveio import vcd_tokens as tokens
from padbench.waveio.stream import (
    BLOCK,
    THRESHOLDS,
    ByteStream,
    Changes,
    Piece,
    Points,
    Thresholds,
    WaveError,
)
from padbench.waveio.vcd_header import REALS, Variable, read_header
from padbench.waveio.vcd_tokens import Bytes, Codes, Fault, Places, refuse

_LONGEST_TOKEN = 1 << 24  # bytes; a wider value is broken, not wide
_LINE_END, _DOLLAR = 10, 36
_PAD = b"\n" * 16  # so that a look at the bytes after the last token stays inside the block

_LEVELS = "0, 1, x or z should stand here"
_BITS = "01xXzZuUwWhHlL-"

_FIRST = 1 << 16  # bytes
_REAL = re.compile(rb"(?<!\S)[rR]([+-]?\d+\.?\d*(?:[eE][+-]?\d{1,3})?)\s+(\S+)(?=\s)")
_COMMENT = re.compile(rb"(?<!\S)\$comment(?=\s)")
_COMMENT_END = re.compile(rb"(?<!\S)\$end(?=\s)")
_OFF = b"$dumpoff"
_DUMPS = (b"$dumpvars", b"$dumpall", b"$dumpon", b"$dumpoff")


@dataclass(frozen=True, slots=True)
class Pick:
    """A variable to follow; of a wide one, the bit so many places from the right.

    One of type ``real`` is in volts: it has the zones of ``thresholds`` as levels, or, if it is
    ``measured``, only its extremes are told. If ``whole``, the changes have the value of all bits
    as the file has it, as text.
    """

    variable: Variable
    bit: int = 0
    thresholds: Thresholds = THRESHOLDS
    measured: bool = False
    whole: bool = False

    @property
    def in_volts(self) -> bool:
        """Whether its values are numbers."""
        return self.variable.kind in REALS


@dataclass(slots=True)
class _Said:
    """What the tokens of one block say about one pick: token numbers, and a level for each."""

    places: list[Places] = field(default_factory=list)
    levels: list[NDArray[Any]] = field(default_factory=list)
    volts: list[NDArray[np.float64]] = field(default_factory=list)
    points: tuple[Places, NDArray[np.float64]] | None = None

    def add(self, places: Places, levels: NDArray[Any]) -> None:
        if len(places):
            self.places.append(places)
            self.levels.append(levels)


class VcdScan:
    """Reads the declarations at once; the rest as `pieces`."""

    def __init__(self, stream: ByteStream) -> None:
        """Raises `WaveError` if the declarations cannot be used."""
        header = read_header(stream)
        self._stream = header.stream
        self.variables = header.variables
        self._unit = header.unit
        self._rest = header.rest
        self._lines = header.lines
        self._now: int | None = None
        self._in_dump: bytes | None = None
        self._in_comment = False
        self._off_since: int | None = None
        self._whole = False
        self._stood: dict[str, float] = {}

    def first_volts(self) -> dict[bytes, tuple[float, float]]:
        """Where the middle half of the first values of each real variable lies, by its code."""
        if not self._stream.live and any(v.kind in REALS for v in self.variables):
            self._rest += self._stream.read(max(0, _FIRST - len(self._rest)))
        values: dict[bytes, list[float]] = {}
        for number, code in _REAL.findall(self._rest[:_FIRST]):
            values.setdefault(code, []).append(float(number))
        halves = ((code, sorted(some), len(some) // 4) for code, some in values.items())
        return {code: (some[fourth], some[-1 - fourth]) for code, some, fourth in halves}

    def pieces(self, picks: Mapping[str, Pick], *, whole: bool = False) -> Iterator[Piece]:
        """Changes of the picked variables, in stretches of time.

        A variable of type ``event`` comes as events, any other as changes; levels that repeat may
        be among them. Values before the first time count at 0. Raises `WaveError` with the line
        where the file is not a value change dump; a file that only breaks off at its end yields
        what stood before. ``whole``: what is written while dumping is off counts as changes, and
        a value or a time that is cut is a fault, the last line end apart.
        """
        self._whole = whole
        self._picks = picks
        self._codes = Codes(self.variables, {n: p.variable.code for n, p in picks.items()})
        ended = False
        carry, self._rest = self._rest, b""
        while not ended:
            block = self._stream.read(max(BLOCK, len(carry)))
            ended = not block
            data = carry + (b"\n" if self._whole and ended else block)
            stop = len(data) if ended else tokens.last_space(data)
            if len(data) - stop > _LONGEST_TOKEN:
                raise self._error(data, stop, "a token without end; white space should follow")
            pieces, used = self._take(data[:stop], last=ended)
            carry = data[used:]
            yield from pieces
        if self._now is None:
            what = "the file has no time; at least #0 should follow the declarations"
            raise self._error(b"", 0, what)

    def _take(self, data: bytes, *, last: bool) -> tuple[list[Piece], int]:
        """The pieces that some bytes hold, and how many of them were used."""
        broken = self._stream.broken if last else None
        tail = len(data)
        if last and data and not data[-1:].isspace():
            # What the file breaks off in may be half a token: the rest of the block comes first.
            tail = tokens.last_space(data)
        try:
            piece, used = self._tokens(data[:tail])
        except Fault as fault:
            raise self._error(data, fault.at, fault.what) from None
        pieces = [] if piece is None else [piece]
        if not last:
            self._lines += int(np.count_nonzero(np.frombuffer(data, np.uint8, used) == _LINE_END))
            return pieces, used
        end = data[used:]
        if end.strip():
            broken = broken or self._line(data, len(data) - self._whole)
            try:
                more, rest = self._tokens(end + b"\n")
                if more is not None and rest > len(end):
                    pieces.append(more)
            except Fault:
                pass  # half a token; what it was meant to be nobody knows
        if broken is None and (self._in_dump is not None or self._in_comment):
            broken = self._line(data, len(data) - self._whole)
        if self._now is None:
            return [], len(data)
        final = pieces.pop() if pieces else Piece(self._now, {})
        gaps = () if self._off_since is None else ((self._off_since, self._now),)
        gaps = (*final.gaps, *gaps)
        final = replace(final, end_ps=self._now, gaps=gaps, broken_off=broken)
        return [*pieces, final], len(data)

    def _error(self, data: bytes, at: int, what: str) -> WaveError:
        says = what.encode("unicode_escape").decode("ascii")
        return WaveError(f"{self._stream.name}: {self._line(data, at)}: {says}")

    def _line(self, data: bytes, at: int) -> str:
        return f"line {self._lines + data.count(10, 0, max(at, 0)) + 1}"

    def _tokens(self, data: bytes) -> tuple[Piece | None, int]:
        """All tokens of a block that ends in white space."""
        text = b"\n" + data + _PAD
        # Offsets from here on are one too high, for the line end put in front.
        bytes_, starts = tokens.split(text)
        if self._in_comment or (bytes_[starts] == _DOLLAR).any():
            text = self._without_comments(text)
            bytes_, starts = tokens.split(text)
        if not len(starts):
            return None, len(data)
        tokens.check_characters(bytes_)
        first = bytes_[starts]
        used = len(data)
        kinds = tokens.CLASS[first]
        values = tokens.values_with_codes(kinds)
        if len(values) and values[-1] + 2 > len(starts):
            # The code that belongs to the last value comes with the next block.
            used = int(starts[values[-1]]) - 1
            starts, first, kinds = starts[:-1], first[:-1], kinds[:-1]
            values = values[:-1]
        if (kinds == tokens.BAD).any():
            at = int(starts[np.argmax(kinds == tokens.BAD)])
            raise Fault(at - 1, f"confused: {tokens.token(bytes_, at)}; {tokens.EXPECTED}")
        is_time = kinds == tokens.TIME
        ticks_at = np.flatnonzero(is_time)
        times = self._times(bytes_, starts[ticks_at])
        scalars = np.flatnonzero(kinds == tokens.SCALAR)
        said: dict[str, _Said] = {name: _Said() for name in self._picks}
        picked = self._codes.resolve(bytes_, starts[scalars] + 1)
        chosen = np.flatnonzero(picked > 0)
        picked, scalars = picked[chosen], scalars[chosen]
        levels = tokens.LEVEL[first[scalars]]
        for name, number in self._codes.of_pick.items():
            own = picked == number
            if self._picks[name].in_volts:
                refuse(bytes_, starts[scalars], own, f"is no voltage; {tokens.REALS}")
            if self._picks[name].whole:
                characters = [chr(character) for character in first[scalars[own]].tolist()]
                said[name].add(scalars[own], np.array(characters, object))
            else:
                said[name].add(scalars[own], levels[own])
        if len(values):
            self._vectors(bytes_, starts, kinds, values, said)
        skipped, gaps = self._keywords(bytes_, starts, kinds, ticks_at, times)
        changes, events, analogue = self._assembled(said, is_time, times, skipped)
        if len(times):
            self._now = int(times[-1])
        volts = {
            name: (min(float(v.min()) for v in own.volts), max(float(v.max()) for v in own.volts))
            for name, own in said.items()
            if any(map(len, own.volts))
        }
        return Piece(self._now or 0, changes, events, gaps, None, volts, analogue), used

    def _steps(self, name: str, times: Times, volts: NDArray[np.float64]) -> Points:
        """A value holds until the next, so each change is two points at one time."""
        both = np.repeat(volts, 2)
        both[2::2] = volts[:-1]
        both[0] = self._stood.get(name, volts[0])
        self._stood[name] = float(volts[-1])
        return np.repeat(times * 1e-12, 2), both

    def _without_comments(self, data: bytes) -> bytes:
        """The same length, with spaces for what stands in comments; line ends stay."""
        parts: list[bytes] = []
        at = 0
        while at < len(data):
            if not self._in_comment:
                begin = _COMMENT.search(data, at)
                if begin is None:
                    parts.append(data[at:])
                    break
                parts.append(data[at : begin.start()])
                at = begin.start()
                self._in_comment = True
            end = _COMMENT_END.search(data, at)
            stop = len(data) if end is None else end.end()
            parts.append(re.sub(rb"[^\n]", b" ", data[at:stop]))
            self._in_comment = end is None
            at = stop
        return b"".join(parts)

    def _times(self, bytes_: Bytes, starts: Places) -> Times:
        """Times in picoseconds of the tokens ``#digits``."""
        ticks = tokens.numbers_at(bytes_, starts + 1)
        if not len(ticks):
            return ticks
        largest = int(ticks.max())
        # What is multiplied below must not overflow.
        factor = self._unit if self._unit % 1000 else self._unit // 1000
        if largest * factor > tokens.LATEST - 500:
            at = int(starts[np.argmax(ticks)])
            raise Fault(at - 1, f"the time is too late; at most {tokens.LATEST} ps can be read")
        if self._unit % 1000:
            times = (ticks * self._unit + 500) // 1000
        else:
            times = ticks * (self._unit // 1000)
        before = np.concatenate([[self._now or 0], times[:-1]])
        falls = times < before
        if falls.any():
            at = int(starts[np.argmax(falls)])
            raise Fault(
                at - 1, f"time runs backwards to {tokens.token(bytes_, at)}; it should only grow"
            )
        return times

    def _vectors(
        self,
        bytes_: Bytes,
        starts: Places,
        kinds: Bytes,
        values: Places,
        said: dict[str, _Said],
    ) -> None:
        """Values that stand apart from their code: ``b0110 !``, ``r1.5 "``."""
        picked = self._codes.resolve(bytes_, starts[values + 1])
        chosen = np.flatnonzero(picked > 0)
        if not len(chosen):
            return
        places, numbers = values[chosen], picked[chosen]
        first = starts[places] + 1
        # A value ends where white space begins; codes of the format hold none.
        spaces = np.flatnonzero(bytes_ <= 32)
        ends = spaces[np.searchsorted(spaces, first)]
        real = np.isin(
            numbers, [self._codes.of_pick[n] for n, p in self._picks.items() if p.in_volts]
        )
        wrong = (kinds[places] != np.where(real, tokens.REAL, tokens.VECTOR)) | (ends == first)
        refuse(bytes_, starts[places], wrong, f"is no level; {_LEVELS}")
        # Left out on the left: 0 before 0 and 1, else the leftmost character (18.2.2).
        leftmost = bytes_[first]
        extended = np.where(leftmost == ord("1"), np.uint8(ord("0")), leftmost)
        for name, pick in self._picks.items():
            own = numbers == self._codes.of_pick[name]
            if pick.in_volts:
                volts = tokens.volts_at(bytes_, first[own], ends[own])
                if pick.measured:
                    said[name].volts.append(volts)
                else:
                    said[name].add(places[own], pick.thresholds.zones(volts))
                    said[name].points = places[own], volts
                continue
            size = pick.variable.size
            if self._whole:
                what = f"is too long; {size} bits should stand here at most"
                refuse(bytes_, first[own] - 1, ends[own] - first[own] > size, what)
            if pick.whole:
                said[name].add(places[own], self._whole_values(bytes_, first[own], ends[own], pick))
                continue
            at_bit = ends[own] - 1 - pick.bit
            inside = at_bit >= first[own]
            characters = np.where(inside, bytes_[np.maximum(at_bit, 0)], extended[own])
            wrong = tokens.CLASS[characters] != tokens.SCALAR
            refuse(bytes_, starts[places[own]], wrong, f"is no level; {_LEVELS}")
            said[name].add(places[own], tokens.LEVEL[characters])

    def _whole_values(self, bytes_: Bytes, first: Places, ends: Places, pick: Pick) -> NDArray[Any]:
        texts = []
        for begin, end in zip(first.tolist(), ends.tolist(), strict=True):
            text = bytes(bytes_[begin:end]).decode("latin-1")
            if text.strip(_BITS):
                raise Fault(begin - 2, f"{tokens.token(bytes_, begin - 1)} is no level; {_LEVELS}")
            texts.append(text)
        return np.array(texts, object)

    def _keywords(
        self, bytes_: Bytes, starts: Places, kinds: Bytes, ticks_at: Places, times: Times
    ) -> tuple[list[tuple[int, int, bool]], tuple[tuple[int, int], ...]]:
        """Stretches of tokens inside ``$dump...``, (first, last, dumpoff), and the gaps closed."""
        stretches: list[tuple[int, int, bool]] = []
        gaps: list[tuple[int, int]] = []
        begun = 0
        for place in np.flatnonzero(kinds == tokens.KEYWORD).tolist():
            at = int(starts[place])
            word = tokens.token(bytes_, at).encode()
            if word in _DUMPS:
                if self._in_dump is not None:
                    raise Fault(
                        at - 1, f"{word.decode()} inside another; an $end should come first"
                    )
                before = int(np.searchsorted(ticks_at, place))
                now = int(times[before - 1]) if before else self._now or 0
                if word == _OFF and self._off_since is None:
                    self._off_since = now
                elif word != _OFF and self._off_since is not None:
                    gaps.append((self._off_since, now))
                    self._off_since = None
                self._in_dump, begun = word, place
            elif word == b"$end":
                if self._in_dump is None:
                    raise Fault(at - 1, "$end without a beginning; $dumpvars should come before it")
                stretches.append((begun, place, self._in_dump == _OFF))
                self._in_dump = None
            else:
                raise Fault(at - 1, f"{word.decode()} has no place here; {tokens.EXPECTED}")
        if self._in_dump is not None:
            stretches.append((begun, len(starts), self._in_dump == _OFF))
        return stretches, tuple(gaps)

    def _assembled(
        self,
        said: dict[str, _Said],
        is_time: NDArray[np.bool_],
        times: Times,
        stretches: list[tuple[int, int, bool]],
    ) -> tuple[dict[str, Changes], dict[str, Times], dict[str, Points]]:
        changes: dict[str, Changes] = {}
        events: dict[str, Times] = {}
        clock = np.concatenate([[self._now or 0], times])
        # How many times stand before each token; quicker than a search for each change.
        passed = np.cumsum(is_time, dtype=np.int32)
        analogue = {
            name: self._steps(name, clock[passed[own.points[0]]], own.points[1])
            for name, own in said.items()
            if own.points is not None and len(own.points[0])
        }
        for name, own in said.items():
            if not own.places:
                continue
            places = np.concatenate(own.places)
            levels = np.concatenate(own.levels)
            if len(own.places) > 1:
                order = np.argsort(places, kind="stable")
                places, levels = places[order], levels[order]
            event = self._picks[name].variable.kind == "event"
            if stretches:
                kept = np.ones(len(places), bool)
                for first, last, off in stretches:
                    if (off and not self._whole) or event:
                        kept[np.searchsorted(places, first) : np.searchsorted(places, last)] = False
                places, levels = places[kept], levels[kept]
            when = clock[passed[places]]
            if event:
                events[name] = when
            else:
                changes[name] = (when, levels)
        return changes, events, analogue
