"""A regression as a plain object for ``--json``."""

from pathlib import Path
from typing import Any

from padbench.core.buttons import pressed_in
from padbench.cosim.causes import Cause
from padbench.cosim.result import Failure, RegressResult
from padbench.results.as_json import finding_object, scenario_object

__all__ = ["regress_object"]

_MOST = 1000
"""So many transitions that were not reached are listed; their number is always there."""


def regress_object(result: RegressResult, vcd: dict[str, Path]) -> dict[str, Any]:
    """Keys as of ``verify``, and failures, causes, skipped and coverage.

    The passing parts of an exhaustive run come as one number of reads, not read by read.
    """
    shown = [
        one
        for one in result.scenarios
        if one.verdict == "fail" or not one.name.startswith("exhaustive")
    ]
    return {
        "verdict": result.verdict,
        "findings": [finding_object(found) for found in result.findings],
        "scenarios": [scenario_object(one, vcd.get(one.name)) for one in shown],
        "failures": [_failure_object(one) for one in result.failures],
        "likely_causes": [_cause_object(cause) for cause in result.causes],
        "skipped": [{"name": name, "why": why} for name, why in result.skipped],
        "reads": result.reads,
        "coverage": _coverage_object(result),
    }


def _failure_object(failure: Failure) -> dict[str, Any]:
    return {
        "scenario": failure.scenario,
        "read": failure.read,
        "at_ps": failure.at_ps,
        "expected": failure.expected,
        "expected_pressed": _pressed(failure.expected),
        "got": failure.got,
        "got_pressed": _pressed(failure.got),
        "says": failure.says,
        "likely_causes": [_cause_object(cause) for cause in failure.causes],
    }


def _pressed(byte: int | None) -> list[str] | None:
    return None if byte is None else list(pressed_in(byte))


def _cause_object(cause: Cause) -> dict[str, Any]:
    return {"id": cause.id, "says": cause.says, "explains": cause.explains}


def _coverage_object(result: RegressResult) -> dict[str, Any]:
    coverage = result.coverage
    missing = coverage.missing_transitions
    return {
        "states": {"seen": len(coverage.states), "of": 256, "missing": coverage.missing_states},
        "transitions": {
            "seen": len(coverage.transitions),
            "of": 65_536,
            "missing": len(missing),
            "missing_first": [list(pair) for pair in missing[:_MOST]],
        },
        "stopped_positions": {
            "seen": 24 - len(coverage.missing_positions),
            "of": 24,
            "missing": [list(pair) for pair in coverage.missing_positions],
        },
    }
