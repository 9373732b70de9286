"""Timelines from files and to files.

`read_wave` and `write_wave` take whole timelines, with words, events and notes. Captures of any
size are streamed: `open_capture` gives a `VcdScan` or a `CsvScan`, whose ``pieces`` are stretches
of time.
"""

from padbench.waveio.csv_scan import Columns, CsvScan
from padbench.waveio.csv_words import SECONDS, hertz_named, unit_named
from padbench.waveio.reading import open_capture, read_wave
from padbench.waveio.stream import (
    THRESHOLDS,
    CaptureFile,
    Follow,
    Piece,
    Points,
    Thresholds,
    WaveError,
    name_of,
)
from padbench.waveio.vcd_out import write_wave
from padbench.waveio.vcd_scan import Pick, VcdScan

__all__ = [
    "SECONDS",
    "THRESHOLDS",
    "CaptureFile",
    "Columns",
    "CsvScan",
    "Follow",
    "Pick",
    "Piece",
    "Points",
    "Thresholds",
    "VcdScan",
    "WaveError",
    "hertz_named",
    "name_of",
    "open_capture",
    "read_wave",
    "unit_named",
    "write_wave",
]
