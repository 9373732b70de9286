"""Results as plain objects for ``--json``; the keys are what scripts of others rely on."""

from dataclasses import asdict
from pathlib import Path
from typing import Any

from padbench import __version__
from padbench.core.buttons import pressed_in
from padbench.core.findings import Finding, Met
from padbench.core.remedies import Remedy
from padbench.trials.result import ReadResult, ScenarioResult, VerifyResult

__all__ = ["finding_object", "play_object", "scenario_object", "verify_object"]


def verify_object(
    result: VerifyResult, vcd: dict[str, Path], sheet: Path, name: str
) -> dict[str, Any]:
    """``vcd`` names the wave of a scenario where one was written, ``name`` is the pad's."""
    return {
        "verdict": result.verdict,
        "padbench": __version__,
        "sheet": str(sheet),
        "pad": name,
        "findings": [finding_object(found) for found in result.findings],
        "scenarios": [scenario_object(s, vcd.get(s.name)) for s in result.scenarios],
        "ports": [
            {
                "variant": row.variant,
                "port": row.port,
                "verdict": row.verdict,
                "fails": list(row.fails),
            }
            for row in result.ports
        ],
    }


def play_object(result: ScenarioResult, vcd: Path | None) -> dict[str, Any]:
    """One scenario with the findings of its wires."""
    return {
        **scenario_object(result, vcd),
        "findings": [finding_object(found) for found in result.findings],
    }


def finding_object(found: Finding) -> dict[str, Any]:
    """A finding, key by key; ``remedy`` only where there is one."""
    made: dict[str, Any] = {
        "id": found.id,
        "verdict": found.verdict,
        "measured": found.measured,
        "limit": found.limit,
        "margin": found.margin,
        "unit": found.unit,
        "where": found.where,
        "source": found.source,
        "says": found.says,
        "met": _met_object(found.met),
        "sources": [{"title": one.title, "class": one.kind} for one in found.sources],
        "place": None if found.place is None else asdict(found.place),
    }
    if found.remedy is not None:
        made["remedy"] = _remedy_object(found.remedy)
    return made


def _met_object(met: Met) -> dict[str, Any]:
    return {
        "scenario": met.scenario,
        "corner": met.corner,
        "port": met.port,
        "read": met.read,
        "at_ps": met.at_ps,
        "ends": dict(met.ends),
        "other": met.other,
    }


def _remedy_object(remedy: Remedy) -> dict[str, Any]:
    return {
        "key": remedy.key,
        "low": remedy.low,
        "high": remedy.high,
        "unit": remedy.unit,
        "e12": list(remedy.e12),
        "e24": list(remedy.e24),
        "says": remedy.says,
        "also": [_remedy_object(one) for one in remedy.also],
    }


def scenario_object(result: ScenarioResult, vcd: Path | None) -> dict[str, Any]:
    """A scenario and its reads; ``accepted`` only where polls have several passes."""
    made: dict[str, Any] = {
        "name": result.name,
        "verdict": result.verdict,
        "says": result.says,
        "corner": result.corner,
        "port": result.port,
        "problems": [problem.says for problem in result.problems],
        "reads": [_read_object(pair) for pair in result.reads],
        "vcd": None if vcd is None else str(vcd),
    }
    if result.accepted:
        made["accepted"] = list(result.accepted)
    return made


def _read_object(pair: ReadResult) -> dict[str, Any]:
    return {
        "start_ps": pair.read.start_ps,
        "byte": pair.byte,
        "pressed": list(pressed_in(pair.byte)),
        "held": list(pressed_in(pair.expected.held)),
        "expected": list(pressed_in(pair.expected.byte)),
        "as_expected": pair.as_expected,
        "clocks": len(pair.read.clock_rises),
    }
