"""Remedies for what a run found wrong with the wires: findings ``timing.*``.

findings = with_remedies(sheet, findings)
"""

from collections.abc import Sequence
from dataclasses import replace

from padbench.circuit.design import design_of
from padbench.circuit.findings import needs_remedy
from padbench.circuit.remedy import NOTHING, Mender
from padbench.circuit.wires import WIRES
from padbench.core.findings import Finding, Remedy
from padbench.sheet import Sheet

__all__ = ["with_remedies"]

_EIGHT = 8.0
"""Clocks of a read (common practice)."""


def with_remedies(sheet: Sheet, findings: Sequence[Finding]) -> tuple[Finding, ...]:
    """The findings, each that fails or is thin with what would mend it on every port."""
    wanted = [found.id for found in findings if found.id in WIRES and needs_remedy(found)]
    ports = sheet.works_with.ports
    mender = None
    if wanted and not _loads_wrongly(sheet):
        designs = [design_of(sheet, sheet.part, sheet.port(name)) for name in ports]
        mender = Mender(sheet, ports, designs, wanted)
    return tuple(
        replace(found, remedy=_remedy(sheet, found, mender, len(ports)))
        if needs_remedy(found)
        else found
        for found in findings
    )


def _remedy(sheet: Sheet, found: Finding, mender: Mender | None, ports: int) -> Remedy:
    if found.id == "timing.clocks":
        key = "poll.clocks" if sheet.poll.routine is None else "poll.routine"
        says = f"{key} {'from 8 up' if key == 'poll.clocks' else 'with eight reads of the port'}"
        return Remedy(key, _EIGHT, None, "", (), (), f"{says} would do")
    if (of_the_reads := _of_the_reads(found)) is not None:
        return of_the_reads
    if _loads_wrongly(sheet):
        return _text("register.latch-inverted", f"{NOTHING}: mend wiring.load first")
    if found.id not in WIRES or mender is None:
        return _text("", NOTHING)
    rows = range(ports)
    if found.verdict == "fail" and mender.holds(found.id, rows):
        # Foretold to hold at what the sheet says, so it is not the sheet's poll that breaks it.
        return _text("", f"{NOTHING}: it is the reads of that scenario which break it")
    return mender.remedy(found.id, rows, thin=found.verdict == "pass")


def _of_the_reads(found: Finding) -> Remedy | None:
    """What is said where the reads themselves, and no value, decide."""
    if found.id == "timing.setup-parallel":
        says = "no value of the sheet bears on this: the bench itself presses so near to that edge"
        return _text("", says)
    if found.id == "timing.removal" and found.measured is not None and found.measured < 0:
        # A clock sent in the latch: no typed poll has one, and no value is worked out for it.
        says = "a routine that reads no port while its latch is high would do: store without index"
        return _text("poll.routine", says)
    return None


def _loads_wrongly(sheet: Sheet) -> bool:
    part = sheet.part
    return part.load != "transparent" or sheet.chip.latch_inverted != (part.load_level == "low")


def _text(key: str, says: str) -> Remedy:
    return Remedy(key, None, None, "", (), (), says)
