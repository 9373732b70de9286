"""A capture of real hardware, or a wave of a simulation, decoded and judged."""

import math
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict, replace
from datetime import date
from functools import wraps
from pathlib import Path
from typing import Any, Concatenate, NotRequired, ParamSpec, TypeGuard

import numpy as np
from typing_extensions import TypedDict

from padbench.capture.against import AGAINST, ORDER, Beside, State, in_turn, judge_beside, states
from padbench.capture.expected import Expectation, judge_expectation, load_expectation
from padbench.capture.fit import NotShown, fitted
from padbench.capture.frame_seen import Place
from padbench.capture.inspect import (
    LINES,
    Inspection,
    Needs,
    Settings,
    Watcher,
    inspect_timeline,
    needs_of,
    parting,
    settings_of_sheet,
    usual_settings,
)
from padbench.capture.inspect import inspect as inspect_pieces
from padbench.capture.intermittent import Steadiness, steadiness
from padbench.capture.judging import findings_of, judge_levels, judge_supply, no_supply
from padbench.capture.measures import Statistics
from padbench.capture.opening import (
    BY_LEVEL,
    NOBODY_SAYS,
    STEADY,
    USUAL_SUPPLIES,
    Channel,
    Choices,
    OpenCapture,
    opened,
)
from padbench.capture.reads import CUT_SHORT, INCOMPLETE, SeenRead
from padbench.capture.windows import TooMuch, stretches
from padbench.core.buttons import BUTTONS, pressed_in
from padbench.core.findings import Finding, Rule, Source, overall
from padbench.core.timeline import Timeline
from padbench.files import claim, one_run, was_read, whole_file
from padbench.jobs.loading import (
    Design,
    FileLike,
    Progress,
    Refusal,
    SheetLike,
    design_of,
    inputs_from,
    known_scenarios,
    scenario_named,
    unwatched,
)
from padbench.results.capture_sections import capture_sections
from padbench.results.documents import FindingDocument, Outcome, finding_document
from padbench.results.result import Result, combined
from padbench.scenarios import Scenario
from padbench.sheet import Sheet
from padbench.waveio import (
    SECONDS,
    THRESHOLDS,
    CaptureFile,
    Thresholds,
    WaveError,
    hertz_named,
    name_of,
    unit_named,
)

P = ParamSpec("P")

ROLES = ("latch", "clock", "data", "supply", "sync", "far-latch", "far-clock", "far-data")
"""What a channel can be; far is the pad's end of the cable. A button's is its register's input."""


class ChannelDocument(TypedDict):
    """A channel of the file; ``how`` it was found, null where it was given."""

    name: str
    found: bool
    how: str | None


class TimeUnitDocument(TypedDict):
    """The unit of a column of times, and who says so."""

    unit: str
    how: str


class FrameDocument(TypedDict):
    """The frame that the video sync shows."""

    console: str | None
    lines: float
    sync_line: int


class VoltsDocument(TypedDict):
    """The extremes of a channel."""

    min: float
    max: float


class StatisticsDocument(TypedDict):
    """Widths in microseconds; of polls and frames also how many a second."""

    count: int
    min: float
    median: float
    mean: float
    max: float
    unit: str
    rate: NotRequired[float]


class PressDocument(TypedDict):
    """A button down; null where nobody saw it happen."""

    button: str
    down_ps: int | None
    up_ps: int | None


class PlaceDocument(TypedDict):
    """Where in the frame a read falls."""

    lines_after_sync: float
    first_line: NotRequired[int]
    last_line: NotRequired[int]
    in_blanking: NotRequired[bool]
    in_picture: NotRequired[bool]


class SeenReadDocument(TypedDict):
    """One read; ``on_wire`` is what the pad had loaded, ``pressed`` what the console has of it;
    ``later_bits`` are those from 9 on, 1 is pressed, ? undecided; ``inputs`` are the recorded
    contacts that surely were closed when the load ended.
    """

    number: int
    start_ps: int
    byte: int
    pressed: list[str]
    on_wire: list[str]
    clocks: int
    extra_clocks: list[int]
    complete: bool
    cut_short: bool
    undecided: list[str]
    later_bits: NotRequired[str]
    inputs: NotRequired[list[str]]
    frame: NotRequired[PlaceDocument]


