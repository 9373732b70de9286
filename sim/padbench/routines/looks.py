"""What a routine makes of a contact that chatters: the routine's own policy, not a typed one.

Each latch is a look at the contacts. Whether there is another look, when it comes and what is
handed on at the end depends on what was seen so far, so the looks of one poll are a tree. It is
found by running the routine, a branch at a time, as far as somebody asks.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cached_property

from padbench.routines.console import Console, PadPort
from padbench.routines.routine import DEFAULT_LIMIT, Routine
from padbench.routines.run import Carried, InstructionCache, RoutineRun, run_case

Seen = tuple[bool, ...]
"""What the looks of a poll found so far, True for a closed contact."""

_BUTTON = 0x80


@dataclass
class _Chattering(PadPort):
    """A pad of one button whose contact is found as told in each load, then to and fro.

    So one run shows many looks of a routine that goes on for as long as its looks differ.
    """

    seen: Seen = ()
    loads: int = 0
    saw: Seen = ()

    def strobe(self, level: int, now: int = 0) -> None:
        if level and not self.latched:
            if self.loads < len(self.seen):
                self.held = _BUTTON if self.seen[self.loads] else 0
            else:
                self.held ^= _BUTTON
            self.saw = (*self.saw, bool(self.held))
            self.loads += 1
        PadPort.strobe(self, level, now)


@dataclass
class RoutineLooks:
    """The looks of one poll on a console without a fetch, in CPU cycles from its start.

    Nothing was held before.
    """

    routine: Routine
    console: Console
    limit: int = DEFAULT_LIMIT
    _known: dict[Seen, Fraction | bool] = field(default_factory=dict)

    @cached_property
    def _cache(self) -> InstructionCache:
        return InstructionCache(self.routine)

    @cached_property
    def _nothing(self) -> int:
        seen: Seen = ()
        while True:
            run, saw = self._run(seen)
            if len(saw) <= len(seen):
                return run.results[0]
            seen = (*seen, False)

    def after(self, seen: Seen) -> Fraction | bool:
        """The moment of the next look, or, if there is none, whether the press is handed on.

        Raises `RoutineError` for a routine that cannot be run.
        """
        if seen not in self._known:
            run, saw = self._run(seen)
            for count, moment in enumerate(latch_moments(run)):
                self._known[saw[:count]] = moment
            self._known[saw] = run.finished and run.results[0] != self._nothing
        return self._known[seen]

    def sees_a_press(self) -> bool:
        """Whether it hands on anything of a button that is held all the time."""
        seen: Seen = ()
        while not isinstance(after := self.after(seen), bool):
            seen = (*seen, True)
        return after

    def _run(self, seen: Seen) -> tuple[RoutineRun, Seen]:
        """A run, and what all its looks saw."""
        pad = _Chattering(0, seen=seen)
        run = run_case(
            self.routine,
            self.console,
            0,
            limit=self.limit,
            cache=self._cache,
            pads=(pad, PadPort(0)),
            carried=Carried.fresh(self.routine, (0, 0)),
        )
        return run, pad.saw[: len(latch_moments(run))]


def latch_moments(run: RoutineRun) -> tuple[Fraction, ...]:
    """For each latch of a run, the cycle with whose end the register stops loading."""
    moments, level = [], 0
    for access in run.accesses:
        if access.kind == "latch":
            if level and not access.value:
                moments.append(Fraction(access.cycle + 1))
            level = access.value
    return tuple(moments)


def reachable(looks: RoutineLooks, chatter: Fraction) -> Sequence[Fraction]:
    """Every moment of a look that can come up when a contact chatters so long after a press."""
    moments: set[Fraction] = set()
    # (seen, moment of the first look that saw it closed)
    waiting: list[tuple[Seen, Fraction | None]] = [((), None)]
    while waiting:
        seen, closed = waiting.pop()
        moment = looks.after(seen)
        if isinstance(moment, bool):
            continue
        moments.add(moment)
        waiting.append(((*seen, True), moment if closed is None else closed))
        # Open after closed: both looks fall into the chatter of one press.
        if closed is None or moment - closed < chatter:
            waiting.append(((*seen, False), closed))
    return sorted(moments)
