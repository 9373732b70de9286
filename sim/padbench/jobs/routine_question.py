"""Which read routine is asked about, on which console; and all that was found out about it."""

import shlex
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import Literal, get_args

from typing_extensions import TypedDict

from padbench.circuit.pad_model import pad_model
from padbench.core.findings import Finding, Source
from padbench.core.pad import PadModel
from padbench.core.sentences import grouped
from padbench.core.timeline import Timeline
from padbench.jobs.loading import (
    Refusal,
    SheetLike,
    design_of,
    inputs_from,
)
from padbench.parts import console_names, console_timing
from padbench.results.inputs import Input
from padbench.routines.console import SHORTEST_PERIOD, Clocks, Console, SampleFetch
from padbench.routines.counts import STATES, WORST, Counterexample, SweepCounts
from padbench.routines.cross import ASSEMBLERS, Assembler
from padbench.routines.cures import Cure
from padbench.routines.frames import Span
from padbench.routines.judge import Baseline, Judgement, on_its_port
from padbench.routines.lengths import DesignMap, SafeLengths
from padbench.routines.listing import Touch, listing
from padbench.routines.places import with_places_found
from padbench.routines.routine import DEFAULT_LIMIT, PORTS, Routine
from padbench.routines.run import RoutineRun, run_case
from padbench.routines.source import load_routine, number, shipped_source
from padbench.routines.wave import case_wave
from padbench.sheet import STARTER, sheet_from_text

Address = int | str
"""An address, as a number or as text such as ``$4016``."""

Rates = Sequence[int | str] | Literal["all"] | None
"""Fetch periods in CPU cycles; "all", alone or among them, is every rate of the console."""

_LONGEST_LIMIT = 10_000_000
_LONGEST_PERIOD = 1 << 16
_FROM_MEMORY = Source("rules and rates of the sample fetch", "from memory")
_SWEPT = Source("every held state in every phase", "calculated")


class Asked(TypedDict, total=False):
    """The keyword arguments that the jobs of a routine have in common; see `padbench.routine`."""

    entry: str | None
    origin: Address | None
    result: str | None
    ports: str | tuple[Address, Address]
    console: str
    clocks: Clocks
    limit: int
    assembler: Assembler | None
    after_copy: int | None


@dataclass(frozen=True)
class RoutineQuestion:
    """Which routine, on which console; the rest is `Asked`.

    Raises `Refusal` for a console or a limit that cannot be.
    """

    what: str
    entry: str | None = None
    origin: Address | None = None
    result: str | None = None
    ports: str | tuple[Address, Address] = PORTS
    console: str = console_names()[0]
    clocks: Clocks = "joined"
    limit: int = DEFAULT_LIMIT
    assembler: Assembler | None = None
    after_copy: int | None = None

    def __post_init__(self) -> None:
        """Refuse what is none of the values there are."""
        if not 1 <= self.limit <= _LONGEST_LIMIT:
            raise Refusal("limit", f"{self.limit} is not between 1 and {_LONGEST_LIMIT}")
        if self.after_copy is not None and not 0 <= self.after_copy <= DEFAULT_LIMIT:
            raise Refusal("after-copy", f"{self.after_copy} is not between 0 and {DEFAULT_LIMIT}")
        if self.clocks not in get_args(Clocks):
            known = ", ".join(get_args(Clocks))
            raise Refusal("clocks", f"{str(self.clocks)[:60]!r} is none; try {known}")
        if self.assembler not in (None, *ASSEMBLERS):
            known = ", ".join(ASSEMBLERS)
            raise Refusal("assembler", f"{str(self.assembler)[:60]!r} is none; try {known}")
        if self.console not in console_names():
            known = ", ".join(console_names())
            raise Refusal("console", f"there is no console {self.console[:60]!r}; try {known}")

    def load(self, text: str | None = None) -> tuple[Routine, Console]:
        """Both, the pad on the port that the routine reads; ``text`` is taken for the source.

        Raises `RoutineError`, `Refusal`.
        """
        ports = self.ports.split(",") if isinstance(self.ports, str) else self.ports
        if len(ports) != 2:
            raise Refusal("ports", f"{str(self.ports)[:60]!r} is not two addresses; see --help")
        first, second = (_address("ports", port) for port in ports)
        code = load_routine(
            self.what,
            entry=self.entry,
            origin=None if self.origin is None else _address("origin", self.origin),
            result=self.result,
            ports=(first, second),
            assembler=self.assembler,
            text=text,
        )
        console = Console(console_timing(self.console), self.clocks, self.after_copy)
        code = on_its_port(code, console, self.limit)
        return with_places_found(code, console, self.limit), console

    def loader(self, routine: Routine) -> Callable[[str], Routine]:
        """What loads a changed source of that routine, its results in the same places."""
        question = self.with_results(routine)
        return lambda text: question.load(text)[0]

    def with_results(self, routine: Routine) -> "RoutineQuestion":
        """The same with the places of that routine's results named: a change may add others."""
        places = ("A" if place == "A" else f"${place:02X}" for place in routine.results)
        return replace(self, result=",".join(places))

    def play(self, period: int, example: Counterexample) -> str:
        """The command line that plays a case of a fetch period again."""
        words = ["padbench", "play", "--routine", self.what]
        for name, value in self.given.items():
            words += [f"--{name}", value]
        case = f"held={example.held} phase={example.phase} pad={example.pad}"
        return shlex.join([*words, "--period", str(period), "--case", case])

    @property
    def given(self) -> dict[str, str]:
        """The options that are not as usual, as the command line has them."""
        ports = self.ports if isinstance(self.ports, str) else ",".join(map(_written, self.ports))
        options = {
            "entry": self.entry,
            "origin": None if self.origin is None else _written(self.origin),
            "result": self.result,
            "ports": ports if ports != ",".join(map(_written, PORTS)) else None,
            "console": self.console if self.console != console_names()[0] else None,
            "limit": str(self.limit) if self.limit != DEFAULT_LIMIT else None,
            "clocks": self.clocks if self.clocks != "joined" else None,
            "assembler": self.assembler,
        }
        return {name: value for name, value in options.items() if value}

    def inputs(self, sheet: SheetLike | None) -> tuple[Input, ...]:
        """Its source, a shipped one too, and the sheet."""
        source = shipped_source(self.what)
        if source is not None:
            files: tuple[Input, ...] = (Input.of(f"{self.what}.asm", source.encode()),)
        else:
            files = inputs_from(Path(self.what))
        return files if sheet is None else (*files, *design_of(sheet).inputs())


