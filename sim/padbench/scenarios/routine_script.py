"""Scripts whose polls a routine makes: played with the bits that the routine reads.

The first script takes for granted that the wire shows what it must. Played in the simulation it
gives the bits that the wire really had, and `Script.replay` plays the routine again with these.
Where they make no difference to the lines the two scripts are one. Where they do, the next
simulation is right at least up to the first read that was mistaken so far: what comes later cannot
change what came before. So repeating ends, and it ends with the routine and the wire at one.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import islice

from padbench.core.buttons import spelled
from padbench.core.stimulus import DrivenLines
from padbench.scenarios.polled_routine import AnsweringPad, Bit, Unsettled
from padbench.scenarios.script import Bits, Expected, Outcome, Script, Setting


@dataclass(frozen=True, slots=True)
class Call:
    """One poll of a routine, at ``start`` (picoseconds).

    A ``fetch`` (its period, and the cycle of its first request), or one that first stops ``stop``:
    (pass counted from 0, bit counted from 1). ``preset``: the routine begins anew, with this byte
    where its result stands. ``serial`` is the level of the serial input. ``expect``: the first bits
    that each pass must read, whatever the sheet says.
    """

    start: int
    stop: tuple[int, int] | None = None
    fetch: tuple[int, int] | None = None
    preset: int | None = None
    serial: int | None = 0
    expect: Bits | None = None


_Handed = list[tuple[int | None, int]]
"""Byte and moment of each call."""


def routine_script(
    setting: Setting,
    calls: Sequence[Call],
    unsettled: Sequence[Unsettled],
    base: Script,
    read: Sequence[Sequence[Bit]] = (),
) -> Script:
    """``base`` (contacts, notes, what may break) with everything that the routine does.

    ``read`` are the bits that the wire had in an earlier run, call by call. How often a pass clocks
    is the routine's own affair, so ``timing.clocks`` judges no pad here.
    """
    moves = base.stimulus.contacts
    pad = AnsweringPad(setting.pad, moves, unsettled)
    lines, expected, handed_on = _play(setting, calls, pad, read)
    wanted = handed_on
    if pad.strayed:
        ideal = AnsweringPad(setting.pad, moves, unsettled, ideal=True)
        *_, wanted = _play(setting, calls, ideal, read)
    outcomes = tuple(
        Outcome(at, got, want) for (got, at), (want, _) in zip(handed_on, wanted, strict=True)
    )
    notes = [*base.stimulus.notes, *map(_note, outcomes)]
    stimulus = replace(
        base.stimulus,
        driven=lines,
        notes=tuple(sorted(notes)),
        end=max(base.stimulus.end, notes[-1][0] + 1),
    )

    def replay(read: Sequence[Bit]) -> Script:
        bits = iter(read)
        by_call = [list(islice(bits, len(told))) for told in pad.told]
        if by_call == pad.told:
            return script
        return routine_script(setting, calls, unsettled, base, by_call)

    script = replace(
        base,
        stimulus=stimulus,
        expected=expected,
        tolerates=base.tolerates | {"timing.clocks"},
        outcomes=outcomes,
        replay=replay,
    )
    return script


def _play(
    setting: Setting, calls: Sequence[Call], pad: AnsweringPad, read: Sequence[Sequence[Bit]]
) -> tuple[DrivenLines, tuple[Expected, ...], _Handed]:
    """What the calls drive, each read as it must come out, and what is handed on."""
    routine = setting.routine
    assert routine is not None
    session = routine.begin()
    handed_on: _Handed = []
    serial: list[tuple[int, int | None]] = []
    overridden: dict[int, Bits] = {}
    for call, bits in zip(calls, read or [()] * len(calls), strict=True):
        # One that has not come back by the end of its frame puts the next one off.
        start = max(call.start, handed_on[-1][1] if handed_on else 0)
        pad.begin(call.serial, bits)
        if call.serial != (serial[-1][1] if serial else setting.pad.serial):
            serial.append((start, call.serial))
        held, before = pad.held(start), pad.passes
        fetch = call.fetch
        if call.stop is not None:
            fetch = routine.fetch_stopping(held, *call.stop)
        handed_on.append(
            session.call(start, pad, fetch=fetch, other=held ^ 0xFF, preset=call.preset)
        )
        if call.expect is not None:
            overridden |= dict.fromkeys(range(before, pad.passes), call.expect)
    expected = tuple(
        _overridden(one, overridden.get(number, ())) for number, one in enumerate(pad.expected)
    )
    return replace(session.lines, serial=tuple(serial)), expected, handed_on


def _overridden(expected: Expected, bits: Bits) -> Expected:
    if not bits:
        return expected
    count = len(expected.bits)
    return replace(expected, bits=(*bits, *[None] * count)[:count])


def _note(outcome: Outcome) -> tuple[int, str]:
    got = outcome.got
    return outcome.at, "does not come back" if got is None else f"hands on: {spelled(got)}"
