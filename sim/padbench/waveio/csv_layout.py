"""What a CSV file of an instrument looks like: where its numbers begin, and in which dialect.

Instruments write lines of preamble, a row of names, a row of units, in any mixture, and then
rows of numbers. The numbers are what can be recognised: the layout is read backwards from them.
"""

import codecs
import re
from dataclasses import dataclass
from itertools import islice, pairwise, takewhile
from math import nan
from typing import NoReturn

from padbench.waveio.csv_words import (
    SECONDS,
    VOLTS,
    StatedRate,
    StatedUnit,
    name_and_unit,
    stated_rate,
    stated_unit,
    unit_named,
)
from padbench.waveio.stream import ByteStream, WaveError

LONGEST_LINE = 1 << 20
"""Bytes; no instrument has so many channels."""
MOST_COLUMNS = 4096

_NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?")
OUT_OF_RANGE = tuple(
    sign + word
    for capital in ("OVER", "UNDER", "OVR", "OL", "OVERLOAD", "OVERFLOW", "OVERRANGE", "CLIP")
    for word in (capital, capital.capitalize(), capital.lower())
    for sign in ("", "+", "-")
)
"""For a voltage beyond the input's range (common practice, no source): no level is known."""

_NO_LEVEL = re.compile(
    r"[xXzZ]?|[+-]?(?:nan|inf|infinity)|" + "|".join(map(re.escape, OUT_OF_RANGE)), re.IGNORECASE
)
LEVEL_WORDS = {
    word: level
    for level, words in enumerate((("L", "Low", "False"), ("H", "High", "True")))
    for one in words
    for word in (one, one.lower(), one.upper())
}
_WORDS_OF_LOGIC = frozenset(["", *"01xXzZ", *LEVEL_WORDS])
_MOMENT = re.compile(
    r"(?P<date>\d{4}-\d\d-\d\d[T ])?\d\d:\d\d:\d\d(?:[.,]\d+)?(?P<zone>Z|[+-]\d\d:?\d\d)?"
)
_COMMA_CLOCK = re.compile(rb"(?m)^([^,;\t\n]*\d\d:\d\d:\d\d),(\d+)(?=,)")
_HEXADECIMAL = re.compile(r"0[xX][0-9a-fA-F]{1,16}|(?=\d*[A-Fa-f])[0-9a-fA-F]{2,16}|0\d{1,15}")
"""Whole decimal numbers have no zeros before them."""
LONG_AGO = 1e6
"""Seconds; beyond, a double no longer holds nanoseconds: counted from the first, as a date."""
_DIALECTS = (("\t", "."), ("\t", ","), (";", "."), (";", ","), (",", "."), (",", ","))
_LONGEST_PREAMBLE = 1000  # lines; no instrument says so much about itself
_ROWS = 5
"""So many rows of numbers in a row are no accident of a preamble."""


@dataclass(frozen=True, slots=True)
class Column:
    """What the first rows say of a column: its ``name``, empty where the file gives none, ``head``
    with its unit as it stands, and ``unit`` as `csv_words` names it, empty where nothing is said.

    ``kind`` is "levels" (nothing but 0 and 1, and x, z), "words" (H and L, High and Low, True and
    False) or "numbers", of which the middle half lies within ``usually``; ``base`` is that of
    packed ones. ``sparse``: an empty field means the value before; see `_sparse`. ``moment`` is
    how it tells the time where that is no plain number: "clock" (hh:mm:ss.fraction), "date" and
    "zoned" (ISO 8601), "long" for so many seconds that they must count from a date.
    """

    name: str
    head: str
    unit: str
    kind: str
    usually: tuple[float, float] = (nan, nan)
    base: int = 10
    sparse: bool = False
    moment: str = ""

    @property
    def volts(self) -> float:
        """What its numbers are to be multiplied with."""
        return VOLTS.get(self.unit, 1.0)


@dataclass(frozen=True, slots=True)
class Layout:
    """``start`` is where the rows begin, in bytes; ``line`` the same as a line number from 1.
    ``decimal`` is the sign of numbers and of moments.

    ``time_unit`` is what the preamble says of the time, ``stated`` the sample rate that it says,
    ``steps`` the least and the greatest difference between rows of the first column.
    """

    delimiter: str
    decimal: str
    start: int
    line: int
    columns: tuple[Column, ...]
    encoding: str
    stated: StatedRate | None
    steps: tuple[float, float] = (0.0, 0.0)
    time_unit: StatedUnit | None = None

    def seconds(self, place: int) -> float:
        """What a column of times is to be multiplied with; seconds where no unit is known."""
        stated = self.time_unit.unit if self.time_unit is not None else ""
        return SECONDS.get(self.columns[place].unit or stated, 1.0)


