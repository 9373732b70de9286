"""Read routines from files (.asm, .hex, .bin) and the shipped ones.

routine = load_routine("my-read.asm", result="buttons")
routine = load_routine("read-twice")
"""

import difflib
import io
import re
import stat
from importlib.resources import files
from pathlib import Path

from padbench.files import was_read
from padbench.routines.assembly import assemble
from padbench.routines.cross import Assembler, cross_assembled, labels_in, lines_in, source_in
from padbench.routines.routine import PORTS, Assembled, Place, Routine, RoutineError

SHIPPED = (
    "read-once",
    "read-twice",
    "read-until-agree",
    "read-in-step",
    "read-once-both",
    "read-twice-both",
    "read-until-agree-both",
)
"""Shipped routines; their source lies in ``shipped/``."""

RESULT_NOTE = re.compile(r";\s*padbench: result (\S+)")
"""A comment by which a source says itself where its result stands."""

_LARGEST_TEXT = 1 << 20
_ORIGIN = 0x8000
_NUMBER = re.compile(r"(?:\$|0[xX])([0-9A-Fa-f]{1,4})|([0-9]{1,5})")


def number(text: str) -> int | None:
    """An address as ``$4016``, ``0x4016`` or ``16406``; None for anything else."""
    match = _NUMBER.fullmatch(text.strip())
    if match is None:
        return None
    value = int(match[1], 16) if match[1] else int(match[2])
    return value if value <= 0xFFFF else None


def load_routine(
    what: str,
    *,
    entry: str | None = None,
    origin: int | None = None,
    result: str | None = None,
    ports: tuple[int, int] = PORTS,
    assembler: Assembler | None = None,
    text: str | None = None,
) -> Routine:
    """A shipped routine by name, or one from a file; the ending says what kind it is.

    ``entry`` is a label or an address (default: the first byte), ``origin`` where a .bin lies
    (default $8000), ``result`` A, an address or a label, or two of them with a comma, one for each
    pad (default what a comment ``; padbench: result PLACE`` of the source says, else A). With an
    ``assembler`` the file is source for that program. Of a .bin or .hex the labels and lines come
    from a symbol file (.lbl or .sym) and a listing (.lst) of the same name beside it, where they
    are. A ``text`` is taken for the source that the file has.

    Raises `RoutineError` with file, line, what is wrong and what would be right.
    """
    if what in SHIPPED:
        text = text or shipped_source(what) or ""
        return routine_from_source(text, what, entry=entry, result=result, ports=ports)
    path = Path(what)
    kind = path.suffix.lower()
    if not what.strip():
        raise RoutineError("no routine is named; give a .asm, .bin or .hex file, or a shipped one")
    if assembler is not None:
        text = text or _text(_read(path), what)
        return _routine(cross_assembled(assembler, text, path), what, entry, result, ports)
    if kind not in (".asm", ".hex", ".bin"):
        near = difflib.get_close_matches(what[:80], SHIPPED, 1)
        raise RoutineError.at(
            what,
            None,
            "",
            "is neither a shipped routine nor a file with a known ending",
            f"did you mean {near[0]}?"
            if near
            else "name a .asm, .bin or .hex file, one of " + ", ".join(SHIPPED) + ", or an "
            "--assembler",
        )
    if origin is not None and kind != ".bin":
        raise RoutineError.at(
            what, None, "--origin", "is for a .bin only", "this file says itself where it lies"
        )
    if text is not None and kind == ".asm":
        return routine_from_source(text, what, entry=entry, result=result, ports=ports)
    raw = _read(path)
    if kind == ".asm":
        return routine_from_source(_text(raw, what), what, entry=entry, result=result, ports=ports)
    segments = _hex(raw, what) if kind == ".hex" else _bin(raw, what, origin)
    return _routine(_with_notes(segments, path), what, entry, result, ports)


def _with_notes(segments: tuple[tuple[int, bytes], ...], path: Path) -> Assembled:
    """Machine code with the labels and lines of the files beside it."""
    beside = {ending: path.with_suffix(ending) for ending in (".lbl", ".sym", ".lst")}
    texts = {
        ending: _text(_read(file), str(file)) for ending, file in beside.items() if file.is_file()
    }
    labels = labels_in("\n".join(texts.get(ending, "") for ending in (".lst", ".lbl", ".sym")))
    if (listing := texts.get(".lst")) is None:
        return Assembled(segments, labels)
    name = str(beside[".lst"])
    return Assembled(
        segments, labels, lines_in(listing, segments, name), {name: source_in(listing)}
    )