class InspectDocument(TypedDict):
    """``padbench inspect``."""

    verdict: Outcome
    channels: dict[str, ChannelDocument]
    time_unit: TimeUnitDocument | None
    end_ps: int
    passes: int
    frame: FrameDocument | None
    levels: dict[str, VoltsDocument]
    volts: dict[str, VoltsDocument]
    findings: list[FindingDocument]
    statistics: dict[str, StatisticsDocument]
    buttons: list[PressDocument]
    beside: list[Beside]
    intermittents: list[Steadiness]
    reads: list[SeenReadDocument]


@one_run()
def inspect_one(
    capture: CaptureFile,
    *,
    sheet: SheetLike | None = None,
    port: str | None = None,
    channels: Mapping[str, str | int] | None = None,
    time: str | int | None = None,
    time_unit: str | None = None,
    rate: float | str | None = None,
    thresholds: Sequence[float | str] | None = None,
    clocks: int | None = None,
    passes: int | None = None,
    expect: Path | str | None = None,
    against: CaptureFile | SheetLike | None = None,
    scenario: str | Scenario | None = None,
    own_scenarios: FileLike | None = None,
    sync_line: int | None = None,
    all_reads: bool = False,
    fit: FileLike | None = None,
    invert: Sequence[str] | str = (),
    scale: float | str | None = None,
    watcher: Watcher = lambda *_: None,
    progress: Progress = unwatched,
) -> Result:
    """Decode and judge a capture: every read, every width, held to what a simulation is held to.

        result = padbench.inspect("bench.csv", channels={"clock": "CH2", "latch": "CH1"})
        result.verdict, [f.says for f in result.findings if f.verdict == "fail"]
        [read.byte for read in result.data.reads()]

    ``capture`` is a VCD or CSV file, plain or gzip, by its path or open, or several of them, which
    give one result with all in it, as bad as the worst. ``channels`` names its
    channels by role (`ROLES`), in CSV also by number from 1;
    what is left out is found by its name; several for "data", in a list, are several pads on one
    latch, and give a result each. ``time`` is the column of times in ``time_unit`` ("us"),
    ``rate`` stands for it in samples a second; ``thresholds`` are the volts up to which a line is
    low and from which it is high (1.5, 3.5: JEDEC JESD13-B at 5 V; where these do not part the
    clock's levels, 30 and 70 % of them, which is told; the levels are then held to the sheet).

    ``sheet`` gives the limits, on one kind of ``port`` (default: the first that it names); without
    one they are those of the usual register at 5 V. ``clocks`` is the number of bits of a whole
    read, ``passes`` how many reads a poll has (default: as found). ``expect`` is a TOML file that
    says what was held when. ``against`` is another capture, or a sheet that plays ``scenario``,
    compared read by read. ``sync_line`` is the line of the frame in which vertical sync begins.
    ``all_reads`` lists all in the text. ``invert`` names lines ("data") that were recorded upside
    down; where a sheet has an inverter before its load pin, a latch recorded behind it is known by
    its rest. ``scale`` is what numbers are multiplied with to be volts. ``fit`` is a parts file to
    write: the sheet's register and port as a capture in volts shows them (`padbench.capture.fit`).
    ``progress`` is told of bytes read, and of how many, ``watcher`` of reads and findings as they
    come (`padbench.capture.inspect.Watcher`); a `padbench.waveio.Follow` is read as it grows.

    ``result.data`` is the `padbench.capture.inspect.Inspection`, of several a list of them. Raises
    `WaveError`, `Refusal` and `SheetError` (each a ``ValueError`` of one line a problem) for what
    cannot be used.
    """
    unknown = [role for role in channels or () if role not in (*ROLES, *BUTTONS)]
    if unknown:
        what = f"{unknown[0]!r} is no role; use {', '.join(ROLES)}, or a button"
        raise Refusal("channels", what)
    design = None if sheet is None else design_of(sheet)
    kind = None if design is None else _port(design, port)
    settings = _settings(design, port, clocks, passes, simulates=scenario is not None)
    given = {role: str(name) for role, name in (channels or {}).items() if name is not None}
    if sync_line is not None:
        if "sync" not in given or not 0 <= sync_line < 400:
            raise Refusal("sync-line", "give a line from 0 to 399, and --sync CHANNEL too")
        settings = replace(settings, sync_from=sync_line)
    choices = Choices(
        given,
        None if time is None else str(time),
        _unit(time_unit),
        _hertz(rate),
        _thresholds(thresholds),
        inverted=_lines(invert, given),
        scale=_scale(scale),
    )
    if fit is not None and choices.inverted:
        raise Refusal("fit", "the levels of an inverted line are not its own; leave --invert out")
    if fit is not None and design is None:
        what = "only a sheet says what is connected to the lines; give --sheet too"
        raise Refusal("fit", what)
    settings = settings if design is None else replace(settings, lines=LINES)
    expected = None if expect is None else load_expectation(Path(expect))
    other = _other(against, scenario, port, clocks, own_scenarios, choices, settings)
    first = _read(capture, choices, settings, progress, watcher)
    seen, opened_capture, choices, parted = _read_again(capture, first, design, choices, settings)
    policy = "both" if design is None else design.sheet.policy.opposite_directions
    told = expected is not None or other is not None
    unit = opened_capture.time_unit
    findings = [
        *findings_of(
            seen,
            wanted=settings.wanted,
            policy=policy,
            told=told,
            unit_known=unit is None or unit[1] != NOBODY_SAYS,
        )
    ]
    if parted is not None and design is None:
        # That no level was left halfway is no praise where nobody knows what they should be.
        findings = [
            replace(one, verdict="not-judged", case="pass")
            if (one.id, one.verdict) == ("levels.runts", "pass")
            else one
            for one in findings
        ]
    needs = None if design is None or kind is None else needs_of(design.sheet, kind)
    findings += judge_levels(seen, parted, needs, used=choices.thresholds is not None)
    findings += _supply(seen, opened_capture.channels.get("supply"), needs)
    beside: tuple[Beside, ...] = ()
    compared: list[tuple[Rule, Sequence[State], Source]] = []
    if expected is not None and expected.order:
        compared.append((ORDER, in_turn(expected.order), Source(f"{expect}", "given")))
        expected = None
    elif expected is not None:
        findings.append(judge_expectation(seen.reads(), expected))
    if other is not None:
        others, source = other()
        compared.append((AGAINST, states(others), source))
    for rule, there, source in compared:
        more, beside = judge_beside(rule, states(seen.reads()), there, source, _held(seen))
        findings += more
    files = [Path(file) for file in (expect, capture, against) if _is_path(file)]
    if fit is not None and design is not None and kind is not None:
        _write_fit(Path(fit), capture, seen, design, kind)
    result = _result(
        *(capture, seen, opened_capture, findings, expected, choices, beside), all_reads=all_reads
    )
    return replace(
        result,
        inputs=inputs_from(*files) if design is None else design.inputs(*files),
        assumed=() if design is None else design.sheet.assumed,
        wrote={} if fit is None else {"Parts": Path(fit)},
    )


