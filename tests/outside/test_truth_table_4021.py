"""The published truth table of the 4021, row by row, against the register and against the wires.

Class P (published): "CD4021B, CMOS 8-stage static shift register", Texas Instruments SCHS024 and
SCHS378, truth table; the same table in MC14021B, Motorola CMOS Logic Data, and in the HEF4021B
data sheet (NXP rev. 4). These tests were written from the table, not from the code.

Only the last stage has a port. So every case is driven through registers of one to eight stages
side by side, and the last stage of the register with n stages is Q(n).
"""

import random
from collections.abc import Callable, Iterator
from itertools import product
from typing import Any, NamedTuple

import pytest
from myhdl import Signal, Simulation, StopSimulation, always_comb, block, delay, instance, intbv

from padbench.core.decode import Read, decode
from padbench.core.findings import Source
from padbench.core.limits import Limit, Limits
from padbench.core.pad import PadModel
from padbench.core.stimulus import PollTiming, ScriptedRead, Stimulus
from padbench.core.timeline import Timeline
from padbench.model.register import shift_register
from padbench.model.simulation import simulate

Register = Callable[..., Any]

STAGES = 8
STATES = range(0, 256, 3)
"""Held states: in these every pair of stages stands at all four levels."""
X = "X"


class Row(NamedTuple):
    """One row as the data sheet prints it; PI-n and Qn stand for any stage after the first."""

    clock: str
    serial: int | str
    control: int
    pi_1: int | str
    pi_n: int | str
    q1: int | str
    qn: int | str


TABLE = (
    # clock   serial control PI-1 PI-n    Q1      Qn
    Row(X, X, 1, 0, 0, 0, 0),
    Row(X, X, 1, 0, 1, 0, 1),
    Row(X, X, 1, 1, 0, 1, 0),
    Row(X, X, 1, 1, 1, 1, 1),
    Row("rise", 0, 0, X, X, 0, "Qn-1"),
    Row("rise", 1, 0, X, X, 1, "Qn-1"),
    Row("fall", X, 0, X, X, "no change", "no change"),
)
PARALLEL = [row for row in TABLE if row.control]
SERIAL = [row for row in TABLE if not row.control]

CLOCKS = ("low", "high", "rise", "fall")  # what "X" in the clock column stands for
START = {"low": 0, "rise": 0, "high": 1, "fall": 1}
EDGE = {"rise": 1, "fall": 0}

State = tuple[int, ...]  # Q1 first


def row_name(row: Row) -> str:
    return f"clock={row.clock} serial={row.serial} control={row.control} P={row.pi_1}{row.pi_n}"


def values(cell: int | str) -> tuple[int, ...]:
    return (0, 1) if cell == X else (int(cell),)


def bits(word: int) -> State:
    """Bit 0 is stage 1."""
    return tuple(word >> n & 1 for n in range(STAGES))


def fits(row: Row, event: tuple[str, int, int], pins: State, n: int) -> bool:
    seen = (*event, pins[0], pins[n])
    return all(cell in (X, value) for cell, value in zip(row, seen, strict=False))


def next_state(state: State, clock: str, serial: int, control: int, pins: State) -> State:
    """Looks every stage up in the table. A static register without a row keeps what it has."""

    def outcome(n: int, cell: int | str) -> int:
        named = {"no change": state[n], "Qn-1": state[n - 1]}
        return named[cell] if isinstance(cell, str) else cell

    event = (clock, serial, control)
    stages = []
    for n in range(STAGES):
        rows = [row for row in TABLE if fits(row, event, pins, n or 1)]
        if not rows and not control and clock in ("low", "high"):
            stages.append(state[n])
            continue
        (row,) = rows
        stages.append(outcome(n, row.qn if n else row.q1))
    return tuple(stages)


