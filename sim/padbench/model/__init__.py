"""The behavioural model in MyHDL: register, contacts, port, poller, and the bench of them.

    pad = padbench.model.shift_register(load, clock, serial, inputs, last)    # for a bench of yours
    timeline = padbench.model.simulate(pad_model, stimulus)                   # all of it, recorded

`padbench.play` is the easy way to a timeline: it makes both from a sheet and a scenario.
"""

TYPE_CHECKING = False
if TYPE_CHECKING:
    from padbench.model.register import shift_register, stage
    from padbench.model.simulation import simulate

__all__ = ["shift_register", "simulate", "stage"]


def __getattr__(name: str) -> object:
    """Import on first use: who needs edges only, in a simulator, needs no MyHDL."""
    if name not in __all__:
        raise AttributeError(f"module 'padbench.model' has no attribute {name!r}")
    from importlib import import_module  # noqa: PLC0415

    home = "simulation" if name == "simulate" else "register"
    return getattr(import_module(f"padbench.model.{home}"), name)
