"""What an HDL design in the register's place is put to: job, setting, and the scenarios that apply.

The port's levels and the cable are no matter of the HDL, so latch and clock arrive at once. Time
in which nothing happens costs a simulator with a system clock as much as any other: the pause
between polls is cut to a quarter of a read, and bounce to two polls, unless the sheet's own period
is asked for. A design without a clock gets that always. Every width in a read is the sheet's, on a
grid of 1 ns.
"""

import os
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise
from pathlib import Path
from typing import Any, Literal

from padbench.circuit.pad_model import pad_model
from padbench.core.findings import Source
from padbench.core.limits import Limit, Limits
from padbench.core.pad import LineDelays, PadModel
from padbench.core.stimulus import PollTiming, Stimulus
from padbench.core.units import to_ps
from padbench.cosim.hdl_scenarios import HdlScript
from padbench.cosim.job import GRID, HdlError, Job, on_grid
from padbench.files import was_read
from padbench.scenarios import Scenario, Script, Setting
from padbench.sheet import Hdl, Sheet
from padbench.sheet.simulators import SIMULATORS
from padbench.trials.trial import setting_of

_SYNCHRONISED = (
    Source(
        "two samples of the system clock, so that an edge cannot slip between them", "calculated"
    ),
)
_ANSWER_EDGES = 4
"""Periods in which a design behind two flip-flops answers, one more than it has to take."""
_WIDTHS = ("latch_width", "latch_to_clock", "clock_low", "clock_high", "sample")


def system_period(sheet: Sheet) -> int | None:
    """Period of the design's own clock in picoseconds; None if it has none."""
    if sheet.hdl is None or sheet.hdl.frequency is None:
        return None
    return round(1e12 / sheet.hdl.frequency.nominal)


