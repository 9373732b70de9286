"""The grid of times that the bench drives in an HDL simulation."""

__all__ = ["GRID", "on_grid"]

GRID = 1_000
"""Picoseconds: a simulator with a precision of 1 ns or finer plays such times exactly."""


def on_grid(ps: int) -> int:
    """The nearest time on the grid, but never 0 for what was not."""
    return max(round(ps / GRID), 1 if ps else 0) * GRID
