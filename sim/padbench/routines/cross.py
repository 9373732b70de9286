"""Source for a cross assembler, run as a program; and the listing and symbols that one writes.

    code = cross_assembled("ca65", text, Path("my-read.s"))
    labels_in(symbols), lines_in(listing, segments, "my-read.lst")

Both programs write symbols as ``al 008015 .name``; ``name = $8015`` is read too, in a listing
as well. A line of a listing counts where its bytes are those of the code.
"""

import re
import shutil
import subprocess
from bisect import bisect_right
from collections.abc import Mapping, Sequence
from itertools import pairwise
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
            ("ld65", "-t", "none", "-S", "0x8000", "-Ln", "out.lbl", "--dbgfile", "out.dbg",
             "-o", "out.bin", "out.o"),
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

_PLACED: dict[Assembler, str] = {"ca65": ".org $8000", "64tass": "* = $8000"}
_ORIGIN = 0x8000
_SECONDS = 20
_LARGEST = 1 << 20
_SYMBOL = re.compile(
    r"^al\s+(?:C:)?([0-9A-Fa-f]{1,6})\s+\.(\S+)|"
    r"\b(\w+)[ \t]*=[ \t]*\$([0-9A-Fa-f]{1,4})\b(?![ \t]*[-+*/&|^<>])",
    re.MULTILINE,
)
_ROW = re.compile(
    r"(?P<at>[0-9A-F]{6})(?:(?P<moves>r)| ) \d+  (?P<code>(?:[0-9A-Fr]{2} )+) *(?P<text>.*)|"
    r"[.>](?P<at2>[0-9a-f]{4,6})\t(?P<code2>(?:[0-9a-f]{2} ?)+)(?:\t.*\t|\t+)(?P<text2>.*)"
)
_PLACE = re.compile(r";line(\d+)$")
_STEP = re.compile(r"([0-9A-F]{6})([r ]) \d+  ((?:[0-9A-Frx]{2} )*) *(.*)")
_MOVE = re.compile(
    r'(?:\w+:)?\s*\.(org|reloc|code|data|rodata|bss|zeropage|segment|p(?:ush|op)seg)\b(?:\s*"(\w+)")?',
    re.IGNORECASE,
)
_TABLE = re.compile(r'(\w+)=("[^"]*"|[^,]*)')
_SAYS = re.compile(r"([^:(]*?)[:(](\d+)[:)].*?(?:Error|error): *(.*)")


def cross_assembled(assembler: Assembler, text: str, path: Path) -> Assembled:
    """Code, labels and lines of a source as that assembler makes them.

    What the source includes is looked for in the folder of ``path``. Raises `RoutineError` for a
    program that is not installed and for what it finds wrong, with the line where it says one.
    """
    name = str(path)
    package, commands = ASSEMBLERS[assembler]
    with TemporaryDirectory() as made:
        folder = Path(made)
        given = _marked(text) if assembler == "64tass" else text
        (folder / path.name).write_text(given, encoding="utf-8")
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
        debug = _text(folder / "out.dbg") if assembler == "ca65" else ""
    if assembler == "ca65":
        tables = _tables(debug)
        pieces = _pieces(listing, tables["seg"], name)
    else:
        at = next((row["at2"] for row in map(_ROW.fullmatch, listing.splitlines()) if row), "0")
        pieces = [(0, int(at, 16))]
    ends = [offset for offset, _ in pieces[1:]] + [len(code)]
    segments = tuple(
        (start, code[offset:end])
        for (offset, start), end in zip(pieces, ends, strict=True)
        if offset < end and start >= 0
    )
    if not segments or any(at < 0x200 or at + len(it) > 0x10000 for at, it in segments):
        raise RoutineError.at(
            name, None, f"{len(code)} bytes from ${segments[0][0] if segments else 0:04X}",
            "are no routine outside zero page and stack",
            f"say where it lies, such as {_PLACED[assembler]}",
        )  # fmt: skip
    sources = {name: text}
    lines: Mapping[int, tuple[str, int]]
    if assembler == "ca65":
        lines = _lines_of(tables, pieces, path, sources)
    else:
        lines = lines_in(listing, segments, name, marked=True)
    return Assembled(segments, labels_in(f"{listing}\n{symbols}"), lines, sources)


def _tables(debug: str) -> dict[str, dict[str, dict[str, str]]]:
    """What ld65 wrote for debuggers: by kind and number, the fields of a row."""
    tables: dict[str, dict[str, dict[str, str]]] = {"seg": {}, "span": {}, "line": {}, "file": {}}
    for row in debug.splitlines():
        kind, _, fields = row.partition("\t")
        if kind in tables:
            known = {key: value.strip('"') for key, value in _TABLE.findall(fields)}
            tables[kind][known["id"]] = known
    return tables


