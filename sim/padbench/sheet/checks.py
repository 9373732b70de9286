"""What values of a sheet must be to each other.

Every check works on the tables that could be read, so that one bad value does not hide what is
wrong elsewhere.
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass

from padbench.core.units import show
from padbench.parts import console_timing
from padbench.parts.fault_kinds import BRANCHES, CORES, fault_kinds
from padbench.parts.own import find_part
from padbench.sheet.firmware import FIRMWARE
from padbench.sheet.model import (
    BoardFile,
    Chip,
    Contacts,
    Fault,
    Hdl,
    OnePad,
    Pad,
    Poll,
    PullUp,
    Resistors,
    Sheet,
    WorksWith,
)
from padbench.sheet.simulators import SIMULATORS
from padbench.toml import Clash


@dataclass(frozen=True, slots=True)
class Readable:
    """The tables of a sheet that were read without error; None for the others."""

    pad: Pad | None
    chip: Chip | None
    buttons: Mapping[str, int] | None
    pull_up: PullUp | None
    contacts: Contacts | None
    resistors: Resistors | None
    works_with: WorksWith | None
    poll: Poll | None
    hdl: Hdl | None
    fault: tuple[Fault, ...] | None
    pads: tuple[OnePad, ...] | None
    board: BoardFile | None


def _stages(sheet: Readable) -> Iterator[Clash]:
    if sheet.chip is None or sheet.buttons is None:
        return
    for name, stage in sheet.buttons.items():
        if stage > sheet.chip.stages:
            yield Clash(
                ("buttons", name),
                f"is beyond the last of {sheet.chip.stages} stages",
                f"write a stage from 1 to {sheet.chip.stages}",
            )


def _firmware(sheet: Readable) -> Iterator[Clash]:
    chip = sheet.chip
    if chip is None:
        return
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


def _within_the_part(sheet: Readable) -> Iterator[Clash]:
    if sheet.pad is None or sheet.chip is None or sheet.chip.kind == "firmware":
        return
    part = find_part(sheet.chip.part)
    for key, used, allowed, unit, example in (
        ("supply", sheet.pad.supply, part.supply, "V", "5 V ± 5 %"),
        ("temperature", sheet.pad.temperature, part.temperature, "°C", "0 °C to 40 °C"),
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


def _contacts(sheet: Readable) -> Iterator[Clash]:
    if sheet.contacts is None:
        return
    closed, worn, leakage = (
        value.nominal for value in (sheet.contacts.closed, sheet.contacts.worn, sheet.contacts.open)
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
    for place, name in enumerate(sheet.contacts.stuck):
        if name in sheet.contacts.stuck[:place]:
            yield Clash(("contacts", "stuck", place), "stands there twice", "name it once")
        elif sheet.buttons is not None and name not in sheet.buttons:
            yield Clash(
                ("contacts", "stuck", place),
                "is on no stage",
                f"give {name} a stage in [buttons], or leave it out here",
            )


def _ports(sheet: Readable) -> Iterator[Clash]:
    if sheet.works_with is None:
        return
    ports = sheet.works_with.ports
    for place, name in enumerate(ports):
        if name in ports[:place]:
            yield Clash(("works-with", "ports", place), "stands there twice", "name it once")


def _poll(sheet: Readable) -> Iterator[Clash]:
    poll = sheet.poll
    if poll is None:
        return
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


def _hdl(sheet: Readable) -> Iterator[Clash]:
    hdl = sheet.hdl
    if hdl is None:
        return
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
    if isinstance(hdl.buttons, dict) and sheet.buttons is not None:
        for name in sheet.buttons:
            if name not in hdl.buttons:
                yield Clash(("hdl", "buttons"), f"has no port for {name}", "give each button one")


_OPPOSITE = {"contact-dead": "contact-stuck", "contact-stuck": "contact-dead"}


def _faults(sheet: Readable) -> Iterator[Clash]:
    before: set[tuple[str, frozenset[str | None], str | None]] = set()
    for place, fault in enumerate(sheet.fault or ()):
        kind, here = fault_kinds()[fault.kind], ("fault", place)
        ends = frozenset((fault.at, fault.to))
        other = _OPPOSITE.get(fault.kind, fault.kind)
        if {(fault.kind, ends, fault.level), (other, ends, fault.level)} & before:
            what = (
                "is there already"
                if (fault.kind, ends, fault.level) in before
                else (f"cannot be beside {other}")
            )
            yield Clash((*here, "kind"), what, "leave one out")
        before.add((fault.kind, ends, fault.level))
        if sheet.chip is not None and sheet.chip.kind == "firmware":
            yield Clash(here, "is for a register, and this pad is a firmware", "leave it out")
            continue
        if lacks := lacking(fault, sheet):
            yield Clash((*here, "kind"), lacks, "leave it out")
            continue
        for key, what, value in (("at", kind.at, fault.at), ("to", kind.to, fault.to)):
            known = _places(what, sheet)
            if not what and value is not None:
                yield Clash((*here, key), f"is nothing that {fault.kind} has", "leave it out")
            elif known and value not in known:
                wrong = "is missing" if value is None else f"is no {what} of this pad"
                yield Clash((*here, key), wrong, f"name one of {', '.join(known)}")
        if fault.at is not None and fault.at == fault.to:
            yield Clash((*here, "to"), "is the same as at", "name two")
        if kind.level != (fault.level is not None):
            yield Clash(
                (*here, "level"),
                "is missing" if kind.level else f"is nothing that {fault.kind} has",
                'write level = "low" or "high"' if kind.level else "leave it out",
            )
        if fault.ohms is not None and not kind.ohms:
            yield Clash((*here, "ohms"), f"is nothing that {fault.kind} has", "leave it out")
        if fault.ohms is not None and not fault.ohms.low > 0:
            yield Clash((*here, "ohms"), "is not above 0", 'write for example ohms = "390 Ω"')
        if fault.kind == "pull-up-wrong" and fault.ohms is None:
            yield Clash((*here, "ohms"), "is missing", 'write for example ohms = "390 Ω"')


def lacking(fault: Fault, sheet: Readable | Sheet) -> str:
    """What a fault needs and the pad has not, as the predicate of a message; empty for nothing."""
    kind, chip = fault.kind, sheet.chip
    if chip is None:
        return ""
    part = find_part(chip.part)
    before = f"Q{(chip.stages - 1) % part.stages}"
    lift = getattr(sheet.resistors, f"{fault.at}_to_supply", part)
    no_pull_up = sheet.pull_up is not None and sheet.pull_up.value is None
    beside = kind != "input-at-output" or not fault.at or beside_output(fault.at, sheet)
    needs = {
        "input-at-output": (beside, f"an output next to the input of {fault.at}"),
        "data-stage-before": (before in part.pins, f"an output {before}; the {part.name} has none"),
        "part-synchronous": (part.load != "synchronous", f"another part than a {part.name}"),
        "link-open": (chip.stages > part.stages, "a chain of registers; this pad has one"),
        "serial-open": (chip.serial_input != "open", "a serial input that is tied"),
        "serial-wrong": (chip.serial_input != "open", "a serial input that is tied"),
        "pull-up-missing": (not no_pull_up, "a pull-up, and this pad has none"),
        "pull-up-wrong": (not no_pull_up, "a pull-up, and this pad has none"),
        "resistor-missing": (lift is not None, f"a resistor from {fault.at} to supply"),
    }
    there, what = needs.get(kind, (True, ""))
    return "" if there else f"needs {what}"


def beside_output(button: str, sheet: Readable | Sheet) -> int | None:
    """The stage whose output has the pin next to the input of a button, in the same package; one
    that feeds another register is left out. A button that the pad has not has none."""
    stage, chip = (sheet.buttons or {}).get(button), sheet.chip
    if stage is None or chip is None:
        return None
    part = find_part(chip.part)
    before, number = (stage - 1) // part.stages * part.stages, (stage - 1) % part.stages + 1
    outputs = {f"Q{one}": before + one for one in range(1, part.stages + 1)}
    links = range(part.stages, chip.stages, part.stages)
    near = (outputs.get(name, 0) for name in part.next_to(f"P{number}"))
    return next((one for one in near if one and one not in links), None)


def _places(what: str, sheet: Readable) -> tuple[str, ...]:
    """What a fault may name; nothing where that cannot be told."""
    if what == "button":
        return tuple(sheet.buttons or ())
    stages = 0 if sheet.chip is None else sheet.chip.stages
    if what == "stage":
        return tuple(str(number + 1) for number in range(stages))
    if what == "register" and sheet.chip is not None:
        each = find_part(sheet.chip.part).stages
        return tuple(str(number + 1) for number in range(1, -(-stages // each)))
    some: dict[str, tuple[str, ...]] = {"core": CORES, "line": ("latch", "clock")}
    return (some | {"branch": tuple(BRANCHES)}).get(what, ())


def _pads(sheet: Readable) -> Iterator[Clash]:
    """Of several pads the one that stands first, as `padbench.sheet.pad_of` turns them."""
    chip, poll = sheet.chip, sheet.poll
    if not sheet.pads or chip is None or poll is None:
        return
    for key, there in (
        (("register", "kind"), chip.kind == "firmware"),
        (("hdl",), sheet.hdl is not None),
        (("fault",), bool(sheet.fault)),
        (("poll", "routine"), poll.routine is not None),
    ):
        if there:
            yield Clash(key, "is for a sheet of one pad", "leave it out, or give each pad a sheet")
            return
    mine, each = sheet.pads[0], find_part(chip.part).stages
    for other in sheet.pads[1:]:
        if other.name == mine.name:
            yield Clash(("pads",), f"name {mine.name!r} twice", "give each a name of its own")
        elif (other.data, other.place) == (mine.data, mine.place):
            wrong = f"give register {mine.place} to {mine.name} and to {other.name}"
            yield Clash(("pads",), wrong, "give each its own, or each a data line: data")
    if not isinstance(mine.place, int):
        of = "the chain" if sheet.board else "a sheet without a netlist"
        wrong = f"name {mine.place!r} for {mine.name}, which is no register of {of}"
        yield Clash(("pads",), wrong, "count the registers from 1")
        return
    last = mine.place * each
    if last > chip.stages or chip.stages % each:
        chain = f"a chain of {chip.stages} stages has no whole register {mine.place}"
        yield Clash(("register", "stages"), chain, f"write stages = {-(-last // each) * each}")
        return
    for name, stage in (sheet.buttons or {}).items():
        if not last - each < stage <= last:
            wrong = f"is no stage of register {mine.place}, that of {mine.name}"
            which = f"write one from {last - each + 1} to {last}"
            yield Clash(("buttons", name), wrong, which)
    needs = chip.stages - last + each
    if poll.clocks < needs:
        wrong = f"do not reach {mine.name}, whose bits are {needs - each + 1} to {needs}"
        yield Clash(("poll", "clocks"), wrong, f"write clocks = {needs}")


CHECKS: tuple[Callable[[Readable], Iterator[Clash]], ...] = (
    _stages,
    _firmware,
    _within_the_part,
    _contacts,
    _ports,
    _poll,
    _hdl,
    _faults,
    _pads,
)
"""Every check between values, in the order of the tables."""
