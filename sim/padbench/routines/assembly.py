"""Assembly source to bytes: one instruction, label or directive a line.

    assemble("loop: lda $4016 ; the port\n  bne loop\n", "read.asm")

Standard 6502 mnemonics and operand forms; ``name:`` labels, ``name = value``, ``;`` comments,
``.org``, ``.byte``; numbers as ``$hex``, ``%binary`` or decimal, ``<`` and ``>`` for the low and
the high byte, ``+`` and ``-``. A number written with four digits (``$0010``) is an address of two
bytes, and so is what stands after ``a:``; ``z:`` wants one byte; a name is as long as its value.
"""

import difflib
import re
from collections.abc import Mapping
from dataclasses import dataclass, field

from padbench.routines.bus import INSTRUCTIONS, LENGTHS
from padbench.routines.routine import RoutineError

__all__ = ["Assembled", "assemble"]

_ORIGIN = 0x8000
_MOST_ROUNDS = 16
_LONGEST_LINE = 500
_NAME = r"[A-Za-z_][A-Za-z0-9_]*"
_LABEL = re.compile(rf"\s*({_NAME}):")
_CONSTANT = re.compile(rf"\s*({_NAME})\s*=\s*(.*)")
_TERM = re.compile(rf"\s*([+-]?)\s*(\$[0-9A-Fa-f]+|%[01]+|[0-9]+|{_NAME})")
_OPERAND = re.compile(r"(\(?)([^(),]*)((?:,\s*[xX]\s*\)|\)\s*,\s*[yY]|\)|,\s*[xXyY])?)")
_OPCODES = {(one.mnemonic, one.mode): opcode for opcode, one in INSTRUCTIONS.items()}
_MNEMONICS = {mnemonic for mnemonic, _ in _OPCODES}
_LONG_NUMBER = re.compile(r"[\s+-]*\$[0-9A-Fa-f]{4}\b")


@dataclass(frozen=True)
class Assembled:
    """Bytes by segment, in the order of the source; labels and constants; lines by address."""

    segments: tuple[tuple[int, bytes], ...]
    labels: Mapping[str, int]
    lines: Mapping[int, int]


class _UnknownName(Exception):
    """A name without a value yet."""


@dataclass
class _Round:
    """One walk through the source with the names as the round before left them."""

    file: str
    before: Mapping[str, int]
    final: bool
    names: dict[str, int] = field(default_factory=dict)
    code: list[tuple[int, int, int]] = field(default_factory=list)
    at: int = _ORIGIN
    line: int = 0

    def error(self, found: str, wrong: str, instead: str) -> RoutineError:
        return RoutineError.at(self.file, self.line, found, wrong, instead)

    def define(self, name: str, value: int) -> None:
        if name in self.names:
            raise self.error(name, "has a value already", "give each name one value")
        if name.upper() in _MNEMONICS | {"A", "X", "Y"}:
            raise self.error(name, "is a word of the language", "take another name")
        self.names[name] = value

    def value(self, text: str) -> int:
        """The value of an expression. `_UnknownName` for a name that has none, `RoutineError`."""
        text = text.strip()
        part = text[:1] if text[:1] in ("<", ">") else ""
        rest = text[len(part) :]
        total, place = 0, 0
        while place < len(rest.rstrip()):
            term = _TERM.match(rest, place)
            if term is None or (place and not term[1]):
                raise self.error(
                    repr(text), "is not a number or a name", "write for example $4016, 8 or name+1"
                )
            total += -self._term(term[2]) if term[1] == "-" else self._term(term[2])
            place = term.end()
        if not place:
            raise self.error("the line", "lacks a number", "write for example $4016, 8 or name+1")
        if part:
            return total >> 8 & 0xFF if part == ">" else total & 0xFF
        if not 0 <= total <= 0xFFFF:
            raise self.error(repr(text), f"is {total}, outside 0..$FFFF", "use a smaller number")
        return total

    def _term(self, word: str) -> int:
        if word[0] == "$":
            return int(word[1:], 16)
        if word[0] == "%":
            return int(word[1:], 2)
        if word.isdigit():
            return int(word)
        if word in self.names:
            return self.names[word]
        if word in self.before:
            return self.before[word]
        if self.final:
            near = difflib.get_close_matches(word[:80], self.before, 1)
            raise self.error(
                word,
                "is an unknown label",
                f"did you mean {near[0]}?" if near else f"define it with {word}: or {word} = value",
            )
        raise _UnknownName

    def beyond(self) -> RoutineError:
        return self.error("the code", "runs over the end of memory", "lower its .org")

    def emit(self, values: list[int]) -> None:
        for value in values:
            if self.at > 0xFFFF:
                raise self.beyond()
            self.code.append((self.at, value, self.line))
            self.at += 1


def assemble(text: str, file: str) -> Assembled:
    """Assemble a source. Raises `RoutineError` with file and line for whatever is wrong in it."""
    names: Mapping[str, int] = {}
    for _ in range(_MOST_ROUNDS):
        walk = _walk(text, file, names, final=False)
        if walk.names == names:
            break
        names = walk.names
    else:
        raise RoutineError.at(
            file, None, "the labels", "never come to rest", "define constants before their use"
        )
    walk = _walk(text, file, names, final=True)
    if not walk.code:
        raise RoutineError.at(file, None, "", "holds no instruction", "write a routine to judge")
    return Assembled(_segments(walk), names, {at: line for at, _, line in reversed(walk.code)})


