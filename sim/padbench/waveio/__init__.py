"""Timelines from files and to files.

`read_vcd` and `write_vcd` take whole timelines, with words, events and notes. Captures of any size
are streamed: `open_capture` gives a `VcdScan` or a `CsvScan`, whose ``pieces`` are stretches of
time.
"""

from padbench.waveio.capture import Piece, WaveError
from padbench.waveio.csv_scan import Columns, CsvScan
from padbench.waveio.csv_units import SECONDS, unit_named
from padbench.waveio.levels import THRESHOLDS, Thresholds
from padbench.waveio.opening import open_capture
from padbench.waveio.vcd_in import read_vcd
from padbench.waveio.vcd_out import write_vcd
from padbench.waveio.vcd_scan import Pick, VcdScan

__all__ = [
    "SECONDS",
    "THRESHOLDS",
    "Columns",
    "CsvScan",
    "Pick",
    "Piece",
    "Thresholds",
    "VcdScan",
    "WaveError",
    "open_capture",
    "read_vcd",
    "unit_named",
    "write_vcd",
]
