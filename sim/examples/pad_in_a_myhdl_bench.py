"""The register as a block in a MyHDL bench of one's own: load a state, clock it out.

python sim/examples/pad_in_a_myhdl_bench.py
"""

from typing import Any

from myhdl import Signal, block, delay, instance, intbv

import padbench as pb

HELD = 0b0000_1000
"""Bit 0 is stage 1; low is pressed, so this holds all but the button on stage 4."""


@block
def bench(bits: list[bool]) -> Any:
    """A console that latches once and samples eight times."""
    load, clock, serial, data = (Signal(bool(0)) for _ in range(4))
    inputs = Signal(intbv(HELD)[8:])
    pad = pb.model.shift_register(load, clock, serial, inputs, data)

    @instance
    def console() -> Any:
        load.next = True
        yield delay(12)
        load.next = False
        for _ in range(8):
            yield delay(6)
            bits.append(bool(data))
            clock.next = True
            yield delay(6)
            clock.next = False

    return pad, console


def main() -> None:
    """Print the bits in the order of the wire: stage 8 first."""
    bits: list[bool] = []
    simulation = bench(bits)
    simulation.run_sim(quiet=1)
    simulation.quit_sim()
    print("".join("1" if bit else "0" for bit in bits))


if __name__ == "__main__":
    main()