def _walk(text: str, file: str, names: Mapping[str, int], *, final: bool) -> _Round:
    walk = _Round(file, names, final)
    for number, line in enumerate(text.split("\n"), 1):
        walk.line = number
        if len(line) > _LONGEST_LINE:
            raise walk.error(f"{len(line)} characters", "are too many", "keep lines within 500")
        statement = line.split(";", 1)[0].rstrip()
        label = _LABEL.match(statement)
        if label:
            walk.define(label[1], walk.at)
            statement = statement[label.end() :]
        if statement.strip():
            _statement(walk, statement.strip())
    return walk


def _statement(walk: _Round, statement: str) -> None:
    constant = _CONSTANT.fullmatch(statement)
    if constant:
        try:
            walk.define(constant[1], walk.value(constant[2]))
        except _UnknownName:
            return
    elif statement.lower().startswith(".org"):
        try:
            walk.at = walk.value(statement[4:])
        except _UnknownName:
            return
    elif statement.lower().startswith(".byte"):
        walk.emit([_byte(walk, item) for item in statement[5:].split(",")])
    elif statement.startswith("."):
        raise walk.error(
            statement.split(maxsplit=1)[0], "is no directive", "there are .org and .byte"
        )
    else:
        _instruction(walk, statement)


def _byte(walk: _Round, text: str) -> int:
    try:
        value = walk.value(text)
    except _UnknownName:
        return 0
    if value > 0xFF:
        raise walk.error(text.strip(), "does not fit a byte", "write < or > before it for one half")
    return value


def _instruction(walk: _Round, statement: str) -> None:
    mnemonic, _, operand = statement.partition(" ")
    mnemonic, operand = mnemonic.upper(), operand.strip()
    if mnemonic not in _MNEMONICS:
        near = difflib.get_close_matches(mnemonic[:80], _MNEMONICS, 1)
        raise walk.error(
            statement.split(maxsplit=1)[0],
            "is no instruction of the 6502",
            f"did you mean {near[0]}?" if near else "write a label with a colon behind it",
        )
    mode, value = _operand(walk, mnemonic, operand)
    opcode = _OPCODES.get((mnemonic, mode))
    if opcode is None:
        raise walk.error(
            statement, "has no such addressing mode", "see the Programming Manual, appendix B"
        )
    walk.emit([opcode, value & 0xFF, value >> 8][: LENGTHS[mode]])


def _operand(walk: _Round, mnemonic: str, operand: str) -> tuple[str, int]:
    """Addressing mode, and the value behind the opcode."""
    if not operand or operand.upper() == "A":
        within = "accumulator" if (mnemonic, "accumulator") in _OPCODES else "implied"
        return ("accumulator" if operand else within), 0
    if operand.startswith("#"):
        return "immediate", _byte(walk, operand[1:])
    length, operand = (operand[:2].lower(), operand[2:]) if operand[1:2] == ":" else ("", operand)
    parts = _OPERAND.fullmatch(operand)
    if parts is None or length not in ("", "a:", "z:"):
        raise walk.error(
            repr(operand), "is no operand", "write for example $4016, table,X or (pointer),Y"
        )
    opening, expression, closing = parts.groups()
    if bool(opening) != (")" in closing):
        raise walk.error(repr(operand), "has a parenthesis too few", "close it")
    branch = (mnemonic, "relative") in _OPCODES
    try:
        value = walk.value(expression)
    except _UnknownName:
        # A label further down lies in the same segment more likely than in zero page.
        value = walk.at if branch else 0xFFFF
    tail = re.sub(r"\s", "", closing).upper()
    if branch and not opening and not tail:
        away = value - walk.at - 2
        if walk.final and not -128 <= away <= 127:
            raise walk.error(operand, f"is {away} bytes away", "a branch reaches -128 to 127")
        return "relative", away & 0xFF
    if opening and not tail.strip(")"):
        return "(absolute)", value
    short = f"(zero page{tail}" if opening else f"zero page{tail}"
    long = f"absolute{tail}"
    fits = (mnemonic, short) in _OPCODES and value <= 0xFF and length != "a:"
    if (length == "z:" or opening) and value > 0xFF and walk.final:
        raise walk.error(operand, "lies outside zero page", "use an address up to $FF")
    if opening or length == "z:":
        return short, value & 0xFF
    wide = _LONG_NUMBER.match(expression) is not None and (mnemonic, long) in _OPCODES
    return (short if fits and not wide else long), value


def _segments(walk: _Round) -> tuple[tuple[int, bytes], ...]:
    segments: list[tuple[int, bytearray]] = []
    seen: dict[int, int] = {}
    for at, value, line in walk.code:
        if at in seen:
            raise RoutineError.at(
                walk.file, line, f"${at:04X}", f"is taken by line {seen[at]}", "move the .org"
            )
        seen[at] = line
        if segments and segments[-1][0] + len(segments[-1][1]) == at:
            segments[-1][1].append(value)
        else:
            segments.append((at, bytearray([value])))
    return tuple((at, bytes(code)) for at, code in segments)
