"""A swept pad as a plain object for ``--json``, and the counts behind it."""

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from padbench.core.buttons import BUTTONS
from padbench.padsweep.tally import KINDS, PadCase, PadExample, PadPart, PadTally

__all__ = ["TIES", "PadResult", "Replay", "pad_sweep_object"]

TIES = {0: "ground", 1: "supply", None: "open"}
"""Names of the levels of the serial input."""

Choice = tuple[str, int]
"""Policy, and level of the serial input."""


@dataclass
class PadResult:
    """Counts of one pad on the ``ports`` on which it is the same logic.

    ``whole`` are all cases with the sheet's policy; ``reads`` the same by level of the serial
    input, stopped bit (0 for none) and extra clocks; ``choices`` all cases of every policy and tie,
    ``stopped`` those of them with a stopped read.
    """

    ports: tuple[str, ...]
    policy: str
    serial: int | None
    whole: PadTally = field(default_factory=PadTally)
    reads: dict[tuple[int, int, int], PadTally] = field(default_factory=dict)
    choices: dict[Choice, PadTally] = field(default_factory=dict)
    stopped: dict[Choice, PadTally] = field(default_factory=dict)

    def add(self, policy: str, part: PadPart, tally: PadTally) -> None:
        """Take in blocks of cases that are like ``part`` but for the moment."""
        choice = policy, part.tie
        self.choices.setdefault(choice, PadTally()).add(tally)
        if part.stopped_bit:
            self.stopped.setdefault(choice, PadTally()).add(tally)
        if policy == self.policy:
            self.whole.add(tally)
            read = part.tie, part.stopped_bit, part.extra
            self.reads.setdefault(read, PadTally()).add(tally)

    @property
    def safest(self) -> list[Choice]:
        """The policies and ties with the fewest wrong reads, of these with the fewest reads that
        show opposite directions, then a press that was not there, then miss a press; several if
        they are equal, none if no read is ever right.
        """

        def harm(choice: Choice) -> tuple[int, ...]:
            tally = self.choices[choice]
            return tally.wrong, tally.opposites, tally.spoilt_ghost, tally.spoilt_missed

        usable = [one for one, tally in self.choices.items() if tally.wrong < tally.cases]
        least = min(map(harm, usable), default=())
        return [choice for choice in usable if harm(choice) == least]


Replay = Callable[[PadResult, PadCase], str]
"""The command line that plays a case again."""


def pad_sweep_object(
    name: str,
    verdict: str,
    says: str,
    results: list[PadResult],
    wave: Path | None,
    replay: Replay,
) -> dict[str, Any]:
    """Keys as scripts rely on them."""
    return {
        "pad": name,
        "verdict": verdict,
        "says": says,
        "stopped": verdict == "stopped",
        "cases": sum(result.whole.cases for result in results),
        "wrong": sum(result.whole.wrong for result in results),
        "ports": [_result(result, replay) for result in results],
        "vcd": None if wave is None else str(wave),
    }


def _result(result: PadResult, replay: Replay) -> dict[str, Any]:
    whole = result.whole
    first = whole.first_wrong
    return {
        "ports": list(result.ports),
        "policy": result.policy,
        "serial_input": TIES[result.serial],
        "cases": whole.cases,
        "wrong": whole.wrong,
        "seen_not_pressed": _named(whole.ghost),
        "pressed_not_seen": _named(whole.missed),
        "ties": [
            {
                "serial_input": TIES[tie],
                "stopped": tally.cases,
                "spoilt": tally.spoilt,
                "spoilt_not_pressed": tally.spoilt_ghost,
                "spoilt_not_seen": tally.spoilt_missed,
            }
            for (policy, tie), tally in sorted(result.stopped.items())
            if policy == result.policy
        ],
        "policies": [_choice(result, choice) for choice in result.choices],
        "safest": [{"policy": policy, "serial_input": TIES[tie]} for policy, tie in result.safest],
        "reads": [
            {
                "serial_input": TIES[tie],
                "stopped_bit": bit,
                "extra_clocks": extra,
                "cases": tally.cases,
                "wrong": tally.wrong,
                "seen_not_held": _named(tally.shown),
                "held_not_seen": _named(tally.lost),
            }
            for (tie, bit, extra), tally in sorted(result.reads.items())
        ],
        "counterexample": None if first is None else _example(first),
        "counterexamples": [
            {
                "kind": kind,
                "says": KINDS[kind],
                **_example(whole.first[kind]),
                "play": replay(result, whole.first[kind]),
            }
            for kind in KINDS
            if kind in whole.first
        ],
    }


def _named(counts: list[int]) -> dict[str, int]:
    return dict(zip(BUTTONS, counts, strict=True))


def _choice(result: PadResult, choice: Choice) -> dict[str, Any]:
    tally, stopped = result.choices[choice], result.stopped.get(choice, PadTally())
    return {
        "policy": choice[0],
        "serial_input": TIES[choice[1]],
        "cases": tally.cases,
        "wrong": tally.wrong,
        "opposites": tally.opposites,
        "opposites_stopped": stopped.opposites,
        "stopped": stopped.cases,
        "spoilt": stopped.spoilt,
        "spoilt_not_pressed": stopped.spoilt_ghost,
        "spoilt_not_seen": stopped.spoilt_missed,
    }


def _example(found: PadExample) -> dict[str, Any]:
    return {
        "held": found.held,
        "then": found.then,
        "moment": found.part.moment,
        "stopped_bit": found.part.stopped_bit,
        "extra_clocks": found.part.extra,
        "serial_input": TIES[found.part.tie],
        "expected": found.expected,
        "got": found.got,
    }
