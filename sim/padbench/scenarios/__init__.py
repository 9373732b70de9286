"""Scenarios: what is done to the pad, and what must come out.

    script = SCENARIOS["each-button"].build(setting)
    script.stimulus, script.expected       # what to do; every read as it must come out

To add one: write a function in `presses` or `odd_reads`, under `@scenario(NAME)`.
"""

from padbench.scenarios import odd_reads, presses
from padbench.scenarios.script import Expected, Scenario, Script, Setting

__all__ = ["ROUTINE_SCENARIOS", "SCENARIOS", "Expected", "Scenario", "Script", "Setting"]

ROUTINE_SCENARIOS: dict[str, Scenario] = {odd_reads.fetch_cases.name: odd_reads.fetch_cases}
"""Those that need a read routine as the poll; they run after the others."""

SCENARIOS: dict[str, Scenario] = {
    one.name: one
    for module in (presses, odd_reads)
    for one in vars(module).values()
    if isinstance(one, Scenario) and one.name not in ROUTINE_SCENARIOS
}
"""By name, in the order in which they run, which is that of the modules."""