def is_number(text: str, decimal: str) -> bool:
    """Whether a field is a finite number with this decimal sign."""
    plain = text.strip().strip('"').strip()
    if decimal == ",":
        if "." in plain:
            return False
        plain = plain.replace(",", ".")
    return _NUMBER.fullmatch(plain) is not None


def is_value(text: str, decimal: str) -> bool:
    """Whether a field may stand in a row: a number, a moment, a packed word, or a level."""
    plain = text.strip().strip('"').strip()
    return (
        is_number(text, decimal)
        or plain in LEVEL_WORDS
        or any(form.fullmatch(plain) for form in (_NO_LEVEL, _MOMENT, _HEXADECIMAL))
    )


def plain_lines(stream: ByteStream) -> ByteStream:
    """The stream as lines of UTF-8 with LF and one sign between columns, whatever stands in it.

    Rewritten are UTF-16 (without a mark too: every other byte of it is zero), line ends of CR
    alone, columns that spaces divide (more than one, where a name may hold one), and a decimal
    comma of hh:mm:ss where commas divide too: then the rows have a comma more than the names.
    """
    head = stream.peek()
    utf16 = ""
    if head[:2] in (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE):
        utf16 = "utf-16"
    elif len(head) > 1 and 4 * abs(head[::2].count(0) - head[1::2].count(0)) > len(head):
        utf16 = "utf-16-le" if head[1::2].count(0) > head[::2].count(0) else "utf-16-be"
    text = head.decode(utf16, "replace").encode() if utf16 else head
    old = b"\r" in text[:-1] and b"\n" not in text
    lines = re.split(rb"[\r\n]+", text)[-21:-1]
    spaced = len(lines) > 1 and not any(re.search(rb"[\t;,]", line) for line in lines[1:])
    last = lines[-1] if lines else b""
    signs: tuple[bytes, bytes] | None = None
    if spaced:
        signs = rb"  +" if re.search(rb"\S  +\S", last) else rb" +", b"\t"
    if _COMMA_CLOCK.match(last) and re.search(
        rb"(?m)^(?:[^,\d\r\n][^,\r\n]*,){%d}[^,\r\n]*\r?$" % (last.count(b",") - 1), text
    ):
        signs = _COMMA_CLOCK.pattern, rb"\1.\2"
    if not (utf16 or old or signs):
        return stream
    decode = codecs.getincrementaldecoder(utf16 or "utf-16")("replace").decode

    def rewritten(block: bytes, ended: bool) -> bytes:
        if utf16:
            block = decode(block, ended).encode()
        if old:
            block = block.replace(b"\r", b"\n")
        return block

    return stream.rewritten(rewritten, signs)


def split(text: str, delimiter: str) -> list[str]:
    """The fields of a line as they stand; a delimiter in quotes divides nothing."""
    parts = text.split(delimiter)
    if '"' not in text or text.count('"') % 2:
        return parts
    fields: list[str] = []
    held: list[str] = []
    for part in parts:
        held.append(part)
        if part.count('"') % 2 == (len(held) > 1):
            fields.append(delimiter.join(held))
            held = []
    return fields


def is_text(line: str, delimiter: str, decimal: str) -> bool:
    """Whether a line says something to people and cannot be a row; an empty one may be either."""
    if not line.strip():
        return True
    if not line.strip().isprintable() and delimiter != "\t":
        return False
    fields = [field.strip().strip('"').strip() for field in split(line, delimiter)]
    if any(is_number(field, decimal) or _MOMENT.fullmatch(field) for field in fields):
        return False
    return any(re.search(r"[^\W\d_]{2}", f) and not _NO_LEVEL.fullmatch(f) for f in fields)


