"""The design sheet as types. Every quantity is a `Value` in its SI base unit.

The keys of the file are the attributes with hyphens for underscores. One attribute differs:
``Sheet.chip`` is the table ``[register]``, since a pydantic model has a ``register`` already.

The model checks value by value; what two values must be to each other is in `checks`. `load_sheet`
does both, so make sheets with it.
"""

import re
from collections.abc import Iterator, Mapping
from typing import Annotated, Any, Literal, NamedTuple

from pydantic import (
    BeforeValidator,
    Field,
    PlainValidator,
    PrivateAttr,
    model_validator,
)

from padbench.core.buttons import BUTTONS, stages_in_order
from padbench.core.units import Value, says_tolerance
from padbench.parts import PortKind, RegisterPart, console_names, named_poll, poll_names
from padbench.parts.fault_kinds import fault_kinds
from padbench.parts.own import OwnParts, find_part, find_port, known_ports, own_now
from padbench.sheet.fields import (
    ABSENT,
    RESISTOR_TOLERANCE,
    Button,
    Folder,
    Identifier,
    Line,
    OneOf,
    PortName,
    Quantity,
    SourceFile,
    Temperatures,
    Text,
    TimeRange,
    Whole,
    button_ports,
    count,
    serial_tie,
)
from padbench.sheet.firmware import FIRMWARE, firmware_part
from padbench.sheet.simulators import SIMULATORS, Language
from padbench.toml import Document, Refused, Table, nearest, wanted

LONGEST_TIME = 1.0
"""Seconds; nothing in a poll takes longer."""


def _time(example: str) -> Quantity:
    # Below a picosecond a time would vanish: timelines count picoseconds.
    return Quantity("s", example, 1e-12, LONGEST_TIME, "between 1 ps and 1 s")


def _default(text: str) -> Any:
    """A default written as in a sheet, and read by the same code."""
    return Field(default=text)


# The smallest size that is common is 100 mW, surface-mount 0603 (from memory).
_Rating = Annotated[Value, Quantity("W", "100 mW", 1e-6, 1e3, "between 1 µW and 1 kW")]
_Lifter = Annotated[
    Value | None, Quantity("Ω", "3.6k ± 5 %", absent=True, tolerance=RESISTOR_TOLERANCE)
]


_PROGRAM_TIE = "ground"
"""What a program shows past the end where the sheet does not say: as a register at ground."""


# What both languages take as an integer.
_Parameter = Annotated[Whole, Field(ge=-(2**31), le=2**31 - 1)]


class Assumed(NamedTuple):
    """A key that the sheet does not have, and what is taken in its place."""

    key: str
    value: str


class PartsFile(Table):
    """``[parts]``: a TOML file with registers and kinds of port of one's own, beside the sheet."""

    file: Text | None = Field(default=None, examples=["my-parts.toml"])


class BoardFile(Table):
    """``[board]``: the netlist of the board as drawn, beside the sheet, and what it cannot tell.

    ``latch``, ``clock``, ``data``, ``supply`` and ``ground`` are nets whose names do not say what
    they are; ``register`` is the reference of one register of the pad's chain, where the board has
    several; ``plug`` are the lines that belong on pins 1, 2 and on of the cable's plug, "open" for
    a pin of none, and nets where it has several data lines; ``ignore`` are parts that shall not be
    judged. ``parts`` gives values by reference, as for IPC-D-356, which has none:
    ``U1 = "CD4021B"``, ``"R[1-8]" = "39k"``, ``SW5 = "Up"``.
    """

    netlist: Text = Field(examples=["my-pad.net"])
    latch: Line | None = Field(default=None, examples=["LATCH"])
    clock: Line | None = Field(default=None, examples=["CLOCK"])
    data: Line | None = Field(default=None, examples=["DATA"])
    supply: Line | None = Field(default=None, examples=["VCC"])
    ground: Line | None = Field(default=None, examples=["GND"])
    chip: Line | None = Field(default=None, alias="register", examples=["U1"])
    plug: Annotated[tuple[Line, ...], BeforeValidator(count(5, 40))] | None = Field(
        default=None, examples=[["ground", "clock", "latch", "data", "supply"]]
    )
    ignore: Annotated[tuple[Line, ...], BeforeValidator(count(0, 200))] = Field(
        default=(), examples=[["U3"]]
    )
    parts: Annotated[dict[str, Line], BeforeValidator(count(0, 200))] = Field(default_factory=dict)


