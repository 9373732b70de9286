"""The test that runs inside the simulator: plays a job's runs and writes what the wires did.

A record a line: ``{"fault": ...}`` for a design that does not fit, ``{"system-clock": ...}`` for
the system clock's phase, then one for each run as soon as it is over, so that a run that never
ends takes nothing from those before it.
"""

import json
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import cocotb

from padbench.cosim.grid import GRID
from padbench.cosim.job import RECORDS, Job, PadRun
from padbench.cosim.monitor import WireMonitor
from padbench.cosim.polls import play_polls
from padbench.cosim.ports import Misfit, Ports, power_up
from padbench.cosim.timed import PrecisionError, now_ps, play, steps, wait_until

FOLDER = "PADBENCH_JOB"
"""Environment variable that says where job and records lie."""


@cocotb.test()
async def bench(dut: Any) -> None:
    """Everything, in one simulation."""
    folder = Path(os.environ[FOLDER])
    job = Job.read(folder)
    with (folder / RECORDS).open("a") as out:

        def write(record: dict[str, Any]) -> None:
            out.write(json.dumps(record) + "\n")
            out.flush()

        try:
            steps(GRID)
            ports = Ports(dut, job)
        except Misfit as misfit:
            write(misfit.record)
            return
        except PrecisionError as error:
            says = f"{error}; it should be 1 ns or finer: see the `timescale of the sources"
            write({"fault": {"key": "sources", "says": says, "instead": ""}})
            return
        await (_pad if job.role == "pad" else play_polls)(job, ports, write)
        write({"done": True})


async def _pad(job: Job, ports: Ports, write: Callable[[dict[str, Any]], None]) -> None:
    first = [("latch", 0), ("clock", 1), ("serial", job.serial)]
    for role, level in first:
        for _, handle, value in ports.setters((0, role, level)):
            handle.value = value
    for _, handle, value in ports.setters((0, "buttons", (1 << job.widths["buttons"]) - 1)):
        handle.value = value
    await power_up(job, ports, write)
    monitor = WireMonitor(
        {"data": ports.get("data")}, inverted=["data"] if ports.turned("data") else []
    )
    for run in job.pad_runs:
        base = -(-now_ps() // GRID) * GRID + GRID
        await wait_until(base)
        monitor.take()
        await _play_pad(run, ports)
        await wait_until(base + run.end)
        times, levels = monitor.take()["data"]
        write({"run": run.name, "base": base, "data": [times, levels]})


async def _play_pad(run: PadRun, ports: Ports) -> None:
    await play(setter for action in run.actions for setter in ports.setters(tuple(action)))
