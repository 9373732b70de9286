"""What the readers of captures share: bytes in, pieces out, volts to levels, errors with a place.

A capture is read as a stream of `Piece`s, each a stretch of time. Whoever takes them keeps what
is needed and lets the rest go, so memory does not grow with the file.
"""

import gzip
import io
import os
import re
import select
import zlib
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import IO, Any

import numpy as np
from numpy.typing import NDArray

from padbench.core.levels import HIGH, LOW, UNKNOWN
from padbench.core.timeline import Times
from padbench.files import was_read

BLOCK = 1 << 20
"""Bytes of one block: small enough for the processor's cache to be of use, large enough that the
work for each block does not count (measured)."""

_NO_WAIT: int = getattr(os, "O_NONBLOCK", 0)  # Unix alone has it
_SELECTS = os.name != "nt"
"""Whether a pipe can be asked if there is something in it; on Windows Ctrl-C waits for more."""
_GZIP = b"\x1f\x8b"

CaptureFile = Path | str | IO[bytes] | IO[str]
"""A path, or an open file, of bytes or of text."""

Changes = tuple[Times, NDArray[Any]]
"""Times (picoseconds, never falling) and the levels (uint8) a wire then has; of one length.

Of a `Pick` of a whole value, what stands in the file instead of levels, as text.
"""


Points = tuple[NDArray[np.float64], NDArray[np.float64]]
"""Seconds, never falling, and volts."""


class Follow(io.RawIOBase):
    """An open file that somebody still writes to; ends where it does, or once ``stopped``."""

    name = "standard input"
    live = True

    def __init__(self, handle: int) -> None:
        """``handle`` is that of the operating system."""
        self._handle = handle
        self.stopped = False

    def readable(self) -> bool:
        """It is."""
        return True

    def readinto(self, place: Any) -> int:
        """As soon as there is something."""
        while not self.stopped:
            if not _SELECTS or select.select([self._handle], [], [], 0.1)[0]:
                some = os.read(self._handle, len(place))
                place[: len(some)] = some
                return len(some)
        return 0


class WaveError(ValueError):
    """A wave file that cannot be used: ``file: line: what is wrong; what would be right``."""


@dataclass(frozen=True, slots=True)
class Piece:
    """A stretch of a capture, from the end of the piece before up to ``end_ps``.

    ``changes`` has the chosen wires under the names they were asked for; a volts channel has its
    zone here (LOW, HIGH, or UNKNOWN between the thresholds). ``events`` are moments without a
    level. ``gaps`` are (start, end) in picoseconds in which the writer recorded nothing.
    ``broken_off`` says at which place the file ends in the middle of something, in the last piece
    only. ``volts`` has the least and the greatest voltage of channels that were followed for that.
    ``analogue`` has the points (seconds, volts) of wires in volts, between which they run straight.
    ``apart_ps`` is from one sample to the next where they are evenly spaced, 0 where nobody knows.
    ``same_time`` is how many rows so far had the time of the row before, and of how many;
    ``left_out`` how many lines of text among the rows were left out, and the first of them.
    ``anew`` are the times (ps) at which a segment begins that nobody knows how long after the last.
    """

    end_ps: int
    changes: Mapping[str, Changes]
    events: Mapping[str, Times] = field(default_factory=dict)
    gaps: tuple[tuple[int, int], ...] = ()
    broken_off: str | None = None
    volts: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    analogue: Mapping[str, Points] = field(default_factory=dict)
    apart_ps: int = 0
    same_time: tuple[int, int] = (0, 0)
    left_out: tuple[int, str] = (0, "")
    anew: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Thresholds:
    """In volts. At or below ``low`` a line is low, at or above ``high`` it is high."""

    low: float
    high: float

    def zones(self, volts: NDArray[np.float64]) -> NDArray[np.uint8]:
        """LOW, HIGH, or UNKNOWN for a voltage between the thresholds; same shape."""
        zones = np.full(volts.shape, UNKNOWN, np.uint8)
        zones[volts <= self.low] = LOW
        zones[volts >= self.high] = HIGH
        return zones


THRESHOLDS = Thresholds(1.5, 3.5)
"""B-series inputs at 5 V: low at most 1.5 V, high at least 3.5 V (JEDEC JESD13-B)."""