def find_layout(head: bytes, name: str, *, whole: bool) -> Layout:
    """From the first bytes of a file (all of it if ``whole``).

    Raises `WaveError` with the line where it cannot be a table of numbers.
    """
    if not head.strip():
        raise WaveError(f"{name}: line 1: the file is empty; it should hold a capture")
    if b"\0" in head:
        line = head.count(b"\n", 0, head.index(b"\0")) + 1
        raise WaveError(f"{name}: line {line}: a zero byte; a CSV file should hold text only")
    lines = head.split(b"\n")
    for number, text in enumerate(lines, 1):
        if len(text) > LONGEST_LINE:
            what = f"a line of more than {LONGEST_LINE >> 10} KiB; a row should be one sample"
            raise WaveError(f"{name}: line {number}: {what}")
    if not whole:
        lines.pop()
    if not lines:
        raise WaveError(
            f"{name}: line 1: no line end in {len(head) >> 10} KiB; rows should have one"
        )
    encoding = _encoding(head)
    texts = [line.decode(encoding, "replace").strip("\r\ufeff") for line in lines]
    some = (place for place, text in enumerate(texts) if text and not text.isspace())
    filled = list(islice(some, _LONGEST_PREAMBLE))
    best: tuple[int, str, str] | None = None
    for delimiter, decimal in _DIALECTS:
        if delimiter.encode() not in head or (delimiter == decimal and b'"' not in head):
            continue
        before = len(texts) if best is None else best[0]
        first = _first_row(texts, filled, before, delimiter, decimal)
        if first is not None:
            best = first, delimiter, decimal
    if best is None:
        _no_numbers(texts, name)
    first, delimiter, decimal = best
    return _described(lines, texts, first, delimiter, decimal, encoding)


def _encoding(head: bytes) -> str:
    try:
        # A character may be cut by the end of the block.
        head[: max(1, len(head) - 4)].decode("utf-8")
    except UnicodeDecodeError as error:
        return "latin-1" if error.start < len(head) - 8 else "utf-8"
    return "utf-8"


def _fields(text: str, delimiter: str) -> list[str]:
    fields = split(text, delimiter)
    if text.isprintable() and '"' not in text and " " not in text:
        return fields
    return [field.strip().strip('"').strip() for field in fields]


def _is_row(text: str, delimiter: str, decimal: str) -> int:
    """How many fields a row of numbers has; 0 if it is none, or has only one."""
    fields = split(text, delimiter)
    if not 2 <= len(fields) <= MOST_COLUMNS:
        return 0
    numbers = 0
    for field in fields:
        if is_number(field, decimal) or _MOMENT.fullmatch(field.strip().strip('"')):
            numbers += 1
        elif not is_value(field, decimal):
            return 0
    return len(fields) if numbers else 0


def _first_row(
    texts: list[str], filled: list[int], before: int, delimiter: str, decimal: str
) -> int | None:
    """Where in ``texts`` the rows begin in this dialect, if that is ``before`` a line."""
    widths = [-1] * len(filled)
    for at in range(len(filled)):
        if filled[at] >= before:
            return None
        rows = range(at, min(at + _ROWS, len(filled)))
        for row in rows:
            if widths[row] < 0:
                widths[row] = _is_row(texts[filled[row]], delimiter, decimal)
        width = widths[at]
        if width and all(widths[row] == width for row in rows[: max(1, len(rows) - 1)]):
            last = rows[-1]
            if widths[last] == width or last == len(filled) - 1:
                return filled[at]
    return None


def _described(
    lines: list[bytes],
    texts: list[str],
    first: int,
    delimiter: str,
    decimal: str,
    encoding: str,
) -> Layout:
    columns = len(split(texts[first], delimiter))
    names, units = [""] * columns, [""] * columns
    above = [text for text in texts[:first] if text.strip()]
    has_names = len(above) > 1 and len(split(above[-2], delimiter)) in (columns, columns - 1)
    if above and (row := _units_row(above[-1], delimiter, columns, has_names=has_names)):
        units = row
        above.pop()
    if above:
        heads = _fields(above[-1].lstrip("#%; ") if delimiter != ";" else above[-1], delimiter)
        if len(heads) == columns + 1 and not heads[0]:
            del heads[0]  # a sign stood before the names by itself: "# time latch"
        if len(heads) in (columns, columns - 1):
            # A row may end with a sign; else it is the first column that has no name.
            ended = len(heads) < columns and split(texts[first], delimiter)[-1].strip()
            names = ["", *heads] if ended else [*heads, ""][:columns]
    rows = [
        _fields(text, delimiter)
        for text in texts[first : first + 1000]
        if not is_text(text, delimiter, decimal)
    ]
    stated = stated_unit(texts[:first])
    sparse = _sparse(rows, columns)
    some: list[Column] = []
    for place, (name, stands) in enumerate(zip(names, units, strict=True)):
        own, found = name_and_unit(name)
        unit = stands or found
        fields = [row[place] for row in rows if place < len(row)]
        words = any(field in LEVEL_WORDS for field in fields)
        levels = all(field in _WORDS_OF_LOGIC for field in fields)
        kind = "words" if words else "levels" if levels else "numbers"
        base = 16 if any(_HEXADECIMAL.fullmatch(field) for field in fields) else 10
        seconds = SECONDS.get(unit or (stated.unit if stated else ""), 1.0)
        moment = _moment(rows[0][place], decimal, seconds)
        numbers = sorted(_numbers(fields, decimal))
        fourth = len(numbers) // 4
        usually = (
            (nan, nan) if len(numbers) < len(fields) else (numbers[fourth], numbers[-1 - fourth])
        )
        some.append(Column(own, name, unit, kind, usually, base, sparse[place], moment))
    if any(column.moment and "," in rows[0][at] for at, column in enumerate(some)):
        decimal = ","  # what stands beside them are levels
    start = sum(len(line) + 1 for line in lines[:first])
    steps = [other - one for one, other in pairwise(_numbers([row[0] for row in rows], decimal))]
    return Layout(
        delimiter,
        decimal,
        start,
        first + 1,
        (*some,),
        encoding,
        stated_rate(texts[:first]),
        (min(steps), max(steps)) if steps else (0.0, 0.0),
        stated,
    )


