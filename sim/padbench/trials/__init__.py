"""The main job: run scenarios on a design, judge the waves, say what holds."""

from padbench.trials.result import Problem, ReadResult, ScenarioResult, VerifyResult
from padbench.trials.run import (
    judge,
    run_scenario,
    scenarios_of,
    setting_of,
    standing_for_all,
    verify,
)

__all__ = [
    "Problem",
    "ReadResult",
    "ScenarioResult",
    "VerifyResult",
    "judge",
    "run_scenario",
    "scenarios_of",
    "setting_of",
    "standing_for_all",
    "verify",
]