class Pad(Table):
    """``[pad]``: what it is called, what feeds it (V), and where it is used (°C).

    ``supply`` is what the console gives, before a diode in the port. On a port with other volts of
    its own a 5 V pad runs on those; a pad for other volts (3.3 V on a 5 V port) makes its own.
    """

    name: Line = Field(examples=["My pad"])
    supply: Annotated[Value, Quantity("V", "5 V ± 5 %", 0.5, 50, "between 0.5 V and 50 V")]
    # A heated or unheated room in any season (common practice, no source).
    temperature: Annotated[Value, Temperatures()] = _default("0 °C to 40 °C")


class Chip(Table):
    """``[register]``: the part, the number of stages (chained if more than it has), the latch.

    ``schmitt_inverter`` says that what inverts it is a Schmitt gate, which takes an edge of any
    slope.

    With ``kind = "firmware"`` there is no part but a program: how long it takes from the latch to
    the first bit and from a clock to the next one (s, least and most), and the shortest pulse that
    it notices (s).
    """

    kind: Literal["register", "firmware"] = Field(default="register", examples=["register"])
    part: Annotated[str, OneOf("register part")] = Field(examples=["CD4021B"])
    stages: Annotated[Whole, Field(ge=1, le=24)] = Field(default=8, examples=[8])
    serial_input: Annotated[Literal["ground", "supply", "open"], BeforeValidator(serial_tie)] = (
        Field(examples=["ground"])
    )
    latch_inverted: Annotated[bool, Field(strict=True)] = Field(default=False, examples=[False])
    schmitt_inverter: Annotated[bool | None, Field(strict=True)] = Field(
        default=None, examples=[True]
    )
    first_bit: Annotated[Value | None, TimeRange("1 us to 3 us")] = None
    next_bit: Annotated[Value | None, TimeRange("1 us to 3 us")] = None
    shortest_pulse: Annotated[Value | None, TimeRange("200 ns")] = None

    @model_validator(mode="before")
    @classmethod
    def _a_program_has_no_part(cls, raw: Any) -> Any:
        if isinstance(raw, dict) and raw.get("kind") == "firmware":
            return {"part": FIRMWARE, "serial-input": _PROGRAM_TIE} | raw
        return raw

    @property
    def firmware(self) -> RegisterPart | None:
        """The program as a part; None for a register, or if a time is missing."""
        if self.kind != "firmware" or not (self.first_bit and self.next_bit):
            return None
        if self.shortest_pulse is None:
            return None
        return firmware_part(self.first_bit, self.next_bit, self.shortest_pulse, self.stages)


def _register(raw: object) -> int | str:
    if isinstance(raw, str) and 0 < len(raw) <= 60 and raw.isprintable():
        return raw
    if not isinstance(raw, int) or isinstance(raw, bool) or not 1 <= raw <= 3:
        raise Refused("is no register of a chain", "write 1, 2 or 3, or its reference on the board")
    return raw


class OnePad(Table):
    """``[[pads]]``: one of several pads that share latch and clock, and what is its own.

    ``register`` is its ``place`` in the chain of its data line, whose last register is read first,
    or the reference that the netlist has; ``data`` tells data lines apart, with a netlist by their
    nets. ``buttons`` are as in ``[buttons]``, their stages counted through the chain; where there
    are none they stand in the usual order.
    """

    name: Line = Field(examples=["Player 1"])
    place: Annotated[int | str, PlainValidator(_register)] = Field(alias="register", examples=[2])
    data: Line | None = Field(default=None, examples=["DATA2"])
    buttons: Annotated[
        dict[Button, Annotated[Whole, Field(ge=1)]] | None, BeforeValidator(count(1, 100))
    ] = None


