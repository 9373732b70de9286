"""A cocotb test of your own, with the three roles that padbench has for one.

Name it in cocotb's runner, with this folder on PYTHONPATH:
get_runner("icarus").test(hdl_toplevel="fpga_pad", test_module="cocotb_test",
testcase="a_console_reads_the_pad"). The second test is for hdl/verilog/port_reader.v.
"""

import cocotb
from cocotb.clock import Clock
from cocotb.triggers import Timer

from padbench.core.decode import Names, decode
from padbench.cosim import ConsoleDriver, PadResponder, WireMonitor


@cocotb.test()
async def a_console_reads_the_pad(dut):
    """ConsoleDriver plays the console, WireMonitor watches, the decoder reads the same."""
    Clock(dut.clk, 80, "ns").start()
    dut.reset.value = 1
    dut.serial.value = 0
    dut.buttons.value = 0b0111_1110  # low is pressed: A and Right
    console = ConsoleDriver(dut.latch, dut.clock, dut.data)
    await Timer(1, "us")
    dut.reset.value = 0
    monitor = WireMonitor({"latch": dut.latch, "clock": dut.clock, "data": dut.data})
    await Timer(1, "us")
    bits = await console.read()
    assert bits == [True, False, False, False, False, False, False, True]
    # Stopped in the read of the last bit: Right is lost, the serial input's level takes its place.
    dut.buttons.value = 0xFF
    assert await console.read(stopped_bit=8, extra_clocks=1) == [False] * 7 + [True]
    reads = decode(monitor.timeline(), Names("latch", "clock", "data", sample=None))
    assert reads[0].byte == 0b1000_0001


@cocotb.test()
async def a_pad_answers_the_reader(dut):
    """PadResponder plays the pad, with its answer time, for a design that plays the console."""
    Clock(dut.clk, 80, "ns").start()
    dut.start.value = 0
    dut.reset.value = 1
    pad = PadResponder(dut.latch, dut.clock, dut.data, answer=320_000)
    await Timer(1, "us")
    dut.reset.value = 0
    for held in (0x80, 0x2A, 0x00):
        await pad.press(held, bounce=5_000_000)
        dut.start.value = 1
        await Timer(200, "ns")
        dut.start.value = 0
        await dut.valid.rising_edge
        await Timer(1, "ns")
        assert int(dut.held.value) == held
    assert pad.reads == 3