def _pieces(
    listing: str, segments: Mapping[str, Mapping[str, str]], name: str
) -> list[tuple[int, int]]:
    """(offset in the code, address) of each stretch, -1 for one of reserved bytes alone.

    ``.org`` moves what follows it: that stands in no table, so the listing is gone through.
    """
    rows = [row for row in map(_STEP.fullmatch, listing.splitlines()) if row]
    if all(row[2] == "r" for row in rows):
        return [(0, _ORIGIN)]
    others = [
        one["name"]
        for one in segments.values()
        if one["name"] != "CODE" and "oname" in one and int(one["size"], 16)
    ]
    if others:
        raise RoutineError.at(
            name, None, ".org", f"stands beside the segment {others[0]}", "use one of the two"
        )
    pieces: list[tuple[int, int]] = []
    segment, before, offset, fresh = "CODE", ["CODE"], 0, True
    for row, after in pairwise([*rows, rows[-1]]):
        moved = _MOVE.match(row[4])
        if moved is not None:
            word, fresh = moved[1].lower(), True
            if word == "pushseg":
                before.append(segment)
            elif word == "popseg":
                segment = before.pop()
            elif word not in ("org", "reloc"):
                segment = moved[2] or word.upper()
        elif segment == "CODE":
            at = int(row[1], 16)
            # What a macro makes is not listed: the next row says how far it went.
            grown = max(int(after[1], 16) - at, len(row[3].split()))
            if fresh and grown:
                pieces.append((offset, -1))
                fresh = False
            if grown and "x" not in row[3] and pieces[-1][1] < 0:
                start = offset - pieces[-1][0]
                pieces[-1] = pieces[-1][0], at - start + (_ORIGIN if row[2] == "r" else 0)
            offset += grown
    return pieces


def _lines_of(
    tables: Mapping[str, Mapping[str, Mapping[str, str]]],
    pieces: Sequence[tuple[int, int]],
    path: Path,
    sources: dict[str, str],
) -> dict[int, tuple[str, int]]:
    """File and line by address, as ld65 says; ``sources`` is filled with what was included."""
    found = []
    for line in tables["line"].values():
        for span in filter(None, line.get("span", "").split("+")):
            one = tables["span"][span]
            segment = tables["seg"][one["seg"]]
            if "oname" in segment:
                offset = int(segment["ooffs"]) + int(one["start"])
                place, start = pieces[bisect_right(pieces, (offset, 0x10000)) - 1]
                # The narrowest says most: of a macro the line in it, not the one that calls it.
                if start >= 0:
                    found.append((start + offset - place, int(one["size"]), line))
    lines: dict[int, tuple[str, int]] = {}
    for at, _, line in sorted(found, key=lambda one: one[:2]):
        called = Path(tables["file"][line["file"]]["name"])
        file = str(path if called == Path(path.name) else path.parent / called)
        if file not in sources:
            sources[file] = _text(Path(file)) if Path(file).is_file() else ""
        lines.setdefault(at, (file, int(line["line"])))
    return lines


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
        line, why = (int(found[2]), found[3]) if found else (None, said[0])
        if found and Path(found[1]) != Path(Path(name).name):
            name = str(Path(name).parent / found[1])
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
    listing: str, segments: tuple[tuple[int, bytes], ...], file: str, *, marked: bool = False
) -> Mapping[int, tuple[str, int]]:
    """File and line by address: of the listing itself, or of the source that `_marked` wrote.

    ``file`` is the name of either.
    """
    memory = {at + n: byte for at, code in segments for n, byte in enumerate(code)}
    lines: dict[int, tuple[str, int]] = {}
    for number, row in enumerate(map(_ROW.fullmatch, listing.splitlines()), 1):
        if row is None:
            continue
        place = _PLACE.search(row["text2"] or "") if marked else None
        if marked and place is None:  # of an included file
            continue
        at = int(row["at"] or row["at2"], 16) + (segments[0][0] if row["moves"] else 0)
        code = (row["code"] or row["code2"]).split()
        if all(byte == "rr" or memory.get(at + n) == int(byte, 16) for n, byte in enumerate(code)):
            lines.setdefault(at, (file, number if place is None else int(place[1])))
    return lines


def source_in(listing: str) -> str:
    """The source that a listing repeats beside the code, line by line; other lines are empty."""
    rows = map(_ROW.fullmatch, listing.splitlines())
    return "\n".join((row["text"] or row["text2"] or "").strip() if row else "" for row in rows)


def _marked(text: str) -> str:
    """A source that says in each line, behind a comment, which it is: its listing does not."""
    return "".join(f"{line} ;line{n}\n" for n, line in enumerate(text.splitlines(), 1))
