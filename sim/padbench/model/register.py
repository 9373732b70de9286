"""The shift register as hardware: converts to Verilog, stage by stage as the data sheet draws it.

Each stage is a flip-flop whose set and reset the load gates: while the load is high a stage
follows its parallel input at once and without the clock; while it is low, each rising clock edge
moves every stage on by one (CD4021B data sheet, SCHS024, truth table).

    top = shift_register(load, clock, serial, inputs, outputs)
    top.convert(hdl="Verilog")

This block has no delays. `padbench.model.part` is the same register with a data sheet's times; a
test holds the two together.
"""

from typing import Any

from myhdl import Signal, always, always_comb, block


@block
def stage(load: Any, clock: Any, parallel: Any, before: Any, output: Any) -> Any:
    """One stage. All ports are bool signals; ``before`` is the stage that this one shifts from."""
    forced_high = Signal(bool(0))
    forced_low = Signal(bool(0))

    @always_comb
    def gates() -> None:
        forced_high.next = load and parallel
        forced_low.next = load and not parallel

    @always(clock.posedge, forced_high.posedge, forced_low.posedge)
    def flip_flop() -> None:
        if forced_high:
            output.next = True
        elif forced_low:
            output.next = False
        else:
            output.next = before

    return gates, flip_flop


@block
def shift_register(load: Any, clock: Any, serial: Any, inputs: Any, last: Any) -> Any:
    """A chain of stages, one for each bit of ``inputs``.

    ``load``, ``clock``, ``serial`` and ``last`` are bool signals, ``inputs`` an intbv signal whose
    bit 0 is stage 1. ``serial`` enters stage 1; ``last`` is the output of the last stage.
    """
    count = len(inputs)
    outputs = [Signal(bool(0)) for _ in range(count)]
    chain = [serial, *outputs]
    stages = [
        stage(load, clock, inputs(number), chain[number], outputs[number])
        for number in range(count)
    ]

    final = outputs[count - 1]

    @always_comb
    def output() -> None:
        last.next = final

    return stages, output
