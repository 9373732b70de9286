"""What is wrong with a file, said in lines that a person can act on."""

import difflib
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from pydantic import AfterValidator

from padbench.core.units import printable

LONGEST_KEY = 80


class Refused(ValueError):
    """A value that a check turned down: what is wrong with it and what would do."""

    def __init__(self, wrong: str, instead: str) -> None:
        """Take the two pieces of a line; the loader adds file, line, key and found value."""
        super().__init__(f"{wrong}; {instead}")
        self.wrong = wrong
        self.instead = instead


_Words = str | Callable[[str], str]


def wanted(good: Callable[[str], object], wrong: _Words, instead: _Words) -> AfterValidator:
    """A check of a text: ``Annotated[str, wanted(str.isprintable, "is no name", "use letters")]``.

    Words may be made from the text.
    """

    def check(text: str) -> str:
        if not good(text):
            raise Refused(*(w if isinstance(w, str) else w(text) for w in (wrong, instead)))
        return text

    return AfterValidator(check)


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing that is wrong; ``str()`` of it is always a single line.

    Attributes:
        file: the file's name as it was given, or ``<text>`` or ``<dict>``.
        line: counted from 1; None where no line is to blame (a missing table, a missing file).
        key: where it stands, as in ``contacts.stuck[1]`` or ``scenario "x", step 2, hold``;
            empty where the trouble is not with one key.
        found: the value found as text, empty where there is none.
        wrong: what is wrong, as the second half of a sentence that ``found`` begins.
        instead: what to write or do instead.
    """

    file: str
    line: int | None
    key: str
    found: str
    wrong: str
    instead: str

    def __str__(self) -> str:
        """``file:line: key: found wrong; instead``."""
        place = self.file if self.line is None else f"{self.file}:{self.line}"
        says = " ".join(part for part in (self.found, self.wrong) if part)
        key = self.key if len(self.key) <= LONGEST_KEY else self.key[: LONGEST_KEY - 1] + "…"
        return one_line(": ".join(part for part in (place, key, says) if part), self.instead)


class SheetError(ValueError):
    """A sheet, or another TOML file, that cannot be used.

    ``problems`` holds everything found, in order of lines; ``str()`` of it has a line for each.
    """

    def __init__(self, problems: Sequence[Problem]) -> None:
        """Take at least one problem."""
        super().__init__("\n".join(map(str, problems)))
        self.problems = list(problems)


def one_line(*parts: str) -> str:
    """The parts joined by "; ", with whatever would break or hide the line escaped."""
    return printable("; ".join(part for part in parts if part))


def nearest(name: str, known: Iterable[str]) -> str:
    """A hint at known names: the one that ``name`` looks most like, or all of them."""
    names = {word.casefold(): word for word in known}
    # Cut short: difflib's time grows with the square of a name's length.
    close = difflib.get_close_matches(name[:LONGEST_KEY].casefold(), names, n=1, cutoff=0.5)
    if close:
        return f'the nearest known is "{names[close[0]]}"'
    return "known are " + ", ".join(names.values())