class PullUp(Table):
    """``[pull-up]``: from each input to supply (Ω), None if not fitted; its size (W)."""

    value: Annotated[
        Value | None, Quantity("Ω", "39k ± 5 %", absent=True, tolerance=RESISTOR_TOLERANCE)
    ] = None
    rating: _Rating = _default("100 mW")


class Contacts(Table):
    """``[contacts]``: resistances (Ω), bounce (s), and buttons held closed by a fault."""

    closed: Annotated[Value, Quantity("Ω", "300 Ω")] = _default("300 Ω")
    worn: Annotated[Value, Quantity("Ω", "10k")] = _default("10k")
    open: Annotated[Value, Quantity("Ω", "10 MΩ", 1e-12, 1e15, "more than 0 Ω")] = _default("10 MΩ")
    bounce: Annotated[Value, Quantity("s", "5 ms", 0, 1, "between 0 s and 1 s")] = _default("5 ms")
    stuck: Annotated[tuple[Button, ...], BeforeValidator(count(0, 8))] = Field(
        default=(), examples=[["A"]]
    )


class Cable(Table):
    """``[cable]``: length (m), capacitance of a core to its neighbours (F/m), and its coupling.

    ``coupling`` is how much of that capacitance, in per cent, is towards one of them. Assumed: some
    10 to 20 % in a bundle of five (from memory).
    """

    length: Annotated[Value, Quantity("m", "2.5 m", 0, 1000, "between 0 m and 1 km")] = _default(
        "2.5 m"
    )
    capacitance: Annotated[
        Value, Quantity("F/m", "100 pF/m", 0, 1e-6, "between 0 pF/m and 1 µF/m")
    ] = _default("100 pF/m")
    coupling: Annotated[Value, Quantity("%", "15 %", 0, 100, "between 0 % and 100 %")] = _default(
        "15 %"
    )


class Resistors(Table):
    """``[resistors]``: from latch and clock to supply (Ω), None if not fitted; their size (W)."""

    latch_to_supply: _Lifter = None
    clock_to_supply: _Lifter = None
    rating: _Rating = _default("100 mW")


_OLD_POLICIES = {"neutral": "neither", "last-wins": "newer", "first-wins": "older"}


def _policy_of_today(raw: object) -> object:
    if isinstance(raw, str) and raw in _OLD_POLICIES:
        raise Refused("is an old word", f'write "{_OLD_POLICIES[raw]}"')
    return raw


class Policy(Table):
    """``[policy]``: what the pad hands on when two opposite directions are held.

    ``debounce`` (s) is how long somebody waits for a contact to come to rest, the pad's own program
    or the one that reads it; 0 if nobody does. ``exposed_routine`` says whether a read routine that
    can hand on a wrong byte, or never comes back, fails the sheet or is only told.
    """

    opposite_directions: Annotated[
        Literal["both", "neither", "newer", "older"], BeforeValidator(_policy_of_today)
    ] = Field(default="both", examples=["both"])
    debounce: Annotated[Value, Quantity("s", "10 ms", 0, 1, "between 0 s and 1 s")] = _default(
        "0 s"
    )
    exposed_routine: Literal["tell", "fail"] = Field(default="tell", examples=["fail"])


class WorksWith(Table):
    """``[works-with]``: the kinds of port it must work on."""

    ports: Annotated[
        tuple[Annotated[str, OneOf("kind of port")], ...], BeforeValidator(count(1, 8))
    ] = Field(examples=[["push-pull"]])


_ROUTINE_KEYS = frozenset(
    {"entry", "origin", "result", "ports", "pad", "repeated-reads", "assembler"}
)