def hdl_setting(sheet: Sheet, *, true_time: bool = False) -> Setting:
    """The sheet's pad and poll, with the design in place of the register.

    ``true_time``: polls come with the sheet's own period.
    """
    base = setting_of(sheet, sheet.works_with.ports[0], "fast").typed
    widths = {name: on_grid(getattr(base.timing, name)) for name in _WIDTHS}
    timing = PollTiming(**widths, clocks=base.timing.clocks)
    reading = base.passes * (timing.length + timing.latch_to_clock)
    period = on_grid(reading + timing.length // 4)
    bounce = min(base.bounce, 2 * period)
    if true_time or system_period(sheet) is None:
        period, bounce = max(period, on_grid(base.period)), base.bounce
    return replace(
        base,
        pad=replace(
            base.pad,
            limits=_limits(sheet, base.pad.limits),
            load="transparent",
            load_inverted=False,
            floating=False,
            answer=0,
            latch_line=LineDelays(),
            clock_line=LineDelays(),
        ),
        timing=timing,
        period=period,
        bounce=bounce,
        settles=_latency(sheet),
    )


def slowest_pad(sheet: Sheet) -> PadModel:
    """The pad that a reader has to serve: the one whose answer comes last on the sheet's ports."""
    pads = [pad_model(sheet, port, "slow") for port in sheet.works_with.ports]
    return max(pads, key=lambda pad: pad.limits.answer.ps)


def room_to_answer(sheet: Sheet) -> Limit:
    """What the sheet's poll leaves a design for its answer: a clock up to its sample, at the least.

    Less what cable and port take of it on the slowest of the sheet's ports.
    """
    pad, timing = slowest_pad(sheet), hdl_setting(sheet).timing
    own = sheet.part.clock_to_output.max or 0.0
    lines = max(0, pad.limits.answer.ps - to_ps(own))
    left = min(timing.clock_high, timing.latch_width + timing.latch_to_clock) + timing.sample
    says = "the sheet's poll, from a clock to its sample, less what cable and port take"
    return Limit(max(0, left - lines), (Source(says, "calculated"),))


def _latency(sheet: Sheet) -> int:
    """Picoseconds from a contact's move until it counts, at the longest, as the sheet promises."""
    latency = sheet.hdl.latency if sheet.hdl is not None else None
    return 0 if latency is None else on_grid(to_ps(latency.nominal))


def still_open(sheet: Sheet) -> int:
    """Picoseconds about the latch's fall in which the latch may still load, or no longer.

    It may pass filters that the buttons do not, as long as the design answers in time.
    """
    answer = sheet.hdl.answer if sheet.hdl is not None else None
    return max(2 * (system_period(sheet) or 0), 0 if answer is None else to_ps(answer.nominal))


def _limits(sheet: Sheet, limits: Limits) -> Limits:
    """The part's limits, widened by what the system clock can see and the sheet promises."""
    hdl, period, latency = sheet.hdl, system_period(sheet), _latency(sheet)
    assert hdl is not None
    setup = Limit(still_open(sheet), _SYNCHRONISED)
    if hdl.setup is not None:
        setup = Limit(to_ps(hdl.setup.nominal), (Source("the sheet, hdl.setup", "given"),))
    setup = replace(setup, ps=setup.ps + latency)
    answer = _promised_answer(hdl)
    if period is None:
        setup = max(limits.setup_parallel, setup, key=lambda either: either.ps)
        return replace(limits, setup_parallel=setup, answer=answer or limits.answer)
    four_edges = Limit(_ANSWER_EDGES * period + 1, _SYNCHRONISED)
    two, four = (Limit(count * period, _SYNCHRONISED) for count in (2, 4))

    def wider(limit: Limit, least: Limit) -> Limit:
        return max(limit, least, key=lambda either: either.ps)

    return Limits(
        load_width=wider(limits.load_width, two),
        clock_width=wider(limits.clock_width, two),
        clock_period=wider(limits.clock_period, four),
        removal=wider(limits.removal, two),
        setup_parallel=wider(limits.setup_parallel, setup),
        answer=four_edges if answer is None else wider(answer, four_edges),
        clock_at_load_end=limits.clock_at_load_end,
    )


def _promised_answer(hdl: Hdl) -> Limit | None:
    if hdl.answer is None:
        return None
    # One picosecond more: a sample at the very moment still sees the old level.
    return Limit(to_ps(hdl.answer.nominal) + 1, (Source("the sheet, hdl.answer", "given"),))


def job_of(sheet: Sheet, hdl: Hdl, sources: Path, limit: float) -> Job:
    """What the simulator's process has to know; raises `HdlError` for a source that is no file."""
    for number, name in enumerate(hdl.sources):
        if not (sources / name).is_file():
            raise HdlError(f"sources[{number}]", f'"{name}" is no file; paths start at the sheet')
        if not os.access(sources / name, os.R_OK):
            raise HdlError(f"sources[{number}]", f'"{name}" may not be read; mend its permissions')
        was_read(sources / name)
    for number, name in enumerate(hdl.include):
        if not (sources / name).is_dir():
            says = f'"{name}" is no folder; paths start at the sheet'
            raise HdlError(f"include[{number}]", says)
    roles = ["latch", "clock", "data", "serial", "system-clock", "reset"]
    roles += [] if hdl.role == "pad" else ["start", "held", "valid"]
    ports: dict[str, Any] = {role: getattr(hdl, role.replace("-", "_")) for role in roles}
    widths = {"held": 8}
    if hdl.role == "pad":
        ports["buttons"] = _button_ports(sheet, hdl)
        widths = {"buttons": sheet.chip.stages}
    simulator, pad = SIMULATORS[hdl.engine], slowest_pad(sheet)
    # A .v file has not the keywords of SystemVerilog; they are names in many a design.
    plain = all(source.lower().endswith(".v") for source in hdl.sources)
    return Job(
        sources=[str((sources / name).resolve()) for name in hdl.sources],
        top=hdl.top,
        engine=hdl.engine,
        build=[*simulator.build, *(simulator.plain_verilog if plain else ())],
        run=list(simulator.run),
        wheel=simulator.wheel,
        vhdl=simulator.language == "vhdl",
        two_valued=simulator.two_valued,
        role=hdl.role,
        ports={role: port for role, port in ports.items() if port is not None},
        inverted=list(hdl.inverted),
        parameters=dict(hdl.parameters),
        widths=widths,
        period=system_period(sheet),
        answer=pad.answer,
        serial=pad.serial,
        limit=limit,
        ties=dict(hdl.ties),
        pulled_up=hdl.open_drain,
        includes=[str((sources / name).resolve()) for name in hdl.include],
        defines=dict(hdl.defines),
    )


def _button_ports(sheet: Sheet, hdl: Hdl) -> str | list[str | None]:
    """The vector's name, or one port for each stage from stage 1 on."""
    if isinstance(hdl.buttons, str):
        return hdl.buttons
    ports: list[str | None] = [None] * sheet.chip.stages
    for name, stage in sheet.buttons.items():
        ports[stage - 1] = hdl.buttons[name]
    return ports


def brisk(setting: Setting) -> Setting:
    """The same with a poll about as quick as its limits allow, for runs of very many reads."""
    limits = setting.pad.limits
    # A clock filtered for as long as the answer takes has to last longer.
    filtered = limits.answer.ps if limits.answer.ps > limits.clock_period.ps + 1 else 0
    least = limits.clock_width.ps, limits.removal.ps, limits.clock_period.ps // 2, filtered
    low = on_grid(max(least) + GRID)
    high = on_grid(max(low, limits.answer.ps) + GRID)
    timing = PollTiming(on_grid(limits.load_width.ps + limits.answer.ps), low, low, high, low)
    gap = timing.length // 4 + 4 * (limits.setup_parallel.ps - setting.settles)
    return replace(setting, timing=timing, period=on_grid(timing.length + low + gap), passes=1)


def _gridded(stimulus: Stimulus) -> Stimulus:
    """The same with every time on the grid."""
    return replace(
        stimulus,
        contacts=tuple((on_grid(when), byte) for when, byte in stimulus.contacts),
        reads=tuple(replace(read, start=on_grid(read.start)) for read in stimulus.reads),
        end=on_grid(stimulus.end) + GRID,
        notes=tuple((on_grid(when), text) for when, text in stimulus.notes),
    )


@dataclass(frozen=True)
class Chosen:
    """A scenario for a design in a setting; ``why_not`` says why it does not apply, if so.

    ``part`` is as in `ScenarioRun`. ``chosen.script`` is made when it is first asked for, on the
    grid, and kept.
    """

    scenario: Scenario
    setting: Setting
    part: Literal["", "exhaustive"] = ""
    why_not: str = ""

    @cached_property
    def script(self) -> Script:
        """What is done, and what must come of it."""
        script = self.scenario.build(self.setting)
        return replace(script, stimulus=_gridded(script.stimulus))

    @property
    def resets(self) -> tuple[tuple[int, int], ...]:
        """(start, length) of each reset in the script, in picoseconds."""
        return self.script.resets if isinstance(self.script, HdlScript) else ()

    @property
    def quick(self) -> bool:
        """Whether the pad that a reader gets answers at once."""
        return isinstance(self.script, HdlScript) and self.script.quick


def choose(
    scenario: Scenario, setting: Setting, role: str, *, serial: bool, reset: bool = False
) -> Chosen:
    """Make the script and see whether it applies; ``serial``, ``reset``: it has that port."""
    chosen = Chosen(scenario, setting)
    script, why = chosen.script, ""
    if chosen.resets and not reset:
        why = "the design has no reset"
    elif role == "reader":
        why = _not_for_reader(script, setting)
    elif chosen.quick:
        why = "it is about the pad that a reader gets"
    elif not serial and {read.serial for read in script.stimulus.reads} - {
        "as built",
        setting.pad.serial,
    }:
        why = "the design has no port for the serial input"
    return replace(chosen, why_not=why) if why else chosen


def _not_for_reader(script: Script, setting: Setting) -> str:
    """A script of single reads does for a reader of two passes: the second is undisturbed."""
    reads, timing = script.stimulus.reads, setting.timing
    if script.passes not in (1, setting.passes):
        return f"it is about polls of {script.passes} reads, the reader makes {setting.passes}"
    if isinstance(script, HdlScript) and script.resets:
        return ""
    reasons = {
        "clocks inside a latch; a reader makes its clock itself": (
            isinstance(script, HdlScript) and bool(script.latch_clocks)
        ),
        "what follows the eighth bit; a reader decides itself how far it reads": any(
            read.timing.clocks != timing.clocks for read in reads
        ),
        "latch or clocks of another length; a reader makes them itself": any(
            read.timing != timing for read in reads
        ),
        "a read that the console gives up; a reader ends its reads itself": any(
            later.start < read.start + read.length for read, later in pairwise(reads)
        ),
    }
    return next((f"it is about {says}" for says, applies in reasons.items() if applies), "")
