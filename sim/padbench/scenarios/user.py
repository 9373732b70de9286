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
    extra-clocks = 1
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

from padbench.buttons import byte_of
from padbench.scenarios.plan import Plan
from padbench.scenarios.registry import SCENARIOS
from padbench.scenarios.script import Scenario, Script, Setting
from padbench.sheet.fields import the_button
from padbench.sheet.locate import places
from padbench.sheet.problems import Problem, Refused, SheetError, nearest, one_line
from padbench.sheet.text import parse_toml, read_text
from padbench.units import found_text

__all__ = ["load_scenarios", "scenarios_from_text"]

_MOST_POLLS = 10_000
_EXAMPLES = {
    "name": 'name = "run-and-jump"',
    "says": 'says = "Right held while A is tapped."',
    "step": '[[scenario.step]] with hold = ["A"]',
    "hold": 'hold = ["A", "Right"]',
    "expect": 'expect = ["A", "Right"]',
    "polls": "polls = 3",
    "passes": "passes = 2",
    "clocks": "clocks = 8",
    "stopped-bit": "stopped-bit = 8",
    "extra-clocks": "extra-clocks = 1",
    "serial-input": 'serial-input = "ground"',
    "scenario": "[[scenario]] on a line of its own",
}

Buttons = tuple[Annotated[str, Field(strict=True), AfterValidator(the_button)], ...]
Whole = Annotated[int, Field(strict=True)]


class _Table(BaseModel):
    model_config = ConfigDict(
        extra="forbid", frozen=True, alias_generator=lambda name: name.replace("_", "-")
    )


class _Step(_Table):
    """Contacts, then polls. Bits count from 1; a stopped read needs both its keys."""

    hold: Buttons
    polls: Annotated[Whole, Field(ge=1, le=_MOST_POLLS)] = 1
    clocks: Annotated[Whole, Field(ge=1, le=64)] | None = None
    stopped_bit: Annotated[Whole, Field(ge=1, le=64)] | None = None
    extra_clocks: Annotated[Whole, Field(ge=1, le=16)] | None = None
    expect: Buttons | None = None

    @model_validator(mode="after")
    def _stopped_together(self) -> "_Step":
        if (self.stopped_bit is None) != (self.extra_clocks is None):
            raise Refused(
                "has one of stopped-bit and extra-clocks", "give both: the bit, and how many clocks"
            )
        return self


class _Scenario(_Table):
    name: Annotated[str, Field(strict=True, pattern=r"^[a-z0-9][a-z0-9-]{0,59}$")]
    says: Annotated[str, Field(strict=True, min_length=1, max_length=200)]
    passes: Annotated[Whole, Field(ge=1, le=4)] | None = None
    serial_input: Literal["ground", "supply", "open"] | None = None
    step: Annotated[tuple[_Step, ...], Field(min_length=1, max_length=1000)]


class _File(_Table):
    scenario: Annotated[tuple[_Scenario, ...], Field(min_length=1, max_length=1000)]


def load_scenarios(path: Path) -> dict[str, Scenario]:
    """Scenarios of a file by name. ``SheetError`` says all that is wrong with the file."""
    return scenarios_from_text(read_text(path), str(path))


def scenarios_from_text(text: str, name: str) -> dict[str, Scenario]:
    """As `load_scenarios`; ``name`` stands for the file in messages."""
    document = parse_toml(text, name)
    try:
        parsed = _File.model_validate(document)
    except ValidationError as error:
        where = places(text)
        raise SheetError(
            [_problem(name, where, one) for one in error.errors(include_url=False)[:50]]
        ) from None
    made: dict[str, Scenario] = {}
    for index, entry in enumerate(parsed.scenario):
        if entry.name in made or entry.name in SCENARIOS:
            line = places(text).get(("scenario", index, "name"))
            raise SheetError(
                [
                    Problem(
                        one_line(name),
                        line,
                        "scenario.name",
                        f'"{entry.name}"',
                        "is taken already",
                        "give each scenario a name of its own",
                    )
                ]
            )
        made[entry.name] = Scenario(entry.name, entry.says, partial(_build, entry))
    return made


def _build(entry: _Scenario, setting: Setting) -> Script:
    plan = Plan(setting, passes=entry.passes)
    serial: int | str | None = "as built"
    if entry.serial_input is not None:
        serial = {"ground": 0, "supply": 1, "open": None}[entry.serial_input]
    for step in entry.step:
        plan.hold(step.hold)
        clocks = step.clocks or setting.timing.clocks
        stopped = (step.stopped_bit or 0, step.extra_clocks or 0)
        expect = None
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


def _problem(name: str, where: Mapping[tuple[str | int, ...], int], error: ErrorDetails) -> Problem:
    path = error["loc"]
    key = str(path[-1]) if path else "scenario"
    # A wrong element of a list is answered with an example of the whole list.
    key = next((str(p) for p in reversed(path) if str(p) in _EXAMPLES), key)
    line = next((where[path[:n]] for n in range(len(path), 0, -1) if path[:n] in where), None)
    cause: Any = error.get("ctx", {}).get("error")
    found = found_text(error["input"])
    if isinstance(cause, Refused):
        wrong, instead = cause.wrong, cause.instead
    elif error["type"] == "missing":
        found, wrong, instead = "", "is missing", f"write {_EXAMPLES.get(str(path[-1]), key)}"
    elif error["type"] == "extra_forbidden":
        found, wrong, instead = "", "is no known key", nearest(str(path[-1]), _EXAMPLES)
    else:
        said = error["msg"][:1].lower() + error["msg"][1:]
        wrong, instead = f"cannot be used ({said})", f"write for example {_EXAMPLES.get(key, key)}"
    return Problem(
        one_line(name), line, ".".join(map(str, path)) or "scenario", found, wrong, instead
    )
