"""Faults, tests and places for people.

say = Words(sheet)
say.fault(fault), say.mend(fault), say.place(fault)     # sentences; "pin 9", "the latch core"
say.do(test), say.caution(test)                         # what to do, and what to mind
"""

from collections.abc import Iterable

from padbench.core.buttons import BUTTONS, pressed_in, spelled
from padbench.core.remedies import joined
from padbench.core.sentences import capital
from padbench.core.units import show
from padbench.parts import RegisterPart
from padbench.parts.fault_kinds import CORES, fault_kinds
from padbench.repair.observed import EVERY, WORDS, kind_of, pin_named
from padbench.repair.ranking import Test
from padbench.sheet import Sheet
from padbench.sheet.checks import beside_output
from padbench.sheet.model import Fault
from padbench.wiring.mistakes import last_output
from padbench.wiring.netlists.sheet import board_of
from padbench.wiring.netlists.shown import parts_shown
from padbench.wiring.plan import wiring_plan

SOUND_PAD = "nothing is broken that a press shows"
AS_DRAWN = "the pad is as its sheet has it, mistakes included"
UNPLUG = "Unplug first."

_AT_PIN = {"VDD": "supply", "VSS": "ground", "load": "latch", "clock": "clock", "serial": "serial"}
_NETS = {
    "serial-open": "serial",
    "serial-wrong": "serial",
    "data-stage-before": "data",
    "output-stuck": "data",
    "register-no-load": "latch",
    "register-no-shift": "clock",
}
"""Nets of the faults that name none."""

_LIVE = (
    "Open the pad only, never console or screen; an insulated tip, since one that slips from supply"
    " to ground shorts the console."
)
_SWAP = "Touch ground before the part: a charge from a hand can break its inputs."
_DEAD = "Unplug the pad first: ohms are measured with the supply off."


