"""The delay from press to picture as a plot; needs the extra ``pictures`` (matplotlib)."""

from pathlib import Path
from typing import Any

from padbench.console.latency import Delays, LatencySetup

__all__ = ["draw_latency"]

_KINDS = (".png", ".svg", ".pdf")


def draw_latency(delays: Delays, setup: LatencySetup, path: Path) -> None:
    """Draw the share of presses that show within each delay, in milliseconds; whole or not at all.

    Raises ``ValueError`` for an ending other than .png, .svg or .pdf or without matplotlib,
    ``OSError`` if the file cannot be written.
    """
    if path.suffix.lower() not in _KINDS:
        raise ValueError(f"{path} is no kind of picture; end it in {', '.join(_KINDS)}")
    try:
        from matplotlib.figure import Figure  # noqa: PLC0415  (slow, and an extra)
    except ImportError:
        raise ValueError("matplotlib is missing; pip install 'padbench[pictures]'") from None
    timing = setup.timing
    to_ms = 1000 / float(timing.clock)
    figure = Figure(figsize=(8, 4.5), layout="constrained")
    axes: Any = figure.subplots()
    axes.plot(
        [float(at) * to_ms for at, _ in delays.corners],
        [100 * float(share) for _, share in delays.corners],
    )
    mean = float(delays.mean) * to_ms
    axes.axvline(mean, linestyle="--", linewidth=1, color="0.4")
    axes.annotate(f"mean {mean:.1f} ms", (mean, 3), xytext=(4, 0), textcoords="offset points")
    axes.set(
        xlabel="from press to picture, ms",
        ylabel="presses shown by then, %",
        ylim=(0, 101),
        title=f"{timing.name} console, polled in line {setup.plan.line}, every "
        f"{setup.plan.every} frame(s), {len(setup.latches)} pass(es)",
    )
    frame = float(timing.frame_cycles) * to_ms
    above = axes.secondary_xaxis("top", functions=(_times(1 / frame), _times(frame)))
    above.set_xlabel("frames")
    axes.grid(alpha=0.3)
    # By way of a file beside it, so that a picture is whole or not there.
    path.parent.mkdir(parents=True, exist_ok=True)
    beside = path.with_name(f".{path.name}.part")
    try:
        figure.savefig(beside, format=path.suffix[1:].lower())
        beside.replace(path)
    finally:
        beside.unlink(missing_ok=True)


def _times(factor: float) -> Any:
    """A function that multiplies arrays."""
    return lambda values: values * factor
