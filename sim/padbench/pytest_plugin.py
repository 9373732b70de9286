"""pytest: run a sheet's scenarios against its HDL from a core's own test suite.

    @pytest.mark.padbench("pad.toml", scenarios=["each-button", "cut-short"])
    def test_pad(padbench_result):
        padbench_result.check()

The marker names the sheet (relative to the test's file) and, if wanted, ``scenarios``,
``exhaustive``, ``simulator`` and ``limit`` (seconds), as of `padbench.jobs.regress.regress`. A
design that cannot be run, or a simulator that is missing, fails the test with the reason. Nothing
is imported until a test asks for it.
"""

from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from padbench.cosim.result import RegressResult
    from padbench.results.result import Result

__all__ = ["PadbenchResult", "padbench_result", "pytest_configure"]


def pytest_configure(config: pytest.Config) -> None:
    """Make the marker known, for ``--strict-markers``."""
    config.addinivalue_line(
        "markers",
        "padbench(sheet, scenarios=None, exhaustive=False, simulator=None, limit=None): "
        "which scenarios of which design sheet `padbench_result` runs",
    )


class PadbenchResult:
    """What came out; `check` fails the test if anything is wrong.

    ``whole`` is what every command gives, to be written as a page or JSON; ``result`` is the
    regression in it: ``.verdict``, ``.findings``, ``.scenarios``, ``.reads``, ``.coverage``.
    """

    def __init__(self, whole: "Result") -> None:
        self.whole = whole
        self.result: RegressResult = whole.data

    def check(self) -> None:
        """Fail with findings, first wrong reads and likely causes, a line each."""
        if self.whole.verdict == "pass":
            return
        lines = [f"{f.id}: {f.says}" for f in self.whole.findings if f.verdict == "fail"]
        for run in self.whole.runs:
            if run.problems:
                more = len(run.problems) - 1
                and_more = f" (and {more} more)" if more else ""
                lines.append(f"{run.name}: {run.problems[0].says}{and_more}")
        pytest.fail("\n".join([*lines, *self.whole.behind]), pytrace=False)


@pytest.fixture
def padbench_result(request: pytest.FixtureRequest) -> PadbenchResult:
    """Runs what the test's ``padbench`` marker says."""
    from padbench.jobs.loading import Refusal
    from padbench.jobs.regress import regress
    from padbench.sheet import SheetError

    marker = request.node.get_closest_marker("padbench")
    if marker is None or not marker.args:
        pytest.fail("padbench_result needs @pytest.mark.padbench(SHEET)", pytrace=False)
    try:
        return PadbenchResult(regress(request.path.parent / marker.args[0], **marker.kwargs))
    except (SheetError, Refusal) as error:
        reason = str(error)
    # Outside of the handler, or pytest would show where the simulator's message came from.
    pytest.fail(reason, pytrace=False)
