"""One sheet on the bench: dials turned, a read played, and what it comes to.

    bench = Bench(Path("my-pad.toml"))
    shown = bench.read(State(held=0x80, event="fetch"))
    shown.run.reads[shown.number].byte, shown.twice
    bench.judged(State(dials={"cable.length": "20 m"}))     # electrical findings, in milliseconds

The simulator does one thing at a time in a process: threads that ask at once, and look at a run
afterwards, do so within ``bench.lock``.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property, lru_cache
from pathlib import Path
from threading import RLock
from typing import Literal

from padbench.circuit.electric import judge_electric
from padbench.circuit.pad_model import Corner
from padbench.circuit.waves import Wave, line_waves, thresholds
from padbench.core.findings import Finding
from padbench.jobs.loading import Refusal, design_of
from padbench.live.dials import Dial, dials_of, turned
from padbench.live.state import OWN_EVENTS, State, scenario_text
from padbench.results.wave_picture import shown_read
from padbench.routines.poll import RoutinePoll, poll_of, with_timings
from padbench.scenarios import SCENARIOS, Scenario, Setting
from padbench.scenarios.user import scenarios_from_text
from padbench.sheet import Sheet, sheet_from_text
from padbench.trials.scenario_run import ScenarioRun
from padbench.trials.trial import run_at, scenarios_of, setting_of
from padbench.wiring.mistakes import judge_family, judge_wiring

NAME = "live-bench"
"""Of the scenario that a page plays, until it is kept under another."""

_KEPT = 64
"""Sheets that are not read and judged again: so many turns of a dial back and forth."""


@dataclass(frozen=True, eq=False)
class Pad:
    """The pad with its dials as they stand: the text that says so, and the sheet that it makes."""

    text: str
    sheet: Sheet
    settings: dict[tuple[str, Corner], Setting] = field(default_factory=dict)

    @classmethod
    def of(cls, text: str, name: str) -> "Pad":
        """The pad of a text; ``name`` is the file that it stands for. Raises as `Bench.pad`."""
        sheet = sheet_from_text(text, name)
        return cls(text, sheet if sheet.poll.routine is None else with_timings(sheet))

    @cached_property
    def poll(self) -> RoutinePoll | None:
        """The read routine that polls it."""
        return poll_of(self.sheet.poll)

    def routine_findings(self) -> tuple[Finding, ...]:
        """What the read routine does by itself: a sweep, and some seconds, the first time."""
        fails = self.sheet.policy.exposed_routine == "fail"
        return () if self.poll is None else self.poll.findings(fail=fails)

    def play(self, scenario: Scenario, port: str, corner: Corner) -> ScenarioRun:
        """A run. What a corner makes of the pad is kept, since it takes as long as a read."""
        place = port, corner
        if place not in self.settings:
            self.settings[place] = setting_of(self.sheet, port, corner)
        return run_at(self.settings[place], scenario, port, corner)


@dataclass(frozen=True)
class Shown:
    """A read as the page shows it.

    ``number`` is the read of the ``run`` that is looked at (from 0). ``twice`` is the same fetch in
    a poll that reads twice, None for all else. ``own`` is the text of the scenario, empty for a
    shipped one.
    """

    pad: Pad
    run: ScenarioRun
    number: int
    twice: ScenarioRun | None
    own: str


class Bench:
    """The pad of a sheet, which is read once. Raises ``SheetError`` as `load_sheet` does."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.sheet = design_of(path).sheet
        self.dials: Sequence[Dial] = dials_of(self.sheet)
        self.lock = RLock()
        self._made = lru_cache(_KEPT)(self._make)
        self._judged = lru_cache(_KEPT)(self._judge)

    def pad(self, state: State) -> Pad:
        """The pad as a state has it.

        Raises `Refusal` for what is no dial, ``SheetError`` or ``RoutineError`` for a sheet that
        cannot be.
        """
        return self._made(tuple(sorted(state.dials.items())))

    def _make(self, dials: tuple[tuple[str, str], ...]) -> Pad:
        return Pad.of(turned(self.sheet, dict(dials)), str(self.path))

    def judged(self, state: State) -> Sequence[Finding]:
        """Wiring and electrical findings of the pad, at the worst corner of its ports.

        What a read routine does by itself takes a sweep, and is not among them.
        """
        return self._judged(self.pad(state))

    def _judge(self, pad: Pad) -> Sequence[Finding]:
        sheet = pad.sheet
        electric = judge_electric(sheet, remedies=False).findings
        return (*judge_wiring(sheet), *judge_family(sheet), *electric)

    def read(self, state: State, name: str = NAME) -> Shown:
        """Play the event on the first port of the sheet. Raises as `pad` does."""
        pad = self.pad(state)
        if state.shipped:
            known = scenarios_of(pad.sheet)
            if state.event not in known:
                raise Refusal("event", f"{state.event} needs a read routine as the poll")
            run = self._play(pad, known[state.event], state)
            return Shown(pad, run, shown_read(run) if run.reads else 0, None, "")
        own = self.scenario(state, name, pad)
        run = self._play(pad, scenarios_from_text(own, name)[name], state)
        twice = None
        if state.event == "fetch" and pad.sheet.poll.routine is None:
            again = scenarios_from_text(self.scenario(state, name, pad, passes=2), name)[name]
            twice = self._play(pad, again, state)
        # Of a fetch the first pass of the last poll, which it stops.
        polls = own.count("[[scenario.step]]")
        number = run.count * (polls - 1) // polls if state.event == "fetch" else run.count - 1
        return Shown(pad, run, max(0, number), twice, own)

    def scenario(
        self, state: State, name: str, pad: Pad, passes: Literal[0, 1, 2] | None = None
    ) -> str:
        """The event of a state as a file with one scenario of that name."""
        if state.event not in OWN_EVENTS:
            known = ", ".join([*OWN_EVENTS, *SCENARIOS])
            raise Refusal("event", f"there is no event {state.event[:60]!r}; try {known}")
        routine = pad.sheet.poll.routine is not None
        if passes is None:
            passes = 1 if state.event != "read" and not routine else 0
        return scenario_text(state, name, pad.sheet, passes)

    def _play(self, pad: Pad, scenario: Scenario, state: State) -> ScenarioRun:
        with self.lock:
            return pad.play(scenario, pad.sheet.works_with.ports[0], state.corner)

    def volts(self, shown: Shown) -> tuple[dict[str, Wave], dict[str, tuple[float, float]]]:
        """Latch, clock and data in volts at the corner of the run, and the thresholds of each."""
        sheet, run = shown.pad.sheet, shown.run
        waves = line_waves(sheet, run.port, run.timeline, corner=run.corner)
        return waves, thresholds(sheet, run.port)
