"""What the page is told, as plain data for JSON; all of it made of runs and findings."""

from collections.abc import Mapping, Sequence
from dataclasses import asdict, replace
from typing import Any

import numpy as np

from padbench.circuit.waves import Wave
from padbench.core.buttons import BUTTONS, spelled
from padbench.core.findings import Finding, overall
from padbench.live.bench import Bench, Shown
from padbench.live.state import OWN_EVENTS
from padbench.results.blocks import FrameStrip, findings_blocks
from padbench.results.frame import frame_of
from padbench.results.html_page import blocks_html
from padbench.results.wave_data import event_of, read_as, wave_object, wave_of
from padbench.scenarios import SCENARIOS
from padbench.trials.scenario_run import ScenarioRun

_AROUND = 20_000_000_000
"""Picoseconds of voltages before and after a read: a frame, at least."""


def config_of(bench: Bench) -> dict[str, Any]:
    """What the page is made of: buttons, dials, events, and the findings of the sheet as it is."""
    return {
        "buttons": BUTTONS,
        "pad": bench.sheet.pad.name,
        "file": bench.path.name,
        "dials": [asdict(dial) for dial in bench.dials],
        "events": [[key, says] for key, says in OWN_EVENTS.items()]
        + [[key, f"{key}: {scenario.says}"] for key, scenario in SCENARIOS.items()],
    }


def read_told(shown: Shown) -> dict[str, Any]:
    """The read in view, what is wrong with it, its wave, and its place in the frame."""
    run, wave = shown.run, wave_of(shown.run)
    told: dict[str, Any] = {
        "scenario": run.name,
        "own": bool(shown.own),
        "port": run.port,
        "corner": run.corner,
        "says": run.says,
        "verdict": run.verdict,
        "problems": [*(p.says for p in run.problems), *(f"{f.id}: {f.says}" for f in run.broken)],
        "reads": run.count,
        "accepted": [None if byte is None else spelled(byte) for byte in run.accepted],
    }
    if run.reads:
        pair = run.reads[min(shown.number, run.count - 1)]
        held = pair.expected.held
        wants = held if pair.expected.passed_on is None else pair.expected.passed_on
        past = pair.read.bits[8:]
        at, says = event_of(pair, wants)
        if says and at not in dict(wave.marks):
            wave = replace(wave, marks=sorted([*wave.marks, (at, says)]))
        told |= {
            "number": shown.number,
            "byte": pair.byte,
            "undecided": pair.read.undecided,
            "held": held,
            "wants": wants,
            "past": "".join("?" if bit is None else str(int(bit)) for bit in past),
        }
    told["wave"] = wave_object(wave)
    if shown.twice is not None:
        told["twice"] = _twice(shown.twice)
    frame = frame_of(shown.pad.sheet, (run,))
    told["frame"] = "" if frame is None else blocks_html([FrameStrip(frame, "poll")])
    return told


def _twice(run: ScenarioRun) -> dict[str, Any]:
    """The same fetch where a poll reads twice: both bytes, and what the console acts on."""
    first, second = (read_as(pair) for pair in run.reads[-2:])
    kept = run.accepted[-1]
    return {
        "reads": [first, second],
        "agree": first == second,
        "acts": "nothing" if kept is None else spelled(kept),
        "wave": wave_object(wave_of(run)),
    }


def failing(found: Sequence[Finding]) -> list[str]:
    """Identifiers of the findings that fail."""
    return [finding.id for finding in found if finding.verdict == "fail"]


def findings_told(found: Sequence[Finding], before: Sequence[Finding]) -> dict[str, Any]:
    """All findings as the page of a report has them, and those that are not as ``before``."""
    was = {finding.id: finding.verdict for finding in before}
    return {
        "verdict": overall([finding.verdict for finding in found]),
        "failing": failing(found),
        "html": blocks_html(findings_blocks(found)),
        "changed": [
            {"id": finding.id, "verdict": finding.verdict, "says": finding.says}
            for finding in found
            if was.get(finding.id) != finding.verdict
        ],
    }


def volts_told(
    shown: Shown, waves: Mapping[str, Wave], levels: Mapping[str, tuple[float, float]]
) -> dict[str, Any]:
    """The read in view in volts: picoseconds from its latch on, volts, thresholds, samples."""
    pair, end = shown.run.reads[shown.number], shown.run.timeline.end_ps
    start = pair.read.start_ps
    last = max(pair.read.latch_end_ps, *pair.read.samples, *pair.read.clock_rises)
    edges = np.array([max(0, start - _AROUND), min(end, last + _AROUND)])
    lines = {}
    for name, (times, volts) in waves.items():
        part = slice(*times.searchsorted(edges))
        ends = np.interp(edges, times, volts)
        lines[name.partition(".")[2]] = {
            "at": [int(edges[0]) - start, *(times[part] - start).tolist(), int(edges[1]) - start],
            "volts": [ends[0], *volts[part].round(4).tolist(), ends[1]],
            "levels": levels[name],
        }
    samples = [at - start for at in pair.read.samples]
    return {"lines": lines, "samples": samples, "length": last - start}
