"""Source for a cross assembler, run as a program; and the listing and symbols that one writes.

    code = cross_assembled("ca65", text, Path("my-read.s"))
    labels_in(symbols), lines_in(listing, segments, "my-read.s", source)

Both programs write symbols as ``al 008015 .name``; ``name = $8015`` is read too, in a listing
as well. A line of a listing counts where its bytes are those of the code.
"""

import re
import shutil
import subprocess
from collections.abc import Mapping
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Literal

from padbench.routines.routine import Assembled, RoutineError

Assembler = Literal["ca65", "64tass"]

ASSEMBLERS: dict[Assembler, tuple[str, tuple[tuple[str, ...], ...]]] = {
    "ca65": (
        "cc65",
        (
            ("ca65", "-g", "-I", "{folder}", "-l", "out.lst", "-o", "out.o", "{file}"),
            ("ld65", "-t", "none", "-S", "0x8000", "-Ln", "out.lbl", "-o", "out.bin", "out.o"),
        ),
    ),
    "64tass": (
        "64tass",
        (
            ("64tass", "-a", "-q", "-I", "{folder}", "-L", "out.lst", "--vice-labels",
             "-l", "out.lbl", "-b", "-o", "out.bin", "{file}"),
        ),
    ),
}  # fmt: skip
"""Debian's package, and the commands; ``ld65`` links what has no ``.org`` from $8000 on."""

_ORIGIN = 0x8000
_SECONDS = 20
_LARGEST = 1 << 20
_SYMBOL = re.compile(
    r"^al\s+(?:C:)?([0-9A-Fa-f]{1,6})\s+\.(\S+)|"
    r"\b(\w+)[ \t]*=[ \t]*\$([0-9A-Fa-f]{1,4})\b(?![ \t]*[-+*/&|^<>])",
    re.MULTILINE,
)
_ROW = re.compile(
    r"(?P<at>[0-9A-F]{6})(?P<moves>r?) \d+  (?P<code>(?:[0-9A-Fr]{2} )+) *(?P<text>.*)|"
    r"[.>](?P<at2>[0-9a-f]{4,6})\t(?P<code2>(?:[0-9a-f]{2} ?)+)(?:\t.*\t|\t+)(?P<text2>.*)"
)
_SAYS = re.compile(r"[^:(]*?[:(](\d+)[:)].*?(?:Error|error): *(.*)")


def cross_assembled(assembler: Assembler, text: str, path: Path) -> Assembled:
    """Code, labels and lines of a source as that assembler makes them.

    What the source includes is looked for in the folder of ``path``. Raises `RoutineError` for a
    program that is not installed and for what it finds wrong, with the line where it says one.
    """
    name = str(path)
    package, commands = ASSEMBLERS[assembler]
    with TemporaryDirectory() as made:
        folder = Path(made)
        (folder / path.name).write_text(text, encoding="utf-8")
        for command in commands:
            words = [
                word.format(folder=path.parent.resolve(), file=f"./{path.name}") for word in command
            ]
            if shutil.which(words[0]) is None:
                raise RoutineError.at(
                    name, None, words[0], "is not installed", f"apt-get install {package}"
                )
            _done(words, folder, name)
        listing, symbols = _text(folder / "out.lst"), _text(folder / "out.lbl")
        with (folder / "out.bin").open("rb") as file:
            code = file.read(0x10001)
    rows = [row for row in map(_ROW.fullmatch, listing.splitlines()) if row]
    start = int(rows[0]["at"] or rows[0]["at2"], 16) if rows else 0
    start += _ORIGIN if rows and rows[0]["moves"] else 0
    if start < 0x200 or not code or start + len(code) > 0x10000:
        raise RoutineError.at(
            name, None, f"{len(code)} bytes from ${start:04X}",
            "are no routine outside zero page and stack", "say where it lies, such as * = $8000",
        )  # fmt: skip
    segments = ((start, code),)
    lines = lines_in(listing, segments, name, text)
    return Assembled(segments, labels_in(f"{listing}\n{symbols}"), lines, {name: text})


def _done(words: list[str], folder: Path, name: str) -> None:
    """Run a program; what it finds wrong is the error."""
    try:
        run = subprocess.run(
            words, cwd=folder, capture_output=True, timeout=_SECONDS, check=False,
            stdin=subprocess.DEVNULL,
        )  # fmt: skip
    except subprocess.TimeoutExpired:
        raise RoutineError.at(
            name, None, words[0], f"is not done after {_SECONDS} s", "give a smaller source"
        ) from None
    if run.returncode:
        said = run.stderr.decode("utf-8", "replace").strip().splitlines() or ["no word why"]
        found = next((match for match in map(_SAYS.match, said) if match), None)
        line, why = (int(found[1]), found[2]) if found else (None, said[0])
        says = "".join(letter for letter in why if letter.isprintable())[:200]
        raise RoutineError.at(
            name, line, "", f"{words[0]} refuses it ({says})", "mend the source for that assembler"
        )


def _text(path: Path) -> str:
    with path.open(encoding="utf-8", errors="replace") as file:
        return file.read(_LARGEST)


def labels_in(symbols: str) -> dict[str, int]:
    """Names and values of a symbol file, or of a listing; all else in it is passed over."""
    found = _SYMBOL.finditer(symbols)
    labels = {one[2] or one[3]: int(one[1] or one[4], 16) for one in found}
    # Those of the linker's own, such as __ZPSTART__, would hide the user's at the same address.
    return {n: value for n, value in labels.items() if value <= 0xFFFF and not n.startswith("__")}


def lines_in(
    listing: str, segments: tuple[tuple[int, bytes], ...], file: str, source: str = ""
) -> Mapping[int, tuple[str, int]]:
    """File and line by address: of the ``source`` where there is one, else of the listing itself.

    ``file`` is the name of either.
    """
    memory = {at + n: byte for at, code in segments for n, byte in enumerate(code)}
    texts = [line.strip() for line in source.splitlines()]
    lines: dict[int, tuple[str, int]] = {}
    reached = 0
    for number, row in enumerate(map(_ROW.fullmatch, listing.splitlines()), 1):
        if row is None:
            continue
        at = int(row["at"] or row["at2"], 16) + (segments[0][0] if row["moves"] else 0)
        code = (row["code"] or row["code2"]).split()
        text = (row["text"] or row["text2"] or "").strip()
        if any(byte != "rr" and memory.get(at + n) != int(byte, 16) for n, byte in enumerate(code)):
            continue
        if source and text in texts[reached:]:
            reached = texts.index(text, reached) + 1
            lines.setdefault(at, (file, reached))
        elif not source:
            lines.setdefault(at, (file, number))
    return lines
