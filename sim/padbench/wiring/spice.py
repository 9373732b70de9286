"""Pad, cable and port as a netlist for a circuit simulator, with the stimulus of one read.

    text = spice_netlist(sheet, "push-pull", "slow")

``ngspice -b FILE`` runs it as it stands and prints edges, levels and what each sample finds; in the
file the bench's own value stands above each. All values come from `padbench.circuit`. Latch, clock,
data and inputs each stand at the corner at which they are the slowest (inputs: the nearest to their
thresholds), as in the bench's slow run; at the fast one at which they are the quickest. There the
register answers at once, since no data sheet promises a shortest time.
"""

from collections.abc import Iterator
from dataclasses import fields
from itertools import pairwise

import numpy as np

from padbench.circuit.circuits import TEST_LOAD, Circuits, Line
from padbench.circuit.corners import Space, worst_ends
from padbench.circuit.design import ABSENT, Array, Design, design_of
from padbench.circuit.pad_model import Corner
from padbench.sheet import Sheet

_EDGE = 1e-9
"""Seconds of an edge of the stimulus."""

_SETTLED = 5e-6
"""Seconds before the latch, in which all lines stand at what they have before a read."""

_FIXED = """\
.options tnom=25 temp=25 reltol=1e-4 noinit
.model pass SW(VT=0.7 VH=0 RON=1k ROFF=1e12)
.model ideal D(IS=1n N=0.05)
Vone one 0 1
* One stage: a master that follows while the clock is low, a slave while it is high, both its own
* input while the register loads.
.subckt stage own before out load both follow high
S1 own m load 0 pass
S2 before m follow 0 pass
C1 m 0 1p
E1 mm 0 m 0 1
S3 mm s high 0 pass
S4 own s both 0 pass
C2 s 0 1p
E2 out 0 s 0 1
.ends
"""


def spice_netlist(sheet: Sheet, port: str, corner: Corner) -> str:
    """The netlist of a sheet on one kind of port; ``KeyError`` for a port that is not known.

    Every other stage that has a button is held, so that data move at as many clocks as they can;
    the poll's times are its shortest. A resistor that is not fitted is not there.
    """
    return "".join(f"{line}\n" for line in _Netlist(sheet, port, corner).lines())


def _n(value: float) -> str:
    return f"{value:.9g}"