_Read = tuple[Inspection, OpenCapture]


def _read_again(
    capture: CaptureFile, read: _Read, design: Design | None, choices: Choices, settings: Settings
) -> tuple[Inspection, OpenCapture, Choices, Thresholds | None]:
    """With a latch behind the sheet's inverter turned, by thresholds that part the levels, and with
    one supply. The thresholds are told also where they were of no use, since a pipe is read once.
    """
    twice = _is_path(capture) and Path(capture).is_file()
    if twice and design is not None and design.sheet.chip.latch_inverted and _upside_down(read[0]):
        choices = replace(choices, inverted=choices.inverted | {"latch"})
        read = _read(capture, choices, settings, unwatched)
    parted = parting(read[0]) if choices.thresholds is None else None
    if twice and parted is not None:
        choices = replace(choices, thresholds=parted)
        read = _read(capture, choices, settings, unwatched)
    return read[0], _one_supply(*read), choices, parted


_ALL_THE_TIME = 0.9
"""Of the reads; a button down in so many is held (assumed)."""


def _held(seen: Inspection) -> int:
    """The buttons that are down all the time, as a byte."""
    bits = np.unpackbits(seen.rows["byte"].astype(np.uint8)[:, None], axis=1)
    down = bits.sum(axis=0) >= _ALL_THE_TIME * max(1, len(bits))
    return int(np.packbits(down)[0])


