"""Scenarios: what is done to the pad, and what must come out."""

from padbench.scenarios.registry import ROUTINE_SCENARIOS, SCENARIOS
from padbench.scenarios.script import Expected, Scenario, Script, Setting

__all__ = ["ROUTINE_SCENARIOS", "SCENARIOS", "Expected", "Scenario", "Script", "Setting"]
