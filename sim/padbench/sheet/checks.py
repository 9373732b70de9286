"""What values of a sheet must be to each other.

Every check works on tables that could be read, so that one bad value does not hide what is wrong
elsewhere.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from inspect import signature
from typing import Any

from padbench.core.units import show
from padbench.parts import console_timing
from padbench.parts.own import find_part
from padbench.sheet.firmware import FIRMWARE
from padbench.sheet.model import Chip, Contacts, Hdl, Pad, Poll, WorksWith
from padbench.sheet.simulators import SIMULATORS
from padbench.toml import Clash


def _stages(chip: Chip, buttons: Mapping[str, int]) -> Iterator[Clash]:
    for name, stage in buttons.items():
        if stage > chip.stages:
            yield Clash(
                ("buttons", name),
                f"is beyond the last of {chip.stages} stages",
                f"write a stage from 1 to {chip.stages}",
            )


def _firmware(chip: Chip) -> Iterator[Clash]:
    times = {
        "first-bit": (chip.first_bit, "1 us to 3 us"),
        "next-bit": (chip.next_bit, "1 us to 3 us"),
        "shortest-pulse": (chip.shortest_pulse, "200 ns"),
    }
    program = chip.kind == "firmware"
    if program and chip.part != FIRMWARE:
        yield Clash(("register", "part"), "stands beside a firmware", "leave one of them out")
    for key, (value, example) in times.items():
        if program and value is None:
            yield Clash(("register", key), "is missing", f'write for example {key} = "{example}"')
        if not program and value is not None:
            yield Clash(
                ("register", key), "is for a firmware only", 'leave it out, or kind = "firmware"'
            )


def _within_the_part(pad: Pad, chip: Chip) -> Iterator[Clash]:
    if chip.kind == "firmware":
        return
    part = find_part(chip.part)
    for key, used, allowed, unit, example in (
        ("supply", pad.supply, part.supply, "V", "5 V ± 5 %"),
        ("temperature", pad.temperature, part.temperature, "°C", "0 °C to 40 °C"),
    ):
        low, high = allowed.min, allowed.max
        if (low is not None and used.low < low) or (high is not None and used.high > high):
            ends = [
                show(end, unit) if unit == "V" else f"{end:g} {unit}"
                for end in (used.low, used.high)
            ]
            yield Clash(
                ("pad", key),
                f"reaches from {ends[0]} to {ends[1]}; "
                f"the {part.name} takes {low:g} {unit} to {high:g} {unit}",
                f'write for example "{example}"',
            )


def _contacts(contacts: Contacts) -> Iterator[Clash]:
    closed, worn, leakage = (
        value.nominal for value in (contacts.closed, contacts.worn, contacts.open)
    )
    if closed > worn:
        yield Clash(
            ("contacts", "worn"),
            f"is less than a fresh contact has, {show(closed, 'Ω')}",
            f'write at least "{show(closed, "Ω")}"',
        )
    if worn >= leakage:
        yield Clash(
            ("contacts", "open"),
            f"is not more than a worn closed contact has, {show(worn, 'Ω')}",
            'write for example "10 MΩ"',
        )
    yield from _twice(contacts.stuck, "contacts", "stuck")


def _stuck(contacts: Contacts, buttons: Mapping[str, int]) -> Iterator[Clash]:
    for place, name in enumerate(contacts.stuck):
        if name not in buttons and name not in contacts.stuck[:place]:
            yield Clash(
                ("contacts", "stuck", place),
                "is on no stage",
                f"give {name} a stage in [buttons], or leave it out here",
            )


def _twice(names: Sequence[str], *path: str) -> Iterator[Clash]:
    for place, name in enumerate(names):
        if name in names[:place]:
            yield Clash((*path, place), "stands there twice", "name it once")


def _ports(works_with: WorksWith) -> Iterator[Clash]:
    yield from _twice(works_with.ports, "works-with", "ports")


def _poll(poll: Poll) -> Iterator[Clash]:
    if poll.sample.high >= poll.clock_low.low + poll.clock_high.low:
        cycle = poll.clock_low.nominal + poll.clock_high.nominal
        yield Clash(
            ("poll", "sample"),
            "is not before the clock falls again",
            f"write less than clock-low and clock-high together, {show(cycle, 's', 6)}",
        )
    busy = poll.passes * poll.read_time
    if poll.period.low <= busy:
        yield Clash(
            ("poll", "period"),
            f"is not longer than the reading itself, {show(busy, 's', 6)}",
            "make the period longer or the read shorter",
        )
    lines = console_timing(poll.console).lines
    if poll.line is not None and poll.line >= lines:
        yield Clash(
            ("poll", "line"),
            f"is beyond the last line of the {poll.console} console",
            f"give a line from 0 to {lines - 1}",
        )


def _hdl(hdl: Hdl) -> Iterator[Clash]:
    if hdl.engine not in hdl.fitting:
        use = "use " + " or ".join(hdl.fitting)
        yield Clash(("hdl", "simulator"), f"does not read {hdl.language}", use)
    for place, source in enumerate(hdl.sources):
        language = "verilog" if source.lower().endswith((".v", ".sv")) else "vhdl"
        if language != hdl.language:
            yield Clash(
                ("hdl", "sources", place), f"is not {hdl.language}", f"name {hdl.language} sources"
            )
    if hdl.system_clock is not None and hdl.frequency is None:
        yield Clash(
            ("hdl", "system-clock"), "has no frequency", 'write for example frequency = "12 MHz"'
        )
    if hdl.system_clock is None and hdl.frequency is not None:
        yield Clash(("hdl", "frequency"), "belongs to no clock", 'write system-clock = "clk"')
    if hdl.open_drain and SIMULATORS[hdl.engine].two_valued:
        yield Clash(("hdl", "open-drain"), f"is nothing that {hdl.engine} knows", "use icarus")
    if hdl.language == "vhdl" and (hdl.include or hdl.defines):
        key = "include" if hdl.include else "defines"
        yield Clash(("hdl", key), "is for Verilog alone", "leave it out")
    if hdl.role == "reader" and hdl.system_clock is None:
        yield Clash(("hdl", "role"), "needs a system clock", 'write system-clock = "clk"')


def _hdl_buttons(hdl: Hdl, buttons: Mapping[str, int]) -> Iterator[Clash]:
    if isinstance(hdl.buttons, dict):
        for name in buttons:
            if name not in hdl.buttons:
                yield Clash(("hdl", "buttons"), f"has no port for {name}", "give each button one")


_CHECKS: tuple[Callable[..., Iterator[Clash]], ...] = (
    *(_stages, _firmware, _within_the_part, _contacts, _stuck, _ports, _poll, _hdl, _hdl_buttons),
)


def clashes(tables: Mapping[str, Any]) -> Iterator[Clash]:
    """What does not go together in the tables of a sheet, by name; None for one not readable.

    A check is made where all that it asks for, by the names of its parameters, could be read.
    """
    for check in _CHECKS:
        asked = [tables[name] for name in signature(check).parameters]
        if None not in asked:
            yield from check(*asked)
