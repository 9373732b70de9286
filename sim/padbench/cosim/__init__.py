"""HDL on the bench: what plays the console and the pad in an HDL simulation, and what runs it.

For a cocotb test of your own: `ConsoleDriver`, `PadResponder` and `WireMonitor`, in the modules
``console``, ``responder`` and ``monitor``; handles are passed in, nothing is looked up by name.
They need cocotb and run inside a simulator.

For everything at once: `padbench.cosim.regress`, which runs outside.
"""
