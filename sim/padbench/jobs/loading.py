"""The design that a job is about: a sheet with the files it came from."""

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from difflib import get_close_matches
from pathlib import Path
from typing import Any

from padbench.core.findings import Finding, Place
from padbench.results.inputs import Input, input_of
from padbench.scenarios import ROUTINE_SCENARIOS, SCENARIOS, Scenario
from padbench.scenarios.user import load_scenarios
from padbench.sheet import Sheet, pad_of
from padbench.sheet import load_sheet as load_plain
from padbench.sheet.load import UNNAMED
from padbench.toml import Document, Problem, SheetError
from padbench.wiring.netlists.formats import is_netlist
from padbench.wiring.netlists.sheet import filled_from_board, netlist_alone


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

FileLike = Path | str
"""A file or folder by its name."""

ScenariosLike = str | Scenario | Sequence[str | Scenario]
"""One scenario or several."""


def path_of(name: FileLike | None) -> Path | None:
    """The path, if there is one."""
    return None if name is None else Path(name)


def chosen(scenarios: ScenariosLike) -> list[str | Scenario]:
    """The scenarios as a list, also where one is given alone."""
    return [scenarios] if isinstance(scenarios, str | Scenario) else [*scenarios]


@dataclass(frozen=True)
class Design:
    """A sheet and where it came from; ``path`` is None for a text, a dict or a finished sheet."""

    sheet: Sheet
    path: Path | None = None

    @property
    def name(self) -> str:
        """What messages call it."""
        return self.sheet.document.name

    def inputs(self, *further: FileLike | None) -> tuple[Input, ...]:
        """The sheet and the other files that a run depends on, as they are now."""
        parts, routine = self.sheet.parts.file, self.sheet.poll.routine
        beside = None if self.path is None or parts is None else self.path.parent / parts
        own = self.sheet.document.text
        typed = (Input.of("sheet.toml", own.encode()),) if own and self.path is None else ()
        netlist = None if self.sheet.board is None else self.sheet.board.netlist
        drawn = None if netlist is None else Path(self.name).parent / netlist
        files = (
            self.path,
            beside,
            drawn,
            *map(path_of, further),
            path_of(routine),
        )
        return (*typed, *inputs_from(*files))

    def placed(self, findings: Iterable[Finding]) -> tuple[Finding, ...]:
        """The findings, each with the key of the sheet that it is most about, and its line."""
        return tuple(map(self._placed, findings))

    def _placed(self, finding: Finding) -> Finding:
        mends = [key for key in finding.rule.mends or () if not key.startswith("port.")]
        key = finding.place.key if finding.place is not None else next(iter(mends), None)
        if key is None:
            return finding
        return replace(finding, place=Place(key, self.sheet.line_of(key)))


def load_sheet(source: Path | str | Mapping[str, Any]) -> Sheet:
    """As `padbench.sheet.load_sheet`; ``source`` may also be a netlist alone.

    A sheet with ``[board]`` takes from its netlist what it leaves out. Raises `SheetError` for a
    netlist that cannot be used as well, and for a sheet of several pads.
    """
    return _only(load_sheets(source))


def load_sheets(source: Path | str | Mapping[str, Any]) -> list[Sheet]:
    """As `load_sheet`, one for each pad of a sheet that has several."""
    first = _loaded(source, 0)
    return [first, *(_loaded(source, place) for place in range(1, len(first.pads)))]


def _only(sheets: Sequence[Sheet], pad: str | None = None) -> Sheet:
    mine = [one for one in sheets if pad in (None, *(known.name for known in one.pads[:1]))]
    if len(mine) == 1:
        return mine[0]
    first = sheets[0]
    names = ", ".join(known.name for known in first.pads) or "none"
    instead = "verify takes them all; wiring, play and diagnose take one with --pad"
    line = first.line_of("pads[0]")
    raise SheetError([Problem(first.document.name, line, "pads", "", f"are {names}", instead)])


def _loaded(source: Path | str | Mapping[str, Any], place: int) -> Sheet:
    def fill(document: Document, beside: Path) -> Document:
        return filled_from_board(pad_of(document, place), beside)

    is_text = isinstance(source, str) and re.search("[\n=]", source)
    if isinstance(source, Path | str) and not is_text and is_netlist(path := Path(source)):
        return load_plain(netlist_alone(path), fill)
    return load_plain(source, fill)


def design_of(sheet: SheetLike, pad: str | None = None) -> Design:
    """Load what is not a `Sheet` yet; ``pad`` is the name of one, where the sheet has several.

    Raises `SheetError` with all that is wrong with it, also where its poll is a routine that cannot
    be used.
    """
    sheets = [sheet] if isinstance(sheet, Sheet) else load_sheets(sheet)
    return _design(_only(sheets, pad), sheet)


def designs_of(sheet: SheetLike) -> list[Design]:
    """As `design_of`, one for each pad of a sheet that has several."""
    return [
        _design(one, sheet) for one in ([sheet] if isinstance(sheet, Sheet) else load_sheets(sheet))
    ]


def _design(loaded: Sheet, source: SheetLike) -> Design:
    if loaded is source:
        return Design(loaded)
    name = loaded.document.name
    path = None if name in UNNAMED else Path(name)
    if loaded.poll.routine is None:
        return Design(loaded, path)
    from padbench.routines.poll import with_timings  # noqa: PLC0415 - most sheets have no routine
    from padbench.routines.routine import RoutineError  # noqa: PLC0415

    try:
        return Design(with_timings(loaded), path)
    except RoutineError as error:
        raise SheetError([Problem(name, None, "poll.routine", "", str(error), "")]) from None


def inputs_from(*paths: Path | None) -> tuple[Input, ...]:
    """Files as they are now, each once; what is no file is left out."""
    read = (input_of(path) for path in dict.fromkeys(paths) if path is not None)
    return tuple(one for one in read if one is not None)


def known_scenarios(sheet: Sheet | None = None, own: FileLike | None = None) -> dict[str, Scenario]:
    """The shipped scenarios (those for a read routine too if the sheet has one) and the user's.

    Raises `SheetError` for a file that cannot be used.
    """
    known = dict(SCENARIOS)
    if sheet is not None and sheet.poll.routine is not None:
        known |= ROUTINE_SCENARIOS
    return known if own is None else known | load_scenarios(Path(own))


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