def shipped_source(name: str) -> str | None:
    """The assembly source of a shipped routine; None for any other name."""
    if name not in SHIPPED:
        return None
    return (files(__package__) / "shipped" / f"{name}.asm").read_text(encoding="utf-8")


def routine_from_source(
    text: str,
    name: str,
    *,
    entry: str | None = None,
    result: str | None = None,
    ports: tuple[int, int] = PORTS,
) -> Routine:
    """A routine from assembly source; ``name`` stands for the file in messages. `RoutineError`."""
    return _routine(assemble(text, name, _included), name, entry, result, ports)


def _included(path: Path) -> str:
    if not path.exists():
        raise FileNotFoundError(path)
    return _text(_read(path), str(path))


def _routine(
    code: Assembled, name: str, entry: str | None, result: str | None, ports: tuple[int, int]
) -> Routine:
    start = code.segments[0][0] if entry is None else _address(code, name, entry, "--entry")
    if result is None and (note := RESULT_NOTE.search(code.sources.get(name, ""))):
        result = note[1]
    places: list[Place] = [
        "A" if word.strip().upper() == "A" else _address(code, name, word.strip(), "--result")
        for word in ("A" if result is None else result).split(",")
    ]
    return Routine(
        name, code.segments, start, tuple(places), ports, code.labels, code.lines, code.sources,
        named=result is not None,
    )  # fmt: skip


def _address(code: Assembled, name: str, text: str, option: str) -> int:
    value = number(text)
    value = code.labels.get(text) if value is None else value
    if value is None:
        near = difflib.get_close_matches(text[:80], code.labels, 1)
        known = f"did you mean {near[0]}?" if near else "give an address such as $0010"
        raise RoutineError.at(
            name, None, f"{option} {text[:60]!r}", "is neither an address nor a label", known
        )
    return value


def _read(path: Path) -> bytes:
    """The bytes of a regular file of at most 1 MiB."""
    try:
        about = path.stat()
        # Looked at before opening: opening a pipe would wait for a writer.
        if not stat.S_ISREG(about.st_mode):
            raise _bad(path, "is not a file", "name a .asm, .bin or .hex file")
        with path.open("rb") as file:
            raw = file.read(_LARGEST_TEXT + 1)
    except FileNotFoundError:
        shipped = ", ".join(SHIPPED)
        raise _bad(path, "there is no such file", f"name one that is, or {shipped}") from None
    except (OSError, ValueError) as error:  # ValueError: a NUL in the name
        if isinstance(error, RoutineError):
            raise
        why = getattr(error, "strerror", None) or "no name of a file"
        raise _bad(path, f"cannot be read ({why})", "name a file that you may read") from None
    if len(raw) > _LARGEST_TEXT:
        raise _bad(path, "is larger than 1 MiB", "a routine has a few hundred bytes")
    was_read(path)
    if not raw:
        raise _bad(path, "is empty", "name a routine")
    return raw


def _bad(path: Path, wrong: str, instead: str) -> RoutineError:
    return RoutineError.at(str(path), None, "", wrong, instead)


def _text(raw: bytes, name: str) -> str:
    try:
        return raw.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        raise RoutineError.at(
            name, line, f"byte 0x{raw[error.start]:02X}", "is not UTF-8", "save it as UTF-8 text"
        ) from None


def _bin(raw: bytes, name: str, origin: int | None) -> tuple[tuple[int, bytes], ...]:
    start = _ORIGIN if origin is None else origin
    if start + len(raw) > 0x10000:
        raise RoutineError.at(
            name,
            None,
            f"{len(raw)} bytes from ${start:04X}",
            "run over the end of memory",
            "give a lower --origin or a shorter file",
        )
    return ((start, raw),)


def _hex(raw: bytes, name: str) -> tuple[tuple[int, bytes], ...]:
    from intelhex import IntelHex, IntelHexError  # noqa: PLC0415  (only a .hex needs it)

    book = IntelHex()
    try:
        book.loadhex(io.StringIO(_text(raw, name)))
    except IntelHexError as error:
        line = getattr(error, "line", None)
        why = re.sub(r" (at|on) line \d+", "", str(error))[:200]
        raise RoutineError.at(
            name,
            line if isinstance(line, int) else None,
            "",
            f"is not Intel HEX ({why[:1].lower()}{why[1:]})",
            "write it anew with the tool that made it",
        ) from None
    segments = tuple((at, bytes(book.tobinarray(at, end - 1))) for at, end in book.segments())
    if not segments:
        raise RoutineError.at(name, None, "", "holds no data", "name a routine")
    if segments[-1][0] + len(segments[-1][1]) > 0x10000:
        raise RoutineError.at(
            name, None, "its data", "lies beyond $FFFF", "link it for the 6502's 64 KiB"
        )
    return segments
