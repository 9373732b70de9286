"""A case of a read routine again: ``padbench play --routine WHAT --period N --case WORDS``."""

import json
import shlex
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from padbench.cli.errors import UsageError
from padbench.cli.options import wave_folder
from padbench.cli.routine import pad_for_wave, periods_for, the_routine
from padbench.parts import console_names

if TYPE_CHECKING:
    from argparse import Namespace
    from collections.abc import Callable

    from padbench.routines.engine import Counterexample
    from padbench.routines.run import Run

__all__ = ["play_routine", "replay_of"]

_EXAMPLE = "held=0 phase=33 pad=1"


@dataclass(frozen=True, slots=True)
class _Case:
    held: int
    phase: int
    pad: int


def replay_of(options: "Namespace") -> "Callable[[int, Counterexample], str]":
    """Fetch period and counterexample to the command line that plays it again."""
    words = ["padbench", "play", "--routine", options.what]
    for name in ("entry", "origin", "result"):
        if getattr(options, name) is not None:
            words += [f"--{name}", getattr(options, name)]
    usual = {
        "ports": "$4016,$4017",
        "console": console_names()[0],
        "limit": 29_780,
        "clocks": "joined",
    }
    for name, value in usual.items():
        if getattr(options, name) != value:
            words += [f"--{name}", str(getattr(options, name))]

    def replay(period: int, found: "Counterexample") -> str:
        case = f"held={found.held} phase={found.phase} pad={found.pad}"
        return shlex.join([*words, "--period", str(period), "--case", case])

    return replay


def play_routine(options: "Namespace") -> int:
    """Play one case on py65, its wave on the MyHDL pad; 1 if the routine fails in it."""
    from padbench.routines.fetch import SampleFetch
    from padbench.routines.routine import RoutineError
    from padbench.routines.run import run_case
    from padbench.routines.wave import case_wave
    from padbench.waveio import write_vcd

    periods = periods_for(options)
    if len(periods) != 1:
        raise UsageError("--period: a case has one fetch period; give one")
    case = _case(options.case, periods[0])
    try:
        routine, console = the_routine(options)
        fetch = SampleFetch(periods[0], case.phase)
        run = run_case(routine, console, case.held, fetch=fetch, limit=options.limit)
        if case.pad > len(routine.results) and not _reads(run, case.pad):
            calm = run_case(routine, console, case.held, limit=options.limit)
            if not _reads(calm, case.pad):
                raise UsageError(
                    f"--case: pad={case.pad}: the routine reads one port only, and its pad is 1"
                )
    except RoutineError as error:
        raise UsageError(str(error)) from None
    said = _said(run, case)
    folder = wave_folder(Path(f"{Path(routine.name).stem}.toml"), options.waves, options.no_waves)
    path = None
    if folder is not None:
        path = folder / f"case-{case.held:02x}-{periods[0]}-{case.phase}-pad-{case.pad}.vcd"
        wave = case_wave(
            routine,
            console,
            pad_for_wave(options.sheet),
            held=case.held,
            period=periods[0],
            phase=case.phase,
            port=case.pad - 1,
            limit=options.limit,
        )
        write_vcd(wave, path, comment=f"{routine.name}: {options.case}, period {periods[0]}")
    if options.json:
        made = {
            "routine": routine.name,
            "period": periods[0],
            "held": case.held,
            "phase": case.phase,
            **said,
            "vcd": None if path is None else str(path),
        }
        print(json.dumps(made, ensure_ascii=False))
    else:
        _show(run, case, said, path)
    return 1 if said["verdict"] == "fail" else 0


def _reads(run: "Run", pad: int) -> bool:
    return any(one.kind == "read" and one.port == pad - 1 for one in run.accesses)


def _said(run: "Run", case: _Case) -> dict[str, object]:
    from padbench.routines.run import held_by

    results = list(run.results) if run.finished else None
    right = [held_by(port, case.held) for port in range(len(run.results))]
    return {
        "verdict": "pass" if results == right else "fail",
        "finished": run.finished,
        "hit": run.hit,
        "cycles": run.cycles,
        "passes": [[one.byte for one in passes] for passes in run.passes],
        "results": results,
        "stops": [{"cycle": stop.at, "stolen": stop.stolen} for stop in run.stops],
    }


def _show(run: "Run", case: _Case, said: dict[str, object], path: Path | None) -> None:
    from padbench.core.buttons import spelled
    from padbench.routines.run import held_by

    for port, passes in enumerate(run.passes):
        if passes:
            reads = ", ".join(spelled(one.byte) for one in passes)
            print(f"Port {port + 1}: held {spelled(held_by(port, case.held))}, passes read {reads}")
    stops = ", ".join(f"{stop.at} ({stop.stolen} stolen)" for stop in run.stops)
    print(f"Stopped in cycle {stops or '–'}")
    if run.finished:
        handed = ", ".join(map(spelled, run.results))
        print(f"Handed on after {run.cycles} cycles: {handed}")
    else:
        print(f"Had not come back after {run.cycles} cycles")
    print(f"Verdict: {said['verdict']}")
    if path is not None:
        print(f"Wave: {path}")


def _case(text: str, period: int) -> _Case:
    known = {"phase": 0, "pad": 1}
    limits = {"held": (0, 255), "phase": (0, period - 1), "pad": (1, 2)}
    given = set()
    for word in text.split():
        key, _, value = word.partition("=")
        if key not in limits:
            raise UsageError(f"--case: {word[:40]!r} is none of held, phase, pad: {_EXAMPLE!r}")
        if key in given:
            raise UsageError(f"--case: {key} is given twice; as in {_EXAMPLE!r}")
        given.add(key)
        least, most = limits[key]
        if not (value.isascii() and value.isdigit() and least <= int(value[:9]) <= most):
            raise UsageError(f"--case: {word[:40]!r}: write a number from {least} to {most}")
        known[key] = int(value)
    if "held" not in known:
        raise UsageError(f"--case: held is missing; as in {_EXAMPLE!r}")
    return _Case(known["held"], known["phase"], known["pad"])
