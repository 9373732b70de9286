"""HDL on the bench: what plays the console and the pad in an HDL simulation, and what runs it.

For a cocotb test of your own; handles are passed in, nothing is looked up by name:

    from padbench.cosim import ConsoleDriver, PadResponder, WireMonitor

    console = ConsoleDriver(dut.latch, dut.clock, dut.data)     # for a design that is a pad
    assert await console.read() == [True] + [False] * 7         # A is held
    pad = PadResponder(dut.latch, dut.clock, dut.data)          # for one that is a console's port
    pad.hold(0x80)                                              # A is down
    monitor = WireMonitor({"cable.data": dut.data})             # for either
    monitor.timeline().wires["cable.data"]

They need cocotb and run inside a simulator. For everything at once: `padbench.cosim.regress`, which
runs outside.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from padbench.cosim.console_driver import ConsoleDriver
    from padbench.cosim.monitor import WireMonitor
    from padbench.cosim.responder import PadResponder

__all__ = ["ConsoleDriver", "PadResponder", "WireMonitor"]

_ROLES = {"ConsoleDriver": "console_driver", "PadResponder": "responder", "WireMonitor": "monitor"}


def __getattr__(name: str) -> Any:
    """The roles, imported when they are asked for: what runs outside need not have cocotb."""
    if name not in _ROLES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_ROLES[name]}"), name)
