"""What to solder: pins and nets, parts, cable, the order of bringing up, and voltages to find.

plan = wiring_plan(sheet)
plan.pins[0].net, plan.pins[0].held["A"]       # "A", a range of volts
"""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from padbench.circuit.circuits import Circuits
from padbench.circuit.design import ABSENT, Array, changed, design_of, stacked
from padbench.core.buttons import BUTTONS
from padbench.core.remedies import joined
from padbench.core.units import Value, show
from padbench.parts import E24, RegisterPart, colour_bands, preferred
from padbench.sheet import Sheet
from padbench.sheet.fields import RESISTOR_TOLERANCE
from padbench.wiring.mistakes import last_output, shorts

Range = tuple[float, float]
"""Lowest and highest volts over all corners and all ports of the sheet."""


@dataclass(frozen=True, slots=True)
class Pin:
    """One pin of one package.

    ``net`` is the name of a button, "supply", "ground", "latch", "clock", "data", "chain" (from
    one package to the next), "other" (another pad's) or "open". ``idle`` is with the console on
    between two reads, None where no voltage can be foretold; ``held`` gives the same with each
    button held. With the supply off every pin is at 0 V.
    """

    chip: int
    number: int
    name: str
    net: str
    goes_to: str
    why: str
    idle: Range | None
    held: dict[str, Range | None]


@dataclass(frozen=True, slots=True)
class Need:
    """One line of the parts list; ``bands`` are a resistor's colours, IEC 60062."""

    count: int
    what: str
    value: str
    bands: tuple[str, ...]
    note: str


@dataclass(frozen=True, slots=True)
class Beside:
    """A part between two nets that no sheet has; ``turned`` if it points from end to start."""

    symbol: str
    says: str
    start: str
    end: str
    turned: bool


@dataclass(frozen=True, slots=True)
class OnBoard:
    """What a schematic shows of a board as drawn.

    ``names`` are references by what has them. ``labels`` are references with values, by the same;
    of what stands in series or before a tie by "latch, pin side" (of the resistor to supply),
    "latch, cable side", "before A" (a contact) or "pin 1 P8"; ``beside`` are all other parts, those
    in a row together.
    """

    names: Mapping[str, str]
    labels: Mapping[str, str]
    beside: tuple[tuple[Beside, ...], ...] = ()


@dataclass(frozen=True, slots=True)
class WiringPlan:
    """Everything the wiring of one sheet needs; ``board`` is None where it names none."""

    sheet: Sheet
    part: str
    pins: tuple[Pin, ...]
    needs: tuple[Need, ...]
    cores: tuple[tuple[str, str], ...]
    checklist: tuple[str, ...]
    sources: tuple[tuple[str, str], ...]
    """What, and where its numbers come from: the pins, and each figure behind the volts."""
    names: Mapping[str, str]
    board: OnBoard | None

    def named(self, chip: int) -> str:
        """The reference of a register by its place in the chain."""
        return self.names.get(place := f"register {chip}", place)


@dataclass(frozen=True, slots=True)
class _Volts:
    """Ranges of every kind of net."""

    supply: Range
    pressed: Range | None
    released: Range | None
    latch_low: Range
    clock_high: Range
    data: dict[bool, Range]
    chain: dict[bool, Range]
    """By level of the bit, at the console and at the next register's serial input."""

    @property
    def ground(self) -> Range:
        return (0.0, 0.0)


