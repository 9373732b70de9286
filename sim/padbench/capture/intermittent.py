"""Contacts that come and go: what a recording shows of each button, for whoever repairs pads.

    for button in steadiness(seen.presses, seen.end_ps):
        button.dropouts, button.ghosts, button.bounces_ps

A release of 10 ms at most is bounce, a longer one of up to 50 ms a dropout, since no thumb lets go
and presses again so soon; a press of less than 30 ms by itself is a ghost. All three are assumed,
and no finer than the polls: at 60 a second nobody sees a bounce.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from padbench.capture.expected import Held
from padbench.capture.reads import BOUNCE_PS, Press
from padbench.core.buttons import BUTTONS

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
    presses: Iterable[Press], end_ps: int, held: Sequence[Held] = (), slack: int = 0
) -> tuple[Steadiness, ...]:
    """Of each button that was pressed; ``held`` is what somebody says."""
    every = [*presses]
    own = ([press for press in every if press.button == button] for button in BUTTONS)
    return tuple(_of(some, end_ps, held, slack) for some in own if some)


def _of(presses: list[Press], end_ps: int, held: Sequence[Held], slack: int) -> Steadiness:
    bit = 128 >> BUTTONS.index(presses[0].button)
    holds: list[list[Press]] = []
    odd: list[int] = []
    dropouts = 0
    for press in presses:
        before = holds[-1][-1].up_ps if holds else None
        gap = None if before is None or press.down_ps is None else press.down_ps - before
        if gap is None or gap > _DROPOUT_PS:
            holds.append([])
        elif gap > BOUNCE_PS:
            dropouts += 1
            odd.append(press.down_ps or 0)
        holds[-1].append(press)
    ghosts = [hold[0].down_ps for hold in holds if len(hold) == 1 and _short(hold[0])]
    bounces = [*bounces_of(presses)]
    odd += [at for at in ghosts if at is not None] + [at for at, _ in bounces]
    ups = np.array([hold[-1].up_ps for hold in holds if hold[-1].up_ps is not None], np.int64)
    late = []
    for entry in held:
        after = ups[ups >= entry.start]
        if entry.buttons & bit and len(after) and after[0] > entry.end + slack:
            late.append(int(after[0]) - entry.end)
    parts = np.minimum(np.array(odd, np.int64) * _PARTS // max(end_ps, 1), _PARTS - 1)
    return Steadiness(
        presses[0].button,
        len(holds) - len(ghosts),
        dropouts,
        len(ghosts),
        tuple(length for _, length in bounces),
        tuple(late),
        tuple(np.bincount(parts, minlength=_PARTS).tolist()),
    )


def _short(press: Press) -> bool:
    down, up = press.down_ps, press.up_ps
    return down is not None and up is not None and up - down < _GHOST_PS


def bounces_of(presses: Iterable[Press]) -> Iterator[tuple[int, int]]:
    """When changes begin that come in a row, each soon after the one before, and how long it is."""
    changes = np.array(
        [at for press in presses for at in (press.down_ps, press.up_ps) if at is not None], np.int64
    )
    ends = np.flatnonzero(np.diff(changes, append=np.iinfo(np.int64).max) > BOUNCE_PS)
    begins = np.append(0, ends[:-1] + 1)[: len(ends)]
    begins, ends = begins[ends > begins], ends[ends > begins]
    yield from zip(
        changes[begins].tolist(), (changes[ends] - changes[begins]).tolist(), strict=True
    )
