"""Scenarios run on a design and judged: the model's wires, at every corner, on every port."""

from padbench.trials.result import Played, Problem, ReadResult, ScenarioRun
from padbench.trials.run import (
    Trial,
    judge,
    met_in,
    read_back,
    run_scenario,
    scenarios_of,
    setting_of,
    standing_for_all,
    try_sheet,
)

__all__ = [
    "Played",
    "Problem",
    "ReadResult",
    "ScenarioRun",
    "Trial",
    "judge",
    "met_in",
    "read_back",
    "run_scenario",
    "scenarios_of",
    "setting_of",
    "standing_for_all",
    "try_sheet",
]