def _moment(field: str, decimal: str, unit: float) -> str:
    match = _MOMENT.fullmatch(field)
    if match is not None:
        return ("zoned" if match["zone"] else "date") if match["date"] else "clock"
    far = is_number(field, decimal) and float(field.replace(",", ".")) * unit > LONG_AGO
    return "long" if far else ""


def _sparse(rows: list[list[str]], columns: int) -> tuple[bool, ...]:
    """By column, whether an empty field means "as before".

    It does where the first rows stand at changes only: no field repeats what its column said
    last. Else an empty field is a sample that is missing.
    """
    never = (False,) * columns
    if any(len(row) != columns for row in rows):
        return never
    some = tuple(not all(fields) for fields in zip(*rows, strict=True))
    changes = 0
    for place in range(columns):
        said = [row[place] for row in rows if row[place]] if some[place] else []
        if any(one == other for one, other in pairwise(said)):
            return never
        changes += max(0, len(said) - 1)
    return some if changes > 1 else never


def _numbers(fields: list[str], decimal: str) -> list[float]:
    return [float(field.replace(",", ".")) for field in fields if is_number(field, decimal)]


def _units_row(text: str, delimiter: str, columns: int, *, has_names: bool) -> list[str] | None:
    """The units of a row that holds nothing else; the first may be a word that is no unit."""
    fields = [field.strip("[](){} ") for field in _fields(text, delimiter)]
    if len(fields) not in (columns, columns - 1):
        return None
    units = [unit_named(field) or "" for field in fields]
    if any(field and not unit for field, unit in zip(fields[1:], units[1:], strict=True)):
        return None
    if fields[0] and not units[0]:
        if not all(units[1:]) or not has_names:
            return None
        units[0] = fields[0]
    return [*units, ""][:columns] if any(units) else None


def _no_numbers(texts: list[str], name: str) -> NoReturn:
    # A line of separators that Python counts as white space is an empty line like any other.
    filled = [place for place, text in enumerate(texts) if text.strip()] or [0]
    widest = max((len(texts[place].split(d)) for place in filled[:50] for d in "\t;,"), default=1)
    line = filled[-1] if widest != 1 else filled[0]
    if widest > MOST_COLUMNS:
        what = f"{widest} columns; at most {MOST_COLUMNS} can be read"
    elif widest == 1:
        what = "one column only; time, latch, clock and data should stand side by side"
    elif (fault := _fault_in_rows(texts, filled)) is not None:
        line, what = fault
    else:
        what = "no rows of numbers one below the other; leave out text between the rows"
    raise WaveError(f"{name}: line {line + 1}: {what.encode('unicode_escape').decode()}")


def _fault_in_rows(texts: list[str], filled: list[int]) -> tuple[int, str] | None:
    """Why the lines that stand like rows are none: the first of them that is wrong, and how."""
    last = texts[filled[-1]]
    delimiter = max("\t;,", key=lambda sign: len(split(last, sign)))
    width = len(split(last, delimiter))
    alike = takewhile(lambda at: len(split(texts[at], delimiter)) == width, reversed(filled))
    rows = list(alike)[::-1]
    # The first names the columns, as a rule.
    for at in rows[1:] if width > 1 else []:
        for place, text in enumerate(_fields(texts[at], delimiter), 1):
            if not (is_value(text, ".") or is_number(text, ",")):
                what = f"{text[:40]!r} in column {place}; a number should stand here, "
                return at, what + ("the time in seconds" if place == 1 else "0 and 1, or volts")
    return None
