"""One TOML text: read from a file, taken apart, and able to say where its keys stand."""

import re
import stat
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Any

from padbench.core.units import found_text
from padbench.files import was_read
from padbench.toml.lines import Lines, lines_of
from padbench.toml.lines import Path as Key
from padbench.toml.problems import Problem, SheetError, one_line

LARGEST_FILE = 1 << 20
LONGEST_LINE = 500
"""Characters. tomllib's time grows with the square of a dotted key's length."""

_PLACE = re.compile(r" \(at (?:line (\d+), column \d+|end of document)\)$")


@dataclass(frozen=True)
class Document:
    """A TOML text and what it holds; ``name`` stands for the file in messages.

    One made from a dict, ``Document("<dict>", "", data)``, has no text, and nothing in it a line.
    ``filled`` names the dotted keys of ``data`` that come from elsewhere than the text, each with
    what is assumed in it, if anything.
    """

    name: str
    text: str
    data: Mapping[str, Any]
    filled: Mapping[str, str] = field(default_factory=dict)

    @classmethod
    def read(cls, path: Path, start: str) -> "Document":
        """The document in a file; ``start`` tells how to come by one where there is none.

        Raises:
            SheetError: the file cannot be read, is not a regular file, is larger than 1 MiB, or is
                not UTF-8 text; or as `parse`.
        """
        return cls.parse(read_text(path, start), str(path), start)

    @classmethod
    def parse(cls, text: str, name: str, start: str) -> "Document":
        """The document in a text.

        Raises:
            SheetError: the text is empty, has lines of more than 500 characters, or is not TOML.
        """
        return cls(name, text, _parse(text, name, start))

    @cached_property
    def lines(self) -> Lines:
        """The line of every key, worked out when somebody asks."""
        return lines_of(self.text)

    def line(self, path: Key) -> int | None:
        """The line of a key, or else of the table that it should stand in."""
        known = (self.lines.get(path[:depth]) for depth in range(len(path), 0, -1))
        return next((line for line in known if line is not None), None)


def read_text(path: Path, start: str, what: str = "TOML file") -> str:
    """A file that people write, of 1 MiB at most; ``start`` says what to do where there is none.

    Raises `SheetError`.
    """
    name = str(path)
    try:
        mode = path.stat().st_mode
        # Looked at before opening: opening a pipe would wait for a writer.
        if stat.S_ISDIR(mode):
            raise _refused(name, "is a directory", f"name the {what} in it")
        if not stat.S_ISREG(mode):
            raise _refused(name, "is not a file", f"name a {what}")
        with path.open("rb") as file:
            raw = file.read(LARGEST_FILE + 1)
    except SheetError:
        raise
    except FileNotFoundError:
        raise _refused(name, "there is no such file", start) from None
    except OSError as error:
        reason = error.strerror or type(error).__name__
        raise _refused(
            name, f"cannot be read ({reason})", "name a file that you may read"
        ) from None
    except ValueError:  # a NUL in the name
        raise _refused(name, "is not the name of a file", f"name a {what}") from None
    if len(raw) > LARGEST_FILE:
        raise _refused(name, "is larger than 1 MiB", "a few kilobytes are enough")
    was_read(path)
    return _decode(raw, name)


def _parse(text: str, name: str, start: str) -> dict[str, Any]:
    if not text.strip():
        raise _refused(name, "is empty", start)
    for number, line in enumerate(text.split("\n"), start=1):
        if len(line) > LONGEST_LINE:
            wrong = f"the line is {len(line)} characters long"
            raise _refused(name, wrong, f"keep lines within {LONGEST_LINE} characters", number)
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise _toml_error(text, name, str(error)) from None
    except RecursionError:
        raise _refused(name, "nests lists or tables too deeply", "two levels are enough") from None
    except ValueError:  # whatever int() and its like refuse (a limit on digits) inside tomllib
        raise _refused(
            name, "holds a number or date that cannot be read", "keep numbers to a few digits"
        ) from None


def _decode(raw: bytes, name: str) -> str:
    if b"\0" in raw:
        line = raw[: raw.index(b"\0")].count(b"\n") + 1
        wrong = "holds a NUL byte, so it is not text"
        raise _refused(name, wrong, "save the file as UTF-8 text", line)
    try:
        return raw.decode("utf-8-sig")  # some editors put a byte order mark in front
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        found = f"byte 0x{raw[error.start]:02X}"
        raise _refused(name, "is not UTF-8", "save the file as UTF-8", line, found) from None


def _toml_error(text: str, name: str, message: str) -> SheetError:
    place = _PLACE.search(message)
    lines = text.split("\n")
    number = int(place[1]) if place and place[1] else len(lines)
    if place and place[1] is None:
        while number > 1 and not lines[number - 1].strip():
            number -= 1
    reason = message[: place.start()] if place else message
    line = lines[number - 1].strip() if number <= len(lines) else ""
    if "overwrite" in reason or "twice" in reason or "mutate" in reason:
        instead = "give each key and each table once"
    elif reason.startswith(("Invalid value", "Expected newline")):
        instead = f"put text and values with a unit in quotes, for example {_quoted(line)}"
    else:
        instead = 'write key = value lines under [table] lines, for example name = "My pad"'
    return _refused(name, f"is not TOML ({reason[:100]})", instead, number, found_text(line))


def _quoted(line: str) -> str:
    """The line itself with its value in quotes, where it is a plain one."""
    plain = re.fullmatch(r"([A-Za-z0-9_-]+)\s*=\s*([^\s\"'\[{#][^\"'\[{#]{0,40}?)\s*(#.*)?", line)
    return f'{plain[1]} = "{plain[2]}"' if plain else 'value = "39k ± 5 %"'


def _refused(
    name: str, wrong: str, instead: str, line: int | None = None, found: str = ""
) -> SheetError:
    return SheetError([Problem(one_line(name), line, "", found, wrong, instead)])