class Board:
    """Registers of one to eight stages on the same wires."""

    def __init__(self, part: Register) -> None:
        self.part = part
        self.load, self.clock, self.serial = (Signal(bool(0)) for _ in range(3))
        self.pins = [Signal(intbv(0)[n:]) for n in range(1, STAGES + 1)]
        self.outputs = [Signal(bool(0)) for _ in range(STAGES)]
        self.wrong: list[str] = []
        self.checks = 0

    def set(self, **levels: int) -> Any:
        """Wires that are not named keep their level."""
        for wire, level in levels.items():
            if wire == "pins":
                for n, pin in enumerate(self.pins, 1):
                    pin.next = level & (1 << n) - 1
            else:
                getattr(self, wire).next = bool(level)
        return delay(1)

    def expect(self, state: State, said: str) -> None:
        seen = tuple(int(q) for q in self.outputs)
        self.checks += 1
        if seen != state:
            self.wrong.append(f"{said}: Q1…Q8 = {seen}, the table says {state}")

    def run(self, script: Callable[["Board"], Iterator[Any]], most: int = 3) -> "Board":
        """Stops at the ``most``-th mismatch; a report of thousands helps nobody."""
        connected = [
            self.part(self.load, self.clock, self.serial, pins, last)
            for pins, last in zip(self.pins, self.outputs, strict=True)
        ]

        def drive() -> Iterator[Any]:
            for step in script(self):
                if len(self.wrong) >= most:
                    break
                yield step
            raise StopSimulation

        simulation = Simulation(*connected, drive())
        try:
            simulation.run(quiet=True)
        finally:
            simulation.quit()
        return self


# -- the parallel rows: control high


def parallel_cases(row: Row) -> list[tuple[str, int, int]]:
    """X in all its values; every stage is n in turn, the other pins are low, high and mixed."""
    p1, pn = int(row.pi_1), int(row.pi_n)
    pins = {
        rest & ~(1 | 1 << n) | p1 | pn << n
        for n in range(1, STAGES)
        for rest in (0x00, 0xFF, 0x5A, 0xA5)
    }
    return list(product(CLOCKS, values(row.serial), sorted(pins)))


def parallel(row: Row) -> Callable[[Board], Iterator[Any]]:
    def script(board: Board) -> Iterator[Any]:
        for clock, serial, word in parallel_cases(row):
            pins, others = bits(word), bits(word ^ 0xFF)
            loaded = next_state(others, clock, serial, 1, pins)
            said = f"clock {clock}, serial {serial}, control 1, pins {pins}"
            # something else in every stage first, and the clock where its event starts
            yield board.set(load=1, pins=word ^ 0xFF, serial=serial)
            yield board.set(clock=START[clock])
            yield board.set(load=0)
            yield board.set(pins=word)
            board.expect(others, f"{said}, but control still low")
            # no clock edge here: the load is asynchronous
            yield board.set(load=1)
            board.expect(loaded, said)
            if clock in EDGE:
                yield board.set(clock=EDGE[clock])
                board.expect(loaded, f"{said}, after the edge")
            # transparent for as long as control is high, one pin at a time and all at once
            yield board.set(pins=word ^ 0x80)
            board.expect(bits(word ^ 0x80), f"{said}, then P8 the other way")
            yield board.set(pins=word ^ 0xFF)
            board.expect(others, f"{said}, then all pins the other way")
            yield board.set(serial=1 - serial)
            board.expect(others, f"{said}, then the serial input the other way")
            yield board.set(pins=word)
            yield board.set(load=0)
            board.expect(loaded, f"{said}, then control low")

    return script


@pytest.mark.parametrize("row", PARALLEL, ids=row_name)
def test_parallel_row(row: Row) -> None:
    board = Board(shift_register).run(parallel(row))
    assert not board.wrong
    assert board.checks > 6 * len(parallel_cases(row))


# -- the serial rows: control low


