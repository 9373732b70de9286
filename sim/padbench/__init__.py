"""padbench: simulation and test bench for the shift-register game pad.

    import padbench as pb

    sheet = pb.load_sheet("my-pad.toml")
    result = pb.verify(sheet)
    result.verdict, [f.id for f in result.findings if f.verdict == "fail"]
    pb.play(sheet, "stopped-last-bit").runs[0].reads
    pb.inspect("scope.csv", sheet=sheet).findings

Each function that judges gives one `Result`, which shows itself in a notebook. Numbers are in SI
units, times of a timeline are whole picoseconds. Names that are not in ``__all__``, here or in
`padbench.parts`, `padbench.model` and `padbench.cosim`, are not public and may change. Nothing is
imported before it is used.
"""

TYPE_CHECKING = False  # importing typing would double what this import takes
if TYPE_CHECKING:
    from padbench import cosim, model, parts
    from padbench.core.decode import Read, decode
    from padbench.core.findings import Finding
    from padbench.core.timeline import Timeline, Wire
    from padbench.jobs.diagnose import diagnose
    from padbench.jobs.inspect import inspect
    from padbench.jobs.latency import latency
    from padbench.jobs.loading import Refusal, load_sheet
    from padbench.jobs.regress import regress
    from padbench.jobs.routine import routine
    from padbench.jobs.schemas import json_schema
    from padbench.jobs.sweep import sweep
    from padbench.jobs.verify import play, verify
    from padbench.jobs.wiring import plan_wiring
    from padbench.results.result import Result
    from padbench.scenarios import Scenario
    from padbench.sheet import Sheet, SheetError
    from padbench.waveio import read_wave, write_wave

__version__ = "0.1.0"

__all__ = [
    "Finding",
    "Read",
    "Refusal",
    "Result",
    "Scenario",
    "Sheet",
    "SheetError",
    "Timeline",
    "Wire",
    "cosim",
    "decode",
    "diagnose",
    "inspect",
    "json_schema",
    "latency",
    "load_sheet",
    "model",
    "parts",
    "plan_wiring",
    "play",
    "read_wave",
    "regress",
    "routine",
    "sweep",
    "verify",
    "write_wave",
]

_HOMES = {
    "Finding": "core.findings",
    "Read": "core.decode",
    "Refusal": "jobs.loading",
    "Result": "results.result",
    "Scenario": "scenarios",
    "Sheet": "sheet",
    "SheetError": "sheet",
    "Timeline": "core.timeline",
    "Wire": "core.timeline",
    "decode": "core.decode",
    "diagnose": "jobs.diagnose",
    "inspect": "jobs.inspect",
    "json_schema": "jobs.schemas",
    "latency": "jobs.latency",
    "load_sheet": "jobs.loading",
    "plan_wiring": "jobs.wiring",
    "play": "jobs.verify",
    "read_wave": "waveio",
    "regress": "jobs.regress",
    "routine": "jobs.routine",
    "sweep": "jobs.sweep",
    "verify": "jobs.verify",
    "write_wave": "waveio",
}
"""Where each public name lives; `cosim`, `model` and `parts` are packages of their own."""


def __getattr__(name: str) -> object:
    """Import a public name when it is first used."""
    if name not in __all__:
        raise AttributeError(f"module 'padbench' has no attribute {name!r}")
    from importlib import import_module  # noqa: PLC0415

    if name not in _HOMES:
        return import_module(f"padbench.{name}")
    value = getattr(import_module(f"padbench.{_HOMES[name]}"), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    """The public names."""
    return [*__all__, "__version__"]