class Poll(Table):
    """``[poll]``: the console's side, in seconds.

    ``latch_to_clock`` runs from the latch's fall to the first fall of the clock; ``sample`` from
    each fall of the clock to the moment the console looks at the data line. ``use`` names a poll of
    the parts tables, whose timings hold wherever the sheet gives none of its own. ``routine`` is a
    read routine, a shipped one or a file: the wires then come from its cycles on ``console``, once
    a frame, and the timings here are those of a named poll that only stand in. ``entry``,
    ``origin``, ``result``, ``ports`` and ``assembler`` are as on the command line;
    ``pad`` says whether the pad is the console's first or second, of a routine that reads both;
    ``repeated_reads`` says whether those of a stopped port join into one clock or clock each.
    ``line`` is that of the frame at which a poll begins, by default the one in which blanking
    begins.
    """

    use: Annotated[str, OneOf("poll")] | None = Field(default=None, examples=["plain-loop"])
    routine: Line | None = Field(default=None, examples=["read-twice"])
    console: Annotated[str, OneOf("console")] = Field(
        default_factory=lambda: console_names()[0], examples=["60hz"]
    )
    entry: Line | None = Field(default=None, examples=["$8000"])
    origin: Line | None = Field(default=None, examples=["$8000"])
    result: Line | None = Field(default=None, examples=["A"])
    ports: Line | None = Field(default=None, examples=["$4016,$4017"])
    pad: Literal[1, 2] | None = Field(default=None, examples=[2])
    assembler: Literal["ca65", "64tass"] | None = Field(default=None, examples=["ca65"])
    repeated_reads: Literal["joined", "each"] = Field(default="joined", examples=["joined"])
    latch_width: Annotated[Value, _time("8.9 us")]
    latch_to_clock: Annotated[Value, _time("5.4 us")]
    clock_low: Annotated[Value, _time("0.56 us")]
    clock_high: Annotated[Value, _time("5.59 us")]
    sample: Annotated[Value, _time("0.56 us")]
    period: Annotated[Value, _time("16.639 ms")]
    clocks: Annotated[Whole, Field(ge=1, le=64)] = Field(examples=[8])
    passes: Annotated[Whole, Field(ge=1, le=4)] = Field(default=1, examples=[1])
    line: Annotated[Whole, Field(ge=0)] | None = Field(default=None, examples=[241])

    @property
    def read_time(self) -> float:
        """Nominal length of one read (s): from the latch's rise to the end of the last clock."""
        return (
            self.latch_width.nominal
            + self.latch_to_clock.nominal
            + self.clocks * (self.clock_low.nominal + self.clock_high.nominal)
        )

    @model_validator(mode="before")
    @classmethod
    def _fill_in_named(cls, raw: Any) -> Any:
        if not isinstance(raw, dict):
            return raw
        alone = sorted(set(raw) & _ROUTINE_KEYS)
        if "routine" not in raw and alone:
            raise Refused(f"has {alone[0]} without a routine", 'write routine = "read-twice"')
        if not {"use", "routine"} & set(raw):
            return raw
        others = sorted(set(raw) - {"routine", "console", "line"} - _ROUTINE_KEYS)
        if "routine" in raw and others:
            raise Refused(
                f"has a routine, which brings its own timings, and {others[0]} as well",
                "leave out one of the two",
            )
        # A wrong name is reported at `use`; seven missing timings beside it would only be noise.
        use = raw.get("use", poll_names()[0])
        base = named_poll(use if isinstance(use, str) and use in poll_names() else poll_names()[0])
        own = {key for key in base.timings if key in raw or key.replace("-", "_") in raw}
        return {**{key: base.timings[key] for key in base.timings if key not in own}, **raw}


