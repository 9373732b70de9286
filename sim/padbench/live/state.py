"""What a page asks for: contacts, dials and event. It comes with each call, so tabs share nothing.

    State(held=0x88, dials={"cable.length": "10 m"}, event="fetch", bit=8, extra=1)

A plain read and the events that go by the contacts are scenarios in the words of a user's own file,
so what is kept is what was played; all others are shipped ones.
"""

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from padbench.circuit.pad_model import Corner
from padbench.core.buttons import pressed_in, spelled
from padbench.scenarios import SCENARIOS

PAST = 8
"""Clocks beyond the last stage in a read past the end, as in the shipped scenario."""

OWN_EVENTS = {
    "read": "one read",
    "fetch": "the sample fetch stops a read",
    "past": "reading past the end",
}
"""Events that go by the contacts of the page; beside them there is every shipped scenario."""


class State(BaseModel):
    """One state of the page.

    ``held`` are the closed contacts, ``dials`` keys of the sheet with what they are turned to.
    ``bit`` and ``extra`` say where a fetch stops a read and how many clocks it adds.
    """

    model_config = ConfigDict(extra="forbid", strict=True)

    held: Annotated[int, Field(ge=0, le=255)] = 0
    dials: Annotated[dict[str, Annotated[str, Field(max_length=80)]], Field(max_length=32)] = {}
    corner: Corner = "slow"
    event: Annotated[str, Field(max_length=60)] = "read"
    bit: Annotated[int, Field(ge=1, le=8)] = 8
    extra: Annotated[int, Field(ge=1, le=3)] = 1

    @property
    def shipped(self) -> bool:
        """Whether the event is a shipped scenario, which moves the contacts itself."""
        return self.event in SCENARIOS


def scenario_text(
    state: State,
    name: str,
    *,
    routine: bool,
    stops: bool,
    stages: int,
    passes: Literal[0, 1, 2] = 0,
) -> str:
    """The event as a file of one scenario of that name.

    ``routine``: a program makes the polls, and its own fetch stops it; ``stops``: a fetch of this
    console adds clocks. With ``passes`` of 0 a poll is as the sheet has it. In a fetch the poll
    before is undisturbed, so that there is something that the console had.
    """
    hold = "[" + ", ".join(f'"{button}"' for button in pressed_in(state.held)) + "]"
    says, steps = f"Held: {spelled(state.held)}.", [""]
    if state.event == "fetch":
        more = "" if routine and state.extra == 1 else f"extra-clocks = {state.extra}\n"
        steps = ["", f"stopped-bit = {state.bit}\n{more}" if stops else ""]
        says += (
            f" The fetch stops bit {state.bit} of the second poll, extra clocks: {state.extra}."
            if stops
            else " A fetch that stops a read of this console does it no harm."
        )
    elif state.event == "past":
        steps = [f"clocks = {stages + PAST}\n"]
        says += f" The console reads {PAST} bits past the end."
    head = f'[[scenario]]\nname = "{name}"\nsays = "{says}"\n'
    head += f"passes = {passes}\n" if passes else ""
    return head + "".join(f"[[scenario.step]]\nhold = {hold}\n{step}" for step in steps)
