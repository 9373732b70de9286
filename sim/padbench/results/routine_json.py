"""A judged read routine as a plain object for ``--json``."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

from padbench.parts import console_names, console_timing
from padbench.routines.engine import Counterexample, SweepCounts
from padbench.routines.frames import lines_of, microseconds_of
from padbench.routines.judge import Measured
from padbench.routines.lengths import SafeLengths

__all__ = ["routine_object", "sweep_object"]


def routine_object(
    name: str,
    console: str,
    measured: Measured,
    verdict: str,
    says: str,
    sweeps: list[SweepCounts],
    safe: SafeLengths | None,
    wave: Path | None,
    replay: Callable[[int, Counterexample], str],
) -> dict[str, Any]:
    """Keys as scripts rely on them; cycles are those of the undisturbed routine.

    ``replay`` gives the command line that plays a counterexample of a fetch period again.
    """
    accesses = measured.run.accesses
    timings = {name: console_timing(name) for name in console_names()}
    return {
        "routine": name,
        "console": console,
        "verdict": verdict,
        "says": says,
        "cycles": measured.most,
        "cycles_least": measured.least,
        "lines": lines_of(measured.most, timings[console]),
        "microseconds": microseconds_of(measured.most, timings[console]),
        "port_reads": [a.cycle for a in accesses if a.kind == "read"],
        "latch_writes": [a.cycle for a in accesses if a.kind == "latch"],
        "on": {
            key: {
                "lines": lines_of(measured.most, timing),
                "microseconds": microseconds_of(measured.most, timing),
            }
            for key, timing in timings.items()
        },
        "sweeps": [sweep_object(sweep, replay) for sweep in sweeps],
        "safe": None
        if safe is None
        else {
            "loop": safe.loop,
            "loops": list(safe.loops),
            "gaps": list(safe.gaps),
            "periods": list(safe.periods),
        },
        "vcd": None if wave is None else str(wave),
    }


def sweep_object(
    sweep: SweepCounts, replay: Callable[[int, Counterexample], str]
) -> dict[str, Any]:
    """One fetch period."""
    return {
        "period": sweep.period,
        "cases": sweep.cases,
        "hit": sweep.hit,
        "corrupt": sweep.corrupt,
        "accepted_wrong": sweep.accepted_wrong,
        "never_settles": sweep.never_settles,
        "kept_old": sweep.kept_old,
        "counterexample": None
        if sweep.counterexample is None
        else _counterexample(sweep.counterexample),
        "counterexamples": [
            {**_counterexample(found), "play": replay(sweep.period, found)}
            for found in sweep.examples
        ],
    }


def _counterexample(found: Counterexample) -> dict[str, Any]:
    return {
        "held": found.held,
        "phase": found.phase,
        "got": found.got,
        "kind": found.kind,
        "pad": found.pad,
    }
