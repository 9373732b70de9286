"""A swept pad as a plain object for ``--json``, and the counts behind it."""

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from padbench.buttons import BUTTONS
from padbench.sweep.pad_cases import PadExample, PadPart, PadTally

__all__ = ["TIES", "PadResult", "pad_sweep_object"]

TIES = {0: "ground", 1: "supply", None: "open"}
"""Names of the levels of the serial input."""


@dataclass
class PadResult:
    """Counts of one pad on the ``ports`` on which it is the same logic.

    ``whole`` are all cases with the sheet's policy, ``undisturbed`` and ``stopped`` those of one
    tie; ``policies`` the undisturbed reads under every policy.
    """

    ports: tuple[str, ...]
    policy: str
    serial: int | None
    whole: PadTally
    policies: dict[str, PadTally]
    undisturbed: dict[int, PadTally] = field(default_factory=dict)
    stopped: dict[int, PadTally] = field(default_factory=dict)

    def add(self, policy: str, part: PadPart, tally: PadTally) -> None:
        """Take in a block of cases."""
        if not part.stopped_bit and not part.tie:
            self.policies.setdefault(policy, PadTally()).add(tally)
        if policy == self.policy:
            self.whole.add(tally)
            ties = self.stopped if part.stopped_bit else self.undisturbed
            ties.setdefault(part.tie, PadTally()).add(tally)


def pad_sweep_object(
    name: str, verdict: str, says: str, results: list[PadResult], wave: Path | None
) -> dict[str, Any]:
    """Keys as scripts rely on them."""
    return {
        "pad": name,
        "verdict": verdict,
        "says": says,
        "cases": sum(result.whole.cases for result in results),
        "wrong": sum(result.whole.wrong for result in results),
        "ports": [_result(result) for result in results],
        "vcd": None if wave is None else str(wave),
    }


def _result(result: PadResult) -> dict[str, Any]:
    whole = result.whole
    return {
        "ports": list(result.ports),
        "policy": result.policy,
        "serial_input": TIES[result.serial],
        "cases": whole.cases,
        "wrong": whole.wrong,
        "seen_not_pressed": dict(zip(BUTTONS, whole.ghost, strict=True)),
        "pressed_not_seen": dict(zip(BUTTONS, whole.missed, strict=True)),
        "ties": [
            {
                "serial_input": TIES[tie],
                "stopped": tally.cases,
                "spoilt": tally.spoilt,
                "spoilt_not_pressed": tally.spoilt_ghost,
            }
            for tie, tally in sorted(result.stopped.items())
        ],
        "policies": [
            {"policy": policy, "cases": tally.cases, "opposites": tally.opposites}
            for policy, tally in sorted(result.policies.items())
        ],
        "counterexample": _example(whole.first),
    }


def _example(found: PadExample | None) -> dict[str, Any] | None:
    if found is None:
        return None
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
