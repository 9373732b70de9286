"""pytest: run a sheet's scenarios against its HDL from a core's own test suite.

    @pytest.mark.padbench("pad.toml", scenarios=["each-button", "cut-short"])
    def test_pad(padbench_result):
        padbench_result.check()

The marker names the sheet (relative to the test's file) and, if wanted, ``scenarios``,
``exhaustive``, ``true_time``, ``prove``, ``simulator`` and ``limit`` (seconds), as of
`padbench.jobs.regress.regress`. For several sheets or simulators give each case its own marker:

    @pytest.mark.parametrize("simulator", [
        pytest.param(name, marks=pytest.mark.padbench("pad.toml", simulator=name))
        for name in ("icarus", "verilator")
    ])
    def test_pad(padbench_result, simulator): ...

A design that cannot be run, a word that the marker does not know, or a simulator that is missing,
fails the test with the reason. The waves of what fails are kept under the test's ``tmp_path`` and
named. A test that never looks at its result, by `PadbenchResult.check` or ``.result``, fails too,
and so does one that is marked and does not take the fixture.
Nothing is imported until a test asks for it.
"""

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from padbench.cosim.outcome import RegressResult
    from padbench.results.result import Result

_WORDS = ("scenarios", "exhaustive", "true_time", "prove", "simulator", "limit")


def pytest_configure(config: pytest.Config) -> None:
    """Make the marker known, for ``--strict-markers``."""
    config.addinivalue_line(
        "markers",
        "padbench(sheet, scenarios=None, exhaustive=False, true_time=False, prove=False, "
        "simulator=None, limit=None): which scenarios of which design sheet `padbench_result` runs",
    )


def pytest_runtest_setup(item: pytest.Item) -> None:
    """A test that is marked, and does not take the fixture, would pass with any design."""
    marked = item.get_closest_marker("padbench") is not None
    if marked and "padbench_result" not in getattr(item, "fixturenames", ()):
        says = "marked padbench, but it does not take padbench_result, so nothing is run"
        pytest.fail(f"{item.name} is {says}; make that an argument of it", pytrace=False)


class PadbenchResult:
    """What came out; `check` fails the test if anything is wrong.

    ``whole`` is what every command gives, to be written as a page or JSON; ``result`` is the
    regression in it: ``.verdict``, ``.findings``, ``.scenarios``, ``.reads``, ``.coverage``.
    """

    def __init__(self, whole: "Result", waves: Path) -> None:
        self._whole, self._waves = whole, waves
        self.looked = False
        """Whether anybody asked what came out."""

    @property
    def whole(self) -> "Result":
        """What every command gives."""
        self.looked = True
        return self._whole

    @property
    def result(self) -> "RegressResult":
        """The regression in it."""
        result: RegressResult = self.whole.data
        return result

    def check(self) -> None:
        """Fail with findings, first wrong reads, likely causes and waves, a line each."""
        if self.whole.verdict == "pass":
            return
        lines = [f"{f.id}: {f.says}" for f in self.whole.findings if f.verdict == "fail"]
        for run in self.whole.runs:
            if run.problems:
                more = len(run.problems) - 1
                and_more = f" (and {more} more)" if more else ""
                lines.append(f"{run.name}: {run.problems[0].says}{and_more}")
        pytest.fail("\n".join([*lines, *self.whole.behind, *self._kept()]), pytrace=False)

    def _kept(self) -> list[str]:
        from padbench.jobs.verify import save_wave

        failing = [run for run in self.whole.runs if run.verdict == "fail"]
        if failing:
            self._waves.mkdir(exist_ok=True)
        return [f"wave: {save_wave(run, self._waves)}" for run in failing]


@pytest.fixture
def padbench_result(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[PadbenchResult]:
    """Runs what the test's ``padbench`` marker says."""
    from padbench.jobs.loading import Refusal
    from padbench.jobs.regress import regress
    from padbench.sheet import SheetError

    marker = request.node.get_closest_marker("padbench")
    if marker is None or not marker.args:
        pytest.fail("padbench_result needs @pytest.mark.padbench(SHEET)", pytrace=False)
    strange = [name for name in marker.kwargs if name not in _WORDS]
    if strange or len(marker.args) > 1:
        what = f"{strange[0]}=" if strange else "a second sheet"
        says = f"the padbench marker does not know {what}; it knows a sheet, {', '.join(_WORDS)}"
        pytest.fail(says, pytrace=False)
    if not isinstance(marker.args[0], str | Path):
        says = f"the padbench marker wants the name of a sheet, not {marker.args[0]!r:.60}"
        pytest.fail(says, pytrace=False)
    waves, result, reason = tmp_path / "waves", None, ""
    try:
        sheet = request.path.parent / marker.args[0]
        result = PadbenchResult(regress(sheet, **marker.kwargs), waves)
    except (SheetError, Refusal, OSError) as error:
        reason = str(error)
    if result is None:
        # Outside of the handler, or pytest would show where the simulator's message came from.
        pytest.fail(reason, pytrace=False)
    yield result
    if not result.looked:
        says = "the test never looked at what came out; call padbench_result.check()"
        pytest.fail(says, pytrace=False)
