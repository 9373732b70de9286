"""What a page asks for: contacts, dials and event. It comes with each call, so tabs share nothing.

    State(held=0x88, dials={"cable.length": "10 m"}, event="fetch", bit=8, extra=1)

A plain read and the events that go by the contacts are scenarios in the words of a user's own file,
so what is kept is what was played; all others are shipped ones.
"""

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from padbench.circuit.pad_model import Corner
from padbench.core.buttons import pressed_in, spelled
from padbench.parts import console_timing
from padbench.scenarios import ROUTINE_SCENARIOS, SCENARIOS
from padbench.sheet import Sheet

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
    ``bit`` and ``extra`` say where a fetch stops a read and how many clocks it adds. ``newer`` are
    the held directions that closed after their opposite ones.
    """

    model_config = ConfigDict(extra="forbid", strict=True)

    held: Annotated[int, Field(ge=0, le=255)] = 0
    newer: Annotated[int, Field(ge=0, le=15)] = 0
    dials: Annotated[dict[str, Annotated[str, Field(max_length=80)]], Field(max_length=32)] = {}
    corner: Corner = "slow"
    event: Annotated[str, Field(max_length=60)] = "read"
    bit: Annotated[int, Field(ge=1, le=8)] = 8
    extra: Annotated[int, Field(ge=1, le=3)] = 1

    @property
    def shipped(self) -> bool:
        """Whether the event is a shipped scenario, which moves the contacts itself."""
        return self.event in SCENARIOS | ROUTINE_SCENARIOS


def event_says(state: State, sheet: Sheet, passes: int) -> str:
    """What happens in an event of the page, besides the contacts that are held."""
    says, bare = "", passes > 0
    if state.event == "past":
        says, bare = f" The console reads {PAST} bits past the end.", True
    elif state.event == "fetch" and not stops(sheet):
        says = " A fetch that stops a read of this console does it no harm."
    elif state.event == "fetch":
        bare = bare or state.extra > 1
        says = f" The fetch stops bit {state.bit} of the last poll, extra clocks: {state.extra}."
    if bare and sheet.poll.routine is not None:
        says += " These are single reads at the shortest times of the routine, not the routine."
    return says


def stops(sheet: Sheet) -> bool:
    """Whether a fetch of the sheet's console adds clocks to a read."""
    return console_timing(sheet.poll.console).extra_clocks


def scenario_text(state: State, name: str, sheet: Sheet, passes: Literal[0, 1, 2] = 0) -> str:
    """The event as a file of one scenario of that name.

    With ``passes`` of 0 a poll is as the sheet has it, or its routine. In a fetch the poll before
    is undisturbed, so that there is something that the console had. Where the policy for opposite
    directions goes by their order, the older ones are held in a poll of their own first.
    """
    says, steps = f"Held: {spelled(state.held)}.", [(state.held, "")]
    if state.event == "fetch":
        # A routine is stopped by its own fetch, which adds one.
        own = sheet.poll.routine is not None and state.extra == 1
        more = "" if own else f"extra-clocks = {state.extra}\n"
        stopped = f"stopped-bit = {state.bit}\n{more}" if stops(sheet) else ""
        steps.append((state.held, stopped))
    elif state.event == "past":
        steps = [(state.held, f"clocks = {sheet.chip.stages + PAST}\n")]
    if state.held & state.newer and sheet.policy.opposite_directions in ("newer", "older"):
        says = f"Held: {spelled(state.held)}, {spelled(state.newer)} later."
        steps.insert(0, (state.held & ~state.newer, ""))
    says += event_says(state, sheet, passes)
    head = f'[[scenario]]\nname = "{name}"\nsays = "{says}"\n'
    head += f"passes = {passes}\n" if passes else ""
    holds = ["[" + ", ".join(f'"{one}"' for one in pressed_in(held)) + "]" for held, _ in steps]
    both = zip(holds, steps, strict=True)
    return head + "".join(f"[[scenario.step]]\nhold = {hold}\n{step}" for hold, (_, step) in both)