def _written(address: Address) -> str:
    return f"${address:04X}" if isinstance(address, int) else address


def _address(option: str, given: Address) -> int:
    value = number(given) if isinstance(given, str) else given
    if value is None:
        raise Refusal(option, f"{str(given)[:60]!r} is no address; write for example $8000")
    return value


def periods_of(console: Console, rates: Rates, usual: Literal["all", "fastest"]) -> list[int]:
    """The fetch periods asked for, each once, in the order of asking. Raises `Refusal`."""
    known = console.timing.fetch_periods
    if rates is None:
        rates = "all" if usual == "all" else known[-1:]
    periods: list[int] = []
    for rate in ["all"] if rates == "all" else rates:
        if rate == "all":
            periods += known
        elif isinstance(rate, int) and SHORTEST_PERIOD <= rate <= _LONGEST_PERIOD:
            periods.append(rate)
        else:
            raise Refusal(
                "period",
                f"{str(rate)[:60]!r} is no number of cycles from {SHORTEST_PERIOD} to "
                f"{_LONGEST_PERIOD}; the console has {', '.join(map(str, known))}",
            )
    return list(dict.fromkeys(periods))


def pad_for_wave(sheet: SheetLike | None) -> PadModel:
    """The pad that a routine's wave shows: that of a sheet, or of the starter sheet."""
    design = sheet_from_text(STARTER, "starter sheet") if sheet is None else design_of(sheet).sheet
    return pad_model(design, design.works_with.ports[0], "slow")


@dataclass(frozen=True)
class JudgedRoutine:
    """A routine and all that was found out about it.

    ``judgement`` is None if the sweep was stopped; ``safe`` and ``chart`` are None where they have
    nothing to say or nobody asked. ``pad`` is the one in the waves, ``span`` where the read lies if
    its line was named, ``cures`` those that were asked for.
    """

    question: RoutineQuestion
    routine: Routine
    console: Console
    base: Baseline
    sweeps: tuple[SweepCounts, ...]
    judgement: Judgement | None
    safe: SafeLengths | None
    chart: DesignMap | None
    pad: PadModel
    line: int | None = None
    span: Span | None = None
    cures: tuple[Cure, ...] | None = None

    @cached_property
    def listing(self) -> tuple[Touch, ...]:
        """Where the longest undisturbed run with nothing held touches a port."""
        return tuple(listing(self.routine, self.console, 0, self.question.limit))

    @property
    def verdict(self) -> str:
        """One word, which scripts rely on."""
        return "stopped" if self.judgement is None else self.judgement.verdict

    @property
    def says(self) -> str:
        """The verdict in a sentence, without a full stop."""
        if self.judgement is not None:
            return self.judgement.says
        tried = sum(sweep.cases for sweep in self.sweeps)
        return f"{grouped(tried)} of {grouped(STATES * sum(self.periods))} cases were tried"

    @property
    def periods(self) -> tuple[int, ...]:
        """The fetch periods asked for, CPU cycles."""
        return tuple(sweep.period for sweep in self.sweeps)

    @property
    def worst(self) -> list[tuple[int, Counterexample]]:
        """The periods whose counterexample is of the worst kind that any has, with it."""
        examples = [(sweep.period, sweep.counterexample) for sweep in self.sweeps]
        met = [(period, example) for period, example in examples if example is not None]
        kind = min((WORST.index(example.kind) for _, example in met), default=0)
        return [one for one in met if one[1].kind == WORST[kind]]

    @property
    def findings(self) -> tuple[Finding, ...]:
        """What it hands on undisturbed, and what the fetch does to it; none if it was stopped."""
        if self.judgement is None:
            return ()
        result = self.base.finding("fail" if self.base.fault else "pass", self.routine.found)
        fetch = self.judgement.finding("fail" if self.judgement.fails else "pass")
        return result, replace(fetch, sources=(_SWEPT, _FROM_MEMORY))

    def played(self, period: int, case: Counterexample) -> RoutineRun:
        """A case of a fetch period again."""
        fetch = SampleFetch(period, case.phase)
        limit = self.question.limit
        return run_case(self.routine, self.console, case.held, fetch=fetch, limit=limit)

    def wave(
        self, held: int, period: int | None = None, case: Counterexample | None = None
    ) -> Timeline:
        """The wires of a case of a fetch period; without one, undisturbed, on the first port."""
        return case_wave(
            self.routine,
            self.console,
            self.pad,
            held=held,
            period=period,
            phase=0 if case is None else case.phase,
            port=0 if case is None else case.pad - 1,
            limit=self.question.limit,
        )
