"""The design that a job is about: a sheet with the files it came from."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path
from typing import Any

from padbench.results.inputs import Input, input_of
from padbench.routines.poll import with_timings
from padbench.routines.routine import RoutineError
from padbench.scenarios import ROUTINE_SCENARIOS, SCENARIOS, Scenario
from padbench.scenarios.user import load_scenarios
from padbench.sheet import Sheet, load_sheet
from padbench.toml import Problem, SheetError

__all__ = [
    "Design",
    "Progress",
    "Refusal",
    "SheetLike",
    "design_of",
    "inputs_from",
    "known_scenarios",
    "scenario_named",
    "unwatched",
]


class Refusal(ValueError):
    """What was asked for cannot be done: ``option`` is the argument to blame, ``says`` why."""

    def __init__(self, option: str, says: str) -> None:
        super().__init__(f"{option}: {says}")
        self.option, self.says = option, says


Progress = Callable[[int, int], None]
"""Is told how much is done, and of how much."""


def unwatched(done: int, total: int) -> None:
    """Nobody watches."""


SheetLike = Sheet | Path | str | Mapping[str, Any]
"""A sheet, its file, its text, or what `tomllib` makes of that text."""


@dataclass(frozen=True)
class Design:
    """A sheet and where it came from; ``path`` is None for a text, a dict or a finished sheet."""

    sheet: Sheet
    path: Path | None = None
    text: str = ""

    @property
    def name(self) -> str:
        """What messages call it."""
        return "the sheet" if self.path is None else str(self.path)

    def inputs(self, *further: Path | None) -> tuple[Input, ...]:
        """The sheet and the other files that a run hangs on, as they are now."""
        parts, routine = self.sheet.parts.file, self.sheet.poll.routine
        beside = None if self.path is None or parts is None else self.path.parent / parts
        return inputs_from(self.path, beside, *further, None if routine is None else Path(routine))


def design_of(sheet: SheetLike) -> Design:
    """Load what is not a `Sheet` yet.

    Raises `SheetError` with all that is wrong with it, also where its poll is a routine that cannot
    be used.
    """
    if isinstance(sheet, Sheet):
        return Design(sheet)
    made = load_sheet(Path(sheet))  # type: ignore[arg-type]
    path = None
    if isinstance(sheet, Path) or (isinstance(sheet, str) and "\n" not in sheet):
        path = Path(sheet)
    text = "" if path is None else path.read_text(encoding="utf-8-sig")
    try:
        return Design(with_timings(made), path, text)
    except RoutineError as error:
        name = "the sheet" if path is None else str(path)
        raise SheetError([Problem(name, None, "poll.routine", "", str(error), "")]) from None


def inputs_from(*paths: Path | None, origin: int | None = None) -> tuple[Input, ...]:
    """Files as they are now, each once; what is no file is left out.

    ``origin`` is where a .bin lies.
    """
    read = (
        input_of(path, origin=origin if path.suffix.lower() == ".bin" else None)
        for path in dict.fromkeys(paths)
        if path is not None
    )
    return tuple(one for one in read if one is not None)


def known_scenarios(sheet: Sheet | None = None, own: Path | None = None) -> dict[str, Scenario]:
    """The shipped scenarios (those for a read routine too if the sheet has one) and the user's.

    Raises `SheetError` for a file that cannot be used.
    """
    known = dict(SCENARIOS)
    if sheet is not None and sheet.poll.routine is not None:
        known |= ROUTINE_SCENARIOS
    return known if own is None else known | load_scenarios(own)


def scenario_named(
    scenario: str | Scenario, known: Mapping[str, Scenario], option: str = "scenario"
) -> Scenario:
    """The scenario of that name; else a `Refusal` of that ``option``, with a near name."""
    if isinstance(scenario, Scenario):
        return scenario
    if scenario in known:
        return known[scenario]
    near = get_close_matches(scenario, known, 1) or sorted(known)
    raise Refusal(option, f"there is no scenario {scenario[:60]!r}; try {', '.join(near)}")
