"""Contacts that come and go: what a recording shows of each button, for whoever repairs pads.

    for button in steadiness(seen.press_times, seen.end_ps):
        button.dropouts, button.ghosts, button.bounces_ps

A release of 10 ms at most is bounce, a longer one of up to 50 ms a dropout, since no thumb lets go
and presses again so soon; a press of less than 30 ms by itself is a ghost. All three are assumed,
and no finer than the polls: at 60 a second nobody sees a bounce.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from padbench.capture.expected import Held
from padbench.capture.reads import BOUNCE_PS, UNSEEN
from padbench.core.buttons import BUTTONS
from padbench.core.timeline import Times

_DROPOUT_PS = 50 * 10**9
_GHOST_PS = 30 * 10**9
_PARTS = 10
"""Parts of the recording in which a trend is told."""


@dataclass(frozen=True, slots=True)
class Steadiness:
    """Of one button, times in picoseconds.

    ``presses`` are holds, with what dropped out of them; ``bounces_ps`` how long each change that
    came more than once took; ``late_ps`` how long after its time a release came, where somebody
    says when it was; ``trend`` how many odd changes (dropouts, ghosts, bounces) each tenth of the
    recording has.
    """

    button: str
    presses: int
    dropouts: int
    ghosts: int
    bounces_ps: tuple[int, ...]
    late_ps: tuple[int, ...]
    trend: tuple[int, ...]


def steadiness(
    times: Mapping[str, tuple[Times, Times]], end_ps: int, held: Sequence[Held] = (), slack: int = 0
) -> tuple[Steadiness, ...]:
    """Of each button by `padbench.capture.reads.press_times`; ``held`` is what somebody says."""
    return tuple(_of(button, *some, end_ps, held, slack) for button, some in times.items())


def _of(
    button: str, down: Times, up: Times, end_ps: int, held: Sequence[Held], slack: int
) -> Steadiness:
    bit = 128 >> BUTTONS.index(button)
    gap = down[1:] - up[:-1]
    unseen = (down == UNSEEN) | (up == UNSEEN)
    apart = (down[1:] == UNSEEN) | (up[:-1] == UNSEEN) | (gap > _DROPOUT_PS)
    dropouts = down[1:][~apart & (gap > BOUNCE_PS)]
    first = np.flatnonzero(np.append(True, apart))
    last = np.append(first[1:], len(down)) - 1
    alone = first[first == last]
    ghosts = down[alone[(~unseen & (up - down < _GHOST_PS))[alone]]]
    began, took = bounces_of(down, up)
    ups = up[last][up[last] != UNSEEN]
    late = []
    for entry in held:
        after = ups[ups >= entry.start]
        if entry.buttons & bit and len(after) and after[0] > entry.end + slack:
            late.append(int(after[0]) - entry.end)
    odd = np.concatenate([dropouts, ghosts, began])
    parts = np.minimum(odd * _PARTS // max(end_ps, 1), _PARTS - 1)
    return Steadiness(
        button,
        len(first) - len(ghosts),
        len(dropouts),
        len(ghosts),
        tuple(took.tolist()),
        tuple(late),
        tuple(np.bincount(parts, minlength=_PARTS).tolist()),
    )


def bounces_of(down: Times, up: Times) -> tuple[Times, Times]:
    """When changes begin that come in a row, each soon after the one before, and how long it is."""
    changes = np.stack([down, up], axis=1).ravel()
    changes = changes[changes != UNSEEN]
    ends = np.flatnonzero(np.diff(changes, append=np.iinfo(np.int64).max) > BOUNCE_PS)
    begins = np.append(0, ends[:-1] + 1)[: len(ends)]
    begins, ends = begins[ends > begins], ends[ends > begins]
    return changes[begins], changes[ends] - changes[begins]