def _one_supply(seen: Inspection, capture: OpenCapture) -> OpenCapture:
    """With the lowest of what may be the supply, of those that kept to a high level if any did."""
    channels = dict(capture.channels)
    some = {role: channels.pop(role) for role in capture.channels if role.startswith("supply")}
    volts = {role: seen.volts.pop(role) for role in some if role in seen.volts}
    if not volts:
        return capture
    least = {role: low for role, (low, _) in volts.items()}
    role = min(volts, key=lambda role: (least[role] <= THRESHOLDS.low, least[role]))
    channels["supply"], seen.volts["supply"] = some[role], volts[role]
    return replace(capture, channels=channels)


def _supply(seen: Inspection, channel: Channel | None, needs: Needs | None) -> Iterator[Finding]:
    """The supply beside what the sheet's may be. One found by its level that leaves the zone of a
    high level is another line, not a supply that dips.
    """
    if channel is None or "supply" not in seen.volts:
        return
    least, most = seen.volts["supply"]
    usual = next((volts for volts in USUAL_SUPPLIES if abs(most - volts) < STEADY * volts), None)
    if (channel.how or "").startswith(BY_LEVEL) and least <= THRESHOLDS.low:
        yield no_supply(channel.label, least, usual)
        return
    yield judge_supply(seen.volts["supply"], needs and needs.supply, usual)


def _upside_down(seen: Inspection) -> bool:
    """Whether clocks come while the latch is high, as behind a pad's inverter."""
    _, clocks, high, _ = seen.pulses.tolist()
    return bool(high > 1 and 4 * high > 3 * clocks)


def _lines(lines: Sequence[str] | str, given: Mapping[str, str]) -> frozenset[str]:
    """Roles, of lines named by these or by their channels."""
    own = {name.casefold(): role for role, name in given.items()}
    some = re.split(r"[,; ]+", lines) if isinstance(lines, str) else lines
    some = [own.get(name, name) for name in (str(line).casefold() for line in some)]
    wrong = [line for line in some if line not in ROLES or line == "supply"]
    if wrong:
        raise Refusal("invert", f"{wrong[0][:40]!r} is no line; use latch, clock, data, sync")
    return frozenset(some)


def _scale(text: float | str | None) -> float:
    try:
        scale = 1.0 if text is None else float(text)
    except ValueError:
        scale = 0.0
    if not (math.isfinite(scale) and scale > 0):
        raise Refusal("scale", f"{str(text)[:40]!r} is no factor; write for example 0.01")
    return scale


def _write_fit(
    path: Path, capture: CaptureFile, seen: Inspection, design: Design, kind: str
) -> None:
    """The parts file; what was measured is dated by the capture's own file."""
    sheet = Path(design.sheet.document.name)
    # A sheet that was loaded before this call is an input all the same.
    read = [sheet, sheet.parent / (design.sheet.parts.file or sheet.name)]
    for file in read:
        was_read(file)
    known = _is_path(capture) and Path(capture).is_file()
    read += [Path(str(capture))] if known else []
    if any(path.exists() and file.exists() and path.samefile(file) for file in read):
        claim(path)  # refuses, before anything is measured
    day = date.fromtimestamp(Path(str(capture)).stat().st_mtime) if known else date.today()
    name = Path(name_of(capture)).name
    source = Source(f"measured, {name}, {day.isoformat()}", "measured")
    try:
        with whole_file(path) as out:
            out.write(fitted(seen, design.sheet, kind, source))
    except NotShown as error:
        raise Refusal("fit", f"{name}: {error}") from None


_NEEDS: Mapping[str, tuple[tuple[type, ...], str]] = {
    "sheet": ((Sheet, Path, str, Mapping), "a sheet, its file or its text"),
    "against": ((Sheet, Mapping), "a capture or a sheet"),
    "channels": ((Mapping,), 'channels by role, as {"latch": "CH1"}'),
    "thresholds": ((Sequence,), "two voltages, as (1.5, 3.5)"),
    "rate": ((int, float, str), "a number of samples a second"),
    "scale": ((int, float, str), "a number"),
    "invert": ((str, Sequence), "names of lines"),
    "time": ((str, int), "the name or the number of a column"),
    "scenario": ((str, Scenario), "a scenario or its name"),
    **dict.fromkeys(("port", "time_unit"), ((str,), "a name")),
    **dict.fromkeys(("clocks", "passes", "sync_line"), ((int,), "a whole number")),
    **dict.fromkeys(("expect", "own_scenarios", "fit"), ((str, Path), "the path of a file")),
}
"""What an argument from Python must be, and in words."""


