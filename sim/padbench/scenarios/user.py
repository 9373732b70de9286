"""Scenarios of the user's own, from a TOML file beside the sheet.

    [[scenario]]
    name = "run-and-jump"
    says = "Right held while A is tapped."
    [[scenario.step]]
    hold = ["Right"]
    polls = 3
    [[scenario.step]]
    hold = ["Right", "A"]
    stopped-bit = 8
    expect = ["A", "Right"]

Each step sets the contacts and makes its polls. What must come out is worked out from the sheet,
as for the shipped scenarios, unless ``expect`` says it.
"""

from collections.abc import Mapping
from functools import partial
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, ValidationError, model_validator
from pydantic_core import ErrorDetails

from padbench.core.buttons import byte_of
from padbench.core.units import found_text
from padbench.scenarios.plan import Plan
from padbench.scenarios.registry import ROUTINE_SCENARIOS, SCENARIOS
from padbench.scenarios.script import Scenario, Script, Setting
from padbench.sheet.fields import pad_name, the_button
from padbench.sheet.locate import places
from padbench.sheet.problems import Problem, Refused, SheetError, nearest, one_line
from padbench.sheet.text import parse_toml, read_text

__all__ = ["load_scenarios", "scenarios_from_text"]

_MOST_POLLS = 10_000
_MOST_PROBLEMS = 50
_START = 'begin with [[scenario]], name = "run-and-jump", says = "…" and a [[scenario.step]]'
_EXAMPLES = {
    "name": 'name = "run-and-jump", in small letters, digits and hyphens',
    "says": 'says = "Right held while A is tapped."',
    "step": '[[scenario.step]] on a line of its own, and hold = ["A"] below it',
    "hold": 'hold = ["A", "Right"]',
    "expect": 'expect = ["A", "Right"]',
    "polls": f"polls = 3, from 1 to {_MOST_POLLS}",
    "passes": "passes = 2, from 1 to 4",
    "clocks": "clocks = 8, from 1 to 64",
    "stopped-bit": "stopped-bit = 8, from 1 to 64",
    "extra-clocks": "extra-clocks = 1, from 1 to 16",
    "serial-input": 'serial-input = "ground", or "supply" or "open"',
    "scenario": "[[scenario]] on a line of its own",
}

Buttons = tuple[Annotated[str, Field(strict=True), AfterValidator(the_button)], ...]
Whole = Annotated[int, Field(strict=True)]
_Place = tuple[str | int, ...]


class _Table(BaseModel):
    model_config = ConfigDict(
        extra="forbid", frozen=True, alias_generator=lambda name: name.replace("_", "-")
    )


class _Step(_Table):
    """Contacts, then polls. Bits count from 1; a stopped one gives one extra clock, or as said."""

    hold: Buttons
    polls: Annotated[Whole, Field(ge=1, le=_MOST_POLLS)] = 1
    clocks: Annotated[Whole, Field(ge=1, le=64)] | None = None
    stopped_bit: Annotated[Whole, Field(ge=1, le=64)] | None = None
    extra_clocks: Annotated[Whole, Field(ge=1, le=16)] | None = None
    expect: Buttons | None = None

    @model_validator(mode="after")
    def _stop_makes_sense(self) -> "_Step":
        if self.stopped_bit is None and self.extra_clocks is not None:
            raise Refused("has extra-clocks without stopped-bit", "say which bit is stopped")
        if self.clocks is not None and (self.stopped_bit or 0) > self.clocks:
            raise Refused(
                f"stops bit {self.stopped_bit} of a read of {self.clocks}",
                f"write a stopped-bit from 1 to {self.clocks}",
            )
        return self


class _Scenario(_Table):
    name: Annotated[str, Field(strict=True, pattern=r"^[a-z0-9][a-z0-9-]{0,59}$")]
    says: Annotated[str, Field(strict=True), AfterValidator(pad_name)]
    passes: Annotated[Whole, Field(ge=1, le=4)] | None = None
    serial_input: Literal["ground", "supply", "open"] | None = None
    step: Annotated[tuple[_Step, ...], Field(min_length=1, max_length=1000)]

    @model_validator(mode="after")
    def _can_be_run(self) -> "_Scenario":
        polls = sum(step.polls for step in self.step)
        if polls > _MOST_POLLS:
            raise Refused(f"makes {polls} polls in all", f"keep a scenario to {_MOST_POLLS} polls")
        return self


class _File(_Table):
    scenario: Annotated[tuple[_Scenario, ...], Field(min_length=1, max_length=1000)]


def load_scenarios(path: Path) -> dict[str, Scenario]:
    """Scenarios of a file by name. ``SheetError`` says all that is wrong with the file."""
    return scenarios_from_text(read_text(path, _START), str(path))


