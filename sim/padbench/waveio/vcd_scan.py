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

A file that declares a variable of type ``port`` is an extended one (18.3 and 18.4, what $dumpports
writes). Its values are ``pD 6 0 <3``: a state of each bit, two strengths, a code; see `vcd_ports`
for what the states mean. ``$dumpportsoff`` and its like are taken as ``$dumpoff``, and the time in
``$vcdclose`` is the end.
"""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from padbench.core.timeline import FLOATING, HIGH, LOW, UNKNOWN, Times
from padbench.waveio.capture import Changes, Piece, WaveError
from padbench.waveio.levels import THRESHOLDS, Thresholds
from padbench.waveio.stream import BLOCK, ByteStream
from padbench.waveio.vcd_header import Variable, read_header
from padbench.waveio.vcd_ports import LEVEL_OF_STATE, NO_STATE, bad_strength, port_values

__all__ = ["Pick", "VcdScan"]

Bytes = NDArray[np.uint8]
Places = NDArray[np.intp]

_LONGEST_TOKEN = 1 << 24  # bytes; as `read_vcd`: wider is broken, not wide
_LATEST = int(np.iinfo(np.int64).max)
_LINE_END, _DOLLAR = 10, 36
_PAD = b"\n" * 16  # so that a look at the bytes after the last token stays inside the block

_BAD, _TIME, _SCALAR, _VECTOR, _REAL, _STRING, _KEYWORD, _CODE, _PORT = range(9)
_CLASS = np.zeros(256, np.uint8)
_EXTENDED = np.zeros(256, np.uint8)
_EXTENDED[[ord(character) for character in "#$p"]] = _TIME, _KEYWORD, _PORT
_LEVEL = np.full(256, UNKNOWN, np.uint8)
for _characters, _kind in (
    (b"#", _TIME),
    (b"01xXzZuUwWhHlL-", _SCALAR),  # h, l, u, w and - come from VHDL
    (b"bB", _VECTOR),
    (b"rR", _REAL),
    (b"sS", _STRING),
    (b"$", _KEYWORD),
):
    for _character in _characters:
        _CLASS[_character] = _kind
for _characters, _level in ((b"0lL", LOW), (b"1hH", HIGH), (b"zZ", FLOATING)):
    for _character in _characters:
        _LEVEL[_character] = _level

_COMMENT = re.compile(rb"(?<!\S)\$comment(?=\s)")
_COMMENT_END = re.compile(rb"(?<!\S)\$end(?=\s)")
_OFF = (b"$dumpoff", b"$dumpportsoff")
_DUMPS = (b"$dumpvars", b"$dumpall", b"$dumpon", b"$dumpoff")
_EXTENDED_DUMPS = (
    *(b"$dumpports", b"$dumpportsall", b"$dumpportson", b"$dumpportsoff"),
    b"$vcdclose",  # no dump, but it too goes up to an $end
)

_UNKNOWN_CODE, _OTHER = 0, -1


@dataclass(frozen=True, slots=True)
class Pick:
    """A variable to follow; of a wide one, the bit so many places from the right.

    One of type ``real`` is in volts: it has the zones of ``thresholds`` as levels, or, if it is
    ``measured``, only its extremes are told.
    """

    variable: Variable
    bit: int = 0
    thresholds: Thresholds = THRESHOLDS
    measured: bool = False

    @property
    def in_volts(self) -> bool:
        """Whether its values are numbers."""
        return self.variable.kind in ("real", "realtime")


class _Fault(Exception):
    """What is wrong at a place (bytes from the start of the block)."""

    def __init__(self, at: int, what: str) -> None:
        super().__init__(what)
        self.at = at
        self.what = what


@dataclass(slots=True)
class _Found:
    """What the tokens of one block say about one pick: token numbers, times, levels."""

    places: list[Places] = field(default_factory=list)
    levels: list[Bytes] = field(default_factory=list)
    volts: list[NDArray[np.float64]] = field(default_factory=list)

    def add(self, places: Places, levels: Bytes) -> None:
        if len(places):
            self.places.append(places)
            self.levels.append(levels)


class VcdScan:
    """Reads the declarations at once; the rest as `pieces`."""

    def __init__(self, stream: ByteStream) -> None:
        """Raises `WaveError` if the declarations cannot be used."""
        self._stream = stream
        header = read_header(stream)
        self.variables = header.variables
        self._extended = any(variable.kind == "port" for variable in header.variables)
        self._expected = _EXPECTED_PORT if self._extended else _EXPECTED
        self._unit = header.unit
        self._rest = header.rest
        self._lines = header.lines
        self._now: int | None = None
        self._in_dump: bytes | None = None
        self._in_comment = False
        self._off_since: int | None = None

    def pieces(self, picks: Mapping[str, Pick]) -> Iterator[Piece]:
        """Changes of the picked variables, in stretches of time.

        A variable of type ``event`` comes as events, any other as changes; levels that repeat may
        be among them. Values before the first time count at 0. Raises `WaveError` with the line
        where the file is not a value change dump; a file that only breaks off at its end yields
        what stood before.
        """
        self._picks = picks
        self._codes = _Codes(self.variables, {n: p.variable.code for n, p in picks.items()})
        ended = False
        carry, self._rest = self._rest, b""
        while not ended:
            block = self._stream.read(max(BLOCK, len(carry)))
            ended = not block
            data = carry + block
            whole = len(data) if ended else _last_space(data)
            if len(data) - whole > _LONGEST_TOKEN:
                raise self._error(data, whole, "a token without end; white space should follow")
            piece, used = self._take(data[:whole], last=ended)
            carry = data[used:]
            if piece is not None:
                yield piece
        if self._now is None:
            what = "the file has no time; at least #0 should follow the declarations"
            raise self._error(b"", 0, what)

    def _take(self, data: bytes, *, last: bool) -> tuple[Piece | None, int]:
        """The piece that some bytes hold, and how many of them were used."""
        broken = self._stream.broken if last else None
        tail = len(data)
        if last and data and not data[-1:].isspace():
            # What the file breaks off in may be half a token: the rest of the block comes first.
            tail = _last_space(data)
        try:
            piece, used = self._tokens(data[:tail])
        except _Fault as fault:
            raise self._error(data, fault.at, fault.what) from None
        if not last:
            self._lines += int(np.count_nonzero(np.frombuffer(data, np.uint8, used) == _LINE_END))
            return piece, used
        end = data[used:]
        if end.strip():
            broken = broken or self._line(data, len(data))
            try:
                more, rest = self._tokens(end + b"\n")
                if more is not None and rest > len(end):
                    piece = more if piece is None else _joined(piece, more)
            except _Fault:
                pass  # half a token; what it was meant to be nobody knows
        if broken is None and (self._in_dump is not None or self._in_comment):
            broken = self._line(data, len(data))
        if self._now is None:
            return None, len(data)
        gaps = () if self._off_since is None else ((self._off_since, self._now),)
        nothing = Piece(self._now, {})
        piece = piece or nothing
        gaps = (*piece.gaps, *gaps)
        made = Piece(self._now, piece.changes, piece.events, gaps, broken, piece.volts)
        return made, len(data)

    def _error(self, data: bytes, at: int, what: str) -> WaveError:
        says = what.encode("unicode_escape").decode("ascii")
        return WaveError(f"{self._stream.name}: {self._line(data, at)}: {says}")

    def _line(self, data: bytes, at: int) -> str:
        return f"line {self._lines + data.count(10, 0, max(at, 0)) + 1}"

    def _tokens(self, data: bytes) -> tuple[Piece | None, int]:
        """All tokens of a block that ends in white space."""
        text = b"\n" + data + _PAD
        # Offsets from here on are one too high, for the line end put in front.
        bytes_, starts = _split(text)
        if self._in_comment or (bytes_[starts] == _DOLLAR).any():
            text = self._without_comments(text)
            bytes_, starts = _split(text)
        if not len(starts):
            return None, len(data)
        _check_characters(bytes_)
        first = bytes_[starts]
        used = len(data)
        if self._extended:
            kinds = _EXTENDED[first]
            values, parts = port_values(np.flatnonzero(kinds == _PORT)), 4
            kinds[(values[:, None] + [1, 2, 3]).ravel().clip(max=len(kinds) - 1)] = _CODE
        else:
            kinds = _CLASS[first]
            values, parts = _values_with_codes(kinds), 2
        if len(values) and values[-1] + parts > len(starts):
            # The code that belongs to the last value comes with the next block.
            used = int(starts[values[-1]]) - 1
            starts, first, kinds = starts[:-1], first[:-1], kinds[:-1]
            values = values[:-1]
        if (kinds == _BAD).any():
            at = int(starts[np.argmax(kinds == _BAD)])
            raise _Fault(at - 1, f"confused: {_token(bytes_, at)}; {self._expected}")
        is_time = kinds == _TIME
        ticks_at = np.flatnonzero(is_time)
        times = self._times(bytes_, starts[ticks_at])
        scalars = np.flatnonzero(kinds == _SCALAR)
        found: dict[str, _Found] = {name: _Found() for name in self._picks}
        picked = self._codes.resolve(bytes_, starts[scalars] + 1)
        chosen = np.flatnonzero(picked > 0)
        picked, scalars = picked[chosen], scalars[chosen]
        levels = _LEVEL[first[scalars]]
        for name, number in self._codes.of_pick.items():
            own = picked == number
            if own.any() and self._picks[name].in_volts:
                at = int(starts[scalars[np.argmax(own)]])
                raise _Fault(at - 1, f"{_token(bytes_, at)} is no voltage; {_REALS}")
            found[name].add(scalars[own], levels[own])
        if len(values):
            vectors = self._ports if self._extended else self._vectors
            vectors(bytes_, starts, kinds, values, found)
        skipped, gaps = self._keywords(bytes_, starts, kinds, ticks_at, times)
        changes, events = self._assembled(found, is_time, times, skipped)
        if len(times):
            self._now = int(times[-1])
        volts = {
            name: (min(float(v.min()) for v in said.volts), max(float(v.max()) for v in said.volts))
            for name, said in found.items()
            if any(map(len, said.volts))
        }
        return Piece(self._now or 0, changes, events, gaps, volts=volts), used

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
        ticks = _numbers(bytes_, starts + 1)
        if not len(ticks):
            return ticks
        largest = int(ticks.max())
        # What is multiplied below must not overflow.
        factor = self._unit if self._unit % 1000 else self._unit // 1000
        if largest * factor > _LATEST - 500:
            at = int(starts[np.argmax(ticks)])
            raise _Fault(at - 1, f"the time is too late; at most {_LATEST} ps can be read")
        if self._unit % 1000:
            times = (ticks * self._unit + 500) // 1000
        else:
            times = ticks * (self._unit // 1000)
        before = np.concatenate([[self._now or 0], times[:-1]])
        falls = times < before
        if falls.any():
            at = int(starts[np.argmax(falls)])
            raise _Fault(
                at - 1, f"time runs backwards to {_token(bytes_, at)}; it should only grow"
            )
        return times

    def _vectors(
        self,
        bytes_: Bytes,
        starts: Places,
        kinds: Bytes,
        values: Places,
        found: dict[str, _Found],
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
        wrong = (kinds[places] != np.where(real, _REAL, _VECTOR)) | (ends == first)
        if wrong.any():
            at = int(starts[places[np.argmax(wrong)]])
            raise _Fault(at - 1, f"{_token(bytes_, at)} is no level; {_LEVELS}")
        # Left out on the left: 0 before 0 and 1, else the leftmost character (18.2.2).
        leftmost = bytes_[first]
        extended = np.where(leftmost == ord("1"), np.uint8(ord("0")), leftmost)
        for name, pick in self._picks.items():
            own = numbers == self._codes.of_pick[name]
            if pick.in_volts:
                volts = _volts(bytes_, first[own], ends[own])
                if pick.measured:
                    found[name].volts.append(volts)
                else:
                    found[name].add(places[own], pick.thresholds.zones(volts))
                continue
            at_bit = ends[own] - 1 - pick.bit
            inside = at_bit >= first[own]
            characters = np.where(inside, bytes_[np.maximum(at_bit, 0)], extended[own])
            wrong = _CLASS[characters] != _SCALAR
            if wrong.any():
                at = int(starts[places[own][np.argmax(wrong)]])
                raise _Fault(at - 1, f"{_token(bytes_, at)} is no level; {_LEVELS}")
            found[name].add(places[own], _LEVEL[characters])

    def _ports(
        self,
        bytes_: Bytes,
        starts: Places,
        _: Bytes,
        values: Places,
        found: dict[str, _Found],
    ) -> None:
        """Values of an extended file: ``pUD 66 66 <1``."""
        picked = self._codes.resolve(bytes_, starts[values + 3])
        spaces = np.flatnonzero(bytes_ <= 32)
        begins = starts[values] + 1
        ends = spaces[np.searchsorted(spaces, begins)]
        wrong = bad_strength(bytes_, starts[(values[:, None] + [1, 2]).ravel()], spaces)
        if wrong is not None:
            raise _Fault(wrong - 1, f"{_token(bytes_, wrong)} is no strength; {_STRENGTHS}")
        for name, pick in self._picks.items():
            own = picked == self._codes.of_pick[name]
            first, last = begins[own], ends[own]
            wrong_size = last - first != pick.variable.size
            levels = LEVEL_OF_STATE[bytes_[np.maximum(last - 1 - pick.bit, 0)]]
            bad = wrong_size | (levels == NO_STATE)
            if bad.any():
                at = int(first[np.argmax(bad)]) - 1
                raise _Fault(
                    at - 1,
                    f"{_token(bytes_, at)} is no state of {pick.variable.size} bits; {_STATES}",
                )
            found[name].add(values[own], levels)

    def _keywords(
        self, bytes_: Bytes, starts: Places, kinds: Bytes, ticks_at: Places, times: Times
    ) -> tuple[list[tuple[int, int, bool]], tuple[tuple[int, int], ...]]:
        """Stretches of tokens inside ``$dump...``, (first, last, dumpoff), and the gaps closed."""
        stretches: list[tuple[int, int, bool]] = []
        gaps: list[tuple[int, int]] = []
        begun = 0
        for place in np.flatnonzero(kinds == _KEYWORD).tolist():
            at = int(starts[place])
            word = _token(bytes_, at).encode()
            if word in (_EXTENDED_DUMPS if self._extended else _DUMPS):
                if self._in_dump is not None:
                    raise _Fault(
                        at - 1, f"{word.decode()} inside another; an $end should come first"
                    )
                before = int(np.searchsorted(ticks_at, place))
                now = int(times[before - 1]) if before else self._now or 0
                if word in _OFF and self._off_since is None:
                    self._off_since = now
                elif word not in _OFF and self._off_since is not None:
                    gaps.append((self._off_since, now))
                    self._off_since = None
                self._in_dump, begun = word, place
            elif word == b"$end":
                if self._in_dump is None:
                    raise _Fault(
                        at - 1, "$end without a beginning; $dumpvars should come before it"
                    )
                stretches.append((begun, place, self._in_dump in _OFF))
                self._in_dump = None
            else:
                raise _Fault(at - 1, f"{word.decode()} has no place here; {self._expected}")
        if self._in_dump is not None:
            stretches.append((begun, len(starts), self._in_dump in _OFF))
        return stretches, tuple(gaps)

    def _assembled(
        self,
        found: dict[str, _Found],
        is_time: NDArray[np.bool_],
        times: Times,
        stretches: list[tuple[int, int, bool]],
    ) -> tuple[dict[str, Changes], dict[str, Times]]:
        changes: dict[str, Changes] = {}
        events: dict[str, Times] = {}
        clock = np.concatenate([[self._now or 0], times])
        # How many times stand before each token; quicker than a search for each change.
        passed = np.cumsum(is_time, dtype=np.int32)
        for name, said in found.items():
            if not said.places:
                continue
            places = np.concatenate(said.places)
            levels = np.concatenate(said.levels)
            if len(said.places) > 1:
                order = np.argsort(places, kind="stable")
                places, levels = places[order], levels[order]
            event = self._picks[name].variable.kind == "event"
            if stretches:
                kept = np.ones(len(places), bool)
                for first, last, off in stretches:
                    if off or event:
                        kept[np.searchsorted(places, first) : np.searchsorted(places, last)] = False
                places, levels = places[kept], levels[kept]
            when = clock[passed[places]]
            if event:
                events[name] = when
            else:
                changes[name] = (when, levels)
        return changes, events


class _Codes:
    """Which code is which: for all tokens of a block at once.

    Codes of one and two characters, all that most files have, are looked up in a table; longer
    ones by a number made of their characters.
    """

    def __init__(self, variables: tuple[Variable, ...], picked: Mapping[str, bytes]) -> None:
        numbers = {code: n for n, code in enumerate(dict.fromkeys(picked.values()), 1)}
        self.of_pick = {name: numbers[code] for name, code in picked.items()}
        self._short = np.zeros(1 << 16, np.int32)
        long: dict[int, int] = {}
        self._longest = 1
        for variable in variables:
            code = variable.code
            number = numbers.get(code, _OTHER)
            self._longest = max(self._longest, len(code))
            if len(code) <= 2:
                self._short[int.from_bytes(code, "little")] = number
            else:
                key = 0
                for character in code:
                    key = (key * 257 + character) & 0xFFFFFFFFFFFFFFFF
                long[key] = number
        keys = sorted(long)
        self._keys = np.asarray(keys or [0], np.uint64)
        self._numbers = np.asarray([long[key] for key in keys] or [_UNKNOWN_CODE], np.int32)

    def resolve(self, bytes_: Bytes, starts: Places) -> NDArray[np.int32]:
        """For each code that begins at ``starts``: its number, -1 for one nobody asked for.

        Raises `_Fault` for a code that is not declared, or where white space stands instead.
        """
        key = bytes_[starts].astype(np.uint16)
        second = bytes_[starts + 1]
        more = second > 32
        if self._longest == 1:
            found = self._short[key]
            bad = more | (found == _UNKNOWN_CODE)
        else:
            key |= np.where(more, second, 0).astype(np.uint16) << 8
            found = self._short[key]
            longer = np.flatnonzero(more)
            if self._longest > 2:
                longer = longer[bytes_[starts[longer] + 2] > 32]
                found[longer] = self._long(bytes_, starts[longer])
            else:
                found[longer[bytes_[starts[longer] + 2] > 32]] = _UNKNOWN_CODE
            bad = found == _UNKNOWN_CODE
        if bad.any():
            at = int(starts[np.argmax(bad)])
            if bytes_[at] <= 32:
                raise _Fault(at - 2, f"a value without a code; {_EXPECTED}")
            raise _Fault(
                at - 1, f"code {_token(bytes_, at)} is not declared; a $var should name each code"
            )
        return found

    def _long(self, bytes_: Bytes, starts: Places) -> NDArray[np.int32]:
        key = np.zeros(len(starts), np.uint64)
        live = np.arange(len(starts))
        for offset in range(self._longest + 1):
            character = bytes_[np.minimum(starts[live] + offset, len(bytes_) - 1)]
            inside = character > 32
            live, character = live[inside], character[inside]
            if not len(live):
                break
            key[live] = key[live] * np.uint64(257) + character
        place = np.minimum(np.searchsorted(self._keys, key), len(self._keys) - 1)
        number: NDArray[np.int32] = np.where(
            self._keys[place] == key, self._numbers[place], _UNKNOWN_CODE
        )
        number[live] = _UNKNOWN_CODE  # longer than any that was declared
        return number


_STRENGTHS = "digits from 0 to 7 should stand here, as in pD 6 0 <3"
_STATES = "the letters of IEEE Std 1364-2005, 18.4.3 should stand here, one a bit, as in pD 6 0 <3"
_REALS = "a finite number should stand here, as in r4.9 !"
_LEVELS = "0, 1, x or z should stand here"
_EXPECTED = "a time such as #100 or a value such as 1! or b0110 ! should stand here"
_EXPECTED_PORT = "a time such as #100 or a value such as pD 6 0 <3 should stand here"


def _volts(bytes_: Bytes, first: Places, ends: Places) -> NDArray[np.float64]:
    """Numbers from each place on up to its end."""
    volts = np.zeros(len(first))
    for number, (begin, end) in enumerate(zip(first.tolist(), ends.tolist(), strict=True)):
        try:
            volts[number] = float(bytes(bytes_[begin : min(end, begin + 64)]))
        except ValueError:
            volts[number] = np.nan
        if not np.isfinite(volts[number]):
            at = begin - 1
            raise _Fault(at - 1, f"{_token(bytes_, at)} is no voltage; {_REALS}")
    return volts


def _split(text: bytes) -> tuple[Bytes, Places]:
    """The bytes as an array, and where in it tokens begin."""
    bytes_ = np.frombuffer(text, np.uint8)
    ink = bytes_ > 32
    starts: Places = np.flatnonzero(ink[1:] > ink[:-1]) + 1
    return bytes_, starts


def _last_space(data: bytes) -> int:
    """One past the last white space, 0 if there is none."""
    return max(data.rfind(space) for space in (b"\n", b" ", b"\t", b"\r", b"\v", b"\f")) + 1


def _check_characters(bytes_: Bytes) -> None:
    """Only printable ASCII and white space."""
    wrong = (bytes_ > 126) | (bytes_ < 9) | ((bytes_ - np.uint8(14)) < 18)
    if wrong.any():
        at = int(np.argmax(wrong))
        raise _Fault(at - 1, f"a byte {int(bytes_[at])}; VCD files hold printable ASCII only")


def _values_with_codes(kinds: Bytes) -> Places:
    """Token numbers of values that stand apart from their code; marks those codes in ``kinds``.

    A code may itself begin with b or r. In a row of tokens that do, every second one is a code.
    """
    row = np.flatnonzero((kinds >= _VECTOR) & (kinds <= _STRING))
    if not len(row):
        return row
    begins = np.flatnonzero(np.insert(np.diff(row) != 1, 0, True))
    place = np.arange(len(row)) - np.repeat(begins, np.diff(np.append(begins, len(row))))
    values: Places = row[place % 2 == 0]
    kinds[values[values + 1 < len(kinds)] + 1] = _CODE
    return values


def _numbers(bytes_: Bytes, starts: Places) -> Times:
    """Decimal numbers that begin at the given places."""
    numbers = np.zeros(len(starts), np.int64)
    if not len(starts):
        return numbers
    length = len(bytes(bytes_[starts[0] : starts[0] + 20]).partition(b"\n")[0].rstrip())
    # Times grow, so nearly all in a block have as many digits as its first and last.
    if 0 < length <= 16 and _all_end(bytes_, starts, length):
        quick = _equal_numbers(bytes_, starts, length)
        if quick is not None:
            return quick
    live: Places | slice = slice(None)
    for offset in range(20):
        digits = bytes_[starts[live] + offset] - np.uint8(48)
        ended = digits > 9
        if ended.any():
            everyone = np.arange(len(starts))[live]
            stop = everyone[ended]
            if offset == 0 or (bytes_[starts[stop] + offset] > 32).any():
                where = starts[stop] + offset
                at = int(starts[stop[np.argmax((bytes_[where] > 32) | (offset == 0))]]) - 1
                raise _Fault(
                    at - 1, f"{_token(bytes_, at)} is no time; a whole number should follow #"
                )
            live = everyone[~ended]
            digits = digits[~ended]
            if not len(live):
                return numbers
        if offset == 18:
            break
        numbers[live] = numbers[live] * 10 + digits
    at = int(starts[live][0]) - 1
    raise _Fault(at - 1, f"the time is too late; at most {_LATEST} ps can be read")


def _all_end(bytes_: Bytes, starts: Places, length: int) -> bool:
    return bool((bytes_[starts + length] <= 32).all())


def _equal_numbers(bytes_: Bytes, starts: Places, length: int) -> Times | None:
    """Numbers of one length up to 16 digits, None if not all of it are digits.

    Eight digits are taken at once as the bytes of one 64-bit word: neighbours are joined to
    numbers below 100, those to numbers below 10 000, and those to one.
    """
    if length <= 8:
        words = _words(bytes_, starts)
        words = words << np.uint64(8 * (8 - length)) | np.uint64(0x3030303030303030 >> 8 * length)
        return _eight_digits(words) if _digits_only(words) else None
    high, low = _words(bytes_, starts), _words(bytes_, starts + (length - 8))
    if not (_digits_only(high) and _digits_only(low)):
        return None
    whole: Times = _eight_digits(high) // 10 ** (16 - length) * 10**8 + _eight_digits(low)
    return whole


def _words(bytes_: Bytes, starts: Places) -> NDArray[np.uint64]:
    """The eight bytes from each place on, the first in the lowest byte."""
    every: NDArray[np.uint64] = np.ndarray(
        (len(bytes_) - 7,), "<u8", buffer=bytes_.data, strides=(1,)
    )
    return every[starts]


def _digits_only(words: NDArray[np.uint64]) -> bool:
    high = np.uint64(0xF0F0F0F0F0F0F0F0)
    zeros, sixes = np.uint64(0x3030303030303030), np.uint64(0x0606060606060606)
    return bool((((words & high) == zeros) & ((words + sixes & high) == zeros)).all())


def _eight_digits(words: NDArray[np.uint64]) -> Times:
    words = words & np.uint64(0x0F0F0F0F0F0F0F0F)
    words = (words * np.uint64(10) + (words >> np.uint64(8))) & np.uint64(0x00FF00FF00FF00FF)
    words = (words * np.uint64(100) + (words >> np.uint64(16))) & np.uint64(0x0000FFFF0000FFFF)
    words = (words * np.uint64(10_000) + (words >> np.uint64(32))) & np.uint64(0xFFFFFFFF)
    return words.astype(np.int64)


def _token(bytes_: Bytes, at: int) -> str:
    """The token that begins there, at most 20 characters of it."""
    return bytes(bytes_[at : at + 20]).split()[0].decode("latin-1")


def _joined(one: Piece, other: Piece) -> Piece:
    changes = dict(one.changes)
    for name, (times, levels) in other.changes.items():
        before = changes.get(name)
        changes[name] = (
            (times, levels)
            if before is None
            else (np.concatenate([before[0], times]), np.concatenate([before[1], levels]))
        )
    events = dict(one.events)
    for name, times in other.events.items():
        events[name] = np.concatenate([events[name], times]) if name in events else times
    return Piece(
        other.end_ps, changes, events, (*one.gaps, *other.gaps), volts={**one.volts, **other.volts}
    )
