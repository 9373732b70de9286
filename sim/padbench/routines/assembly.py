"""Assembly source to bytes: one instruction, label or directive a line.

    assemble("loop: lda $4016 ; the port\n  bne loop\n", "read.asm")

Standard 6502 mnemonics and operand forms; ``name:`` labels, ``@name:`` labels that are known from
one other label to the next, ``name = value``, ``;`` comments, ``.org``, ``.byte`` (also "text"),
``.word``, ``.include "file"`` (from the folder of the file that says so). An expression has
``$hex``, ``%binary``, decimal, ``'c'``, names, ``*`` for the address of the statement, parentheses,
``* / + - << >> & ^ |`` with the precedence of C, ``-`` and ``~`` before a term, and ``<`` and ``>``
for the low and the high byte of all that follows. A number written with four digits (``$0010``) is
an address of two bytes, and so is what stands after ``a:``; ``z:`` wants one byte; a name is as
long as its value.
"""

import difflib
import operator
import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path

from padbench.routines.bus import INSTRUCTIONS, LENGTHS
from padbench.routines.routine import Assembled, RoutineError

_ORIGIN = 0x8000
_MOST_ROUNDS = 16
_LONGEST_LINE = 500
_DEEPEST, _MOST_LINES = 16, 100_000
"""Files that include each other, and lines of all together."""
_NAME = r"[A-Za-z_][A-Za-z0-9_]*"
_CODE = re.compile(r"""(?:'.'|"[^"]*"|[^;])*""")
_LABEL = re.compile(rf"\s*(@?{_NAME}):")
_CONSTANT = re.compile(rf"({_NAME})\s*=\s*(.*)")
_TOKEN = re.compile(rf"\s*(\$[0-9A-Fa-f]+|%[01]+|[0-9]+|'.'|@?{_NAME}|<<|>>|[-+*/&|^~<>()])")
_ITEMS = re.compile(r""",(?=(?:'.'|"[^"]*"|[^"'])*$)""")
_OPERAND = re.compile(r"(.*?)\s*(?:,\s*([xXyY])\s*)?")
_BINARY: dict[str, tuple[int, Callable[[int, int], int]]] = {
    "|": (0, operator.or_), "^": (1, operator.xor), "&": (2, operator.and_),
    "<<": (3, lambda a, b: a << min(b, 16)), ">>": (3, lambda a, b: a >> min(b, 16)),
    "+": (4, operator.add), "-": (4, operator.sub),
    "*": (5, operator.mul), "/": (5, operator.floordiv),
}  # fmt: skip
_TIGHTEST = 6
_OPCODES = {(one.mnemonic, one.mode): opcode for opcode, one in INSTRUCTIONS.items()}
_MNEMONICS = {mnemonic for mnemonic, _ in _OPCODES}
_LONG_NUMBER = re.compile(r"[\s+-]*\$[0-9A-Fa-f]{4}\b")
_WRITE = "write for example $4016, 8 or name+1"

Line = tuple[str, int, str]
"""File, number and text."""


class _UnknownName(Exception):
    """A name without a value yet."""