def _checked(captures: object, options: Mapping[str, object]) -> list[CaptureFile]:
    """The captures, one or several; a `Refusal` for what is of no use as an argument."""
    some = [captures] if _is_capture(captures) or not isinstance(captures, Iterable) else captures
    files = [*some]
    for file in files:
        if not _is_capture(file):
            what = f"{file!r:.60} is no capture; give a path or an open file, or several"
            raise Refusal("capture", what)
    if not files:
        raise Refusal("capture", "there is none; give a path or an open file, or several")
    for name, (kinds, words) in _NEEDS.items():
        value = options.get(name)
        if value is None or (isinstance(value, kinds) and not isinstance(value, bool)):
            continue
        if name != "against" or not _is_capture(value):
            raise Refusal(name, f"{value!r:.60} is no use here; give {words}")
    if options.get("fit") is not None and len(files) > 1:
        raise Refusal("fit", f"there are {len(files)} captures; give the one to fit")
    return files


def by_data(channels: Any) -> list[tuple[Callable[[Result], Result], dict[str, Any]]]:
    """For each data line how its result is named, and the option that has it alone."""
    lines = channels.get("data") if isinstance(channels, Mapping) else None
    if not isinstance(lines, list | tuple) or not lines:
        return [(lambda result: result, {})]

    def named(line: str | int) -> Callable[[Result], Result]:
        return lambda result: (
            result if len(lines) == 1 else replace(result, name=f"{result.name}, {line}")
        )

    return [(named(line), {"channels": {**channels, "data": line}}) for line in lines]


def _is_capture(file: object) -> TypeGuard[CaptureFile]:
    return isinstance(file, str | Path) or hasattr(file, "read")


def _for_python(
    one: Callable[Concatenate[CaptureFile, P], Result],
) -> Callable[Concatenate[CaptureFile | Sequence[CaptureFile], P], Result]:
    """The same for several captures; messages name arguments instead of options."""

    @wraps(one)
    def several(
        capture: CaptureFile | Sequence[CaptureFile], *arguments: P.args, **options: P.kwargs
    ) -> Result:
        try:
            files = _checked(capture, options)
            return combined(
                [
                    named(one(file, *arguments, **(options | own)))  # type: ignore[arg-type]
                    for file in files
                    for named, own in by_data(options.get("channels"))
                ]
            )
        except Refusal as error:
            raise Refusal(error.option.replace("-", "_"), _as_arguments(error.says)) from None
        except WaveError as error:
            raise WaveError(_as_arguments(str(error))) from None

    several.__name__ = several.__qualname__ = "inspect"
    return several  # type: ignore[return-value]  # the first may be named as well


def _as_arguments(says: str) -> str:
    return re.sub(r"(?<!\S)--([a-z]+(?:-[a-z]+)?)", lambda m: m[1].replace("-", "_"), says)


inspect = _for_python(inspect_one)


def _is_path(file: object) -> TypeGuard[Path | str]:
    return isinstance(file, Path) or (isinstance(file, str) and "\n" not in file)


def _settings(
    design: Design | None,
    port: str | None,
    clocks: int | None,
    passes: int | None,
    *,
    simulates: bool,
) -> Settings:
    if clocks is not None and not 1 <= clocks <= 64:
        raise Refusal("clocks", f"{clocks} is not between 1 and 64; write for example 8")
    if passes is not None and not 1 <= passes <= 4:
        raise Refusal("passes", f"{passes} is not between 1 and 4; write for example 2")
    if design is not None:
        kind = _port(design, port)
        return settings_of_sheet(design.sheet, kind, wanted=clocks, passes=passes or 0)
    if port is not None and not simulates:
        raise Refusal("port", "only a sheet has kinds of port; give --sheet too")
    return usual_settings(wanted=clocks or 8, passes=passes or 0)


def _port(design: Design, port: str | None) -> str:
    ports = design.sheet.works_with.ports
    if port is not None and port not in ports:
        raise Refusal("port", f"the sheet does not name {port[:60]!r}; try {', '.join(ports)}")
    return port or ports[0]


