"""The delay from press to picture as a figure."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

from padbench.results.pictures import new_figure
from padbench.routines.latency import Delays, LatencySetup

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = ["latency_figure"]


def latency_figure(delays: Delays, setup: LatencySetup, path: Path, *, name: str) -> "Figure":
    """The share of presses that show within each delay, in milliseconds; ``name`` is the routine's.

    ``gid`` of the line is "share", of its mean "mean". Raises ``ValueError`` as `new_figure` does.
    """
    timing = setup.timing
    to_ms = 1000 / float(timing.clock)
    figure = new_figure(path, 8, 4.5, layout="constrained")
    axes: Any = figure.subplots()
    axes.plot(
        [float(at) * to_ms for at, _ in delays.corners],
        [100 * float(share) for _, share in delays.corners],
        color="black",
        gid="share",
    )
    mean = float(delays.mean) * to_ms
    axes.axvline(mean, linestyle="--", linewidth=1, color="0.4", gid="mean")
    axes.annotate(f"mean {mean:.1f} ms", (mean, 3), xytext=(4, 0), textcoords="offset points")
    axes.set(
        xlabel="from press to picture, ms",
        ylabel="presses shown by then, %",
        ylim=(0, 101),
        title=f"{name}: {timing.name} console, polled in line {setup.plan.line} of every "
        f"{'frame' if setup.plan.every == 1 else f'{setup.plan.every} frames'}, "
        f"{len(setup.latches)} {'pass' if len(setup.latches) == 1 else 'passes'}",
    )
    frame = float(timing.frame_cycles) * to_ms
    above = axes.secondary_xaxis("top", functions=(_times(1 / frame), _times(frame)))
    above.set_xlabel("frames")
    axes.grid(alpha=0.3)
    return figure


def _times(factor: float) -> Any:
    """A function that multiplies arrays."""
    return lambda values: values * factor