@dataclass
class _Round:
    """One walk through the source with the names as the round before left them."""

    before: Mapping[str, int]
    final: bool
    names: dict[str, int] = field(default_factory=dict)
    code: list[tuple[int, int, tuple[str, int]]] = field(default_factory=list)
    at: int = _ORIGIN
    place: tuple[str, int] = ("", 0)
    scope: str = ""

    def error(self, found: str, wrong: str, instead: str) -> RoutineError:
        return RoutineError.at(*self.place, found, wrong, instead)

    def define(self, name: str, value: int) -> None:
        if name[0] == "@":
            name = self.scope + name
        if name in self.names:
            raise self.error(name, "has a value already", "give each name one value")
        if name.upper() in _MNEMONICS | {"A", "X", "Y"}:
            raise self.error(name, "is a word of the language", "take another name")
        self.names[name] = value

    def value(self, text: str) -> int:
        """The value of an expression. `_UnknownName` for a name that has none, `RoutineError`."""
        tokens, place, text = list[str](), 0, text.strip()
        while place < len(text):
            token = _TOKEN.match(text, place)
            if token is None:
                raise self.error(repr(text), "is not a number or a name", _WRITE)
            tokens.append(token[1])
            place = token.end()
        tokens.reverse()
        total = self._expression(tokens, 0)
        if tokens:
            raise self.error(repr(text), "is not a number or a name", _WRITE)
        if not 0 <= total <= 0xFFFF:
            raise self.error(repr(text), f"is {total}, outside 0..$FFFF", "use a smaller number")
        return total

    def _expression(self, tokens: list[str], least: int) -> int:
        """What binds at least so tightly; ``tokens`` stand in reverse, and are taken away."""
        token = tokens.pop() if tokens else ""
        if token in ("<", ">"):
            total = self._expression(tokens, 0)
            total = total >> 8 * (token == ">") & 0xFF
        elif token in ("-", "+", "~"):
            total = self._expression(tokens, _TIGHTEST)
            total = {"-": -total, "+": total, "~": total ^ 0xFFFF}[token]
        elif token == "(":
            total = self._expression(tokens, 0)
            if not tokens or tokens.pop() != ")":
                raise self.error("the line", "has a parenthesis too few", "close it")
        else:
            total = self._term(token)
        while tokens and tokens[-1] in _BINARY and _BINARY[tokens[-1]][0] >= least:
            binds, does = _BINARY[tokens.pop()]
            other = self._expression(tokens, binds + 1)
            try:
                total = does(total, other)
            except (ZeroDivisionError, ValueError):
                raise self.error(
                    "the line", "cannot be worked out", "divide by 1 or more"
                ) from None
        return total

    def _term(self, word: str) -> int:
        if word == "*":
            return self.at
        if word[:1] == "$":
            return int(word[1:], 16)
        if word[:1] == "%":
            return int(word[1:], 2)
        if word[:1] == "'":
            return ord(word[1])
        if word.isdigit():
            return int(word)
        if word[:1] != "@" and not word[:1].isalpha() and word[:1] != "_":
            raise self.error(word or "the line", "lacks a number", _WRITE)
        name = self.scope + word if word[0] == "@" else word
        for known in (self.names, self.before):
            if name in known:
                return known[name]
        if self.final:
            near = difflib.get_close_matches(word[:80], self.before, 1)
            raise self.error(
                word,
                "is an unknown label",
                f"did you mean {near[0]}?" if near else f"define it with {word}: or {word} = value",
            )
        raise _UnknownName

    def later(self, text: str, otherwise: int = 0) -> int:
        """The value, or another one in a round that does not know it yet."""
        try:
            return self.value(text)
        except _UnknownName:
            return otherwise

    def emit(self, values: list[int]) -> None:
        for value in values:
            if self.at > 0xFFFF:
                raise self.error("the code", "runs over the end of memory", "lower its .org")
            self.code.append((self.at, value, self.place))
            self.at += 1


def assemble(text: str, file: str, read: Callable[[Path], str] | None = None) -> Assembled:
    """Assemble a source; ``read`` gives the text of a file to include, or raises
    ``FileNotFoundError``; None: there can be none.

    Raises `RoutineError` with file and line for whatever is wrong in it.
    """
    sources: dict[str, str] = {}
    lines = [*islice(_included(text, file, read, sources, ()), _MOST_LINES)]
    if len(lines) == _MOST_LINES:
        raise RoutineError.at(file, None, "it", "has too many lines", f"keep below {_MOST_LINES}")
    names: Mapping[str, int] = {}
    for _ in range(_MOST_ROUNDS):
        walk = _walk(lines, names, final=False)
        if walk.names == names:
            break
        names = walk.names
    else:
        raise RoutineError.at(
            file, None, "the labels", "never come to rest", "define constants before their use"
        )
    walk = _walk(lines, names, final=True)
    if not walk.code:
        raise RoutineError.at(file, None, "", "holds no instruction", "write a routine to judge")
    places = {at: place for at, _, place in reversed(walk.code)}
    return Assembled(_segments(walk), names, places, sources)


def _included(
    text: str,
    file: str,
    read: Callable[[Path], str] | None,
    sources: dict[str, str],
    above: tuple[str, ...],
) -> Iterator[Line]:
    """The lines of a file and of all that it includes; ``sources`` takes the texts."""
    sources[file] = text
    for number, line in enumerate(text.split("\n"), 1):

        def error(found: str, wrong: str, instead: str, at: int = number) -> RoutineError:
            return RoutineError.at(file, at, found, wrong, instead)

        if len(line) > _LONGEST_LINE:
            raise error(f"{len(line)} characters", "are too many", "keep lines within 500")
        statement = _CODE.match(line)[0].strip()  # type: ignore[index]  # matches anything
        word, _, operand = statement.partition(" ")
        if word.lower() != ".include":
            yield file, number, statement
            continue
        name = operand.strip()
        if len(name) < 3 or name[0] + name[-1] != '""' or read is None:
            raise error(name or ".include", "is no file to include", 'write .include "file"')
        path = Path(file).parent / name[1:-1]
        if str(path) in (*above, file):
            raise error(name, "includes itself", "leave one of the two out")
        if len(above) >= _DEEPEST:
            raise error(name, f"lies {_DEEPEST} files deep", "include it higher up")
        try:
            inner = read(path)
        except FileNotFoundError:
            raise error(name, "is not there", "name a file from the folder of this one") from None
        yield from _included(inner, str(path), read, sources, (*above, file))


