"""The shipped scenarios. To add one: write a function Setting -> Script and name it here."""

from collections.abc import Callable

from padbench.scenarios import basic, moments, reading, stopped
from padbench.scenarios.script import Scenario, Script, Setting

__all__ = ["ROUTINE_SCENARIOS", "SCENARIOS"]


def _scenario(name: str, build: Callable[[Setting], Script]) -> Scenario:
    """The first sentence of the function's docstring is what people read."""
    first = (build.__doc__ or "").strip().split("\n\n")[0]
    return Scenario(name, " ".join(first.split()), build)


SCENARIOS: dict[str, Scenario] = {
    name: _scenario(name, build)
    for name, build in {
        "idle": basic.idle,
        "each-button": basic.each_button,
        "all-states": basic.all_states,
        "held": basic.held,
        "opposite-directions": basic.opposite_directions,
        "stuck-contact": basic.stuck_contact,
        "press-between-polls": moments.press_between,
        "press-in-latch": moments.press_in_latch,
        "press-before-latch-ends": moments.press_before_latch_ends,
        "press-after-latch": moments.press_after_latch,
        "bounce": moments.bounce,
        "past-the-end": reading.past_the_end,
        "cut-short": reading.cut_short,
        "long-latch": reading.long_latch,
        "back-to-back": reading.back_to_back,
        "open-serial-input": reading.open_serial_input,
        "stopped-last-bit": stopped.stopped_last_bit,
        "stopped-any-bit": stopped.stopped_any_bit,
        "read-twice-rejects": stopped.read_twice_rejects,
    }.items()
}
"""By name, in the order in which they run."""

ROUTINE_SCENARIOS: dict[str, Scenario] = {
    "fetch-cases": _scenario("fetch-cases", stopped.fetch_cases)
}
"""Those that need a read routine as the poll; they run after the others."""