class Hdl(Table):
    """``[hdl]``: a design in Verilog or VHDL, and which of its ports is what.

    ``sources`` are paths relative to the sheet. ``buttons`` is one vector, its bit 0 for stage 1,
    or a table from buttons to ports. ``inverted`` names those of the design's ports that stand the
    other way up than the wire they belong to: latch loads and reset resets while high, clock idles
    high and shifts on its rise, data and buttons are low where pressed, serial is as it is; start,
    held and valid are high. ``answer`` (s) is the longest time from an edge to the data line that
    the design promises; ``synchroniser`` the flip-flops that latch and clock must pass, 0 for none.
    ``setup`` (s) promises that a button which stands so long before the latch falls is seen, and
    one pressed after it is not; ``latency`` (s) that a contact counts so long after it moved at the
    latest; ``open_drain``: its data pulls low or lets go, and the console's pull-up does the rest;
    ``after_reset`` that nothing shows as pressed up to the next latch;
    ``keeps`` that a reader's byte stands until it offers the next one, ``pace`` (s) that latch and
    clock are no further from the sheet's poll. ``ties`` are levels of further inputs, ``include``
    folders of Verilog's headers, relative to the sheet, ``defines`` its macros.
    """

    sources: Annotated[tuple[SourceFile, ...], BeforeValidator(count(1, 200))] = Field(
        examples=[["my_pad.v"]]
    )
    top: Identifier = Field(examples=["my_pad"])
    language: Language = Field(examples=["verilog"])
    simulator: Annotated[str, OneOf("simulator")] | None = Field(default=None, examples=["icarus"])
    role: Literal["pad", "reader"] = Field(default="pad", examples=["pad"])
    latch: PortName = Field(default="latch", examples=["latch"])
    clock: PortName = Field(default="clock", examples=["clock"])
    data: PortName = Field(default="data", examples=["data"])
    buttons: Annotated[str | dict[str, str], BeforeValidator(button_ports)] = Field(
        default="buttons", examples=["buttons"]
    )
    serial: PortName | None = Field(default=None, examples=["serial"])
    system_clock: Identifier | None = Field(default=None, examples=["clk"])
    frequency: (
        Annotated[Value, Quantity("Hz", "12 MHz", 1e3, 1e9, "between 1 kHz and 1 GHz")] | None
    ) = Field(default=None, examples=["12 MHz"])
    reset: PortName | None = Field(default=None, examples=["reset"])
    start: PortName | None = Field(default=None, examples=["start"])
    held: PortName = Field(default="held", examples=["held"])
    valid: PortName = Field(default="valid", examples=["valid"])
    inverted: Annotated[
        tuple[Literal["latch", "clock", "data", "buttons", "reset", "start", "held", "valid"], ...],
        BeforeValidator(count(0, 8)),
    ] = Field(default=(), examples=[["reset"]])
    parameters: Annotated[
        dict[Identifier, _Parameter],
        BeforeValidator(count(0, 100)),
    ] = Field(default_factory=dict)
    answer: Annotated[Value, _time("250 ns")] | None = Field(default=None, examples=["250 ns"])
    synchroniser: Annotated[Whole, Field(ge=0, le=4)] = Field(default=2, examples=[2])
    setup: Annotated[Value, _time("84 ns")] | None = Field(default=None, examples=["84 ns"])
    latency: Annotated[Value, _time("1 ms")] | None = Field(default=None, examples=["1 ms"])
    open_drain: bool = Field(default=False, examples=[True])
    ties: Annotated[dict[PortName, Whole], BeforeValidator(count(0, 100))] = Field(
        default_factory=dict
    )
    include: Annotated[tuple[Folder, ...], BeforeValidator(count(0, 20))] = Field(
        default=(), examples=[["include"]]
    )
    defines: Annotated[dict[Identifier, Whole], BeforeValidator(count(0, 100))] = Field(
        default_factory=dict
    )
    pace: Annotated[Value, _time("50 ns")] | None = Field(default=None, examples=["50 ns"])
    keeps: bool = Field(default=False, examples=[True])
    after_reset: Literal["released"] | None = Field(default=None, examples=["released"])

    @property
    def engine(self) -> str:
        """The simulator named, else the first that reads the language."""
        return self.simulator or self.fitting[0]

    @property
    def fitting(self) -> tuple[str, ...]:
        """Every simulator that reads the language."""
        return tuple(name for name, row in SIMULATORS.items() if row.language == self.language)


def _place(raw: object) -> object:
    """A stage may be written as a number."""
    return str(raw) if isinstance(raw, int) and not isinstance(raw, bool) else raw


_At = Annotated[Line | None, BeforeValidator(_place)]


