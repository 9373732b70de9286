"""The sample fetch on the bus, read off runs of small programs."""

import pytest

from padbench.parts import console_timing
from padbench.routines.console import Console, SampleFetch, stolen_cycles
from padbench.routines.run import run_case
from padbench.routines.source import routine_from_source

CONSOLE = Console(console_timing("60hz"))
HZ60 = CONSOLE.timing


def run(source: str, phase: int, period: int = 1000, clocks="joined", held=0):
    routine = routine_from_source(source, "test.asm")
    console = Console(HZ60, clocks)
    return run_case(routine, console, held, fetch=SampleFetch(period, phase))


@pytest.mark.parametrize(("put_off", "stolen"), [(0, 4), (1, 3), (2, 4), (3, 3)])
def test_four_cycles_are_stolen_or_three_after_an_odd_wait(put_off, stolen):
    assert stolen_cycles(put_off) == stolen


def test_the_cpu_stops_at_the_first_read_never_in_a_write():
    # inc $10: opcode, operand, read, write, write; then the opcode of rts in cycle 5.
    for phase, at, stolen in [(0, 0, 4), (2, 2, 4), (3, 5, 4), (4, 5, 3), (5, 5, 4)]:
        (stop,) = run("inc $10\nrts", phase).stops
        assert (stop.requested, stop.at, stop.stolen) == (phase, at, stolen)


def test_stolen_cycles_make_the_run_longer_and_change_nothing_else():
    source = "ldx #3\nl: dex\nbne l\nrts"
    calm, stopped = run(source, 900), run(source, 4)
    assert stopped.cycles == calm.cycles + 4
    assert stopped.kinds == calm.kinds
    assert not stopped.hit


def test_requests_come_every_period_counted_in_real_cycles():
    stops = run("ldx #40\nl: dex\nbne l\nrts", phase=7, period=50).stops
    assert [stop.requested for stop in stops] == [7, 57, 107, 157, 207]
    assert all(stop.at == stop.requested for stop in stops)


def test_a_wait_for_writes_can_bring_the_stop_to_the_port():
    """The write of STA puts the stop off, to a read that here is the next opcode's."""
    (stop,) = run("sta $10\nrts", phase=2).stops
    assert (stop.at, stop.stolen, stop.address) == (3, 3, 0x8002)


@pytest.mark.parametrize(("clocks", "lost"), [("joined", 1), ("each", 3)])
def test_a_stopped_port_read_loses_bits(clocks, lost):
    source = "lda #1\nsta $4016\nlsr a\nsta $4016\nlda $4016\nrts"
    at = 2 + 4 + 2 + 4 + 3
    calm = run(source, 900, held=0b1000_0000)
    assert [a.value for a in calm.accesses if a.kind == "read"] == [1]
    held = 0b1000_0000 >> lost
    hit = run(source, at, clocks=clocks, held=held)
    assert hit.hit
    (read,) = [a for a in hit.accesses if a.kind == "read"]
    assert (read.value, read.stolen, read.extra, read.cycle) == (1, 4, lost, at + 4)


def test_only_two_bits_are_lost_where_three_cycles_were_stolen():
    # lsr $4016 would write the port; inc $10 puts the stop off by one to four cycles instead.
    source = "lda #1\nsta $4016\nlsr a\nsta $4016\n.byte $8d, $10, $00\nrts"  # sta $0010
    stops = run(source, phase=15, clocks="each").stops
    assert (stops[0].at, stops[0].stolen) == (16, 3)
    assert Console(HZ60, "each").extra_clocks(3) == 2


def test_while_the_latch_is_high_clocks_do_nothing():
    source = "lda #1\nsta $4016\nlda $4016\nlsr a\nlda #0\nsta $4016\nlda $4016\nrts"
    run_ = run(source, 2 + 4 + 3, held=0x80)
    assert run_.hit
    assert [a.value for a in run_.accesses if a.kind == "read"] == [1, 1]


def test_reads_that_the_cpu_throws_away_clock_the_pad_too():
    """STA absolute,X reads its address before it writes there; INC writes twice."""
    source = "lda #1\nsta $4016\nlsr a\nsta $4016\nldx #1\nsta $4016,x\nlda $4017\nrts"
    accesses = run(source, 900).accesses
    assert [(a.kind, a.port) for a in accesses[2:]] == [("read", 1), ("read", 1)]
    accesses = run("inc $4016\nrts", 900).accesses
    assert [a.kind for a in accesses] == ["read", "latch", "latch"]
    # The old value is written first: $40 and the bit (pressed: past the end), then one more.
    assert [a.value for a in accesses] == [1, 1, 0]


@pytest.mark.parametrize(("period", "phase"), [(7, 0), (432, 432), (432, -1)])
def test_a_fetch_that_cannot_be_is_refused(period, phase):
    with pytest.raises(ValueError):
        SampleFetch(period, phase)
