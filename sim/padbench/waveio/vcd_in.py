"""Value Change Dump (IEEE Std 1364-2005, clause 18) → timeline.

    timeline = read_vcd(Path("capture.vcd"))

The reverse of `write_vcd`. It reads files of other writers too, without hurry.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from io import BytesIO
from pathlib import Path
from typing import Literal, cast

import numpy as np
from vcd.reader import Token, TokenKind, VarDecl, VCDParseError, tokenize

from padbench.core.timeline import FLOATING, HIGH, LOW, UNKNOWN, Timeline, Wire, Word
from padbench.waveio.capture import WaveError
from padbench.waveio.vcd_header import FEMTOSECONDS
from padbench.waveio.vcd_out import LOOSE, NOTE

__all__ = ["read_vcd"]

_LATEST_PS = int(np.iinfo(np.int64).max)
_WIDEST = 1 << 24  # bits; a file that declares more is broken, not wide

# h and l (pulled up, pulled down) and u, w, - come from VHDL.
_LEVELS = {"0": LOW, "l": LOW, "1": HIGH, "h": HIGH, "z": FLOATING} | dict.fromkeys("xuw-", UNKNOWN)
_PULLED = str.maketrans("hl", "10")

# The library ends quietly where a file breaks off inside a token. With this after the data, such
# a token runs on into the comment, and the line it ends in gives it away.
_TAIL = b"\n\n$comment $end\n"
_BROKEN_OFF = "the file breaks off here; it should end with a whole value or time"


class _Fault(Exception):
    """What is wrong and what would be right; the place is added further out."""


@dataclass(slots=True)
class _Track:
    """What one identifier code did. ``values`` stays empty for an event."""

    kind: Literal["wire", "word", "event", "note", "none"]
    size: int
    times: list[int] = field(default_factory=list)
    values: list[int | None] = field(default_factory=list)


def read_vcd(path: Path) -> Timeline:
    """Read a VCD file with any timescale; finer times than a picosecond are rounded.

    A one-bit variable becomes a wire, a wider one or a ``reg`` with the range ``[0:0]`` a word,
    of which a value with any bit not known is None; ``console.note`` becomes notes. Real and
    string variables are left out. Each wire and word has an entry at time 0, UNKNOWN or None if
    the file gives no value there. Values before the first time count at 0; ``$dumpvars`` and its
    like trigger no event. The last time is the end.

    Raises `WaveError` for a file that cannot be read or is no whole VCD file.
    """
    try:
        data = path.read_bytes()
    except OSError as error:
        raise WaveError(f"{path}: {error.strerror}; name a VCD file that can be read") from None
    if not data.strip():
        raise WaveError(f"{path}: line 1: the file is empty; it should hold a value change dump")
    reader = _Reader()
    lines = data.count(b"\n") + 1
    line = 1
    try:
        for token in tokenize(BytesIO(data + _TAIL)):
            line = min(token.span.start.line, lines)
            if token.span.start.line > lines + 1:
                return reader.timeline()
            if token.span.end.line > lines + 1:
                raise _Fault(_BROKEN_OFF)
            reader.take(token)
        what = _BROKEN_OFF
    except _Fault as fault:
        what = str(fault)
    except VCDParseError as error:
        line = min(error.loc.line, lines)
        wrong = str(error).partition(": ")[2]
        what = _BROKEN_OFF if error.loc.line > lines else f"{wrong}; {reader.expected()}"
    except UnicodeDecodeError:
        # The library does not say where, so the line is that of the last thing understood.
        what = "further on, a character outside ASCII; VCD files hold ASCII only"
    except ValueError:
        what = f"further on, a number with too many digits; {reader.expected()}"
    raise WaveError(f"{path}: line {line}: {what.encode('unicode_escape').decode()}")


class _Reader:
    """Takes the tokens of one file in order; then `timeline` is what they say."""

    def __init__(self) -> None:
        self._scopes: list[str] = []
        self._codes: dict[str, str] = {}
        self._tracks: dict[str, _Track] = {}
        self._notes: list[tuple[int, str]] = []
        self._unit = 0  # femtoseconds
        self._now: int | None = None
        self._declared = self._in_dump = False
        declarations: dict[TokenKind, Callable[[Token], None]] = {
            TokenKind.TIMESCALE: self._timescale,
            TokenKind.SCOPE: self._scope,
            TokenKind.UPSCOPE: self._upscope,
            TokenKind.VAR: self._var,
            TokenKind.ENDDEFINITIONS: self._end_of_declarations,
        }
        changes: dict[TokenKind, Callable[[Token], None]] = {
            TokenKind.CHANGE_TIME: self._time,
            TokenKind.CHANGE_SCALAR: self._change,
            TokenKind.CHANGE_VECTOR: self._change,
            TokenKind.CHANGE_REAL: self._other_change,
            TokenKind.CHANGE_STRING: self._other_change,
            TokenKind.DUMPVARS: self._dump,
            TokenKind.DUMPALL: self._dump,
            TokenKind.DUMPON: self._dump,
            TokenKind.DUMPOFF: self._dump,
            TokenKind.END: self._end,
        }
        self._parts = (declarations, changes)

    def take(self, token: Token) -> None:
        """Raises `_Fault` if the token cannot stand here."""
        allowed, other = self._parts[self._declared], self._parts[not self._declared]
        if token.kind in allowed:
            allowed[token.kind](token)
        elif token.kind in other:
            name = token.kind.name.lower().replace("_", " ")
            side = "after" if self._declared else "before"
            raise _Fault(f"{name} {side} $enddefinitions; {self.expected()}")

    def expected(self) -> str:
        """What may stand at the place that was reached."""
        if self._declared:
            return "a time such as #100 or a value such as 1! or b0110 ! should stand here"
        return "a declaration such as $var wire 1 ! clock $end should stand here"

    def timeline(self) -> Timeline:
        """Raises `_Fault` if the file is not complete."""
        if not self._declared:
            raise _Fault("the file ends among the declarations; $enddefinitions $end is missing")
        if self._in_dump:
            raise _Fault("the file ends inside $dumpvars or its like; $end is missing")
        if self._now is None:
            raise _Fault("the file has no time; at least #0 should follow the declarations")
        wires, words, events = {}, {}, {}
        for name, track in self._named():
            if track.kind == "wire":
                levels = cast("list[int]", track.values)
                wires[name] = Wire.from_arrays([0, *track.times], [UNKNOWN, *levels])
            elif track.kind == "word":
                values = zip([0, *track.times], [None, *track.values], strict=True)
                words[name] = Word.of(track.size, values)
            elif track.kind == "event":
                events[name] = np.unique(np.asarray(track.times, np.int64))
        return Timeline(self._now, wires, words, events, tuple(self._notes))

    def _named(self) -> Iterator[tuple[str, _Track]]:
        return ((name, self._tracks[code]) for name, code in self._codes.items())

    def _timescale(self, token: Token) -> None:
        number, unit = token.timescale
        self._unit = number * FEMTOSECONDS.get(unit.value, 0)
        if not self._unit:
            raise _Fault(f"$timescale {number} {unit.value}; it should be between 1 fs and 100 s")

    def _scope(self, token: Token) -> None:
        self._scopes.append(token.scope.ident)

    def _upscope(self, token: Token) -> None:
        if not self._scopes:
            raise _Fault("$upscope outside any scope; a $scope should come before it")
        self._scopes.pop()

    def _var(self, token: Token) -> None:
        var = token.var
        if var.size > _WIDEST:
            raise _Fault(f"{var.reference} has {var.size} bits; at most {_WIDEST} can be read")
        whole_range = var.bit_index == (var.size - 1, 0)
        scopes = [] if self._scopes == [LOOSE] else self._scopes
        name = ".".join([*filter(None, scopes), var.reference if whole_range else var.ref_str])
        if self._codes.setdefault(name, var.id_code) != var.id_code:
            raise _Fault(f"{name} is declared twice; each variable should have its own name")
        track = self._tracks.setdefault(var.id_code, _Track(_kind(name, var), var.size))
        if track.size != var.size:
            raise _Fault(
                f"code {var.id_code} is declared with {track.size} and with {var.size} bits; "
                "all names of one code should have one size"
            )

    def _end_of_declarations(self, _: Token) -> None:
        if not self._unit:
            raise _Fault("no $timescale; a line such as $timescale 1 ns $end should come earlier")
        self._declared = True

    def _time(self, token: Token) -> None:
        now = (token.time_change * self._unit + 500) // 1000
        if now < (self._now or 0):
            raise _Fault(f"time runs backwards to #{token.time_change}; it should only grow")
        if now > _LATEST_PS:
            raise _Fault(f"the time is too late; it should be at most {_LATEST_PS} ps")
        self._now = now

    def _dump(self, token: Token) -> None:
        if self._in_dump:
            raise _Fault(f"${token.kind.name.lower()} inside another; an $end should come first")
        self._in_dump = True

    def _end(self, _: Token) -> None:
        if not self._in_dump:
            raise _Fault("$end without a beginning; $dumpvars or its like should come before it")
        self._in_dump = False

    def _track(self, code: str) -> _Track:
        if code not in self._tracks:
            raise _Fault(f"code {code} is not declared; a $var should name each code")
        return self._tracks[code]

    def _change(self, token: Token) -> None:
        scalar = token.kind is TokenKind.CHANGE_SCALAR
        code, value = token.scalar_change if scalar else token.vector_change
        track, now = self._track(code), self._now or 0
        if track.kind == "event":
            if not self._in_dump:
                track.times.append(now)
            return
        if track.kind == "none":
            return
        if (len(value) if isinstance(value, str) else value.bit_length()) > track.size:
            raise _Fault(f"a value too long for code {code}; it should have {track.size} bits")
        if track.kind == "wire":
            track.times.append(now)
            track.values.append(_LEVELS[str(value).lower()])
            return
        number = _number(value)
        if track.kind == "word":
            track.times.append(now)
            track.values.append(number)
        elif number is not None:
            self._notes.append((now, _text(number, track.size)))

    def _other_change(self, token: Token) -> None:
        real = token.kind is TokenKind.CHANGE_REAL
        code, _ = token.real_change if real else token.string_change
        if self._track(code).kind != "none":
            raise _Fault(f"a real or string for code {code}; it should be a value such as 1 or b01")


def _kind(name: str, var: VarDecl) -> Literal["wire", "word", "event", "note", "none"]:
    type_ = var.type_.value
    if type_ == "event":
        return "event"
    if "real" in type_ or type_ == "string" or not var.size:
        return "none"
    if name == NOTE and not var.size % 8:
        return "note"
    if var.size == 1 and (type_ != "reg" or var.bit_index != (0, 0)):
        return "wire"
    return "word"


def _number(value: int | str) -> int | None:
    """The value, or None if a bit is not known; digits left out before 0 or 1 are 0 (18.2)."""
    if isinstance(value, int):
        return value
    bits = value.lower().translate(_PULLED)
    return None if bits.strip("01") else int(bits, 2)


def _text(number: int, size: int) -> str:
    try:
        return number.to_bytes(size // 8).lstrip(b"\0").decode()
    except UnicodeDecodeError:
        raise _Fault("a note that is no text; it should hold UTF-8 characters") from None
