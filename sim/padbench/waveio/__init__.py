"""Timelines from files and to files."""

from padbench.waveio.vcd_in import WaveError, read_vcd
from padbench.waveio.vcd_out import write_vcd

__all__ = ["WaveError", "read_vcd", "write_vcd"]
