"""Blocks of a Value Change Dump as arrays: where tokens begin, and what many of them say at once.

White space separates all tokens of the format (IEEE Std 1364-2005, clause 18), so nothing in here
looks at one token after the other but where it has to be refused.
"""

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from padbench.core.levels import FLOATING, HIGH, LOW, UNKNOWN
from padbench.core.timeline import Times
from padbench.waveio.vcd_header import Variable

Bytes = NDArray[np.uint8]
Places = NDArray[np.intp]

LATEST = int(np.iinfo(np.int64).max)
"""Picoseconds."""

BAD, TIME, SCALAR, VECTOR, REAL, STRING, KEYWORD, CODE = range(8)
CLASS = np.zeros(256, np.uint8)
LEVEL = np.full(256, UNKNOWN, np.uint8)
for _characters, _kind in (
    (b"#", TIME),
    (b"01xXzZuUwWhHlL-", SCALAR),  # h, l, u, w and - come from VHDL
    (b"bB", VECTOR),
    (b"rR", REAL),
    (b"sS", STRING),
    (b"$", KEYWORD),
):
    for _character in _characters:
        CLASS[_character] = _kind
for _characters, _level in ((b"0lL", LOW), (b"1hH", HIGH), (b"zZ", FLOATING)):
    for _character in _characters:
        LEVEL[_character] = _level

_UNKNOWN_CODE, _OTHER = 0, -1

REALS = "a finite number should stand here, as in r4.9 !"
EXPECTED = "a time such as #100 or a value such as 1! or b0110 ! should stand here"


class Fault(Exception):
    """What is wrong at a place (bytes from the start of the block)."""

    def __init__(self, at: int, what: str) -> None:
        super().__init__(what)
        self.at = at
        self.what = what


def refuse(bytes_: Bytes, starts: Places, wrong: NDArray[np.bool_], what: str) -> None:
    """Raise a `Fault` that tells the first token that is wrong, of those at ``starts``."""
    if wrong.any():
        at = int(starts[np.argmax(wrong)])
        raise Fault(at - 1, f"{token(bytes_, at)} {what}")


class Codes:
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

        Raises `Fault` for a code that is not declared, or where white space stands instead.
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
                raise Fault(at - 2, f"a value without a code; {EXPECTED}")
            raise Fault(
                at - 1, f"code {token(bytes_, at)} is not declared; a $var should name each code"
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


def volts_at(bytes_: Bytes, first: Places, ends: Places) -> NDArray[np.float64]:
    """Numbers from each place on up to its end."""
    volts = np.zeros(len(first))
    for number, (begin, end) in enumerate(zip(first.tolist(), ends.tolist(), strict=True)):
        try:
            volts[number] = float(bytes(bytes_[begin : min(end, begin + 64)]))
        except ValueError:
            volts[number] = np.nan
        if not np.isfinite(volts[number]):
            at = begin - 1
            raise Fault(at - 1, f"{token(bytes_, at)} is no voltage; {REALS}")
    return volts


def split(text: bytes) -> tuple[Bytes, Places]:
    """The bytes as an array, and where in it tokens begin."""
    bytes_ = np.frombuffer(text, np.uint8)
    ink = bytes_ > 32
    starts: Places = np.flatnonzero(ink[1:] > ink[:-1]) + 1
    return bytes_, starts


def last_space(data: bytes) -> int:
    """One past the last white space, 0 if there is none."""
    return max(data.rfind(space) for space in (b"\n", b" ", b"\t", b"\r", b"\v", b"\f")) + 1


def check_characters(bytes_: Bytes) -> None:
    """Only printable ASCII and white space."""
    wrong = (bytes_ > 126) | (bytes_ < 9) | ((bytes_ - np.uint8(14)) < 18)
    if wrong.any():
        at = int(np.argmax(wrong))
        raise Fault(at - 1, f"a byte {int(bytes_[at])}; VCD files hold printable ASCII only")


def values_with_codes(kinds: Bytes) -> Places:
    """Token numbers of values that stand apart from their code; marks those codes in ``kinds``.

    A code may itself begin with b or r. In a row of tokens that do, every second one is a code.
    """
    row = np.flatnonzero((kinds >= VECTOR) & (kinds <= STRING))
    if not len(row):
        return row
    begins = np.flatnonzero(np.insert(np.diff(row) != 1, 0, True))
    place = np.arange(len(row)) - np.repeat(begins, np.diff(np.append(begins, len(row))))
    values: Places = row[place % 2 == 0]
    kinds[values[values + 1 < len(kinds)] + 1] = CODE
    return values


def numbers_at(bytes_: Bytes, starts: Places) -> Times:
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
                raise Fault(
                    at - 1, f"{token(bytes_, at)} is no time; a whole number should follow #"
                )
            live = everyone[~ended]
            digits = digits[~ended]
            if not len(live):
                return numbers
        if offset == 18:
            break
        numbers[live] = numbers[live] * 10 + digits
    at = int(starts[live][0]) - 1
    raise Fault(at - 1, f"the time is too late; at most {LATEST} ps can be read")


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


def token(bytes_: Bytes, at: int) -> str:
    """The token that begins there, at most 20 characters of it."""
    return bytes(bytes_[at : at + 20]).split()[0].decode("latin-1")
