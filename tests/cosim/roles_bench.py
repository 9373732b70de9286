"""Cocotb tests of the roles, for a design that has a pad and a reader in it: see test_roles.py."""

import logging

import cocotb
import pytest
from cocotb.clock import Clock
from cocotb.triggers import Timer

from padbench.core.buttons import spelled
from padbench.core.decode import Names, decode
from padbench.cosim import ConsoleDriver, PadResponder, WireMonitor


async def started(dut):
    Clock(dut.clk, 80, "ns").start()
    dut.reset.value, dut.serial.value, dut.start.value = 1, 0, 0
    dut.buttons.value = 0xFF
    said = []
    handler = logging.Handler()
    handler.emit = lambda record: said.append(record.getMessage())
    logging.getLogger("cocotb.padbench").addHandler(handler)
    logging.getLogger("cocotb.padbench").setLevel(logging.INFO)
    return said


@cocotb.test()
async def the_console(dut):
    said = await started(dut)
    timing = {"latch_width": (4, "us"), "clock_high": (3.5, "us")}
    console = ConsoleDriver(dut.latch, dut.clock, dut.data, timing=timing)
    await Timer(1, "us")
    dut.reset.value = 0
    monitor = WireMonitor({"latch": dut.latch, "clock": dut.clock, "data": dut.data})
    held = WireMonitor({"buttons": dut.buttons})
    await Timer(1, "us")
    dut.buttons.value = 0b0111_1110
    # Two that overlap, and a third beside them: each has the wires for itself.
    first, second = console.queue(), console.queue(stopped_bit=8, extra_clocks=1)
    third = await console.read({"latch_width": (5, "us")})
    assert first.done()
    assert second.done()
    await console.wait()
    assert [first.result().byte, second.result().byte, third.byte] == [0x81, 0x81, 0x81]
    assert first.result() == [True, *[False] * 6, True]
    reads = decode(monitor.timeline(), Names("latch", "clock", "data", sample=None))
    widths = [read.latch_end_ps - read.start_ps for read in reads]
    assert widths == [4_000_000, 4_000_000, 5_000_000]
    assert [len(read.clock_rises) for read in reads] == [8, 9, 8]
    assert said == ["read: A+Right"] * 3
    assert held.timeline().words["buttons"].values[-1] == 0b0111_1110
    dut.buttons.value = 0xFF
    assert (await console.read()).byte == 0


@cocotb.test()
async def the_pad(dut):
    said = await started(dut)
    pad = PadResponder(dut.r_latch, dut.r_clock, dut.r_data, answer=(320, "ns"))
    await Timer(1, "us")
    dut.reset.value = 0
    both = [cocotb.start_soon(pad.press(held, bounce=(5, "us"))) for held in (0x80, 0x2A)]
    await both[1]
    assert both[0].done()  # one press after the other
    dut.start.value = 1
    assert await pad.wait() == 0x2A
    await dut.valid.rising_edge
    await Timer(1, "ns")
    assert int(dut.held.value) == 0x2A
    pad.queue(0x01, 0xF0)
    assert await pad.wait() == 0xF0
    await dut.valid.rising_edge
    await Timer(1, "ns")
    assert int(dut.held.value) == 0xF0
    assert said == [f"read {n}: {spelled(held)}" for n, held in enumerate((0x2A, 0x01, 0xF0), 1)]


@cocotb.test()
async def handles_that_do_not_fit(dut):
    await started(dut)
    with pytest.raises(ValueError, match=r"latch has 8 bits; pass the handle of a signal of one"):
        ConsoleDriver(dut.buttons, dut.clock, dut.data)
    with pytest.raises(ValueError, match="data is None; pass the handle"):
        PadResponder(dut.r_latch, dut.r_clock, None)
    with pytest.raises(ValueError, match="x is 5; pass the handle of a signal"):
        WireMonitor({"x": 5})
    with pytest.raises(ValueError, match="unit"):
        PadResponder(dut.r_latch, dut.r_clock, dut.r_data, answer=(5, "furlong"))


@cocotb.test()
async def values_that_cannot_be(dut):
    await started(dut)
    port, wires = (dut.r_latch, dut.r_clock, dut.r_data), (dut.latch, dut.clock, dut.data)
    for timing, says in (
        ({"clocks": (8, "us")}, r"clocks is \(8, 'us'\); give a whole number at least 1"),
        ({"latch_width": 0}, "latch_width is 0; give a time of at least 1 ps"),
        ({"latch_width": (-4, "us")}, r"latch_width is \(-4, 'us'\); give a time"),
        ({"latch_width": "x"}, "latch_width is 'x'; give picoseconds or"),
        ({"latch_width": ("6", "us")}, r"latch_width is \('6', 'us'\); give picoseconds or"),
        ({"latch_width": (6, "weeks")}, r"latch_width is \(6, 'weeks'\); give picoseconds or"),
        ({"latch_width": (6, "us", 1)}, r"latch_width is \(6, 'us', 1\); give picoseconds or"),
        ({"latch": 5}, "timing has no 'latch'; it knows latch_width, latch_to_clock,"),
    ):
        with pytest.raises(ValueError, match=says):
            ConsoleDriver(*wires, timing=timing)
    console = ConsoleDriver(*wires)
    with pytest.raises(ValueError, match="extra_clocks is -1; give a whole number at least 0"):
        console.queue(extra_clocks=-1)
    with pytest.raises(ValueError, match="stopped_bit is 9; give a whole number from 0 to 8"):
        await console.read(stopped_bit=9, extra_clocks=1)
    for faulty, says in (
        ({"answer": -5}, "answer is -5; give a time"),
        ({"serial": 2}, "serial is 2; give a whole number from 0 to 1"),
        ({"stuck": 256}, "stuck is 256; give a whole number from 0 to 255"),
    ):
        with pytest.raises(ValueError, match=says):
            PadResponder(*port, **faulty)
    pad = PadResponder(*port)
    with pytest.raises(ValueError, match="held is 'A'; give a whole number from 0 to 255"):
        pad.hold("A")
    with pytest.raises(ValueError, match="held is -1"):
        pad.queue(0, -1)
    for lost, says in (
        ([(8, 1), (9, 1)], "read 2: bit is 9; give a whole number from 1 to 8"),
        ([(0, 1)], "read 1: bit is 0; give a whole number from 1 to 8"),
        ([(3, -1)], "read 1: bits lost is -1; give a whole number from 0 to 8"),
        ([8], r"read 1: 8 is no pair; give such as \(8, 1\)"),
    ):
        with pytest.raises(ValueError, match=says):
            pad.lose(lost)
