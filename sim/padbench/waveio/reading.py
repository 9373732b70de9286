"""Captures and whole waves from files; of which kind a capture is, is seen from its first bytes.

with open_capture(Path("bench.vcd")) as scan:     # a `VcdScan` or a `CsvScan`
    for piece in scan.pieces(...): ...
timeline = read_wave(Path("waves/idle.vcd"))      # all of it, with words, events and notes
"""

import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import numpy as np

from padbench.core.levels import UNKNOWN
from padbench.core.timeline import Timeline, Wire, Word
from padbench.waveio.arrays import ArrayScan, is_array
from padbench.waveio.csv_scan import CsvScan
from padbench.waveio.stream import CaptureFile, Piece, WaveError, open_bytes
from padbench.waveio.vcd_header import Variable
from padbench.waveio.vcd_out import LOOSE, NOTE
from padbench.waveio.vcd_scan import Pick, VcdScan

_PULLED = str.maketrans("hlHL", "1010")
"""Pulled up and down, in files that come from VHDL."""


@contextmanager
def open_capture(
    file: CaptureFile, step: Callable[[int, int], None] = lambda *_: None
) -> Iterator[VcdScan | CsvScan]:
    """Open VCD, CSV, arrays or sound, plain or gzip; ``step`` is told of bytes taken, of how many.

    Raises `WaveError` if it is neither, or its beginning cannot be used.
    """
    with open_bytes(file, step) as stream:
        head = stream.peek().removeprefix(b"\xef\xbb\xbf").lstrip()
        if is_array(stream.peek()):
            yield ArrayScan(stream)
        else:
            yield VcdScan(stream) if head.startswith(b"$") else CsvScan(stream)


def read_wave(path: CaptureFile) -> Timeline:
    """Read a whole wave from a VCD file of any writer, plain or gzip.

        timeline = padbench.read_wave("waves/each-button.vcd")
        timeline.wires["cable.data"].falls()         # picoseconds

    A one-bit variable becomes a wire, a wider one or a ``reg`` with the range ``[0:0]`` a word,
    of which a value with any bit not known is None; ``console.note`` becomes notes. Real and
    string variables are left out. Any timescale will do; finer times than a picosecond are
    rounded. Each wire and word has an entry at time 0, UNKNOWN or None if the file gives no value
    there. Values before the first time count at 0; ``$dumpvars`` and its like trigger no event.
    The last time is the end.

    Raises `WaveError`, a line with file and place, for a file that cannot be read or is no whole
    VCD file. For CSV and for long captures see `padbench.inspect`.
    """
    with open_bytes(path) as stream:
        scan = VcdScan(stream)
        variables = _named(scan.variables, stream.name)
        picks = {
            name: Pick(variable, whole=variable.kind != "event" and _is_word(variable))
            for name, variable in variables.items()
        }
        pieces = list(scan.pieces(picks, whole=True))
        name = stream.name
    if pieces[-1].broken_off is not None:
        what = "the file breaks off here; it should end with a whole value or time"
        raise WaveError(f"{name}: {pieces[-1].broken_off}: {what}")
    wires, words, events = {}, {}, {}
    notes: tuple[tuple[int, str], ...] = ()
    for own, variable in variables.items():
        if variable.kind == "event":
            moments = [piece.events[own] for piece in pieces if own in piece.events]
            events[own] = np.unique(np.concatenate([np.zeros(0, np.int64), *moments]))
            continue
        times, values = _changes(pieces, own)
        if own == NOTE and not variable.size % 8:
            notes = _notes(times, values, name)
        elif picks[own].whole:
            numbers = [None, *map(_number, values)]
            words[own] = Word.of(variable.size, zip([0, *times], numbers, strict=True))
        else:
            wires[own] = Wire.from_arrays([0, *times], [UNKNOWN, *values])
    return Timeline(pieces[-1].end_ps, wires, words, events, notes)


def _named(variables: tuple[Variable, ...], file: str) -> dict[str, Variable]:
    """Those that have levels, under the names that a timeline gives them."""
    named: dict[str, Variable] = {}
    for variable in variables:
        if "real" in variable.kind or variable.kind == "string" or not variable.size:
            continue
        name, span = variable.name, (variable.high, variable.low)
        if variable.size > 1 and span not in ((None, None), (variable.size - 1, 0)):
            name += f"[{span[0]}:{span[1]}]"
        elif variable.size == 1 and _is_word(variable):
            name = name.removesuffix("[0:0]")
        if name.count(".") == 1:
            name = name.removeprefix(f"{LOOSE}.")
        if named.setdefault(name, variable).code != variable.code:
            what = f"{name}: is declared twice; each variable should have its own name"
            raise WaveError(f"{file}: {what}".encode("unicode_escape").decode())
    return named


def _is_word(variable: Variable) -> bool:
    """The range tells a word of one bit from a wire, as `write_wave` writes them."""
    return variable.size > 1 or (
        variable.kind == "reg" and re.search(r"\[0:0\]\Z", variable.name) is not None
    )


def _changes(pieces: list[Piece], name: str) -> tuple[list[int], list[Any]]:
    parts = [piece.changes[name] for piece in pieces if name in piece.changes]
    times: list[int] = [at for part, _ in parts for at in part.tolist()]
    values: list[Any] = [value for _, part in parts for value in part.tolist()]
    return times, values


def _number(bits: object) -> int | None:
    """The value, or None if a bit is not known; digits left out before 0 or 1 are 0 (18.2)."""
    plain = str(bits).translate(_PULLED)
    return None if plain.strip("01") else int(plain, 2)


def _notes(times: list[int], values: list[Any], file: str) -> tuple[tuple[int, str], ...]:
    """The text of each value that is one; a moment of x only tells equal ones apart."""
    numbers = zip(times, map(_number, values), strict=True)
    try:
        return tuple((at, _text(number)) for at, number in numbers if number is not None)
    except UnicodeDecodeError:
        what = "a note that is no text; it should hold UTF-8 characters"
        raise WaveError(f"{file}: {NOTE}: {what}") from None


def _text(number: int) -> str:
    return number.to_bytes((number.bit_length() + 7) // 8).decode()
