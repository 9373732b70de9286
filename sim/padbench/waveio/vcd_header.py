"""The declarations of a VCD file of any writer (IEEE Std 1364-2005, 18.2.3 and 18.4.2).

Lenient: types of variables and scopes that newer tools have invented are
taken as they come, since only the wires that somebody asks for matter.

A file that declares a variable of type ``port`` is an extended one (18.3 and 18.4, what $dumpports
writes). Its values are ``pD 6 0 <3``: a state of each bit, two strengths, a code. They are
rewritten as plain ones before anything else looks at them; ``$dumpports`` and its like become
``$dumpvars`` and its like, and the time in ``$vcdclose`` is the end. A state tells who drives, the
test fixture (input), the device (output) or, where both may, an unknown direction; here only the
level counts that the wire then has. The letters are those of 18.4.3.1, from memory of the standard
and held to an independent converter in ``tests/outside/``:

======================  ===  ===  =======  ==========
direction               low  high unknown  three-state
======================  ===  ===  =======  ==========
input                   D d  U u  N        Z
output                  L l  H h  X        T
unknown                 0    1    ?        F f
======================  ===  ===  =======  ==========

Small letters mean two or more drivers. ``A`` and ``a``, ``B`` and ``b``, ``C`` and ``c`` are a
conflict of input and output, so unknown.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import NoReturn

from padbench.waveio.stream import ByteStream, WaveError

FEMTOSECONDS = {"s": 10**15, "ms": 10**12, "us": 10**9, "ns": 10**6, "ps": 10**3, "fs": 1}

_LONGEST = 1 << 26
"""Bytes; a million variables fit, and a file without an end to its declarations is refused."""
_END = re.compile(rb"\$enddefinitions\s+\$end(?=\s|\Z)")
_TOKEN = re.compile(rb"\S+")
_RANGE = re.compile(r"\[\s*(-?\d{1,9})\s*(?::\s*(-?\d{1,9})\s*)?\]\Z")
_PORT = (
    rb"(?<!\S)(?:p(\S+)\s+[0-7]+\s+[0-7]+(?=\s)|p\S*(?:\s+[0-7]*){0,2}\Z"
    rb"|\$(?:dumpports|vcdclose)(on|off|all|)(?=\s))"
)
_LEVELS = bytes.maketrans(b"DdLlUuHhNX?AaBbCcZTFf", b"00001111xxxxxxxxxzzzz")
_PLAIN = ("$comment", "$date", "$version")


REALS = ("real", "realtime")
"""Kinds of variables in volts."""


@dataclass(frozen=True, slots=True)
class Variable:
    """One name. ``high`` and ``low`` are the range as declared, both None if it has none.

    A ``kind`` of "port" is what only extended files have.
    """

    name: str
    kind: str
    size: int
    code: bytes
    high: int | None = None
    low: int | None = None


@dataclass(frozen=True, slots=True)
class Header:
    """``unit`` is the timescale in femtoseconds, ``lines`` the line ends in the declarations.

    ``rest`` are the bytes after the declarations that were read with them, ``stream`` has those
    that follow.
    """

    unit: int
    variables: tuple[Variable, ...]
    lines: int
    rest: bytes
    stream: ByteStream


def read_header(stream: ByteStream) -> Header:
    """Read up to ``$enddefinitions $end``. Raises `WaveError` with the line for what is wrong."""
    data = bytearray()
    found = None
    while found is None and (block := stream.read(1 << 16 if not data else 1 << 22)):
        if not data and not block.lstrip().startswith(b"$"):
            _refuse(
                stream, block, 0, "this is no value change dump; it should begin with $timescale"
            )
        before = max(0, len(data) - 200)
        data += block
        found = _END.search(data, before)
        if found is None and len(data) > _LONGEST:
            what = f"no $enddefinitions in {_LONGEST >> 20} MiB; name a value change dump"
            _refuse(stream, bytes(data), len(data), what)
    if not data.strip():
        _refuse(stream, b"", 0, "the file is empty; it should hold a value change dump")
    if found is None:
        what = "the file ends among the declarations; $enddefinitions $end is missing"
        _refuse(stream, bytes(data), len(data), what)
    head = bytes(data[: found.start()])
    # The last piece of white space that the pattern may have left out belongs to the rest.
    unit, variables = _Declarations(stream, head).read()
    if not unit:
        what = "no $timescale; a line such as $timescale 1 ns $end should come earlier"
        _refuse(stream, head, len(head), what)
    lines = data.count(b"\n", 0, found.end())
    rest = bytes(data[found.end() :])
    if any(variable.kind == "port" for variable in variables):
        plain = replace(stream, _held=rest).rewritten(lambda block, _: block, (_PORT, _plain))
        return Header(unit, tuple(variables), lines, b"", plain)
    return Header(unit, tuple(variables), lines, rest, stream)


def _plain(match: re.Match[bytes]) -> bytes:
    """What the rest of the reader knows in place of what only extended files have."""
    states, keyword = match[1], match[2]
    if keyword is not None:
        return b"$dump" + (keyword or b"vars")
    if states is None:
        return b"b"  # the file breaks off in a value
    levels = states.translate(_LEVELS)
    return match[0] if levels.strip(b"01xz") else b"b" + levels


def _refuse(stream: ByteStream, data: bytes, at: int, what: str) -> NoReturn:
    line = data.count(b"\n", 0, at) + 1
    raise WaveError(f"{stream.name}: line {line}: {what}")


class _Declarations:
    """Walks the sections of the declarations once."""

    def __init__(self, stream: ByteStream, head: bytes) -> None:
        self._stream, self._head = stream, head
        self._at = 0

    def read(self) -> tuple[int, list[Variable]]:
        unit = 0
        scopes: list[str] = []
        variables: list[Variable] = []
        for keyword, body in self._sections():
            if keyword == "$timescale":
                unit = self._timescale(body)
            elif keyword == "$scope":
                if len(body) != 2:
                    self._fault("a $scope has a type and a name: $scope module pad $end")
                scopes.append(body[1].removeprefix("\\"))
            elif keyword == "$upscope":
                if not scopes:
                    self._fault("$upscope outside any scope; a $scope should come before it")
                scopes.pop()
            elif keyword == "$var":
                variables.append(self._variable(scopes, body))
        return unit, variables

    def _sections(self) -> Iterator[tuple[str, list[str]]]:
        tokens = _TOKEN.finditer(self._head)
        for token in tokens:
            self._at = token.start()
            keyword = _text(token[0])
            if not keyword.startswith("$") or keyword == "$end":
                self._fault(
                    f"confused: {keyword[:20]}; a declaration such as $var wire 1 ! clock $end "
                    "should stand here"
                )
            body: list[str] = []
            for part in tokens:
                if part[0] == b"$end":
                    break
                if keyword not in _PLAIN:
                    body.append(_text(part[0]))
                if len(body) > 64:
                    self._fault(f"{keyword[:20]} is not closed; $end should follow")
            else:
                self._fault(f"{keyword[:20]} is not closed; $end should follow")
            yield keyword, body

    def _timescale(self, body: list[str]) -> int:
        text = "".join(body)
        match = re.fullmatch(r"(\d{1,3})(s|ms|us|ns|ps|fs)", text)
        if match is None or not int(match[1]):
            self._fault(f"$timescale {text[:20]}; it should be between 1 fs and 100 s")
        return int(match[1]) * FEMTOSECONDS[match[2]]

    def _variable(self, scopes: list[str], body: list[str]) -> Variable:
        if body[:1] == ["port"] and len(body) > 3 and (span := _RANGE.fullmatch(body[1])):
            # Extended files give the range of a vector in place of its size (18.4.2).
            size = str(abs(int(span[1]) - int(span[2] or span[1])) + 1)
            named = size == "1" or _RANGE.fullmatch(body[-1])
            body = ["port", size, *body[2:], *([] if named else [body[1]])]
        if len(body) < 4 or not re.fullmatch(r"[0-9]{1,9}", body[1]):
            self._fault("a $var has type, size, code and name: $var wire 1 ! clock $end")
        kind, size, code, *words = body
        name = "".join(words).removeprefix("\\")
        high = low = None
        match = _RANGE.search(name)
        if match and match.start():
            high = int(match[1])
            low = high if match[2] is None else int(match[2])
            if abs(high - low) + 1 == int(size) > 1:
                name = name[: match.start()]
        full = ".".join([*filter(None, scopes), name])
        return Variable(full, kind, int(size), code.encode("latin-1"), high, low)

    def _fault(self, what: str) -> NoReturn:
        _refuse(self._stream, self._head, self._at, what.encode("unicode_escape").decode())


def _text(token: bytes) -> str:
    return token.decode("latin-1")
