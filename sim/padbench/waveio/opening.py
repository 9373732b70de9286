"""Opening a capture of either kind; what it is, is seen from its first bytes."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from padbench.waveio.csv_scan import CsvScan
from padbench.waveio.stream import open_bytes
from padbench.waveio.vcd_scan import VcdScan

__all__ = ["open_capture"]


@contextmanager
def open_capture(
    path: Path, step: Callable[[int], None] = lambda _: None
) -> Iterator[VcdScan | CsvScan]:
    """Open a VCD or CSV file, plain or gzip; ``step`` is told of bytes taken from the disk.

    Raises `WaveError` if it is neither, or its beginning cannot be used.
    """
    with open_bytes(path, step) as stream:
        head = stream.peek().removeprefix(b"\xef\xbb\xbf").lstrip()
        yield VcdScan(stream) if head.startswith(b"$") else CsvScan(stream)