class _Netlist:
    """The lines of one netlist; ``d`` has the design's numbers."""

    def __init__(self, sheet: Sheet, port: str, corner: Corner) -> None:
        self.sheet, self.port, self.corner = sheet, port, corner
        self.slow = corner == "slow"
        self.design = design_of(sheet, sheet.part, sheet.port(port))
        self.circuits = Circuits(self.design)
        self.d = {one.name: float(getattr(self.design, one.name)[0]) for one in fields(Design)}
        self.period = self.d["clock_low"] + self.d["clock_high"]
        first = _SETTLED + self.d["latch_width"] + self.d["latch_to_clock"]
        self.falls = [first + place * self.period for place in range(int(self.d["clocks"]))]
        # Released is 1; in the order in which they are read.
        buttons = sorted(set(sheet.buttons.values()), reverse=True)
        self.held = set(buttons[::2])
        self.bits = [int(stage not in self.held) for stage in range(sheet.chip.stages, 0, -1)]

    def lines(self) -> Iterator[str]:
        """All of them, in their order."""
        name = "".join(one if one.isprintable() else " " for one in self.sheet.pad.name)
        yield f"* {name}: one read on a {self.port} port, {self.corner} corner"
        yield "* Run it with: ngspice -b FILE. It is a calculation, not a guarantee."
        yield from _FIXED.splitlines()
        for line, levels, at, wide, period in (
            ("latch", "0 1", _SETTLED, self.d["latch_width"], 1.0),
            ("clock", "1 0", self.falls[0], self.d["clock_low"], self.period),
        ):
            times = " ".join(map(_n, (at, _EDGE, _EDGE, wide - _EDGE, period)))
            yield f"Vdrive_{line} drive_{line} 0 PULSE({levels} {times})"
        yield from self._line("latch", self.circuits.latch)
        yield from self._line("clock", self.circuits.clock)
        yield from self._inputs()
        yield from self._register()
        yield from self._data()
        yield f".tran 20n {_n(self.falls[-1] + self.period)} 0 10n"
        yield ".end"

    def _worst(self, measured: Array) -> int:
        """The corner at which something is the most, at the fast corner the least."""
        return int((np.argmax if self.slow else np.argmin)(measured[0]))

    def _stands(self, what: str, over: Space, at: int) -> Iterator[str]:
        ends = worst_ends(self.design, 0, over.axes, at, [True] * len(over.axes))
        said = (f"{axis} {end:g}" if isinstance(end, float) else end for axis, end in ends)
        yield f"* {what}, at its corner: {', '.join(said)}"

    def _held(
        self, name: str, supply: float, top: float, ohms: float, leak: float, farads: float
    ) -> Iterator[str]:
        """What a node hangs on beside what drives it."""
        yield f"Vdd_{name} vdd_{name} 0 {_n(supply)}"
        if ohms < ABSENT:
            yield f"Rpad_{name} vdd_{name} {name} {_n(ohms)}"
        yield f"Ileak_{name} 0 {name} {_n(leak)}"
        yield f"C_{name} {name} 0 {_n(farads)}"
        # What protects a pin keeps leakage from lifting it beyond the supplies.
        yield f"Vtop_{name} top_{name} 0 {_n(top)}"
        yield f"Dtop_{name} {name} top_{name} ideal"
        yield f"Dfoot_{name} 0 {name} ideal"

    def _line(self, name: str, line: Line) -> Iterator[str]:
        """Latch or clock: the pad's resistor, leakage, cable and inputs, and what drives it."""
        d, over, at = self.d, self.circuits.at_lines, self._worst(line.rise_high)
        shape = over.supply.shape

        def here(value: Array) -> float:
            return float(np.broadcast_to(value, shape)[0, at])

        supply = here(over.supply)
        ohms, lifted = here(line.resistor), d["lift_r"] < ABSENT
        level = d["lift_low"] or here(over.console)
        yield from self._stands(name, over, at)
        leak, top = (here(line.source) - supply) / ohms, max(supply, level * lifted)
        yield from self._held(name, supply, top, ohms, leak, here(line.farads))
        pulled = name
        if d["emission"] > 0:
            pulled = f"pulled_{name}"
            yield f"Dport_{name} {name} {pulled} port_{name} temp={_n(here(over.celsius))}"
            yield f".model port_{name} D(IS={_n(here(over.saturation))} N={_n(d['emission'])})"
        yield f"Slow_{name} {pulled} 0 one drive_{name} pull_{name}"
        yield f".model pull_{name} SW(VT=0.5 VH=0 RON={_n(d['pull_r'])} ROFF=1e12)"
        if lifted:
            lift = f"lift_{name}"
            yield f"V{lift} {lift} 0 {_n(level)}"
            if d["lifts_only"]:
                yield f"D{lift} {lift} {lift}_only ideal"
                lift += "_only"
            yield f"Shigh_{name} {lift} {name} drive_{name} 0 raise_{name}"
            yield f".model raise_{name} SW(VT=0.5 VH=0 RON={_n(d['lift_r'])} ROFF=1e12)"
        low_at, high_at = here(line.low_at), here(line.high_at)
        # Both ends of what the data sheet leaves open: an edge counts at the far one.
        middle, half = (low_at + high_at) / 2, (high_at - low_at) / 2 if self.slow else 0.0
        low_loads = self.sheet.chip.latch_inverted != (self.sheet.part.load_level == "low")
        ends, sign = ("0 latch", -1) if name == "latch" and low_loads else (f"{name} 0", 1)
        yield f"Ssees_{name} one sees_{name} {ends} sees_{name}"
        yield f".model sees_{name} SW(VT={_n(sign * middle)} VH={_n(half)} RON=10 ROFF=1e9)"
        yield f"Rsees_{name} sees_{name} 0 10k"
        yield f"Csees_{name} sees_{name} 0 0.1p"
        self.high_at = high_at
        edge = f"TRIG v(drive_{name}) VAL=0.5"
        rise, fall = _SETTLED, _SETTLED + d["latch_width"]
        if name == "clock":
            rise, fall = self.falls[0] + d["clock_low"], self.falls[0]
        there = f"TARG v({name}) VAL="
        for what, bench, how in (
            ("rise", here(line.rise_high), f"{edge} RISE=1 {there}{_n(high_at)} RISE=1"),
            ("fall", here(line.fall_low), f"{edge} FALL=1 {there}{_n(low_at)} FALL=1"),
            ("low", here(line.low), f"FIND v({name}) AT={_n(rise)}"),
            ("high", here(line.high), f"FIND v({name}) AT={_n(fall)}"),
        ):
            yield from _measured(f"{name}_{what}", bench, how)

    def _inputs(self) -> Iterator[str]:
        """One input with its contact pressed and one released: those of all stages are alike."""
        d, over, (low_at, high_at) = self.d, self.circuits.at_inputs, self.circuits.input_thresholds
        pressed, released = self.circuits.inputs
        for state, bench, towards, contact in (
            ("pressed", pressed, pressed - low_at, over.contact),
            ("released", released, high_at - released, np.full(over.contact.shape, d["dirt"])),
        ):
            at = self._worst(towards)
            yield from self._stands(f"an input {state}", over, at)
            supply, leak = float(over.supply[0, at]), float(self.circuits.input_leakage[0, at])
            ohms = float(over.pull_up[0, at])
            yield from self._held(state, supply, supply, ohms, leak, d["input_c"])
            yield f"Rcontact_{state} {state} 0 {_n(contact[0, at])}"
            middle = (low_at[0, at] + high_at[0, at]) / 2
            yield f"Bown_{state} own_{state} 0 V=u(v({state})-{_n(middle)})"
            yield from _measured(state, bench[0, at], f"FIND v({state}) AT={_n(_SETTLED)}")

    def _register(self) -> Iterator[str]:
        """Its stages in levels of 0 and 1; inputs without a button are tied to supply."""
        loads, follows = "v(sees_latch)", "(1-v(sees_clock))"
        both = loads
        if self.sheet.part.load == "synchronous":
            loads, both = f"{loads}*{follows}", "0"
        yield "* the register"
        yield f"Bload load 0 V={loads}"
        yield f"Bboth both 0 V={both}"
        yield f"Bfollow follow 0 V={follows}*(1-v(sees_latch))"
        # Where it is open nobody can say what comes in.
        serial = {"ground": 0, "supply": 1, "open": 0.5}[self.sheet.chip.serial_input]
        yield f"Vserial q_0 0 {serial}"
        for stage in range(1, self.sheet.chip.stages + 1):
            held = "own_pressed" if stage in self.held else "own_released"
            own = held if stage in self.sheet.buttons.values() else "one"
            yield f"X{stage} {own} q_{stage - 1} q_{stage} load both follow sees_clock stage"

    def _data(self) -> Iterator[str]:
        """The output's transistors, the cable, and the console's end."""
        d, circuits, over = self.d, self.circuits, self.circuits.at_lines
        low_at, high_at = circuits.data_thresholds
        rise, fall = (
            circuits.data_time(to, rises=rises) for to, rises in ((high_at, True), (low_at, False))
        )
        at = self._worst(rise + fall)
        gain = [np.minimum(*circuits.gains(up))[0, at] for up in (False, True)]
        supply = over.supply[0, at]
        yield from self._stands("data", over, at)
        yield f"Vdd_data vdd_data 0 {_n(supply)}"
        yield f"Vconsole console 0 {_n(over.console[0, at])}"
        yield f"Bout out 0 V={_n(supply)}*(1-v(q_{self.sheet.chip.stages}))"
        # Its answer ends at half the supply with the load at which its data sheet measures it.
        half, tested = over.supply / 2, np.full((1, 1), TEST_LOAD)
        halves = [circuits.data_time(half, rises=up, farads=tested)[0, at] for up in (False, True)]
        wait = d["clock_to_output"] * circuits.stretched[0, at]
        slower = int(rise[0, at] - halves[1] > fall[0, at] - halves[0])
        delay = wait - halves[slower] if self.slow else 0.0
        # A delay line as short as a step would make the simulator take ever shorter ones.
        late = delay > 5 * _EDGE
        yield f"Tanswer out 0 gate 0 Z0=50 TD={_n(delay)}" if late else "Ranswer out gate 1"
        yield "Rgate gate 0 50" if late else "Cgate gate 0 0.1p"
        for kind, end, sign, one in (("n", "0", "", gain[0]), ("p", "vdd_data", "-", gain[1])):
            yield f"M{kind} cable gate {end} {end} {kind}mos W=1u L=1u"
            law = f"LEVEL=1 VTO={sign}{_n(d['drive_threshold'])} KP={_n(one)} LAMBDA=0"
            yield f".model {kind}mos {kind.upper()}MOS({law})"
        yield f"Ccable cable 0 {_n(d['cable_length'] * d['cable_per_metre'])}"
        if d["data_emission"] > 0:
            yield f"Ddata data cable data temp={_n(over.celsius[0, at])}"
            yield f".model data D(IS={_n(over.saturation[0, at])} N={_n(d['data_emission'])})"
        else:
            yield "Vcable cable data 0"
        yield f"Cdata data 0 {_n(d['console_c'])}"
        for name, ends in (("data_up", "console data"), ("data_down", "data 0")):
            if d[name] < ABSENT:
                yield f"R{name} {ends} {_n(d[name])}"
        yield f"Ileak_data 0 data {_n(over.sign[at] * d['input_leakage'])}"
        levels = [float(level[0, at]) for level in circuits.data_levels]
        edges = {(0, 1): ("rise", rise, high_at), (1, 0): ("fall", fall, low_at)}
        for place, bits in enumerate(pairwise(self.bits[: len(self.falls)])):
            if bits not in edges:
                continue
            word, seconds, to = edges.pop(bits)
            since = f"TD={_n(self.falls[place] + d['clock_low'])}"
            gate = f"v(gate) VAL={_n(supply / 2)} {'FALL' if word == 'rise' else 'RISE'}=1 {since}"
            there = f"TARG v(data) VAL={_n(to[0, at])} {word.upper()}=1 {since}"
            yield from _measured(f"data_{word}", seconds[0, at], f"TRIG {gate} {there}")
            if self.slow and word == ("fall", "rise")[slower]:
                clock = f"v(clock) VAL={_n(self.high_at)} RISE=1 {since}"
                answer = circuits.answers[1][0, at]
                yield from _measured("answer", answer, f"TRIG {clock} {there}")
        for place, begin in enumerate(self.falls):
            bench = levels[self.bits[place]] if place < len(self.bits) else None
            found = f"FIND v(data) AT={_n(begin + d['sample'])}"
            yield from _measured(f"bit_{place + 1}", bench, found)


def _measured(name: str, bench: float | None, how: str) -> Iterator[str]:
    if bench is not None:
        yield f"* {name}, by the bench: {_n(bench) if np.isfinite(bench) else 'never'}"
    yield f".meas tran {name} {how}"
