"""One case of a read routine again, with its wave: what a sweep's counterexample did."""

from collections.abc import Iterator
from pathlib import Path

from typing_extensions import TypedDict, Unpack

from padbench.core.buttons import spelled
from padbench.jobs.loading import Refusal, SheetLike
from padbench.jobs.routine_question import (
    Asked,
    Rates,
    RoutineQuestion,
    pad_for_wave,
    periods_of,
)
from padbench.padsweep.replay import case_number, case_words
from padbench.results.blocks import Lines, Prose
from padbench.results.documents import Outcome
from padbench.results.result import Case, Result, Section
from padbench.routines.console import SampleFetch
from padbench.routines.run import RoutineRun, held_by, run_case
from padbench.routines.wave import case_wave

_EXAMPLE = "held=0 phase=33 pad=1"


class StopDocument(TypedDict):
    """A fetch that stopped the CPU: the cycle, and how many were stolen."""

    cycle: int
    stolen: int


class CaseDocument(TypedDict):
    """``padbench play --routine``; ``passes`` and ``results`` by port, results null for no end."""

    routine: str
    period: int
    held: int
    phase: int
    verdict: Outcome
    finished: bool
    hit: bool
    cycles: int
    passes: list[list[int]]
    results: list[int] | None
    stops: list[StopDocument]
    vcd: str | None


def play_case(
    what: str | Path,
    case: str,
    *,
    period: Rates = None,
    sheet: SheetLike | None = None,
    waves: Path | None = None,
    **asked: Unpack[Asked],
) -> Result:
    """Play one case of a routine cycle by cycle, its wave on the pad of a sheet.

        result = play_case("read-once", "held=0 phase=33 pad=1", period=[432])
        result.verdict, result.data.results, result.data.stops

    ``case`` has the held state (of the first pad), the phase and the pad that the wave shows, in
    words as sweep writes them; ``period`` the one fetch period (default: the fastest). ``waves`` is
    a folder. The rest is as in `padbench.routine`. The verdict is "fail" where the routine hands on
    anything but what is held. ``result.data`` is a `RoutineRun`. Raises as `padbench.routine`.
    """
    question = RoutineQuestion(str(what), **asked)
    limit = question.limit
    routine, console_ = question.load()
    periods = periods_of(console_, period, "fastest")
    if len(periods) != 1:
        raise Refusal("period", "a case has one fetch period; give one")
    rate = periods[0]
    held, phase, pad = _numbers(case, rate)
    run = run_case(routine, console_, held, fetch=SampleFetch(rate, phase), limit=limit)
    if pad > len(routine.results) and all(one.port < pad - 1 for one in run.accesses):
        raise Refusal("case", f"pad={pad}: the routine reads one port only, and its pad is 1")
    right = run.finished and all(got == held_by(port, held) for port, got in enumerate(run.results))
    verdict: Outcome = "pass" if right else "fail"
    path = None
    if waves is not None:
        from padbench.waveio import write_wave  # noqa: PLC0415 - only who wants a wave needs it

        path = waves / f"case-{held:02x}-{rate}-{phase}-pad-{pad}.vcd"
        wave = case_wave(
            routine,
            console_,
            pad_for_wave(sheet),
            held=held,
            period=rate,
            phase=phase,
            port=pad - 1,
            limit=limit,
        )
        write_wave(wave, path, comment=f"{routine.name}: {case}, period {rate}")

    def document() -> CaseDocument:
        return {
            "routine": routine.name,
            "period": rate,
            "held": held,
            "phase": phase,
            "verdict": verdict,
            "finished": run.finished,
            "hit": run.hit,
            "cycles": run.cycles,
            "passes": [[one.byte for one in passes] for passes in run.passes],
            "results": list(run.results) if run.finished else None,
            "stops": [{"cycle": stop.at, "stolen": stop.stolen} for stop in run.stops],
            "vcd": None if path is None else str(path),
        }

    lines = [*_lines(run, held)]
    return Result(
        command="play",
        name=f"Read routine {Path(routine.name).name}",
        verdict=verdict,
        outcome=verdict,
        word="Passes." if right else "FAILS.",
        lead=lines[-1],
        make_document=document,
        make_sections=lambda: [
            Section("brief", "", [Lines("", [("", line) for line in lines[:-1]])], ("brief",)),
            Section("case", f"Case {case}", [Prose(lines[:-1])]),
        ],
        cases={"cases": [Case(f"{case}, period {rate}", [] if right else lines[::-1])]},
        inputs=question.inputs(sheet),
        wrote={} if path is None else {"Wave": path},
        data=run,
    )


def _lines(run: RoutineRun, held: int) -> Iterator[str]:
    """What was read, where it was stopped, and last what was handed on."""
    for port, passes in enumerate(run.passes):
        if passes:
            reads = ", ".join(spelled(one.byte) for one in passes)
            yield f"Port {port + 1}: held {spelled(held_by(port, held))}, passes read {reads}"
    stops = ", ".join(f"{stop.at} ({stop.stolen} stolen)" for stop in run.stops)
    yield f"Stopped in cycle {stops or '–'}"
    if run.finished:
        handed = ", ".join(map(spelled, run.results))
        yield f"Handed on after {run.cycles} cycles: {handed}."
    else:
        yield f"Had not come back after {run.cycles} cycles."


def _numbers(case: str, period: int) -> tuple[int, int, int]:
    """Held state, phase and pad."""
    limits = {"held": (0, 255), "phase": (0, period - 1), "pad": (1, 2)}
    numbers = {"phase": 0, "pad": 1}
    try:
        for key, value in case_words(case, tuple(limits), _EXAMPLE).items():
            numbers[key] = case_number(key, value, *limits[key])
    except ValueError as error:
        raise Refusal("case", str(error)) from None
    return numbers["held"], numbers["phase"], numbers["pad"]
