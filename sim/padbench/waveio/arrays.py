"""Captures that are no text: NumPy's ``.npz`` and ``.npy``, and sound files as loggers write them.

    with open_bytes(path) as stream:
        scan = ArrayScan(stream)        # from then on as a `CsvScan`

Of ``.npz`` each array of the usual length is a column by its name, of one with two dimensions
each of its columns; a single number named "rate", "fs" or "dt" says how far apart samples are
(common practice, no source). ``.npy`` has two dimensions, or fields with names. A sound file (RIFF
WAVE, PCM or float) has a column a channel, from -1 to 1, and its rate; what 1 is in volts is for
its user to say. NumPy's files are held in memory as a whole.
"""

import io
import struct
import zipfile
import zlib
from collections.abc import Iterator
from tokenize import TokenError
from typing import Any

import numpy as np
from numpy.typing import NDArray

from padbench.waveio.csv_layout import LONG_AGO, Column, Layout
from padbench.waveio.csv_scan import Columns, CsvScan, Reader, RowFault
from padbench.waveio.csv_words import StatedRate, name_and_unit
from padbench.waveio.stream import ByteStream, Piece, WaveError

_RATES = ("rate", "fs", "sample_rate", "samplerate", "sampling_rate")
_STEPS = ("dt", "interval", "sample_interval", "time_step", "step")
_ROWS = 1 << 16
_MOST = 4096
_MOST_BYTES = 1 << 30
"""Of a NumPy file, also unpacked: some megabytes may hold terabytes."""
_PCM, _FLOAT, _EXTENSIBLE = 1, 3, 0xFFFE
_WIDTHS = {(_PCM, 8): "u1", (_PCM, 16): "<i2", (_PCM, 24): "u1", (_PCM, 32): "<i4"}
_WIDTHS |= {(_FLOAT, 32): "<f4", (_FLOAT, 64): "<f8"}
_NOT_NUMPY = (ValueError, EOFError, OSError, KeyError, TypeError, MemoryError, RuntimeError)

Table = list[NDArray[Any]]


def is_array(head: bytes) -> bool:
    """Whether a file that begins so is one of these."""
    return head.startswith((b"\x93NUMPY", b"PK\x03\x04")) or (
        head[:4] == b"RIFF" and head[8:12] == b"WAVE"
    )