def serial_cases(row: Row) -> list[tuple[int, int, int]]:
    """The four combinations of P1 and all pins after it in turn."""
    words = [p1 | (0xFE if pn else 0) for p1, pn in product(values(row.pi_1), values(row.pi_n))]
    serials = values(row.serial)
    return [
        (state, serial, words[(state + state // 4 + turn) % len(words)])
        for state in STATES
        for turn, serial in enumerate(serials)
    ]


def shifted(row: Row) -> Callable[[Board], Iterator[Any]]:
    def script(board: Board) -> Iterator[Any]:
        for word, serial, pins in serial_cases(row):
            before = bits(word)
            after = next_state(before, row.clock, serial, 0, bits(pins))
            said = f"clock {row.clock}, serial {serial}, control 0, pins {bits(pins)}, was {before}"
            yield board.set(load=1, pins=word, clock=START[row.clock])
            yield board.set(load=0)
            yield board.set(pins=pins, serial=serial)
            board.expect(before, f"{said}, before the edge")
            yield board.set(clock=EDGE[row.clock])
            board.expect(after, said)

    return script


@pytest.mark.parametrize("row", SERIAL, ids=row_name)
def test_serial_row(row: Row) -> None:
    board = Board(shift_register).run(shifted(row))
    assert not board.wrong
    assert board.checks == 2 * len(serial_cases(row))


def test_long_walks_keep_to_the_table() -> None:
    """Any event may follow any other, so rows are walked in random order as well.

    With control low and no edge, pins and serial input may do what they like: it is static.
    """

    def script(board: Board) -> Iterator[Any]:
        chance = random.Random(4021)
        level = {"load": 1, "clock": 0, "serial": 0, "pins": 0}
        state: State = bits(0)
        yield board.set(**level)
        for _ in range(1000):
            wire = chance.choice(("load", "clock", "clock", "clock", "serial", "pins"))
            level[wire] = chance.randrange(256) if wire == "pins" else 1 - level[wire]
            clock = CLOCKS[level["clock"]]
            if wire == "clock":
                clock = "rise" if level["clock"] else "fall"
            state = next_state(state, clock, level["serial"], level["load"], bits(level["pins"]))
            yield board.set(**{wire: level[wire]})
            board.expect(state, f"after {wire} in {level}")

    board = Board(shift_register).run(script)
    assert not board.wrong
    assert board.checks == 1000


# -- one register with eight stages, seen from its only output


class Sent(NamedTuple):
    """What a load takes in, what then comes in at the serial input (bit 0 first), what was seen."""

    word: int
    serial: int
    seen: list[int]

    def expected(self, stages: int) -> list[int]:
        """P8 first, down to P1, then the serial input's bits in the order they came."""
        first = [self.word >> n & 1 for n in reversed(range(stages))]
        later = [self.serial >> n & 1 for n in range(len(self.seen))]
        return [*first, *later][: len(self.seen)]


def shift_out(words: list[tuple[int, int]], edges: int, chips: int = 1) -> list[Sent]:
    """Q8 after each load and after each rising edge that follows; chips feed each other."""
    load, clock = Signal(bool(0)), Signal(bool(0))
    links = [Signal(bool(0)) for _ in range(chips + 1)]
    pins = [Signal(intbv(0)[STAGES:]) for _ in range(chips)]
    sent = [Sent(word, serial, []) for word, serial in words]

    def drive() -> Iterator[Any]:
        for word, serial, seen in sent:
            load.next = True
            for n, pin in enumerate(pins):
                pin.next = word >> STAGES * n & 0xFF
            yield delay(1)
            load.next = False
            yield delay(1)
            seen.append(int(links[-1]))
            for n in range(edges):
                links[0].next = bool(serial >> n & 1)
                clock.next = False
                yield delay(1)
                clock.next = True
                yield delay(1)
                seen.append(int(links[-1]))
        raise StopSimulation

    parts = [shift_register(load, clock, links[n], pins[n], links[n + 1]) for n in range(chips)]
    simulation = Simulation(*parts, drive())
    try:
        simulation.run(quiet=True)
    finally:
        simulation.quit()
    return sent


def test_eight_stages_shift_out_every_state() -> None:
    for sent in shift_out([(word, word * 0x101 ^ 0xA5C3) for word in range(256)], 12):
        assert len(sent.seen) == 13
        assert sent.seen == sent.expected(STAGES)


def test_two_chips_in_a_row_are_one_register_of_sixteen() -> None:
    """Both see the same edge: the second must take what the first showed before it."""
    words = (0x0001, 0x8000, 0x0180, 0xA5C3, 0x5A3C, 0xFFFE, 0x0000, 0xFFFF)
    for sent in shift_out([(word, 0x2D6B) for word in words], 30, chips=2):
        assert len(sent.seen) == 31
        assert sent.seen == sent.expected(2 * STAGES)


# -- the checks themselves can fail


def faulty(fault: str | None) -> Register:
    """A register with one fault, written here from the table; none makes it a good one."""

    @block
    def part(load: Any, clock: Any, serial: Any, inputs: Any, last: Any) -> Any:
        count = len(inputs)
        order = range(count)[::-1] if fault == "pins in reverse" else range(count)
        state = Signal(intbv(0)[count:])

        @instance
        def chip() -> Iterator[Any]:
            q, had_clock, had_load = [0] * count, int(clock), 0
            while True:
                yield load, clock, serial, inputs
                edge = int(clock) - had_clock
                pins = [int(inputs[n]) for n in order]
                loads = bool(load)
                if fault == "loads on the clock":  # what the 4014 does
                    loads = bool(load) and edge > 0
                elif fault == "loads on the control's edge":
                    loads = bool(load) and not had_load
                elif fault == "loads while low":
                    loads = not load
                elif fault == "loads only while the clock is low":
                    loads = bool(load) and not clock
                elif fault == "clock beats the load":
                    loads = bool(load) and edge <= 0
                shift = edge == (-1 if fault == "shifts on the falling edge" else 1)
                if fault == "shifts on both edges":
                    shift = edge != 0
                enters = int(serial) ^ (fault == "serial input inverted")
                if fault == "serial input not connected":
                    enters = 0
                if loads:
                    q = [p ^ (fault == "pins inverted") for p in pins]
                elif shift and fault == "shifts the other way":
                    q = [*q[1:], enters]
                elif shift and fault == "goes round":
                    q = [q[-1], *q[:-1]]
                elif shift:
                    q = [enters, *q[:-1]]
                had_clock, had_load = int(clock), int(load)
                state.next = sum(bit << n for n, bit in enumerate(q))

        @always_comb
        def output() -> None:
            last.next = state[count - 1]

        return chip, output

    return part


RISE_0, RISE_1, FALL = SERIAL
FAULTS = {  # and a row that must show it
    "loads on the clock": PARALLEL[0],
    "loads on the control's edge": PARALLEL[1],
    "loads while low": PARALLEL[2],
    "clock beats the load": PARALLEL[3],
    "loads only while the clock is low": PARALLEL[0],
    "pins in reverse": PARALLEL[1],
    "pins inverted": PARALLEL[2],
    "shifts on the falling edge": FALL,
    "shifts on both edges": FALL,
    "serial input inverted": RISE_0,
    "serial input not connected": RISE_1,
    "shifts the other way": RISE_1,
    "goes round": RISE_0,
}


@pytest.mark.parametrize("fault", FAULTS)
def test_rows_catch(fault: str) -> None:
    row = FAULTS[fault]
    script = parallel(row) if row.control else shifted(row)
    assert Board(faulty(fault)).run(script, most=1).wrong


def test_rows_pass_a_register_written_from_the_table() -> None:
    for script in (parallel(PARALLEL[1]), shifted(RISE_1)):
        assert not Board(faulty(None)).run(script).wrong


# -- the same rows in the timed model, at the wires

NS, US = 1_000, 1_000_000
ANSWER = 200 * NS
LIMITS = Limits(  # class M, from memory: CD4021B at 5 V, 25 °C, 50 pF
    load_width=Limit(160 * NS, (Source("CD4021B data sheet", "from memory"),)),
    clock_width=Limit(180 * NS, (Source("CD4021B data sheet", "from memory"),)),
    clock_period=Limit(333_333, (Source("CD4021B data sheet", "from memory"),)),
    removal=Limit(280 * NS, (Source("CD4021B data sheet", "from memory"),)),
    setup_parallel=Limit(50 * NS, (Source("CD4021B data sheet", "from memory"),)),
    answer=Limit(400 * NS, (Source("CD4021B data sheet", "from memory"),)),
)


def pad(serial: int | None) -> PadModel:
    return PadModel(LIMITS, serial=serial, answer=ANSWER, load="transparent")


def on_the_pins(held: int) -> State:
    """Pressed pulls its pin low; A, bit 7, is on P8."""
    return bits(held ^ 0xFF)


def random_script(seed: int) -> Stimulus:
    """Latches on whole microseconds, rising clocks on halves, contacts on quarters.

    No set-up, removal or width is broken: this is about the table. A gap below zero lets the
    clock run while the latch is high.
    """
    chance = random.Random(seed)
    reads, contacts, now = [], [(0, chance.randrange(256))], 10 * US
    for _ in range(60):
        width, gap = chance.randrange(2, 9) * US, chance.randrange(-6, 4) * US
        gap = max(gap, -width)
        timing = PollTiming(width, gap, 500 * NS, 1500 * NS, 100 * NS, chance.choice((8, 12)))
        reads.append(ScriptedRead(now, timing))
        until = now + width + 30 * US
        moments = sorted(chance.sample(range(now - 2 * US, until - 2 * US, US), 12))
        contacts += [(t + chance.choice((250, 750)) * NS, chance.randrange(256)) for t in moments]
        now = until
    return Stimulus(contacts=tuple(contacts), reads=tuple(reads), end=now)


class Event(NamedTuple):
    time: int
    wire: str
    level: int


def events(timeline: Timeline, stimulus: Stimulus) -> list[Event]:
    found = [Event(t, "contacts", held) for t, held in stimulus.contacts]
    for name in ("pad.load", "pad.clock"):
        wire = timeline.wires[name]
        found += [Event(int(t), name, 1) for t in wire.rises()]
        found += [Event(int(t), name, 0) for t in wire.falls()]
    return sorted(found)


@pytest.mark.parametrize("serial", [0, 1])
def test_data_wire_keeps_to_the_table(serial: int) -> None:
    stimulus = random_script(serial)
    timeline = simulate(pad(serial), stimulus)
    data, happened = timeline.wires["cable.data"], events(timeline, stimulus)
    load, clock = 0, 1  # the clock idles high (class M, from memory)
    held, state, known = stimulus.contacts[0][1], bits(0), False
    used: set[Row] = set()
    clocks_under_load: set[str] = set()
    level, moved = 2, []
    for event, following in zip(happened, [*happened[1:], Event(stimulus.end, "", 0)], strict=True):
        now = CLOCKS[clock]
        if event.wire == "contacts":
            held = event.level
        elif event.wire == "pad.load":
            load = event.level
            known |= bool(load)
        else:
            clock = event.level
            now = "rise" if clock else "fall"
        state = next_state(state, now, serial, load, on_the_pins(held))
        event_now = (now, serial, load)
        used |= {row for row in TABLE if fits(row, event_now, on_the_pins(held), STAGES - 1)}
        if load:
            clocks_under_load.add(now)
        if following.time - event.time > ANSWER:
            assert data.at([following.time - 1])[0] == (state[-1] if known else 2), event
        if known and state[-1] != level:
            level = state[-1]
            moved.append((event.time, level))
    assert used == {row for row in TABLE if row.serial in (X, serial)}
    assert clocks_under_load == set(CLOCKS)
    # every change on the wire has its cause one answer before, and nothing else moves it
    changes = [(int(t), int(v)) for t, v in zip(data.times, data.levels, strict=True) if v != 2]
    assert changes == [(t + ANSWER, v) for t, v in moved]


# -- between two rows: what the table does not say must not come out as a clean read
#
# Numbers of class M (CD4021B data sheet, from memory). That a broken limit is never resolved
# silently to the right bits is the bench's own promise.


def held_and_read(held: int, timing: PollTiming, *later: tuple[int, int]) -> Read:
    stimulus = Stimulus(
        contacts=((0, held), *later), reads=(ScriptedRead(10 * US, timing),), end=60 * US
    )
    (read,) = decode(simulate(pad(1), stimulus))
    return read


@pytest.mark.parametrize("removal", [0, 1, 1 * NS, 100 * NS, 279_999, 280 * NS, 400 * NS])
def test_clock_soon_after_control_falls(removal: int) -> None:
    """Loaded or shifted? Inside the removal time, no bit after the first is known."""
    low = 500 * NS
    read = held_and_read(0xA5, PollTiming(5 * US, removal - low, low, 1500 * NS, 100 * NS))
    assert read.clock_rises[0] == 15 * US + removal
    if removal < 280 * NS:
        assert read.bits[0] is True
        assert None in read.bits[1:]
    else:
        assert (read.byte, read.undecided) == (0xA5, 0)


@pytest.mark.parametrize("setup", [0, 1, 1 * NS, 49_999, 50 * NS, 100 * NS])
def test_pin_moves_soon_before_control_falls(setup: int) -> None:
    """Old or new? Inside the set-up time the pins that moved are not known, the others are."""
    timing = PollTiming(5 * US, 2 * US, 500 * NS, 1500 * NS, 100 * NS)
    read = held_and_read(0x81, timing, (15 * US - setup, 0x41))
    assert read.bits[2:] == (False, False, False, False, False, True)
    if setup < 50 * NS:
        assert read.bits[:2] == (None, None)
    else:
        assert (read.byte, read.undecided) == (0x41, 0)


def test_pin_that_moves_after_control_has_fallen_waits_for_the_next_load() -> None:
    timing = PollTiming(5 * US, 2 * US, 500 * NS, 1500 * NS, 100 * NS)
    read = held_and_read(0x81, timing, (16 * US, 0x7E))
    assert (read.byte, read.undecided) == (0x81, 0)
