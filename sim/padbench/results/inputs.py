"""The files that a result depends on, as text: what is no text is shown as a hex dump.

    Input.of("my-read.bin", raw)

The dump has the form that ``xxd`` writes, and ``xxd -r`` turns it into the file again (common
practice); so a page that shows it is enough to repeat a run.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path

LONGEST = 1 << 20
"""Bytes of one text that is shown, as many as a sheet may have; a long capture is no reading."""

_LONGEST_DUMP = 0x10000
"""Bytes of a file that is no text; a 6502 has no more memory."""


@dataclass(frozen=True, slots=True)
class Input:
    """Name, text and SHA-256 of a file's bytes; ``about`` says what the text is if not the file."""

    name: str
    text: str
    digest: str
    about: str = ""

    @classmethod
    def of(cls, name: str, raw: bytes) -> "Input":
        """From a file's bytes; what is named .bin is machine code, and no text."""
        digest = sha256(raw).hexdigest()
        is_text = not name.lower().endswith(".bin") and len(raw) <= LONGEST
        text = _as_text(raw) if is_text else None
        if text is not None:
            return cls(name, text, digest)
        if len(raw) > _LONGEST_DUMP:
            return cls(name, "", digest, _too_long(len(raw)))
        about = "A hex dump; xxd -r makes the file of it."
        return cls(name, "\n".join(_dump(raw)), digest, about)


def input_of(path: Path) -> Input | None:
    """A file by its path, None if it is none to be read (a shipped routine is no file).

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
    return Input.of(path.name, path.read_bytes())


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
        pairs = part.hex(" ", -2)
        signs = "".join(chr(one) if 0x20 <= one < 0x7F else "." for one in part)
        yield f"{start:08x}: {pairs:<39}  {signs}"
