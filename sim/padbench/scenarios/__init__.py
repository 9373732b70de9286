"""Scenarios: what is done to the pad, and what must come out.

    script = SCENARIOS["each-button"].build(setting)
    script.stimulus, script.expected       # what to do; every read as it must come out

To add one: write a function Setting -> Script in `presses` or `reads` and name it here.
"""

from collections.abc import Callable

from padbench.scenarios import presses, reads
from padbench.scenarios.script import Expected, Scenario, Script, Setting

__all__ = ["ROUTINE_SCENARIOS", "SCENARIOS", "Expected", "Scenario", "Script", "Setting"]


def _scenario(name: str, build: Callable[[Setting], Script]) -> Scenario:
    """The first sentence of the function's docstring is what people read."""
    first = (build.__doc__ or "").strip().split("\n\n")[0]
    return Scenario(name, " ".join(first.split()), build)


SCENARIOS: dict[str, Scenario] = {
    name: _scenario(name, build)
    for name, build in {
        "idle": presses.idle,
        "each-button": presses.each_button,
        "all-states": presses.all_states,
        "held": presses.held,
        "opposite-directions": presses.opposite_directions,
        "stuck-contact": presses.stuck_contact,
        "press-between-polls": presses.press_between,
        "press-in-latch": presses.press_in_latch,
        "press-before-latch-ends": presses.press_before_latch_ends,
        "press-after-latch": presses.press_after_latch,
        "bounce": presses.bounce,
        "past-the-end": reads.past_the_end,
        "cut-short": reads.cut_short,
        "long-latch": reads.long_latch,
        "back-to-back": reads.back_to_back,
        "open-serial-input": reads.open_serial_input,
        "stopped-last-bit": reads.stopped_last_bit,
        "stopped-any-bit": reads.stopped_any_bit,
        "read-twice-rejects": reads.read_twice_rejects,
    }.items()
}
"""By name, in the order in which they run."""

ROUTINE_SCENARIOS: dict[str, Scenario] = {
    "fetch-cases": _scenario("fetch-cases", reads.fetch_cases)
}
"""Those that need a read routine as the poll; they run after the others."""
