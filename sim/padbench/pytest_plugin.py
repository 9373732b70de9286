"""pytest: run a sheet's scenarios against its HDL from a core's own test suite.

    @pytest.mark.padbench("pad.toml", scenarios=["each-button", "cut-short"])
    def test_pad(padbench_result):
        padbench_result.check()

The marker names the sheet (relative to the test's file) and, if wanted, ``scenarios``,
``exhaustive``, ``simulator`` and ``limit`` (seconds). A design that cannot be run, or a simulator
that is missing, fails the test with the reason. Nothing is imported until a test asks for it.
"""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from padbench.cosim.result import RegressResult

__all__ = ["PadbenchResult", "padbench_result", "pytest_configure"]


def pytest_configure(config: pytest.Config) -> None:
    """Make the marker known, for ``--strict-markers``."""
    config.addinivalue_line(
        "markers",
        "padbench(sheet, scenarios=None, exhaustive=False, simulator=None, limit=None): "
        "which scenarios of which design sheet `padbench_result` runs",
    )


class PadbenchResult:
    """What came out: ``result`` is the whole of it, `check` fails the test if anything is wrong."""

    def __init__(self, result: "RegressResult") -> None:
        self.result = result

    def check(self) -> None:
        """Fail with findings, first wrong reads and likely causes, a line each."""
        if self.result.verdict == "pass":
            return
        lines = [f"{f.id}: {f.says}" for f in self.result.findings if f.verdict == "fail"]
        for scenario in self.result.scenarios:
            if scenario.problems:
                more = len(scenario.problems) - 1
                and_more = f" (and {more} more)" if more else ""
                lines.append(f"{scenario.name}: {scenario.problems[0].says}{and_more}")
        lines += [f"likely cause: {cause.says}" for cause in self.result.causes]
        pytest.fail("\n".join(lines), pytrace=False)


@pytest.fixture
def padbench_result(request: pytest.FixtureRequest, tmp_path: Path) -> PadbenchResult:
    """Runs what the test's ``padbench`` marker says."""
    marker = request.node.get_closest_marker("padbench")
    if marker is None or not marker.args:
        pytest.fail("padbench_result needs @pytest.mark.padbench(SHEET)", pytrace=False)
    return PadbenchResult(_run(request.path.parent / marker.args[0], tmp_path, **marker.kwargs))


def _run(
    sheet_path: Path,
    folder: Path,
    *,
    scenarios: Any = None,
    exhaustive: bool = False,
    simulator: str | None = None,
    limit: float | None = None,
) -> "RegressResult":
    from padbench.cosim.process import missing_tools
    from padbench.cosim.regress import regress, scenarios_of
    from padbench.cosim.result import HdlError
    from padbench.sheet import SheetError, load_sheet

    said = ""
    try:
        sheet = load_sheet(sheet_path)
    except SheetError as error:
        said = str(error)
    if said:
        pytest.fail(said, pytrace=False)
    if sheet.hdl is None:
        pytest.fail(f"{sheet_path}: the sheet has no table [hdl]", pytrace=False)
    if simulator is not None:
        hdl = sheet.hdl.model_copy(update={"simulator": simulator})
        sheet = sheet.model_copy(update={"hdl": hdl})
    assert sheet.hdl is not None
    missing = missing_tools(sheet.hdl.engine)
    if missing:
        pytest.fail(f"{sheet.hdl.engine} is not installed here; {missing}", pytrace=False)
    known = scenarios_of(sheet)
    names = list(known) if scenarios is None else list(scenarios)
    unknown = [name for name in names if name not in known]
    if unknown:
        pytest.fail(f"there is no scenario {unknown[0]!r}", pytrace=False)
    wanted = [known[name] for name in names]
    try:
        return regress(sheet, sheet_path.parent, folder, wanted, exhaustive=exhaustive, limit=limit)
    except HdlError as error:
        said = f"{sheet_path}: {error.says}"
    # Outside of the handler, or pytest would show where the simulator's message came from.
    pytest.fail(said, pytrace=False)
