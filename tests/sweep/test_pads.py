"""Pad lanes against the MyHDL model, Icarus on a register written here, and plain arithmetic."""

import random
import shutil
import subprocess
from dataclasses import replace

import numpy as np
import pytest

from padbench.decode import decode
from padbench.model.bench import simulate
from padbench.pad import LineDelays, PadModel
from padbench.rules.limits import Limits
from padbench.scenarios.expect import held_state
from padbench.stimulus import ScriptedRead, Stimulus
from padbench.sweep.pad_cases import (
    PAIRS,
    PadPart,
    PadTally,
    count_part,
    moments,
    pad_parts,
    run_part,
)
from padbench.sweep.pad_wave import TIMING, moment_ps, pad_wave
from padbench.sweep.pads import ContactLanes, PadLanes, filled

from padbench.parts import register_part  # isort: skip