def _thresholds(volts: Sequence[float | str] | None) -> Thresholds | None:
    if volts is None or volts == "auto" or [*volts] == ["auto"]:
        return None
    try:
        low, high = map(float, volts)
    except (TypeError, ValueError):
        low = high = math.nan
    if not (math.isfinite(low) and math.isfinite(high) and low < high):
        text = ",".join(map(str, volts))[:40]
        what = f"{text!r} is not two rising voltages; write for example 1.5,3.5"
        raise Refusal("thresholds", what)
    return Thresholds(low, high)


def _hertz(rate: float | str | None) -> float | None:
    """Of a number, or of a text such as 10M or 10 MS/s."""
    if rate is None:
        return None
    hertz = hertz_named(str(rate)) or 0.0
    if not 1e-3 <= hertz <= 1e12:
        what = f"{str(rate)[:40]!r} is no number of samples a second; write for example 10M"
        raise Refusal("rate", what)
    return hertz


def _unit(text: str | None) -> str | None:
    unit = None if text is None else unit_named(text)
    if text is not None and unit not in SECONDS:
        raise Refusal("time-unit", f"{text[:40]!r} is no unit of time; write for example us")
    return unit


def _other(
    against: Any,
    scenario: str | Scenario | None,
    port: str | None,
    clocks: int | None,
    own_scenarios: FileLike | None,
    choices: Choices,
    settings: Settings,
) -> Callable[[], tuple[Iterator[SeenRead], Source]] | None:
    """What gives the reads to compare with and says what they are; None if there are none."""
    if scenario is None:
        if against is None:
            return None
        if str(against).endswith(".toml"):
            raise Refusal("against", f"{against} is a sheet; give --scenario too, as idle")

        def read() -> tuple[Iterator[SeenRead], Source]:
            try:
                seen, _ = _read(against, choices, settings, unwatched)
            except WaveError:
                # The names were meant for the other file.
                plain = replace(choices, channels={}, time=None, time_unit=None, rate=None)
                seen, _ = _read(against, plain, settings, unwatched)
            if not len(seen.rows):
                what = "no read in it to compare with; name a capture with reads"
                raise WaveError(f"{name_of(against)}: {what}")
            return seen.reads(), Source(f"the capture {name_of(against)}", "given")

        return read
    if against is None:
        raise Refusal("scenario", "nothing is simulated; give --against SHEET too")
    design = design_of(against)
    played = scenario_named(scenario, known_scenarios(design.sheet, own_scenarios))
    kind = _port(design, port)

    def play() -> tuple[Iterator[SeenRead], Source]:
        from padbench.trials.trial import run_scenario  # noqa: PLC0415 - MyHDL, only for this

        run = run_scenario(design.sheet, played, kind, "slow")
        held_to = settings_of_sheet(design.sheet, kind, wanted=clocks)
        title = f"the simulation of {design.name}, {played.name}, {kind} port, slow corner"
        return inspect_timeline(run.timeline, held_to).reads(), Source(title, "calculated")

    return play


def _read(
    file: CaptureFile,
    choices: Choices,
    settings: Settings,
    progress: Progress,
    watcher: Watcher = lambda *_: None,
) -> _Read:
    with opened(file, choices, progress) as capture:
        try:
            return inspect_pieces(capture.pieces(), settings, watcher), capture
        except TooMuch as error:
            raise WaveError(f"{name_of(file)}: {error}") from None


def _result(
    file: CaptureFile,
    seen: Inspection,
    capture: OpenCapture,
    findings: Sequence[Finding],
    expected: Expectation | None,
    choices: Choices,
    beside: Sequence[Beside],
    *,
    all_reads: bool,
) -> Result:
    verdict = overall(finding.verdict for finding in findings)
    broken = sum(finding.verdict == "fail" for finding in findings)
    broken_off = " before the file breaks off" if seen.broken_off else ""
    count = f"{len(seen.rows)} read{'s' if len(seen.rows) != 1 else ''}"

    held = () if expected is None else expected.held
    slack = 0 if expected is None else expected.slack
    steady = steadiness(seen.press_times, seen.end_ps, held, slack)

    def again(spans: Sequence[tuple[int, int]]) -> Mapping[int, Timeline]:
        with opened(file, choices) as stream:
            return dict(stretches(stream.pieces(), spans))

    twice = _is_path(file) and Path(file).is_file()
    return Result(
        command="inspect",
        name=Path(name_of(file)).name,
        verdict=verdict,
        outcome=verdict,
        word="Holds." if verdict == "pass" else "FAILS.",
        lead=f"{count}{broken_off}, and nothing in them breaks a rule."
        if verdict == "pass"
        else f"{count}{broken_off}; {broken} of {len(findings)} findings fail.",
        make_document=lambda: _document(verdict, seen, capture, findings, beside, steady),
        make_sections=lambda: [
            *capture_sections(
                seen,
                findings,
                capture,
                expected,
                again if twice else None,
                beside,
                steady,
                all_reads=all_reads,
            )
        ],
        findings=tuple(findings),
        data=seen,
    )


