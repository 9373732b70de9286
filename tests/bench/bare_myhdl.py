"""The yardstick: a register and a poller as anyone writes them in MyHDL, with no recording."""

from myhdl import Signal, Simulation, always, always_comb, block, concat, delay, instance, intbv


@block
def bare_bench(held_states, timing, period, seen):
    latch, clock, data = Signal(bool(0)), Signal(bool(1)), Signal(bool(1))
    inputs, stages = Signal(intbv(255)[8:]), Signal(intbv(255)[8:])

    @always(clock.posedge, latch.posedge)
    def register():
        stages.next = inputs if latch else concat(stages[7:], False)

    @always_comb
    def output():
        data.next = stages[7]

    @instance
    def poller():
        for held in held_states:
            inputs.next = held ^ 255
            yield delay(period - timing.length)
            latch.next = 1
            yield delay(timing.latch_width)
            latch.next = 0
            yield delay(timing.latch_to_clock)
            byte = 0
            for _ in range(8):
                clock.next = 0
                yield delay(timing.clock_low)
                byte = byte << 1 | (not data)
                clock.next = 1
                yield delay(timing.clock_high)
            seen.append(byte)

    return register, output, poller


def run_bare(held_states, timing, period):
    """The bytes read; raises if they are not what was held."""
    seen: list[int] = []
    simulation = Simulation(bare_bench(held_states, timing, period, seen))
    try:
        simulation.run(quiet=1)
    finally:
        simulation.quit()
    assert seen == list(held_states)
    return seen
