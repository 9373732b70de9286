"""The page of the bench, with its tour, and the page that needs no server.

text = page_html(bench, token)
with whole_file(Path("class.html")) as out:
    out.write(export_html(bench))
"""

import os
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, replace
from functools import lru_cache
from itertools import product
from math import gcd
from pathlib import Path
from typing import Any

import numpy as np

from padbench.circuit.waves import Wave as Volts
from padbench.core.buttons import BUTTONS, OPPOSITES, byte_of, spelled
from padbench.core.findings import Finding, overall
from padbench.core.timeline import Timeline, Wire
from padbench.jobs.loading import Progress, unwatched
from padbench.live.bench import NAME, Bench, Pad, Shown
from padbench.live.state import OWN_EVENTS, State, event_says, stops
from padbench.results.blocks import FrameStrip, findings_blocks
from padbench.results.frame import frame_of
from padbench.results.html_page import (
    asset,
    blocks_html,
    environment_of,
    json_text,
    policy_of,
)
from padbench.results.wave_data import Wave, event_of, extra_clocks, read_as, wave_object, wave_of
from padbench.scenarios import ROUTINE_SCENARIOS, SCENARIOS, Scenario, Script, Setting
from padbench.scenarios.timetable import Timetable
from padbench.trials.scenario_run import ReadResult, ScenarioRun
from padbench.workers import spread

_FOLDER = Path(__file__).with_name("page")


TOUR = tomllib.loads((_FOLDER / "tour.toml").read_text(encoding="utf-8"))["step"]
"""Steps: ``title``, what it ``says``, and the ``state`` that shows it."""


def page_html(bench: Bench, token: str) -> str:
    """The page that asks a server, which takes this token."""
    return _html(bench, {"token": token, "baked": None})


def export_html(bench: Bench, progress: Progress = unwatched) -> str:
    """A page with all 256 held states and every stopped read of them, played here and now.

    Where the policy for opposite directions goes by their order, each state comes in every order.
    Its reads are single ones, at the sheet's times (the shortest of a routine), on its first port
    at the slow corner, played by as many processes as there are processors. Raises ``ValueError``
    if a read of the pad is missing. ``progress`` is told how many of the groups of reads are done.
    """
    by_order = bench.sheet.policy.opposite_directions in ("newer", "older")
    orders = _orders() if by_order else _orders()[:256]
    fetches = [
        State(event="fetch", bit=bit, extra=extra) for bit in range(1, 9) for extra in range(1, 4)
    ]
    pad = bench.pad(State())
    known = pad.text, str(bench.path), orders
    groups = {}
    for key, group in spread(_played, known, [State(), *fetches], os.cpu_count() or 1):
        groups[key] = group
        progress(len(groups), len(fetches) + 1)
    run = bench.read(State()).run
    frame = frame_of(bench.sheet, (run,))
    baked = {
        "groups": groups,
        "orders": {held | newer << 8: place for place, (held, newer) in enumerate(orders) if newer},
        "failing": failing([*bench.judged(State()), *pad.routine_findings()]),
        "frame": "" if frame is None else blocks_html([FrameStrip(frame, "poll")]),
        "tour": [read_told(bench.read(State(**step["state"]))) for step in TOUR],
    }
    return _html(bench, {"token": "", "baked": baked})


def _html(bench: Bench, more: dict[str, Any]) -> str:
    config = config_of(bench) | {"tour": TOUR} | more
    live = [(_FOLDER / name).read_text(encoding="utf-8") for name in ("live.css", "live.js")]
    scripts = [asset("uplot.js"), asset("waves.js"), live[1]]
    template = environment_of(_FOLDER).get_template("live.html.j2")
    return template.render(
        config=config,
        config_json=json_text(config),
        baked=more["baked"] is not None,
        tour=TOUR,
        policy=policy_of(scripts, asks=more["baked"] is None),
        styles=[asset("uplot.css"), asset("page.css"), live[0]],
        scripts=scripts,
        licence=asset("uplot-licence.txt"),
    )


def _orders() -> list[tuple[int, int]]:
    """Held states with those directions that closed later: first all 256 that closed at once."""
    later: list[tuple[int, int]] = []
    for held in range(256):
        pairs = [[byte_of([name]) for name in pair] for pair in OPPOSITES]
        choices = [(0, *pair) if held & sum(pair) == sum(pair) else (0,) for pair in pairs]
        later += [(held, one | other) for one, other in product(*choices) if one | other]
    return [*((held, 0) for held in range(256)), *later]


def _played(
    known: tuple[str, str, Sequence[tuple[int, int]]], state: State
) -> tuple[str, dict[str, Any]]:
    """A group under the name that the page has for it."""
    text, name, orders = known
    key = f"{state.bit},{state.extra}" if state.event == "fetch" else ""
    return key, _group(_pad(text, name), state, orders)


_pad = lru_cache(1)(Pad.of)