def _walk(lines: list[Line], names: Mapping[str, int], *, final: bool) -> _Round:
    walk = _Round(names, final)
    for file, number, statement in lines:
        walk.place = file, number
        label = _LABEL.match(statement)
        if label:
            walk.define(label[1], walk.at)
            walk.scope = walk.scope if label[1][0] == "@" else label[1]
        if rest := statement[label.end() if label else 0 :].strip():
            _statement(walk, rest)
    return walk


def _statement(walk: _Round, statement: str) -> None:
    constant = _CONSTANT.fullmatch(statement)
    word, _, rest = statement.partition(" ")
    word = word.lower()
    if constant:
        try:
            walk.define(constant[1], walk.value(constant[2]))
        except _UnknownName:
            return
    elif word == ".org":
        walk.at = walk.later(rest, walk.at)
    elif word == ".byte":
        for item in _ITEMS.split(rest):
            text = item.strip()
            if len(text) > 1 and text[0] == text[-1] == '"' and text.isascii():
                walk.emit([*text[1:-1].encode()])
            else:
                walk.emit([_byte(walk, text)])
    elif word == ".word":
        for item in _ITEMS.split(rest):
            walk.emit([*walk.later(item).to_bytes(2, "little")])
    elif statement.startswith("."):
        known = ".org, .byte, .word and .include"
        raise walk.error(word, "is no directive", f"there are {known}")
    else:
        _instruction(walk, statement)


def _byte(walk: _Round, text: str) -> int:
    value = walk.later(text)
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


def _enclosed(text: str) -> bool:
    """Whether a parenthesis that opens with the text closes with it."""
    depth = 0
    for place, letter in enumerate(text):
        depth += (letter == "(") - (letter == ")")
        if not depth:
            return place == len(text) - 1 and bool(place)
    return False


def _operand(walk: _Round, mnemonic: str, operand: str) -> tuple[str, int]:
    """Addressing mode, and the value behind the opcode."""
    if not operand or operand.upper() == "A":
        within = "accumulator" if (mnemonic, "accumulator") in _OPCODES else "implied"
        return ("accumulator" if operand else within), 0
    if operand.startswith("#"):
        return "immediate", _byte(walk, operand[1:])
    length, operand = (operand[:2].lower(), operand[2:]) if operand[1:2] == ":" else ("", operand)
    expression, index = _OPERAND.fullmatch(operand).groups()  # type: ignore[union-attr]
    if ("," in expression and not _enclosed(expression)) or length not in ("", "a:", "z:"):
        raise walk.error(
            repr(operand), "is no operand", "write for example $4016, table,X or (pointer),Y"
        )
    tail = f",{index.upper()}" if index else ""
    opening = _enclosed(expression)
    if opening:
        expression, inner = _OPERAND.fullmatch(expression[1:-1]).groups()  # type: ignore[union-attr]
        tail = (f",{inner.upper()}" if inner else "") + f"){tail}"
    branch = (mnemonic, "relative") in _OPCODES
    # A label further down lies in the same segment more likely than in zero page.
    value = walk.later(expression, walk.at if branch else 0xFFFF)
    if branch and not tail:
        away = value - walk.at - 2
        if walk.final and not -128 <= away <= 127:
            raise walk.error(operand, f"is {away} bytes away", "a branch reaches -128 to 127")
        return "relative", away & 0xFF
    if tail == ")":
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
    for at, value, place in walk.code:
        if at in seen:
            raise RoutineError.at(
                *place, f"${at:04X}", f"is taken by line {seen[at]}", "move the .org"
            )
        seen[at] = place[1]
        if segments and segments[-1][0] + len(segments[-1][1]) == at:
            segments[-1][1].append(value)
        else:
            segments.append((at, bytearray([value])))
    return tuple((at, bytes(code)) for at, code in segments)