def _document(
    verdict: Outcome,
    seen: Inspection,
    capture: OpenCapture,
    findings: Sequence[Finding],
    beside: Sequence[Beside],
    steady: Sequence[Steadiness],
) -> InspectDocument:
    unit, frame = capture.time_unit, seen.frame
    return {
        "verdict": verdict,
        "channels": {
            role: {"name": channel.label, "found": channel.how is not None, "how": channel.how}
            for role, channel in capture.channels.items()
        },
        "time_unit": None if unit is None else {"unit": unit[0], "how": unit[1]},
        "end_ps": seen.end_ps,
        "passes": seen.passes,
        "frame": None
        if frame is None
        else {
            "console": None if frame.timing is None else frame.timing.name,
            "lines": frame.frame_ps / frame.line_ps,
            "sync_line": frame.sync_from,
        },
        "levels": {
            line: {"min": edges.levels[0], "max": edges.levels[1]}
            for line, edges in seen.edges.items()
            if edges.levels is not None
        },
        "volts": {role: {"min": least, "max": most} for role, (least, most) in seen.volts.items()},
        "findings": [finding_document(finding) for finding in findings],
        "statistics": {name: _statistics(name, widths) for name, widths in seen.measures.items()},
        "buttons": (press._asdict() for press in seen.presses),  # type: ignore[typeddict-item]
        "beside": [asdict(row) for row in beside],  # type: ignore[misc]
        "intermittents": [asdict(button) for button in steady],  # type: ignore[misc]
        "reads": _reads(seen),  # type: ignore[typeddict-item]
    }


def _statistics(name: str, widths: Statistics) -> StatisticsDocument:
    document: StatisticsDocument = {
        "count": widths.count,
        "min": widths.least / 1e6,
        "median": widths.median / 1e6,
        "mean": widths.mean / 1e6,
        "max": widths.most / 1e6,
        "unit": "µs",
    }
    if name in ("poll period", "frame period") and widths.median:
        document["rate"] = 1e12 / widths.median
    return document


_PRESSED = [list(pressed_in(byte)) for byte in range(256)]
"""Made once, since a long capture has millions of reads."""


def _reads(seen: Inspection) -> Iterator[SeenReadDocument]:
    for number, row in enumerate(seen.tuples(), 1):
        start, _, byte, held, undecided, _, clocks, extra, flags, *_ = row
        document: SeenReadDocument = {
            "number": number,
            "start_ps": start,
            "byte": byte,
            "pressed": _PRESSED[byte],
            "on_wire": _PRESSED[held],
            "clocks": clocks,
            "extra_clocks": list(SeenRead.of(row, number).extra) if extra else [],
            "complete": not flags & INCOMPLETE,
            "cut_short": bool(flags & CUT_SHORT),
            "undecided": _PRESSED[undecided],
        }
        if seen.wanted > 8:
            document["later_bits"] = SeenRead.of(row, number).later_bits(seen.wanted)
        if seen.inputs:
            document["inputs"] = _PRESSED[row[-2] & row[-1]]
        if seen.frame is not None:
            place = seen.place(SeenRead.of(row, number))
            if place is not None:
                document["frame"] = _place(place)
        yield document


def _place(place: Place) -> PlaceDocument:
    document: PlaceDocument = {"lines_after_sync": round(place.after_sync, 2)}
    if place.span is not None:
        document["first_line"] = place.span.first_line
        document["last_line"] = place.span.last_line
        document["in_blanking"] = place.span.blanking
        document["in_picture"] = place.span.picture
    return document