class Fault(Table):
    """``[[fault]]``: something that is broken in the pad that is played.

    ``kind`` is one of `padbench.parts.fault_kinds`, ``at`` and ``to`` are the button, core or stage
    that it is about. ``level`` is where something is stuck, ``ohms`` what a worn contact or a wrong
    pull-up has. ``rests``: where the circuit leaves it open, how what floats behaves.
    """

    kind: Annotated[
        Line,
        wanted(
            lambda name: name in fault_kinds(),
            "is no kind of fault",
            lambda name: nearest(name, fault_kinds()),
        ),
    ] = Field(examples=["contact-dead"])
    at: _At = Field(default=None, examples=["A"])
    to: _At = Field(default=None, examples=["B"])
    level: Literal["low", "high"] | None = Field(default=None, examples=["low"])
    ohms: Annotated[Value | None, Quantity("Ω", "47k", absent=True)] = None
    rests: Literal["low", "high", "wavers", "works"] | None = Field(default=None, examples=["low"])


_ASSUMED_OF = ("pad", "chip", "pull_up", "contacts", "cable", "resistors", "policy", "poll")
_OF_A_READER, _OF_A_PAD = ("held", "valid", "keeps"), ("buttons",)
"""What says nothing of an HDL design in the other role."""
_FITTED = ("pull-up.value", "resistors.latch-to-supply", "resistors.clock-to-supply")