@dataclass(slots=True)
class ByteStream:
    """An open capture. ``size`` is that of the file in bytes, 0 if it has none (a pipe).

    One that is ``live`` gives what there is, and waits only where there is nothing.
    """

    name: str
    size: int
    broken: str | None
    _some: Callable[[int], bytes]
    _into: Callable[[memoryview], int]
    _disk: IO[bytes]
    _step: Callable[[int, int], None]
    _held: bytes = b""
    live: bool = False

    def peek(self) -> bytes:
        """Some of what the next `read` gives, without taking it."""
        if not self._held:
            self._held = self.read(1 << 12)
            while self.live and b"\n" not in self._held and (more := self.read(1 << 12)):
                self._held += more
        return self._held

    def read(self, count: int = BLOCK) -> bytes:
        """Up to ``count`` bytes, empty at the end.

        A gzip file that breaks off ends early, and ``broken`` then says so.
        """
        held, self._held = self._held[:count], self._held[count:]
        parts: list[bytes] = [held] if held else []
        missing = 0 if held and self.live else count - len(held)
        with self._guarded():
            while missing and self.broken is None and (part := self._some(missing)):
                parts.append(part)
                missing = 0 if self.live else missing - len(part)
        return parts[0] if len(parts) == 1 else b"".join(parts)

    def read_into(self, place: memoryview) -> int:
        """As `read`, into memory that is there already: how many bytes came, 0 at the end."""
        count = min(len(self._held), len(place))
        place[:count], self._held = self._held[:count], self._held[count:]
        with self._guarded():
            while (
                count < len(place)
                and not (count and self.live)
                and self.broken is None
                and (more := self._into(place[count:]))
            ):
                count += more
        return count

    def rewritten(
        self,
        how: Callable[[bytes, bool], bytes],
        signs: tuple[bytes, bytes | Callable[[re.Match[bytes]], bytes]] | None = None,
    ) -> "ByteStream":
        """What ``how`` makes of each block (it is told of the last), as a stream of its own.

        ``signs``, a pattern and what takes its place, is applied to whole lines.
        """
        left = tail = b""
        ended = False

        def some(count: int) -> bytes:
            nonlocal left, tail, ended
            while not left and not ended:
                block = self.read(max(count, 1 << 12))
                ended = not block
                left = tail + how(block, ended)
                if signs is not None:
                    whole = len(left) if ended else left.rfind(b"\n") + 1
                    left, tail = left[:whole], left[whole:]
                    left = re.sub(signs[0], signs[1], re.sub(rb"(?m)^ +| +(?=\r?$)", b"", left))
            part, left = left[:count], left[count:]
            plain.broken = None if part else self.broken
            return part

        def into(place: memoryview) -> int:
            part = some(len(place))
            place[: len(part)] = part
            return len(part)

        plain = replace(self, size=0, _some=some, _into=into, _held=b"")
        return plain

    @contextmanager
    def _guarded(self) -> Iterator[None]:
        """What comes before data that are damaged is kept."""
        try:
            yield
        except (EOFError, zlib.error, gzip.BadGzipFile) as error:
            self.broken = f"the compressed data break off or are damaged ({error})"
        except OSError as error:
            raise WaveError(f"{self.name}: {error.strerror}; name a file to be read") from None
        if self.size:
            self._step(self._disk.tell(), self.size)


def name_of(file: CaptureFile) -> str:
    """What messages call a file: its path, or the name that an open file has."""
    if isinstance(file, Path | str):
        return str(file)
    name = getattr(file, "name", None)
    return name if isinstance(name, str) else "the capture"


@contextmanager
def open_bytes(
    file: CaptureFile, step: Callable[[int, int], None] = lambda *_: None
) -> Iterator[ByteStream]:
    """Open a capture; gzip is known by its first bytes, not by its name.

    ``step`` is told how many bytes of the file were taken, and of how many, where that is known. A
    file that is open already is read from where it stands, and stays open.
    Raises `WaveError` if the file cannot be opened.
    """
    name = name_of(file)
    try:
        disk, size = _opened(file)
        packed = disk.peek(2)[:2] == _GZIP
    except OSError as error:
        says = error.strerror or str(error)
        raise WaveError(f"{name}: {says}; name a capture that can be read") from None
    try:
        if packed:
            # `read1` hands on what was unpacked before data that are damaged; `read` would lose it.
            unpacked = gzip.GzipFile(fileobj=disk)
            yield ByteStream(name, size, None, unpacked.read1, unpacked.readinto1, disk, step)
        elif getattr(file, "live", False):
            some, into = disk.read1, disk.readinto1
            yield ByteStream(name, size, None, some, into, disk, lambda *_: None, live=True)
        else:
            yield ByteStream(name, size, None, disk.read, disk.readinto, disk, step)
    finally:
        if isinstance(file, Path | str):
            disk.close()
        else:
            disk.detach()


def _opened(file: CaptureFile) -> tuple[io.BufferedReader, int]:
    """The file and its size in bytes, 0 if that is not known."""
    if isinstance(file, Path | str):
        # A FIFO that nobody writes to would be waited for without end; opened so, it is empty.
        handle = os.open(file, os.O_RDONLY | _NO_WAIT | getattr(os, "O_BINARY", 0))
        if _NO_WAIT:
            os.set_blocking(handle, True)
        disk = os.fdopen(handle, "rb")
        was_read(Path(file))
        return disk, Path(file).stat().st_size if disk.seekable() else 0
    raw: Any = getattr(file, "buffer", file)
    if isinstance(raw, io.TextIOBase):
        raw = io.BytesIO(raw.read().encode())
    return io.BufferedReader(raw), 0