def output_pin(part: RegisterPart, stage: int) -> tuple[str, int]:
    """Name and register of the pin that a stage's output has."""
    return last_output(part, stage), -(-stage // part.stages)


class Words:
    """Sentences about one pad; ``sound`` is what they call one without a fault.

    ``through`` says what flows where a contact to ground closes on a pin that is at supply.
    """

    def __init__(self, sheet: Sheet, sound: str = SOUND_PAD) -> None:
        self.sheet, self.sound, drawn = sheet, sound, board_of(sheet)
        self.plan = wiring_plan(sheet, parts_shown(drawn, sheet))
        self.on_board = drawn is not None
        self.part = sheet.part
        least = sheet.contacts.closed.low
        amps = show(sheet.pad.supply.high / least, "A", 2) if least else ""
        self.through = f": up to {amps} through its contact" if amps else ", a dead short"
        self.nets: dict[str, int] = {}
        last = output_pin(self.part, sheet.chip.stages)
        for place, pin in enumerate(self.plan.pins):
            if (pin.name, pin.chip) == last:
                self.nets["data"] = place
            net = _AT_PIN.get(pin.name, pin.net)
            linked = net == "serial" and pin.net == "chain"
            self.nets.setdefault(f"link {pin.chip}" if linked else net, place)
        for name in sheet.buttons:
            output = beside_output(name, sheet) or 0
            for place, pin in enumerate(self.plan.pins):
                if output and (pin.name, pin.chip) == output_pin(self.part, output):
                    self.nets[f"beside {name}"] = place

    def fault(self, fault: Fault | None) -> str:
        """What is broken."""
        return self.sound if fault is None else self._filled(fault_kinds()[fault.kind].says, fault)

    def mend(self, fault: Fault) -> str:
        """What to do about it."""
        return f"{UNPLUG} {capital(self._filled(fault_kinds()[fault.kind].mend, fault))}."

    def check(self, fault: Fault, suspects: Iterable[Fault] = ()) -> str:
        """How to see that it is mended; ohms come first where a button to hold may short the
        supply, which one of the suspected faults does."""
        said = capital(self._filled(fault_kinds()[fault.kind].check, fault)) + "."
        held = BUTTONS if "each" in said else (fault.at, fault.to)
        pins = self._at_supply(suspects, held if fault.kind != "input-at-supply" else ())
        first = f"First, unplugged: no short from {pins} to supply. Then: "
        return first + said if pins else said

    def _at_supply(self, suspects: Iterable[Fault], held: Iterable[str | None]) -> str:
        """Pins of buttons that join supply to ground while they are held."""
        bad = (one for one in suspects if one.kind == "input-at-supply" and one.at in held)
        return joined([f"pin {self._pin(one, 'at')}" for one in bad])

    def places(self, faults: Iterable[Fault | None]) -> list[int]:
        """Pins of the wiring plan where the faults are."""
        nets = [self._net(fault, end) for fault in faults if fault for end in ("at", "to")]
        return sorted({self.nets[net] for net in nets if net in self.nets})

    def where(self, fault: Fault) -> str:
        """The pin or core in a word or two; empty where it is the register itself."""
        if fault.kind.startswith("core"):
            return f"{joined([end for end in (fault.at, fault.to) if end])} core"
        ends = [self._pin(fault, end) for end in ("at", "to")]
        return " and ".join(dict.fromkeys(f"pin {end}" for end in ends if end != "?"))

    def _net(self, fault: Fault, end: str) -> str:
        value = getattr(fault, end) or ""
        if fault.kind == "input-at-output" and end == "to":
            return f"beside {fault.at}"
        if fault.kind == "link-open":
            return f"link {value}"
        if fault.kind == "stage-stuck":
            return next((name for name, at in self.sheet.buttons.items() if str(at) == value), "")
        return _NETS.get(fault.kind, value)

    def _pin(self, fault: Fault, end: str) -> str:
        place = self.nets.get(self._net(fault, end))
        if place is None:
            return "?"
        pin = self.plan.pins[place]
        if self.plan.pins[-1].chip == 1:
            return f"{pin.number}"
        drawn = f" ({self.plan.named(pin.chip)})" if self.on_board else ""
        return f"{pin.number} of register {pin.chip}{drawn}"

    def _filled(self, text: str, fault: Fault) -> str:
        fitted = self.sheet.pull_up.value
        if fault.kind == "resistor-missing":
            fitted = getattr(self.sheet.resistors, f"{fault.at}_to_supply")
        tied = self.sheet.chip.serial_input
        return text.format(
            at=fault.at,
            to=fault.to,
            level=fault.level,
            through=self.through,
            pin=self._pin(fault, "at"),
            other=self._pin(fault, "to"),
            ohms="the pull-up" if fitted is None else show(fitted.nominal, "Ω"),
            value="" if fault.ohms is None else show(fault.ohms.nominal, "Ω"),
            part=tied if fault.kind.startswith("serial") else self.part.name,
        )

    def do(self, test: Test) -> str:
        """What to do for a test."""
        held, kind = joined(list(pressed_in(test.held))), kind_of(test.where)
        if test.press:
            return f"hold {held} and read" if held else "hold nothing and read"
        what = test.where.removeprefix(f"{kind} ")
        names = {pin_named(pin.number, pin.chip): pin.name for pin in self.plan.pins}
        at = f"{what} ({names[what]})" if what in names else what
        at += "" if what.startswith("pin") else " at the plug"
        down = f" while {held} is held" if held else ""
        ohms = f"ohms from core to core at the plug: {what.removeprefix('core pairs ')}"
        if what.startswith("pin"):
            ohms = f"ohms from {what}"
        elif what.startswith("core") and not what.startswith("core pairs"):
            one = what.partition(" ")[2]
            which = f"the {one} core" if one else f"each core ({', '.join(CORES)})"
            ohms = f"ohms of {which}, from the plug to the register's pin"
        elif what in EVERY:
            ohms = f"ohms from each core to each other at the plug ({', '.join(EVERY[what])})"
        said = {
            "ohms": ohms,
            "volts": f"volts of {at} against ground{down}, between two reads",
            "scope": f"scope on {at} while the console polls{down}",
            "swap": f"swap the {what} for a good one and read each button again",
            "beat": f"hold nothing and watch {what}: whether it flips in a steady beat",
        }[kind]
        return f"{said}: {', '.join(WORDS[kind])}" if kind in WORDS else said

    def typed(self, test: Test) -> str:
        """How the outcome of a test is written on the command line, up to the equals sign."""
        held = spelled(test.held).replace("nothing", "idle").replace(" ", "-")
        if test.press:
            return held
        return f"{test.where} {held}" if test.held else test.where

    def caution(self, test: Test, suspects: Iterable[Fault] = ()) -> str:
        """What to mind; of what is held what one of the suspected faults makes dangerous."""
        kind, held = kind_of(test.where), pressed_in(test.held)
        if kind == "ohms":
            return _DEAD
        if kind == "swap":
            return f"{UNPLUG} {_SWAP}" if test.where.endswith("register") else UNPLUG
        pins = self._at_supply(suspects, held)
        short = (
            f"if {pins} is shorted to supply, this joins supply to ground{self.through}; first"
            " measure ohms from there to supply, unplugged."
        )
        live = "" if test.press or kind == "beat" or "pin" not in test.where else _LIVE
        return " ".join(filter(None, (short if pins else "", live)))
