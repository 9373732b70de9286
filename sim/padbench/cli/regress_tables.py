"""What a regression says beyond the tables: first wrong reads, causes, coverage."""

from collections.abc import Iterator

from padbench.core.buttons import spelled
from padbench.cosim.result import RegressResult

__all__ = ["coverage_lines", "failure_lines"]

_MOST = 5


def failure_lines(result: RegressResult) -> Iterator[str]:
    """The first wrong reads, and what may be behind all of them."""
    for failure in result.failures[:_MOST]:
        yield (
            f"First wrong read of {failure.scenario}: read {failure.read} at "
            f"{failure.at_ps / 1e6:.3f} µs in the wave, expected {_byte(failure.expected)}, "
            f"got {_byte(failure.got)}"
        )
    more = len(result.failures) - _MOST
    if more > 0:
        yield f"... and {more} more scenarios with wrong reads"
    for cause in result.causes:
        sure = "" if cause.explains == 1 else f" (explains {cause.explains:.0%} of the reads)"
        yield f"Likely cause: {cause.says}{sure}"


def _byte(byte: int | None) -> str:
    return "no byte" if byte is None else spelled(byte)


def coverage_lines(result: RegressResult) -> Iterator[str]:
    """What the wires were seen to do, and what not."""
    coverage = result.coverage
    yield (
        f"Seen on the wires: {len(coverage.states)} of 256 held states, "
        f"{len(coverage.transitions)} of 65536 transitions, "
        f"{24 - len(coverage.missing_positions)} of 24 stopped positions"
    )
    if coverage.missing_states:
        few = ", ".join(map(spelled, coverage.missing_states[:_MOST]))
        yield f"Held states not seen: {len(coverage.missing_states)}, among them {few}"
    if coverage.missing_positions:
        few = ", ".join(
            f"bit {bit} by {extra}" for bit, extra in coverage.missing_positions[:_MOST]
        )
        yield f"Stopped positions not seen: {len(coverage.missing_positions)}, among them {few}"
    missing = coverage.missing_transitions
    if missing:
        few = ", ".join(f"{spelled(a)} to {spelled(b)}" for a, b in missing[:_MOST])
        yield f"Transitions not seen: {len(missing)}, among them {few}"
