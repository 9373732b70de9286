"""Scenarios: what is done to the pad, and what must come out."""

from padbench.scenarios.registry import SCENARIOS
from padbench.scenarios.script import Expected, Scenario, Script, Setting

__all__ = ["SCENARIOS", "Expected", "Scenario", "Script", "Setting"]
