"""When each button went down and up, as far as reads can tell."""

from collections.abc import Iterable
from dataclasses import dataclass

from padbench.buttons import BUTTONS, OPPOSITES, byte_of
from padbench.inspection.reads import SeenRead

__all__ = ["BOUNCE_PS", "Press", "bounces", "opposites", "presses"]

BOUNCE_PS = 10 * 10**9
"""Contacts bounce for 1 to 5 ms, sometimes 10 (from memory)."""

_OPPOSITE = [byte_of(pair) for pair in OPPOSITES]


@dataclass(frozen=True, slots=True)
class Press:
    """A button down. ``down_ps`` is the start of the first read that saw it, ``up_ps`` that of the
    first that did not any more; None at the ends of the capture, where nobody saw it happen.
    """

    button: str
    down_ps: int | None
    up_ps: int | None


def presses(reads: Iterable[SeenRead]) -> tuple[Press, ...]:
    """In order of going down. Reads that are not sure say nothing, and ``held`` is what counts:
    a bit that the console lost was no press and no release.
    """
    since: dict[str, int | None] = {}
    found: list[Press] = []
    first = True
    for read in reads:
        if not read.sure:
            continue
        for place, button in enumerate(BUTTONS):
            down = bool(read.held & 128 >> place)
            if down and button not in since:
                since[button] = None if first else read.start_ps
            elif not down and button in since:
                found.append(Press(button, since.pop(button), read.start_ps))
        first = False
    found += [Press(button, down, None) for button, down in since.items()]
    return tuple(sorted(found, key=lambda press: press.down_ps or 0))


def bounces(found: Iterable[Press]) -> tuple[Press, ...]:
    """Presses that follow a release of the same button too soon for a thumb, or end too soon."""
    released: dict[str, int] = {}
    bounced = []
    for press in found:
        down, up = press.down_ps, press.up_ps
        before = released.get(press.button)
        short = down is not None and up is not None and up - down < BOUNCE_PS
        soon = down is not None and before is not None and down - before < BOUNCE_PS
        if short or soon:
            bounced.append(press)
        if up is not None:
            released[press.button] = up
    return tuple(bounced)


def opposites(byte: int) -> bool:
    """Whether a byte has two opposite directions in it."""
    return any(byte & pair == pair for pair in _OPPOSITE)
