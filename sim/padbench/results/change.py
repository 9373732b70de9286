"""What must change: one plan for all findings that fail, judged and played again.

plan = plan_of(sheet, try_sheet(sheet))
[(change.key, change.spare) for change in plan.changes]    # [("pull-up.value", "39 kΩ"), …]
plan.holds, plan.says                                      # True, "with these changes …"
"""

import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from padbench.circuit.electric import judge_electric
from padbench.circuit.mending import Found, Setting, fewest_settings, with_settings
from padbench.circuit.quantities import (
    QUANTITIES,
    followed_by_a_program,
    growing_with_cable,
)
from padbench.core.findings import Finding
from padbench.core.remedies import joined, spelled_range
from padbench.core.sentences import capital
from padbench.core.units import Value, show
from padbench.routines.poll import with_timings
from padbench.sheet import Sheet
from padbench.trials.trial import Trial, try_sheet
from padbench.wiring.mistakes import judge_wiring

TITLES: Mapping[str, str] = tomllib.loads(
    Path(__file__).with_name("titles.toml").read_text(encoding="utf-8")
)
"""What a value of the sheet is called; any other has its key or its finding's id, as words."""

_MOST_OTHERS = 6
_ROOM = 1.25
"""Of a wait for a bounce: a quarter more than the longest."""

_DEBOUNCE = "policy.debounce"
_WIRES = {
    "register.serial-input": ("chip", "serial_input", "ground"),
    "contacts.stuck": ("contacts", "stuck", ()),
}
"""What is connected or mended, the place on the sheet, and what stands there then."""
_SISTER = "4014"
_OF_PULL_UP = frozenset(("levels.released", "power.pull-up", "supply.all-held"))
"""What fails where a pull-up is missing or next to a wire."""