def wiring_plan(sheet: Sheet, board: OnBoard | None = None) -> WiringPlan:
    """The plan of a sheet, whether or not it can work, with the references of its board.

    Without a board they are those that a schematic editor would give.
    """
    part = sheet.part
    volts = _volts(sheet, part)
    chips = -(-sheet.chip.stages // part.stages)
    names = dict(_names(sheet, chips)) if board is None else board.names
    pins = tuple(
        pin for chip in range(1, chips + 1) for pin in _pins(sheet, part, chip, chips, volts, names)
    )
    return WiringPlan(
        sheet,
        part.name,
        pins,
        tuple(_needs(sheet, 1 if sheet.pads else chips)),
        _cores(sheet),
        tuple(_checklist(sheet, part, volts)),
        tuple(_sources(sheet, part)),
        names,
        board,
    )


def _names(sheet: Sheet, chips: int) -> Iterator[tuple[str, str]]:
    """References as a schematic editor numbers them: ``"pull-up A"`` is R1."""
    for number in range(1, chips + 1):
        yield f"register {number}", f"U{number}"
        yield f"capacitor {number}", f"C{number}"
    yield "inverter", f"U{chips + 1}"
    buttons = [name for name in BUTTONS if name in sheet.buttons]
    for number, name in enumerate(buttons, 1):
        yield f"contact {name}", f"SW{number}"
    lifted = [f"pull-up {name}" for name in buttons if sheet.pull_up.value is not None]
    lifted += [f"{line}-to-supply" for line in ("latch", "clock")]
    for number, what in enumerate(lifted, 1):
        yield what, f"R{number}"


def _sources(sheet: Sheet, part: RegisterPart) -> Iterator[tuple[str, str]]:
    if part.pins_cited is not None:
        yield "pins", str(part.pins_cited)
    yield "leakage", str(part.leakage_over_temperature.cited)
    yield "data", str(part.source_current.cited)
    for port in map(sheet.port, sheet.works_with.ports):
        yield f"latch and clock, {port.name} port", str(port.output_low_resistance.cited)


def _volts(sheet: Sheet, part: RegisterPart) -> _Volts:
    """The levels that `padbench.circuit` judges, as ranges over corners and ports."""
    designs = stacked([design_of(sheet, part, sheet.port(name)) for name in sheet.works_with.ports])
    circuits = Circuits(designs)
    pressed, released = circuits.inputs
    # A clean contact leaks nothing, so a released input may stand higher than with dirt.
    _, cleaner = Circuits(changed(designs, dirt=ABSENT)).inputs
    low, high = circuits.data_levels
    inside = changed(designs, data_up=ABSENT, data_down=ABSENT, input_leakage=designs.leakage_hot)
    next_low, next_high = Circuits(inside).data_levels
    return _Volts(
        supply=_range(circuits.at_lines.supply),
        # Nobody can say what a supply does that a press shorts, nor where a floating input stands.
        pressed=None if shorts(sheet) else _range(pressed),
        released=None if sheet.pull_up.value is None else _range(np.stack([released, cleaner])),
        latch_low=_range(circuits.latch.low),
        clock_high=_range(circuits.clock.high),
        data={False: _range(low), True: _range(high)},
        chain={False: _range(next_low), True: _range(next_high)},
    )


def _range(volts: Array) -> Range:
    return float(np.min(volts)), float(np.max(volts))


def _pins(
    sheet: Sheet,
    part: RegisterPart,
    chip: int,
    chips: int,
    volts: _Volts,
    names: Mapping[str, str],
) -> Iterator[Pin]:
    before, after = (names.get(key := f"register {at}", key) for at in (chip - 1, chip + 1))
    for name, number in sorted(part.pins.items(), key=lambda item: item[1]):
        net, goes_to, why = _net(sheet, part, name, chip, chips)
        if net == "chain":
            goes_to += before if name == "serial" else after
        stage = _stage(part, name, chip)
        idle = _volts_at(sheet, net, stage, frozenset(), volts)
        held = {
            button: _volts_at(sheet, net, stage, frozenset((button,)), volts)
            for button in BUTTONS
            if button in sheet.buttons
        }
        yield Pin(chip, number, name, net, goes_to, why, idle, held)


def _volts_at(
    sheet: Sheet, net: str, stage: int, held: frozenset[str], volts: _Volts
) -> Range | None:
    """Volts of a pin between two reads, latch low and clock high; ``stage`` 0 has no input."""
    if net in sheet.buttons:
        down = _down(sheet, stage, held)
        return volts.pressed if down else volts.released
    if net == "latch":
        return volts.supply if sheet.chip.latch_inverted else volts.latch_low
    if net in ("data", "chain"):
        level = _left_standing(sheet, stage, held)
        return None if level is None else (volts.data if net == "data" else volts.chain)[level]
    return {
        "supply": volts.supply,
        "ground": volts.ground,
        "clock": volts.clock_high,
    }.get(net)


def _down(sheet: Sheet, stage: int, held: frozenset[str]) -> bool:
    """Whether any of the contacts on a stage is closed."""
    closed = held | set(sheet.contacts.stuck)
    return any(at == stage and name in closed for name, at in sheet.buttons.items())


def _left_standing(sheet: Sheet, stage: int, held: frozenset[str]) -> bool | None:
    """Level of a stage's output after the last clock of a read; None where it is chance.

    Each clock has moved the bits on by one, so it holds what was loaded as many stages before, or
    the serial input's level where there are not so many. A register that loads for as long as the
    latch is low (or on each clock then) shows its own input; a synchronous one never loads else.
    """
    part = sheet.part
    if (part.load_level == "high") == sheet.chip.latch_inverted:
        source = stage
    else:
        source = 0 if part.load == "synchronous" else stage - sheet.poll.clocks
    if source < 1:
        return {"ground": False, "supply": True, "open": None}[sheet.chip.serial_input]
    if source not in sheet.buttons.values():
        return True  # tied to supply
    if _down(sheet, source, held):
        return False
    return None if sheet.pull_up.value is None else True


def _net(
    sheet: Sheet, part: RegisterPart, name: str, chip: int, chips: int
) -> tuple[str, str, str]:
    """Net, where it goes, and why."""
    fixed = {
        "VDD": ("supply", "supply core of the cable", "the register's supply"),
        "VSS": ("ground", "ground core of the cable", "the register's ground"),
        "clock": (
            "clock",
            "clock core" + _resistor(_once(sheet.resistors.clock_to_supply, chip)),
            "each rising edge moves the bits one stage on",
        ),
        "load": _load_net(sheet, part, chip),
        "serial": _serial_net(sheet, chip),
        "clock-inhibit": ("ground", "ground", "high, it would stop the clock"),
    }
    if chip == chips:
        last = last_output(part, sheet.chip.stages)
        fixed[last] = ("data", "data core", "the last stage is what the console reads")
    else:
        there = "chain", "serial input of ", "the registers are one long one"
        fixed[f"Q{part.stages}"] = there
    if name in fixed:
        return fixed[name]
    if name.startswith("Q"):
        return "open", "nothing", "an output that is not used stays open"
    return _input_net(sheet, _stage(part, name, chip))


def _stage(part: RegisterPart, name: str, chip: int) -> int:
    """The stage of an input or output, counted through all packages; 0 for another pin."""
    own = re.fullmatch(r"[PQ]([0-9]+)", name)
    return 0 if own is None else (chip - 1) * part.stages + int(own[1])


def _input_net(sheet: Sheet, stage: int) -> tuple[str, str, str]:
    buttons = [button for button, at in sheet.buttons.items() if at == stage]
    for name, last, theirs in sheet.beside:
        if last - sheet.part.stages < stage <= last:
            held = joined([button for button, at in theirs.items() if at == stage])
            return "other", f"{name}: {held or 'supply'}", "see the plan of that pad"
    if not buttons:
        return "supply", "supply", "an input that is not used must not float; high is released"
    there = f"{' and '.join(buttons)} contact{'s' if len(buttons) > 1 else ''} to ground"
    return buttons[0], there + _resistor(sheet.pull_up.value), _place(sheet, stage)


def _place(sheet: Sheet, stage: int) -> str:
    place = sheet.chip.stages - stage + 1
    words = {1: "first", 2: "second", 3: "third"}
    return f"stage {stage} is read {words.get(place, f'as number {place}')}"


def _resistor(value: Value | None) -> str:
    return "" if value is None else f"; {show(value.nominal, 'Ω')} to supply"


def _once(value: Value | None, chip: int) -> Value | None:
    """A resistor of a line that all registers share: told of at the first, as it is drawn."""
    return value if chip == 1 else None


def _load_net(sheet: Sheet, part: RegisterPart, chip: int) -> tuple[str, str, str]:
    there = "latch core" + _resistor(_once(sheet.resistors.latch_to_supply, chip))
    if sheet.chip.latch_inverted:
        there = f"output of the inverter; its input: {there}"
    return "latch", there, f"{part.load_level}, it takes in all the buttons at once"


def _serial_net(sheet: Sheet, chip: int) -> tuple[str, str, str]:
    if chip > 1:
        return "chain", "last output of ", "the registers are one long one"
    tie = sheet.chip.serial_input
    why = {
        "ground": "a read past the last bit shows pressed",
        "supply": "a read past the last bit shows released",
        "open": "nothing: what a read past the last bit shows is chance",
    }[tie]
    return tie, "nothing" if tie == "open" else tie, why


def _cores(sheet: Sheet) -> tuple[tuple[str, str], ...]:
    """The five that a pad uses (common practice). Colours differ from maker to maker."""
    return (
        ("supply", "pin of the register's supply, and all pull-ups"),
        ("ground", "pin of the register's ground, and all contacts"),
        ("latch", "input of the inverter" if sheet.chip.latch_inverted else "load pin"),
        ("clock", "clock pin"),
        ("data", "last output"),
    )


def _needs(sheet: Sheet, chips: int) -> Iterator[Need]:
    yield Need(chips, "shift register", sheet.chip.part, (), "")
    if sheet.pull_up.value is not None:
        yield _resistors(
            len(sheet.buttons), "pull-up", sheet.pull_up.value, sheet.pull_up.rating.nominal
        )
    for name, value in (
        ("latch to supply", sheet.resistors.latch_to_supply),
        ("clock to supply", sheet.resistors.clock_to_supply),
    ):
        if value is not None:
            yield _resistors(1, f"resistor, {name}", value, sheet.resistors.rating.nominal)
    yield Need(len(sheet.buttons), "contact", "", (), "one side of each to ground")
    if sheet.chip.latch_inverted:
        note = (
            "from latch core to load pin; its own supply and ground pins to supply and ground, the"
            " inputs of its unused gates to ground, their outputs open (usual)"
        )
        yield Need(1, "inverter", "one gate", (), note)
    where = "each register" + (" and the inverter" if sheet.chip.latch_inverted else "")
    note = f"from supply to ground beside {where} (usual)"
    yield Need(chips + sheet.chip.latch_inverted, "capacitor", "100 nF", (), note)
    yield Need(1, "cable", show(sheet.cable.length.nominal, "m"), (), "five cores")


def with_tolerance(value: Value, unit: str = "Ω") -> str:
    """As on a schematic: ``"39 kΩ ± 5 %"``."""
    tolerance = value.high / value.nominal - 1 if value.nominal else 0.0
    return show(value.nominal, unit) + (f" ± {100 * tolerance:.3g} %" if tolerance > 1e-8 else "")


def _resistors(count: int, what: str, value: Value, rating: float) -> Need:
    ohms = value.nominal
    tolerance = value.high / ohms - 1 if ohms else 0.0
    note = f"{show(rating, 'W')}"
    if ohms == 0:
        return Need(count, what, "0 Ω", (), "a wire: do not fit it")
    near = preferred(E24, ohms * (1 - 1e-9), ohms * (1 + 1e-9))
    if not near:
        around = preferred(E24, ohms * 0.9, ohms * 1.1)
        note += "; no value of E24, near it: " + (
            ", ".join(show(one, "Ω") for one in around) or "none"
        )
    fitted = tolerance or RESISTOR_TOLERANCE
    bands = colour_bands(ohms, fitted) or ()
    percent = f" ± {fitted * 100:.3g} %"
    return Need(count, what, show(ohms, "Ω") + percent, bands, note)


def _checklist(sheet: Sheet, part: RegisterPart, volts: _Volts) -> Iterator[str]:
    """In order, cautions first (common practice)."""
    supply, ground = part.pins["VDD"], part.pins["VSS"]
    yield "Unplug the pad before you wire, and whenever you change a wire."
    yield "Leave old screens closed: they hold dangerous voltage even when off."
    yield f"Supply off, register out: near 0 Ω from pin {supply} to pin {ground} is a short: stop."
    yield f"The same with each button held: a pull-up{_about(sheet)} or more, else stop."
    yield "Find each core of the cable with a meter, never by colour, and note it."
    yield (
        f"Bench supply of {_span(volts.supply)}, held to 20 mA: check with a meter that pin"
        f" {supply} is positive against pin {ground}. Supply off, register in."
    )
    if volts.released is None:
        yield "Supply on: without a pull-up an input with its button up may stand at any voltage."
    else:
        yield f"Supply on: each input stands at {_span(volts.released)} with its button up."
    if volts.pressed is None:
        yield "Hold no button and do not plug this in: each press would short the supply."
        return
    yield f"Hold each button: its own input alone falls, to {_span(volts.pressed)}."
    yield "Supply off, console off: plug in, switch on, watch for heat or smell."
    yield (
        f"On the cable at rest: clock {_span(volts.clock_high)}, latch {_span(volts.latch_low)}."
    )
    yield "Try every button alone, then each pair of neighbours."


def _about(sheet: Sheet) -> str:
    value = sheet.pull_up.value
    return "" if value is None or shorts(sheet) else f" ({show(value.nominal, 'Ω')})"


def _span(volts: Range) -> str:
    low, high = (f"{x:.2f}" for x in volts)
    return f"{high} V" if low == high else f"{low} V to {high} V"