def _group(pad: Pad, state: State, orders: Sequence[tuple[int, int]]) -> dict[str, Any]:
    """Reads that are alike but for what is held: the wires once, data for each.

    ``reads`` are places in ``kinds``: where a policy keeps opposite directions back, many held
    states read alike. A kind is levels and time differences of data, byte, expected byte, undecided
    bits, 1 if it is as expected, and notes, as in `padbench.results.wave_data.wave_object`.
    """
    stop = (state.bit, state.extra) if state.event == "fetch" and stops(pad.sheet) else (0, 0)

    def build(setting: Setting) -> Script:
        timetable = Timetable(setting.typed, passes=1)
        for held, newer in orders:
            for byte in dict.fromkeys((0, held & ~newer, held)):  # each begins from nothing held
                timetable.hold(byte)
                timetable.wait_until(timetable.next_start + setting.period)
            timetable.poll(stopped=[stop])
        return timetable.script()

    says = event_says(state, pad.sheet, 1).strip() or "One read."
    run = pad.play(Scenario(NAME, says, build), pad.sheet.works_with.ports[0], "slow")
    if run.count != len(orders):
        raise ValueError(
            f"{run.count} of {len(orders)} reads were seen; use verify to find out why"
        )
    waves = [*_parts(run)]
    unit = gcd(*(wave_object(wave)["unit"] for wave in waves))
    objects = [wave_object(wave, unit) for wave in waves]
    base = {**objects[0], "notes": []}
    rows = [row[0] for row in base["rows"]]
    kinds: list[list[Any]] = []
    reads = []
    for made in objects:
        if any(made[key] != base[key] for key in ("end", "samples")):
            raise ValueError("the reads are not alike; use play to look at one")
        data = made["rows"][rows.index("data")]
        kind = [*data[1:], *made["reads"][0][3:], made["notes"]]
        if kind not in kinds:
            kinds.append(kind)
        reads.append(kinds.index(kind))
    return {"says": says, "base": base, "kinds": kinds, "reads": reads}


def _parts(run: ScenarioRun) -> Iterator[Wave]:
    """A wave for each read of a run; of the contacts, which stand still in it, only the first."""
    whole = wave_of(run)
    rows = whole.rows
    for pair, read in zip(run.reads, whole.reads, strict=True):
        length = max(read.latch_end, *read.samples, *pair.read.clock_rises) - read.start
        begin, end = read.start - length // 8, read.start + length + length // 8
        held = pair.expected.held if pair.expected.passed_on is None else pair.expected.passed_on
        at, says = event_of(pair, held)
        notes = [*extra_clocks(pair.read, read.samples), *([(at, says)] if says else [])]
        yield Wave(
            _cut(whole.timeline, begin, end, [name for name, _ in rows]),
            [
                replace(
                    read,
                    start=read.start - begin,
                    latch_end=read.latch_end - begin,
                    samples=tuple(sample - begin for sample in read.samples),
                )
            ],
            rows=rows,
            notes=sorted((when - begin, what) for when, what in notes),
        )
        rows = [row for row in rows if row[1] not in BUTTONS]


def _cut(line: Timeline, begin: int, end: int, names: Sequence[str]) -> Timeline:
    """A stretch of some wires, from time 0 on."""
    wires = {}
    for name in names:
        wire = line.wire(name)
        inside = (wire.times > begin) & (wire.times < end)
        wires[name] = Wire.from_arrays(
            np.concatenate([[0], wire.times[inside] - begin]),
            np.concatenate([wire.at([begin]), wire.levels[inside]]),
        )
    return Timeline(end - begin, wires)


# --- what the page is told, as plain data for JSON ------------------------------------------------

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
        + [[key, f"{key}: {one.says}"] for key, one in (SCENARIOS | ROUTINE_SCENARIOS).items()],
        "routine": [*ROUTINE_SCENARIOS],
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
            "either": _either(pair),
            "cut": pair.read.cut_short,
            "past": "".join("?" if bit is None else str(int(bit)) for bit in past),
        }
    told["wave"] = wave_object(wave)
    if shown.twice is not None:
        told["twice"] = _twice(shown.twice)
    frame = frame_of(shown.pad.sheet, (run,))
    told["frame"] = "" if frame is None else blocks_html([FrameStrip(frame, "poll")])
    return told


def _either(pair: ReadResult) -> int:
    """Bits of a read without a stop that are right either way: of a press at the latch's end, and
    those that a read cut short never came to.
    """
    bits = pair.expected.bits[:8] if pair.expected.clocks == len(pair.expected.bits) else ()
    unread = 0xFF >> len(pair.read.bits) if pair.read.cut_short else 0
    return unread | sum(128 >> place for place, bit in enumerate(bits) if bit is None)


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
    shown: Shown, waves: Mapping[str, Volts], levels: Mapping[str, tuple[float, float]]
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