class Sheet(Table):
    """One design sheet, checked; `load_sheet` makes it.

        sheet.cable.length.nominal        # 2.5: metres, as every quantity is in its SI base unit
        sheet.part.clock_width.min        # 1.8e-07: a figure of the register, own or shipped
        sheet.line_of("cable.length")     # 47

    ``buttons`` maps a button to its stage, in the file's order. Of a sheet with several pads each
    has a `Sheet` of its own (`pad_of`), in which it is the first of ``pads``.
    """

    parts: PartsFile = Field(default_factory=PartsFile)
    pad: Pad
    chip: Chip = Field(alias="register")
    buttons: Annotated[dict[Button, Annotated[Whole, Field(ge=1)]], BeforeValidator(count(1, 100))]
    pull_up: PullUp = Field(default_factory=PullUp)
    contacts: Contacts = Field(default_factory=Contacts)
    cable: Cable = Field(default_factory=Cable)
    resistors: Resistors = Field(default_factory=Resistors)
    policy: Policy = Field(default_factory=Policy)
    works_with: WorksWith
    poll: Poll
    hdl: Hdl | None = None
    board: BoardFile | None = None
    fault: tuple[Fault, ...] = ()
    pads: Annotated[tuple[OnePad, ...], BeforeValidator(count(0, 6))] = ()
    _own: OwnParts = PrivateAttr(default_factory=own_now)
    _document: Document = PrivateAttr(default=Document("<dict>", "", {}))

    __hash__ = None  # type: ignore[assignment]

    def __eq__(self, other: object) -> bool:
        """Whether all values and own parts are the same, wherever they were written."""
        return isinstance(other, Sheet) and dict(self) == dict(other) and self._own == other._own

    @property
    def document(self) -> Document:
        """The text that it was loaded from, and what that holds."""
        return self._document

    def line_of(self, key: str) -> int | None:
        """The line (from 1) on which a key or table stands in the text that was loaded.

            sheet.line_of("cable.length"), sheet.line_of("contacts.stuck[1]")

        None where it does not stand there: a default, or a sheet made from a dict. A changed copy
        of a sheet has the lines of the one that was loaded. The text is searched on first use.
        """
        steps = re.findall(r"\[(\d+)\]|([^.\[\]]+)", key)
        return self._document.lines.get(
            tuple(int(index) if index else name for index, name in steps)
        )

    @property
    def assumed(self) -> tuple[Assumed, ...]:
        """All that the sheet does not say, in the order of its tables, and what is taken for it."""
        return tuple(self._assumed())

    def _assumed(self) -> Iterator[Assumed]:
        written = self._document.data
        for name in _ASSUMED_OF:
            table, tag = getattr(self, name), Sheet.model_fields[name].alias or name
            for option, info in type(table).model_fields.items():
                key = f"{tag}.{option.replace('_', '-')}"
                raw = written.get(tag, {}).get(key.split(".")[1], ABSENT)
                if key in _FITTED and raw != ABSENT and not says_tolerance(str(raw)):
                    yield Assumed(key, f"{raw} ± {RESISTOR_TOLERANCE:.0%}".replace("%", " %"))
                default = info.get_default(call_default_factory=True)
                if key.split(".")[1] in written.get(tag, {}) or self._beside_the_point(key):
                    continue
                if key in _FITTED:
                    yield Assumed(key, ABSENT)
                elif isinstance(default, str | int) and default != "":
                    yield Assumed(
                        key, str(default).lower() if isinstance(default, bool) else str(default)
                    )
        filled = self._document.filled.items()
        yield from (Assumed(key, value) for key, value in filled if value)
        yield from self._assumed_of_hdl(written.get("hdl", {}))
        part = self.part
        if self.chip.kind == "firmware":
            if "serial-input" not in written.get("register", {}):
                yield Assumed("register.serial-input", _PROGRAM_TIE)
            yield Assumed("register.kind", "the pins of an ordinary microcontroller")
        lenders = [*part.borrowed.values()]
        for lender in dict.fromkeys(lenders):
            count = lenders.count(lender)
            yield Assumed("register.part", f"{count} figures of the {part.name} as of the {lender}")

    def _assumed_of_hdl(self, written: Mapping[str, Any]) -> Iterator[Assumed]:
        """What a design in an HDL is taken to be: names of its ports, what it promises."""
        if self.hdl is None:
            return
        other = _OF_A_READER if self.hdl.role == "pad" else _OF_A_PAD
        for option, info in Hdl.model_fields.items():
            key, value = option.replace("_", "-"), getattr(self.hdl, option)
            if key in written or option in other:
                continue
            if option == "simulator":
                yield Assumed("hdl.simulator", self.hdl.engine)
            elif option == "synchroniser" and self.hdl.system_clock is None:
                continue
            elif isinstance(info.default, str | int):
                yield Assumed(f"hdl.{key}", str(value).lower())

    def _beside_the_point(self, key: str) -> bool:
        """What says nothing of this pad: of a resistor that is not there, of a named poll."""
        no_routine = self.poll.routine is None
        fitted = {
            "pull-up.rating": self.pull_up.value is not None,
            "resistors.rating": (self.resistors.latch_to_supply or self.resistors.clock_to_supply)
            is not None,
            "poll.repeated-reads": not no_routine,
            "policy.exposed-routine": not no_routine,
            "poll.passes": no_routine and self.poll.use is None,
            "register.kind": False,
        }
        return not fitted.get(key, True)

    @property
    def own(self) -> OwnParts:
        """What its parts file holds."""
        return self._own

    @property
    def part(self) -> RegisterPart:
        """The register, out of the sheet's own parts or the shipped ones, or what a program is."""
        return self.chip.firmware or find_part(self.chip.part, self._own)

    @property
    def last_stage(self) -> int:
        """The stage of its pad that is read first."""
        place = self.pads[0].place if self.pads else None
        return place * self.part.stages if isinstance(place, int) else self.chip.stages

    @property
    def registers(self) -> int:
        """How many hang on latch and clock, those of pads on other data lines included."""
        lines: dict[str | None, list[int]] = {}
        for one in self.pads:
            places = lines.setdefault(one.data, [])
            places.append(one.place if isinstance(one.place, int) else len(places) + 1)
        own = -(-self.chip.stages // self.part.stages)
        mine = self.pads[0].data if self.pads else None
        return own + sum(max(places) for data, places in lines.items() if data != mine)

    @property
    def inputs(self) -> int:
        """How many inputs have a contact, those of the other pads included."""
        return len(self.buttons) + sum(len(one.buttons or BUTTONS) for one in self.pads[1:])

    @property
    def beside(self) -> tuple[tuple[str, int, Mapping[str, int]], ...]:
        """The other pads of its chain: name, the stage that is read first, buttons."""
        each = self.part.stages
        return tuple(
            (one.name, one.place * each, one.buttons or stages_in_order(one.place * each))
            for one in self.pads[1:]
            if one.data == self.pads[0].data and isinstance(one.place, int)
        )

    def port(self, name: str) -> PortKind:
        """A kind of port, own or shipped; ``KeyError`` for an unknown name."""
        return find_port(name, self._own)

    @property
    def known_ports(self) -> tuple[str, ...]:
        """Every kind of port there is, the shipped ones first."""
        return known_ports(self._own)