class ArrayScan(CsvScan):
    """Finds the columns at once; the rest as `pieces`."""

    def __init__(self, stream: ByteStream) -> None:
        """Raises `WaveError` for what holds no columns of numbers."""
        self._begun(stream)
        names, hertz, self._tables = (_sound if stream.peek()[:4] == b"RIFF" else _numpy)(stream)
        self._first = next(self._tables, [])
        if not self._first or not len(self._first[0]):
            raise WaveError(f"{stream.name}: no samples; there should be a column a line")
        columns = []
        for name, values in zip(names, self._first, strict=True):
            levels = values.dtype.kind in "iub" and bool(np.isin(values, (0, 1)).all())
            some = np.sort(values[:1000])
            usually = float(some[len(some) // 4]), float(some[-1 - len(some) // 4])
            own = *name_and_unit(name), "levels" if levels else "numbers", usually
            columns.append(Column(own[0], name, *own[1:]))
        rate = None if hertz is None else StatedRate(0, f"{hertz:g} samples a second", hertz)
        self.layout = Layout(",", ".", 0, 1, (*columns,), "utf-8", rate)

    def pieces(self, columns: Columns) -> Iterator[Piece]:
        """As those of a `CsvScan`; a fault is told with its row, counted from 1."""
        from pyarrow import RecordBatch, array, float64, int64  # noqa: PLC0415

        reader = Reader(self.layout, columns)
        bits = {columns.channels[role] for role in columns.bits}
        table: Table | None = self._first
        origin = 0.0
        if (
            columns.time is not None
            and abs(start := float(self._first[columns.time][0])) > LONG_AGO
        ):
            origin = start
        while table is not None:
            cells = {}
            for place in sorted(reader.chosen):
                values, kind = table[place], int64() if place in bits else float64()
                if place == columns.time:
                    values = values - origin
                elif place in bits and values.dtype.kind not in "iub":
                    self._fault(0, "a bit is asked for of numbers that are not whole")
                cells[f"c{place}"] = array(values.astype(kind.to_pandas_dtype()))
            try:
                piece = self._take(reader, [RecordBatch.from_pydict(cells)])
            except RowFault as fault:
                self._fault(fault.row, fault.what)
            if piece is not None:
                yield piece
            table = next(self._tables, None)
        if self._stream.broken is not None and self._now is not None:
            yield Piece(self._now, {}, broken_off=self._stream.broken)

    def _fault(self, row: int, what: str) -> None:
        raise WaveError(f"{self._stream.name}: row {self._rows + row + 1}: {what}")


def _parts(columns: Table) -> Iterator[Table]:
    for first in range(0, len(columns[0]), _ROWS):
        yield [column[first : first + _ROWS] for column in columns]


def _numpy(stream: ByteStream) -> tuple[list[str], float | None, Iterator[Table]]:
    """Names, samples a second if they are told, and the columns in portions."""
    try:
        arrays = _arrays(stream)
    except (*_NOT_NUMPY, zipfile.BadZipFile, zlib.error, SyntaxError, TokenError) as error:
        says = " ".join(str(error).split())[:80] or type(error).__name__
        raise WaveError(f"{stream.name}: no arrays that NumPy can read ({says})") from None
    columns: dict[str, NDArray[Any]] = {}
    hertz = None
    for name, values in arrays.items():
        if values.size == 1 and values.dtype.kind in "iuf" and (number := float(values.flat[0])):
            key = name.casefold()
            hertz = number if key in _RATES else 1 / number if key in _STEPS else hertz
        elif values.dtype.names:
            columns |= {f"{field}": values[field].ravel() for field in values.dtype.names}
        elif values.ndim == 2:
            wide = values if values.shape[0] > values.shape[1] else values.T
            columns |= {f"{name or 'column'} {n + 1}": wide[:, n] for n in range(wide.shape[1])}
        elif values.ndim == 1:
            columns[name or "column 1"] = values
    columns = {name: own for name, own in columns.items() if own.dtype.kind in "biuf"}
    longest = max(map(len, columns.values()), default=0)
    columns = {name: own for name, own in columns.items() if len(own) == longest}
    if not 1 < len(columns) <= _MOST or longest < 2:
        what = "no columns side by side; there should be an array a line, of one length"
        raise WaveError(f"{stream.name}: {what}")
    if hertz is not None and not 1e-3 <= hertz <= 1e12:
        raise WaveError(f"{stream.name}: {hertz:g} samples a second; that is no rate")
    return [*columns], hertz, _parts([*columns.values()])


def _arrays(stream: ByteStream) -> dict[str, NDArray[Any]]:
    """By name; what else lies in the file is left alone. Raises as NumPy does."""
    whole = io.BytesIO()
    while block := stream.read():
        whole.write(block)
        _bounded(whole.tell())
    whole.seek(0)
    loaded = np.load(whole, allow_pickle=False)
    if not isinstance(loaded, np.lib.npyio.NpzFile):
        return {"": loaded}
    if len(loaded.files) > _MOST:
        raise ValueError(f"{len(loaded.files)} arrays; {_MOST} are the most")
    # No more than that is unpacked, whatever an array says of its shape.
    _bounded(sum(one.file_size for one in loaded.zip.infolist()))  # type: ignore[union-attr,misc]
    return {name: own for name, own in loaded.items() if isinstance(own, np.ndarray)}


def _bounded(size: int) -> None:
    if size > _MOST_BYTES:
        raise ValueError(f"more than {_MOST_BYTES >> 30} GiB; give a part of it, or CSV")


def _sound(stream: ByteStream) -> tuple[list[str], float | None, Iterator[Table]]:
    def refuse(what: str) -> WaveError:
        return WaveError(f"{stream.name}: {what}")

    stream.read(12)
    form = None
    while True:
        head = stream.read(8)
        if len(head) < 8:
            raise refuse("no samples; a sound file should have fmt and data")
        size = int.from_bytes(head[4:], "little")
        if head[:4] == b"data":
            break
        body = stream.read(min(size + size % 2, 1 << 24))
        if head[:4] == b"fmt " and len(body) >= 16:
            form = struct.unpack("<HHIIHH", body[:16])
            if form[0] == _EXTENSIBLE and len(body) >= 26:
                form = (int.from_bytes(body[24:26], "little"), *form[1:])
    if form is None:
        raise refuse("samples before their format; fmt should come before data")
    kind, channels, rate, _, _, bits = form
    width = _WIDTHS.get((kind, bits))
    if width is None or not 1 <= channels <= _MOST or not rate:
        raise refuse(f"{channels} channels of {bits} bits, format {kind}; PCM or float can be read")

    def tables() -> Iterator[Table]:
        frame = channels * bits // 8
        left = size if 0 < size < 0xFFFFFFFF else -1
        while left and (block := stream.read(min(_ROWS * frame, left if left > 0 else 1 << 62))):
            left -= len(block) if left > 0 else 0
            raw = np.frombuffer(block[: len(block) // frame * frame], width)
            if bits == 24:
                parts = raw.reshape(-1, 3).astype(np.int32)
                raw = parts[:, 0] << 8 | parts[:, 1] << 16 | parts[:, 2] << 24
            values = raw.astype(np.float64).reshape(-1, channels)
            if kind == _PCM:
                full = 128.0 if bits == 8 else 2.0 ** (31 if bits == 24 else bits - 1)
                values = (values - 128.0 * (bits == 8)) / full
            if len(values):
                yield [*np.ascontiguousarray(values.T)]
        if left > 0 and stream.broken is None:
            stream.broken = f"{left} bytes of samples fewer than it says"

    return [f"channel {n + 1}" for n in range(channels)], float(rate), tables()