def scenarios_from_text(text: str, name: str) -> dict[str, Scenario]:
    """As `load_scenarios`; ``name`` stands for the file in messages."""
    document = parse_toml(text, name, _START)
    try:
        parsed = _File.model_validate(document)
    except ValidationError as error:
        raise SheetError(_problems(name, text, document, error)) from None
    taken = [*SCENARIOS, *ROUTINE_SCENARIOS]
    clashes = []
    for index, entry in enumerate(parsed.scenario):
        if entry.name in taken:
            key = ("scenario", index, "name")
            wrong, instead = "is taken already", "give each scenario a name of its own"
            found = found_text(entry.name)
            clashes.append(
                Problem(one_line(name), places(text).get(key), "name", found, wrong, instead)
            )
        taken.append(entry.name)
    if clashes:
        raise SheetError(clashes)
    return {
        entry.name: Scenario(entry.name, entry.says, partial(_build, entry))
        for entry in parsed.scenario
    }


def _build(entry: _Scenario, setting: Setting) -> Script:
    if entry.passes or any(step.clocks or step.extra_clocks for step in entry.step):
        setting = setting.typed  # no program makes such reads
    plan = Plan(setting, passes=entry.passes)
    serial: int | str | None = "as built"
    if entry.serial_input is not None:
        serial = {"ground": 0, "supply": 1, "open": None}[entry.serial_input]
    for step in entry.step:
        plan.hold(step.hold)
        clocks = step.clocks or setting.timing.clocks
        stopped = (step.stopped_bit or 0, (step.extra_clocks or 1) if step.stopped_bit else 0)
        expect = None
        if clocks < 8:
            plan.tolerates.add("timing.clocks")
        if step.expect is not None:
            byte = byte_of(step.expect)
            bits = tuple(bool(byte & 128 >> place) for place in range(8))[:clocks]
            expect = bits + (None,) * (clocks - len(bits))
        for _ in range(step.polls):
            plan.poll(
                timing=setting.timing.with_clocks(clocks),
                stopped=[stopped],
                serial=serial,
                expect=expect,
            )
    return plan.script()


def _problems(
    name: str, text: str, document: Mapping[str, Any], error: ValidationError
) -> list[Problem]:
    """Everything that was refused, in order of lines, without what only follows from the rest."""
    where = places(text)
    errors = error.errors(include_url=False)
    paths = [one["loc"] for one in errors]
    causes = [
        one
        for one in errors
        if not any(p != one["loc"] and p[: len(one["loc"])] == one["loc"] for p in paths)
    ]
    found = [_problem(name, where, document, one) for one in causes]
    found.sort(key=lambda problem: problem.line or 0)
    if len(found) > _MOST_PROBLEMS:
        more = f"has {len(found) - _MOST_PROBLEMS} more problems"
        last = Problem(one_line(name), None, "", "", more, "mend the ones above first")
        return [*found[:_MOST_PROBLEMS], last]
    return found


def _problem(
    name: str, where: Mapping[_Place, int], document: Mapping[str, Any], error: ErrorDetails
) -> Problem:
    path = error["loc"]
    key = next((str(step) for step in reversed(path) if str(step) in _EXAMPLES), "scenario")
    line = next((where[path[:n]] for n in range(len(path), 0, -1) if path[:n] in where), None)
    cause: Any = error.get("ctx", {}).get("error")
    found = found_text(error["input"])
    if isinstance(cause, Refused):
        wrong, instead = cause.wrong, cause.instead
        found = "" if isinstance(error["input"], dict) else found
    elif error["type"] == "missing":
        found, wrong, instead = "", "is missing", f"write {_EXAMPLES[key]}"
    elif error["type"] == "extra_forbidden":
        found, wrong = "", "is no known key here"
        instead = nearest(str(path[-1]), _KEYS.get(len(path), _KEYS[5]))
    else:
        wrong, instead = "cannot be used", f"write {_EXAMPLES[key]}"
    return Problem(one_line(name), line, _said(path, document), found, wrong, instead)


def _said(path: _Place, document: Mapping[str, Any]) -> str:
    """A place in the file as its author would say it: ``scenario "x", step 2, hold``."""
    words: list[str] = []
    level: Any = document
    for step in path:
        try:
            level = level[step]
        except (KeyError, IndexError, TypeError):
            level = None
        if not isinstance(step, int):
            words.append(step)
        elif words[-1] == "scenario" and isinstance(level, dict) and "name" in level:
            words[-1] = f"scenario {found_text(level['name'])}"
        else:
            words[-1] = f"{words[-1]} {step + 1}"
    return ", ".join(words)


_KEYS = {
    1: ["scenario"],
    3: [str(field.alias) for field in _Scenario.model_fields.values()],
    5: [str(field.alias) for field in _Step.model_fields.values()],
}
"""Known keys by the depth at which they stand: the file, a scenario, a step."""
