"""What a capture is held to: the limits of a sheet, or those of the usual register."""

from padbench.capture.inspect import Settings
from padbench.circuit.pad_model import limits_of, pad_model
from padbench.core.limits import Limit
from padbench.core.units import to_ps
from padbench.parts import RegisterPart, register_part
from padbench.sheet import Sheet

__all__ = ["USUAL_PART", "settings_of_sheet", "usual_settings"]

USUAL_PART = "CD4021B"
"""Held to where no sheet says otherwise (common practice: the register is of the 4021 family)."""


def usual_settings(*, wanted: int = 8, passes: int = 0) -> Settings:
    """The CD4021B at 5 V by itself: what a cable adds to its answer only a sheet can say."""
    part = register_part(USUAL_PART)
    assert part.clock_to_output.max is not None
    answer = part.clock_to_output.max
    limits = limits_of(part, part.stages, (answer, answer), 0.0, 0.0)
    return Settings(limits, wanted, passes, _edge(part), None)


def settings_of_sheet(
    sheet: Sheet, port: str, *, wanted: int | None = None, passes: int = 0
) -> Settings:
    """The sheet's pad at its slow corner on one kind of port. ``KeyError`` for an unknown port."""
    limits = pad_model(sheet, port, "slow").limits
    return Settings(
        limits,
        sheet.poll.clocks if wanted is None else wanted,
        passes or sheet.poll.passes,
        _edge(sheet.part),
        limits.answer,
    )


def _edge(part: RegisterPart) -> Limit | None:
    figure = part.clock_edge_max
    return None if figure.max is None else Limit(to_ps(figure.max), (figure.cited,))
