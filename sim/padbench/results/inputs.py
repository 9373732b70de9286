"""The files that a result depends on, as text: what is no text is shown as a hex dump.

    Input.of("my-read.bin", raw, origin=0x8000)

The dump has the form that ``xxd`` writes, and ``xxd -r`` turns it into the file again (common
practice); so a page that shows it is enough to repeat a run.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path

LONGEST = 1 << 20
"""Bytes of one text that is shown, as many as a sheet may have; a long capture is no reading."""

_LONGEST_DUMP = 0x10000
"""Bytes of a file that is no text; a 6502 has no more memory."""

_LISTED = 4096
"""Bytes of machine code that are listed; a routine has a few hundred."""


@dataclass(frozen=True, slots=True)
class Input:
    """Name, text and SHA-256 of a file's bytes; ``about`` says what the text is if not the file.

    ``listing`` is the disassembly of machine code, empty for anything else.
    """

    name: str
    text: str
    digest: str
    about: str = ""
    listing: str = ""

    @classmethod
    def of(cls, name: str, raw: bytes, *, origin: int | None = None) -> "Input":
        """From a file's bytes; with an ``origin`` they are machine code that lies there."""
        digest = sha256(raw).hexdigest()
        text = _as_text(raw) if origin is None and len(raw) <= LONGEST else None
        if text is not None:
            return cls(name, text, digest)
        if len(raw) > _LONGEST_DUMP:
            return cls(name, "", digest, _too_long(len(raw)))
        listing = "" if origin is None else disassembled([(origin, raw)])
        about = "A hex dump; xxd -r makes the file of it."
        return cls(name, "\n".join(_dump(raw)), digest, about, listing)


def input_of(path: Path, *, origin: int | None = None) -> Input | None:
    """A file by its path, None if it is none to be read (a shipped routine is no file).

    A .bin is machine code at ``origin``, $8000 if not given (as `padbench.routines.source` has it).
    Of a file too large to be shown (a capture) only name, size and digest are kept.
    """
    if not path.is_file():
        return None
    size = path.stat().st_size
    if size > LONGEST:
        with path.open("rb") as file:
            digest = sha256()
            while block := file.read(1 << 20):
                digest.update(block)
        return Input(path.name, "", digest.hexdigest(), _too_long(size))
    if origin is None and path.suffix.lower() == ".bin":
        origin = 0x8000
    return Input.of(path.name, path.read_bytes(), origin=origin)


def _too_long(size: int) -> str:
    return f"{size} bytes, too many to be shown here: it has to come with the page."


def _as_text(raw: bytes) -> str | None:
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        return None
    return None if "\0" in text else text


def _dump(raw: bytes) -> Iterator[str]:
    for start in range(0, len(raw), 16):
        part = raw[start : start + 16]
        pairs = " ".join(part[at : at + 2].hex() for at in range(0, len(part), 2))
        signs = "".join(chr(one) if 0x20 <= one < 0x7F else "." for one in part)
        yield f"{start:08x}: {pairs:<39}  {signs}"


def disassembled(segments: Iterable[tuple[int, bytes]]) -> str:
    """Machine code as (address, bytes) in lines of one instruction each, from the first byte on.

    Data among the code are listed as code too, and no more than 4096 bytes of a segment.
    """
    from py65.devices.mpu6502 import MPU  # noqa: PLC0415  (only for machine code)
    from py65.disassembler import Disassembler  # noqa: PLC0415

    cpu = MPU()
    shown = Disassembler(cpu)
    lines = []
    for origin, code in segments:
        raw = code[: min(_LISTED, 0x10000 - origin)]
        cpu.memory[origin : origin + len(raw)] = list(raw)
        at = 0
        while at < len(raw):
            size, says = shown.instruction_at(origin + at)
            part = raw[at : at + size]
            lines.append(f"${origin + at:04X}  {part.hex(' '):<8}  {says}")
            at += size
    return "\n".join(lines)