@dataclass(frozen=True, slots=True)
class Change:
    """One thing to change.

    ``key`` is the sheet's, empty where no value of the sheet is at fault. ``says`` is the range in
    which everything holds with the rest of the plan, or what to do. ``spare`` is the value to take,
    well within that range where it leaves room; ``written`` is the same with its tolerance.
    ``values`` are all preferred ones (IEC 60063) that would do, from E12, or from E24 where that is
    not in E12. ``mends`` are the ids of the findings that fail without it, ``buttons`` those that
    it is about, where it is about some. One that is not ``mending`` says what fails for all that.
    """

    key: str
    says: str
    spare: str
    values: tuple[str, ...]
    series: str
    mends: tuple[str, ...]
    ohms: float | None = None
    buttons: tuple[str, ...] = ()
    written: str = ""
    mending: bool = True

    @property
    def title(self) -> str:
        """What it is about, in words."""
        if not self.key:
            return TITLES.get(self.mends[0], self.mends[0])  # a finding goes by its id
        words = self.key.replace(".", ": ", 1).replace(".", ", ").replace("-", " ")
        return TITLES.get(self.key, capital(words))

    @property
    def whole(self) -> str:
        """The value to take, if there is one, and what would do."""
        return f"{self.written or self.spare}; {self.says}" if self.spare else self.says

    @property
    def others(self) -> tuple[str, ...]:
        """The values nearest to ``spare`` that would do too, six at most."""
        if self.spare not in self.values:
            return self.values[:_MOST_OTHERS]
        place = self.values.index(self.spare)
        first = max(0, min(place - _MOST_OTHERS // 2, len(self.values) - _MOST_OTHERS - 1))
        near = self.values[first : first + _MOST_OTHERS + 1]
        return tuple(value for value in near if value != self.spare)


@dataclass(frozen=True, slots=True)
class Plan:
    """The fewest changes that together mend what fails, as far as anything does.

    ``changes`` come with the sheet's edits first, then what is said of each finding that no edit
    mends. ``alternatives`` are other keys, each of which would do in the place of the changes with
    the same ``mends``. ``left`` are the findings that still fail with all edits made, judged again;
    ``replayed`` names the scenarios that went wrong and now read as they should, ``wrong`` those
    that still go wrong. ``sheet`` has the edits.
    """

    changes: tuple[Change, ...] = ()
    alternatives: tuple[Change, ...] = ()
    left: tuple[Finding, ...] = ()
    replayed: tuple[str, ...] = ()
    wrong: tuple[str, ...] = ()
    sheet: Sheet | None = None

    @property
    def holds(self) -> bool:
        """Whether everything holds with the changes made."""
        return not self.left and not self.wrong

    @property
    def says(self) -> str:
        """What judging and playing again came to, in one sentence; empty for a plan of nothing."""
        if self.sheet is None:
            return ""
        again = "calculated and played again" if self.replayed or self.wrong else "calculated"
        if self.holds:
            return f"with these changes everything holds: {again}"
        ids = list(dict.fromkeys(found.id for found in self.left))
        still = [f"{joined(ids)} still fail{'s' if len(ids) == 1 else ''}"] if ids else []
        still += [f"{joined(list(self.wrong))} still read wrong"] if self.wrong else []
        return f"with all that the sheet can change, {', and '.join(still)}: {again}"


def plan_of(sheet: Sheet, trial: Trial, usual: Value | None = None) -> Plan:
    """The fewest edits of a sheet that mend what failed in its trial, judged again.

        trial = try_sheet(sheet)
        plan = plan_of(sheet, trial)

    Wires first, as the findings say; then as few values as do together, each preferred (IEC 60063)
    and well inside the range in which everything holds. ``usual`` is what most pull-ups of a board
    are where some are not, and is tried first. The sheet with all of them is judged
    again, and what read wrong is played again on it, on every port at both corners. That takes
    up to as long as the trial; a trial that passed costs nothing. Raises `RoutineError` as
    `try_sheet` does.
    """
    failing = [found for found in trial.findings if found.verdict == "fail"]
    went_wrong = [run.name for run in trial.runs if run.verdict == "fail"]
    if not failing and not went_wrong:
        return Plan()
    wired, mended = _wired(sheet, failing)
    odd, mended = _odd_pull_ups(mended, failing, usual)
    waits, mended = _waits(mended, failing)
    found = fewest_settings(with_timings(mended))
    mended = with_settings(mended, found.settings)
    again = try_sheet(
        mended,
        [scenario for scenario in trial.scenarios if scenario.name in went_wrong],
        remedies=False,
    )
    still = {one.id for one in again.findings if one.verdict == "fail"}
    # No edit of the sheet changes the board.
    left = [one for one in failing if one.id in still or one.id.startswith("board.")]
    known = {one.id for one in left}
    left += [one for one in again.findings if one.verdict == "fail" and one.id not in known]
    done = [one for one in failing if one.id not in still]
    edits = [*wired, *odd, *waits[:1], *_of_settings(sheet, found, done)]
    passes = tuple(run.name for run in again.runs if run.verdict == "pass")
    return Plan(
        (*edits, *_said(left)),
        (*waits[1:], *_alternatives(sheet, found, done)),
        tuple(left),
        passes,
        tuple(name for name in went_wrong if name not in passes),
        mended,
    )


def value_now(change: Change, document: Mapping[str, Any]) -> str:
    """What the sheet says at the key of a change; empty if the key is left to its default."""
    value: Any = document
    for part in change.key.split("."):
        value = value.get(part) if isinstance(value, dict) else None
    if isinstance(value, dict):
        # Of all buttons those that the change is about.
        named = {name: value[name] for name in value if name in change.buttons}
        return ", ".join(f"{name} on {stage}" for name, stage in (named or value).items())
    if isinstance(value, list):
        return ", ".join(map(str, value))
    return "" if value is None else str(value)


def _wired(sheet: Sheet, failing: Sequence[Finding]) -> tuple[list[Change], Sheet]:
    """What is to be connected otherwise, and the sheet with it."""
    by_key: dict[str, list[Finding]] = {}
    for found in failing:
        if found.id.startswith("wiring.") and found.remedy is not None:
            by_key.setdefault(found.remedy.key, []).append(found)
    made = []
    for key, behind in by_key.items():
        remedies = [found.remedy for found in behind if found.remedy is not None]
        if key == "buttons":
            places = {
                str(name): int(stage)
                for remedy in remedies
                for name, stage in zip(remedy.facts["buttons"], remedy.facts["stages"], strict=True)
            }
            sheet = sheet.model_copy(update={"buttons": {**sheet.buttons, **places}})
        elif key == "register.latch-inverted":
            sheet = _with(sheet, "chip", "latch_inverted", not sheet.chip.latch_inverted)
        elif remedies[0].advice == "other-register" and _SISTER in sheet.chip.part:
            # The same maker's, with the same pins.
            sheet = _with(sheet, "chip", "part", sheet.chip.part.replace(_SISTER, "4021"))
        elif key in _WIRES:
            sheet = _with(sheet, *_WIRES[key])
        else:
            continue
        names = tuple(str(name) for one in remedies for name in one.facts.get("buttons", ()))
        says = "; ".join(dict.fromkeys(one.says for one in remedies))
        made.append(
            Change(key, says, "", (), "", tuple(found.id for found in behind), buttons=names)
        )
    return made, sheet


def _with(sheet: Sheet, table: str, option: str, value: object) -> Sheet:
    rows = getattr(sheet, table).model_copy(update={option: value})
    return sheet.model_copy(update={table: rows})


def _odd_pull_ups(
    sheet: Sheet, failing: Sequence[Finding], usual: Value | None
) -> tuple[list[Change], Sheet]:
    """All pull-ups as most are, if that mends whatever hangs on them, and the sheet with it."""
    if usual is None:
        return [], sheet
    alike = _with(sheet, "pull_up", "value", usual)
    judged = (*judge_wiring(alike), *judge_electric(alike, remedies=False).findings)
    still = {one.id for one in judged if one.verdict == "fail"}
    mends = tuple(one.id for one in failing if "pull-up.value" in (one.rule.mends or ()))
    if not mends or still & {*mends}:
        return [], sheet
    value = show(usual.nominal, "Ω", 4)
    return [Change("pull-up.value", "as the others are", value, (), "", mends)], alike


def _waits(sheet: Sheet, failing: Sequence[Finding]) -> tuple[list[Change], Sheet]:
    """A wait until a contact has settled, where that is what fails, and what would do instead."""
    bounce = next((found for found in failing if found.id == "bounce.polls"), None)
    if bounce is None or bounce.remedy is None:
        return [], sheet
    every = (bounce.remedy, *bounce.remedy.also)
    made = [
        Change(one.key, one.says, "", (), "", (bounce.id,))
        for one in sorted(every, key=lambda one: one.key != _DEBOUNCE)
    ]
    if made[0].key != _DEBOUNCE:
        return made, sheet
    # In whole tenths of a millisecond, as people write it.
    wait = round(sheet.contacts.bounce.high * _ROOM * 1e4 + 0.5) / 1e4
    made[0] = replace(made[0], spare=show(wait, "s"))
    return made, _with(sheet, "policy", "debounce", Value.exact(min(wait, 1.0)))


def _of_settings(sheet: Sheet, found: Found, done: Sequence[Finding]) -> Iterator[Change]:
    keys = [key for setting in found.settings for key in setting.keys]
    for setting, mends in zip(found.settings, found.mends, strict=True):
        for key in setting.keys:
            own = frozenset(id_ for id_ in mends if _bears(key, id_, keys))
            ids = tuple(one.id for one in done if _rests_on(one, key) & own)
            yield _change(key, setting, ids or tuple(sorted(own)))


def _bears(key: str, id_: str, keys: Sequence[str]) -> bool:
    """Whether it is that key, of those with one value, on which a quantity hangs."""
    mends = QUANTITIES[id_].mends
    return key in mends or not any(other in mends for other in keys)


def _alternatives(sheet: Sheet, found: Found, done: Sequence[Finding]) -> Iterator[Change]:
    for others, mends in zip(found.others, found.mends, strict=True):
        for setting in others:
            ids = tuple(one.id for one in done if _rests_on(one, "") & mends)
            yield from (_change(key, setting, ids) for key in setting.keys)


def _rests_on(found: Finding, key: str) -> frozenset[str]:
    """The quantities that a finding stands for."""
    if found.id == "cable.length":
        return frozenset(growing_with_cable())
    if found.id == "firmware.poll":
        return frozenset(followed_by_a_program())
    if found.id == "wiring.pull-up":
        return _OF_PULL_UP if key == "pull-up.value" else frozenset()
    return frozenset((found.rule.id,)) & frozenset(QUANTITIES)


def _change(key: str, setting: Setting, mends: tuple[str, ...]) -> Change:
    unit = setting.dial.unit
    return Change(
        key,
        f"{spelled_range(setting.low, setting.high, unit)} would do",
        setting.shown,
        tuple(show(value, unit) for value in setting.values),
        setting.series,
        mends,
        setting.value if unit == "Ω" and setting.values else None,
        written=setting.text,
    )


def _said(left: Sequence[Finding]) -> Iterator[Change]:
    """Of what no edit mends what it says, and what is advised; of each value of the sheet once."""
    # What a run shows follows from a level or an edge that fails, if one does.
    told = [found for found in left if not found.id.startswith("timing.")] or left
    by_key: dict[str, list[Finding]] = {}
    for found in told:
        key = found.remedy.key if found.remedy is not None else ""
        by_key.setdefault(key or found.id, []).append(found)
    for key, behind in by_key.items():
        ids = tuple(found.id for found in behind)
        remedy = behind[0].remedy
        if remedy is not None and remedy.key:
            one = f"no value was found that mends {joined(list(ids))} together"
            yield Change(key, one if len(ids) > 1 else remedy.says, "", (), "", ids, mending=False)
            continue
        advised = remedy is not None and not remedy.advice.startswith("none")
        says = behind[0].says
        says = f"{says}; {remedy.says}" if remedy is not None and advised else says
        yield Change("", says, "", (), "", ids, mending=False)
