"""Names of the wires, words and moments of a timeline that padbench makes: their one home.

    timeline.wires[CABLE_DATA].before(timeline.events[CONSOLE_SAMPLE])

A scope and a wire with a dot between. ``console`` is what the console sends and what it makes of
the data, ``cable`` the lines as they arrive (latch and clock at the pad, data at the console),
``pad`` the register's own pins and stages, ``contacts`` the buttons. Captures have names of their
own, so whoever judges them says so (`padbench.core.decode.Names`, `padbench.core.timing.PinNames`).
"""

CONSOLE_LATCH = "console.latch"
CONSOLE_CLOCK = "console.clock"
CONSOLE_DATA = "console.data"
"""Behind the port's inverter: high is pressed."""
CONSOLE_SAMPLE = "console.sample"
"""Events: when the program took a level from the data line."""

CABLE_LATCH = "cable.latch"
CABLE_CLOCK = "cable.clock"
CABLE_DATA = "cable.data"

PAD_LOAD = "pad.load"
"""Behind the pad's inverter, where it has one: the register loads while it is high."""
PAD_CLOCK = "pad.clock"
PAD_SERIAL = "pad.serial"
PAD_INPUTS = "pad.inputs"
"""Word: the parallel inputs, stage 1 in bit 0, low where pressed."""
PAD_STAGES = "pad.stages"
"""Word: what the register holds, stage 1 in bit 0."""

CONTACTS_HELD = "contacts.held"
"""Word: the contacts that are closed, as a byte of buttons."""


def contact(button: str) -> str:
    """The wire of one contact, high while it is closed."""
    return f"contacts.{button}"
