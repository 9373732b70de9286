"""Bytes of a capture in blocks, plain or gzip, with a count of what was taken from the disk."""

import gzip
import os
import zlib
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import IO

from padbench.files import was_read
from padbench.waveio.capture import WaveError

__all__ = ["BLOCK", "ByteStream", "open_bytes"]

BLOCK = 1 << 20
"""Bytes of one block: small enough for the processor's cache to be of use, large enough that the
work for each block does not count (measured)."""

_GZIP = b"\x1f\x8b"


@dataclass(slots=True)
class ByteStream:
    """An open capture. ``size`` is that of the file in bytes, 0 if it has none (a pipe)."""

    name: str
    size: int
    broken: str | None
    _some: Callable[[int], bytes]
    _into: Callable[[memoryview], int]
    _disk: IO[bytes]
    _step: Callable[[int], None]
    _taken: int = 0
    _held: bytes = b""

    def peek(self) -> bytes:
        """Some of what the next `read` gives, without taking it."""
        if not self._held:
            self._held = self.read(1 << 12)
        return self._held

    def read(self, count: int = BLOCK) -> bytes:
        """Up to ``count`` bytes, empty at the end.

        A gzip file that breaks off ends early, and ``broken`` then says so.
        """
        held, self._held = self._held[:count], self._held[count:]
        if self.broken is not None:
            return held
        parts: list[bytes] = [held] if held else []
        missing = count - len(held)
        try:
            while missing and (part := self._some(missing)):
                parts.append(part)
                missing -= len(part)
        except (EOFError, zlib.error, gzip.BadGzipFile) as error:
            self.broken = f"the compressed data break off or are damaged ({error})"
        except OSError as error:
            raise WaveError(f"{self.name}: {error.strerror}; name a file to be read") from None
        self._report()
        return parts[0] if len(parts) == 1 else b"".join(parts)

    def read_into(self, place: memoryview) -> int:
        """As `read`, into memory that is there already: how many bytes came, 0 at the end."""
        count = min(len(self._held), len(place))
        place[:count], self._held = self._held[:count], self._held[count:]
        if self.broken is not None:
            return count
        try:
            while count < len(place) and (more := self._into(place[count:])):
                count += more
        except (EOFError, zlib.error, gzip.BadGzipFile) as error:
            self.broken = f"the compressed data break off or are damaged ({error})"
        except OSError as error:
            raise WaveError(f"{self.name}: {error.strerror}; name a file to be read") from None
        self._report()
        return count

    def _report(self) -> None:
        if self.size:
            now = self._disk.tell()
            self._step(now - self._taken)
            self._taken = now


@contextmanager
def open_bytes(path: Path, step: Callable[[int], None] = lambda _: None) -> Iterator[ByteStream]:
    """Open a capture; gzip is known by its first bytes, not by its name.

    ``step`` is told how many bytes of the file were taken since the last time.
    Raises `WaveError` if the file cannot be opened.
    """
    try:
        # A FIFO that nobody writes to would be waited for without end; opened so, it is empty.
        handle = os.open(path, os.O_RDONLY | os.O_NONBLOCK)
        os.set_blocking(handle, True)
        disk = os.fdopen(handle, "rb")
    except OSError as error:
        raise WaveError(f"{path}: {error.strerror}; name a capture that can be read") from None
    was_read(path)
    with disk:
        try:
            packed = disk.peek(2)[:2] == _GZIP
        except OSError as error:
            raise WaveError(f"{path}: {error.strerror}; name a capture that can be read") from None
        size = path.stat().st_size if disk.seekable() else 0
        if packed:
            # `read1` hands on what was unpacked before data that are damaged; `read` would lose it.
            unpacked = gzip.GzipFile(fileobj=disk)
            stream = ByteStream(
                str(path), size, None, unpacked.read1, unpacked.readinto1, disk, step
            )
        else:
            stream = ByteStream(str(path), size, None, disk.read, disk.readinto, disk, step)
        yield stream
