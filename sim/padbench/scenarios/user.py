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

import re
from collections.abc import Iterator, Mapping
from functools import partial
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, model_validator

from padbench import scenarios
from padbench.core.buttons import byte_of
from padbench.scenarios.script import Scenario, Script, Setting
from padbench.scenarios.timetable import Timetable
from padbench.sheet.fields import Button, Line, Text, Whole, count
from padbench.toml import Clash, Document, Problem, Refused, SheetError, Table, check, wanted

_MOST_POLLS = 10_000
_MOST_CLOCKS = 200_000
"""Of all reads of a scenario: more would take gigabytes."""
_MOST_IN_A_FILE = 400_000
"""Clocks of all scenarios together: each is played on every port at both corners, and more would
take minutes."""
_START = 'begin with [[scenario]], name = "run-and-jump", says = "…" and a [[scenario.step]]'


_Buttons = Annotated[tuple[Button, ...], BeforeValidator(count(0, 8))]


class _Step(Table):
    """Contacts, then polls. Bits count from 1; a stopped one gives one extra clock, or as said."""

    hold: _Buttons = Field(examples=[["A", "Right"]])
    polls: Annotated[Whole, Field(ge=1, le=_MOST_POLLS, examples=[3])] = 1
    clocks: Annotated[Whole, Field(ge=1, le=64, examples=[8])] | None = None
    stopped_bit: Annotated[Whole, Field(ge=1, le=64, examples=[8])] | None = None
    extra_clocks: Annotated[Whole, Field(ge=1, le=16, examples=[1])] | None = None
    expect: _Buttons | None = Field(default=None, examples=[["A", "Right"]])

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


class _Scenario(Table):
    name: Annotated[
        Text,
        wanted(
            re.compile("[a-z0-9][a-z0-9-]{0,59}").fullmatch,
            "is no name of a scenario",
            'write for example "run-and-jump", in small letters, digits and hyphens',
        ),
    ] = Field(examples=["run-and-jump"])
    says: Line = Field(examples=["Right is held."])
    passes: Annotated[Whole, Field(ge=1, le=4, examples=[2])] | None = None
    serial_input: Literal["ground", "supply", "open"] | None = None
    step: Annotated[tuple[_Step, ...], BeforeValidator(count(1, 1000))]

    @model_validator(mode="after")
    def _can_be_run(self) -> "_Scenario":
        polls = sum(step.polls for step in self.step)
        if polls > _MOST_POLLS:
            raise Refused(f"makes {polls} polls in all", f"keep a scenario to {_MOST_POLLS} polls")
        clocks = self.clocks_of(1, 8)
        if clocks > _MOST_CLOCKS:
            raise Refused(*_too_long(clocks))
        return self

    def clocks_of(self, passes: int, clocks: int) -> int:
        """Clocks of all its reads, with so many passes and clocks where it does not say."""
        each = sum(step.polls * (step.clocks or clocks) for step in self.step)
        return each * (self.passes or passes)


def _too_long(clocks: int) -> tuple[str, str]:
    return f"gives {clocks} clocks in all", f"keep a scenario to {_MOST_CLOCKS} clocks"


class _File(Table):
    scenario: Annotated[tuple[_Scenario, ...], BeforeValidator(count(1, 1000))]


def load_scenarios(path: Path) -> dict[str, Scenario]:
    """Scenarios of a file by name. ``SheetError`` says all that is wrong with the file."""
    return _scenarios(Document.read(path, _START))


def scenarios_from_text(text: str, name: str) -> dict[str, Scenario]:
    """As `load_scenarios`; ``name`` stands for the file in messages."""
    return _scenarios(Document.parse(text, name, _START))


def _scenarios(document: Document) -> dict[str, Scenario]:
    return {
        entry.name: Scenario(
            entry.name,
            entry.says,
            partial(_build, entry, document.name, document.line(("scenario", index, "name"))),
        )
        for index, entry in enumerate(check(document, _File, _together).scenario)
    }


def _together(tables: Mapping[str, Any]) -> Iterator[Clash]:
    taken = {*scenarios.SCENARIOS, *scenarios.ROUTINE_SCENARIOS}
    for index, entry in enumerate(tables["scenario"] or ()):
        if entry.name in taken:
            key = ("scenario", index, "name")
            yield Clash(key, "is taken already", "give each scenario a name of its own")
        taken.add(entry.name)
    clocks = sum(entry.clocks_of(1, 8) for entry in tables["scenario"] or ())
    if clocks > _MOST_IN_A_FILE:
        wrong = f"give {clocks} clocks together"
        yield Clash(("scenario",), wrong, f"keep a file to {_MOST_IN_A_FILE} clocks")


def _build(entry: _Scenario, file: str, line: int | None, setting: Setting) -> Script:
    clocks = entry.clocks_of(setting.passes, setting.timing.clocks)
    if clocks > _MOST_CLOCKS:
        wrong, instead = _too_long(clocks)
        says = f"{entry.name} {wrong} with this sheet"
        raise SheetError([Problem(file, line, "scenario", "", says, instead)])
    if entry.passes or any(step.clocks or step.extra_clocks for step in entry.step):
        setting = setting.typed  # no routine makes such reads
    timetable = Timetable(setting, passes=entry.passes)
    serial: int | str | None = "as built"
    if entry.serial_input is not None:
        serial = {"ground": 0, "supply": 1, "open": None}[entry.serial_input]
    for step in entry.step:
        timetable.hold(step.hold)
        clocks = step.clocks or setting.timing.clocks
        stopped = (step.stopped_bit or 0, (step.extra_clocks or 1) if step.stopped_bit else 0)
        expect = None
        if clocks < 8:
            timetable.tolerates.add("timing.clocks")
        if step.expect is not None:
            byte = byte_of(step.expect)
            bits = tuple(bool(byte & 128 >> place) for place in range(8))[:clocks]
            expect = bits + (None,) * (clocks - len(bits))
        for _ in range(step.polls):
            timetable.poll(
                timing=setting.timing.with_clocks(clocks),
                stopped=[stopped],
                serial=serial,
                expect=expect,
            )
    return timetable.script()
