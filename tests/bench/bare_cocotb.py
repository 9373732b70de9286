"""The bare loop that `regress_speed.py` compares with: a cocotb test as anyone would write it."""

import os
import time

import cocotb
from cocotb.triggers import Timer


@cocotb.test()
async def reads(dut):
    """Latch, eight samples and clocks, for as many reads as asked; prints reads per second."""
    count, began = int(os.environ["READS"]), time.perf_counter()
    dut.clock.value, dut.serial.value = 1, 0
    for number in range(count):
        dut.inputs.value = number * 77 & 0xFF
        dut.load.value = 1
        await Timer(1, "us")
        dut.load.value = 0
        await Timer(1, "us")
        for place in range(8):
            dut.clock.value = 0
            await Timer(1, "us")
            assert int(dut.data.value) == (number * 77 & 0xFF) >> (7 - place) & 1
            dut.clock.value = 1
            await Timer(1, "us")
    print(f"RATE {count / (time.perf_counter() - began):.1f}")
