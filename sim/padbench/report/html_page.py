"""A verification as one page that needs nothing else: no network, no other file.

    with whole_file(Path("report.html")) as out:
        write_page(result, sheet, text, out, file="my-pad.toml")

The text of a sheet reaches the page through jinja2's escaping or as JSON in which no ``<`` stands,
and the page forbids itself, by a content security policy, every script that is not its own.
"""

import base64
import json
import platform
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from hashlib import sha256
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import IO, Any

from padbench import __version__
from padbench.buttons import BUTTONS, spelled
from padbench.report.change import Change, changes
from padbench.report.frame import frame_of
from padbench.report.wave_data import marks_of, wave_object
from padbench.rules import Finding
from padbench.sheet import Sheet
from padbench.units import show
from padbench.verify.result import ReadResult, ScenarioResult, VerifyResult

__all__ = ["write_page"]

_FOLDER = Path(__file__).with_name("page")
_VERSIONS = ("myhdl", "numpy", "pydantic", "py65", "quantiphy")
"""What the figures of a page hang on, beside padbench and Python."""

_MOST_READS = 64
"""Rows of the table of reads; wrong ones first. ``--json`` has all."""

_BUTTON_SCENARIO = "each-button"

WORDS = {"pass": "holds", "fail": "fails", "not-judged": "not judged"}


@dataclass(frozen=True, slots=True)
class _Bar:
    """A margin as a bar: ``share`` of the half that it fills, and what it says."""

    share: float
    good: bool
    says: str


def write_page(
    result: VerifyResult,
    sheet: Sheet,
    text: str,
    out: IO[str],
    *,
    file: str,
    beside: Sequence[tuple[str, str]] = (),
) -> None:
    """Write the page; ``text`` is the sheet's own text and ``file`` its name.

    ``beside`` are name and text of the other files that the run hangs on.

    Raises ``ImportError`` without jinja2, ``OSError`` if ``out`` cannot take it.
    """
    from jinja2 import Environment, FileSystemLoader, StrictUndefined  # noqa: PLC0415  (only here)

    environment = Environment(
        loader=FileSystemLoader(_FOLDER),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.globals.update(spelled=spelled, show=show, amount=_amount, words=WORDS)
    scripts = [_asset("uplot.js"), _asset("waves.js")]
    rows = result.ports
    stream = environment.get_template("page.html.j2").stream(
        policy=_policy(scripts),
        scripts=scripts,
        styles=[_asset("uplot.css"), _asset("page.css")],
        licence=_asset("uplot-licence.txt"),
        waves=_json([wave_object(run) for run in result.scenarios]),
        result=result,
        pad=sheet.pad.name,
        ribbon=_ribbon(result),
        changes=[(change, _now(change, text)) for change in changes(result.findings)],
        broken=[(found, _bar(found)) for found in result.findings if found.verdict == "fail"],
        holding=[(found, _bar(found)) for found in result.findings if found.verdict != "fail"],
        ports=list(dict.fromkeys(row.port for row in rows)),
        variants=list(dict.fromkeys(row.variant for row in rows)),
        works={(row.variant, row.port): row for row in rows},
        runs=[_Run(run) for run in result.scenarios],
        frame=frame_of(sheet, result),
        files=[
            (name, one, sha256(one.encode()).hexdigest()) for name, one in [(file, text), *beside]
        ],
        versions=_versions(),
    )
    out.writelines(stream)


class _Run:
    """A scenario as the template wants it."""

    def __init__(self, run: ScenarioResult) -> None:
        self.run = run
        self.marks = marks_of(run)
        self.said = [problem.says for problem in run.problems]
        self.said += [f"{found.id}: {found.says} ({found.where})" for found in run.broken]
        numbered = list(enumerate(run.reads, 1))
        wrong = [row for row in numbered if not row[1].as_expected]
        right = [row for row in numbered if row[1].as_expected]
        self.reads: list[tuple[int, ReadResult]] = sorted(
            (wrong + right)[:_MOST_READS], key=lambda row: row[0]
        )
        self.left_out = len(numbered) - len(self.reads)


def _asset(name: str) -> str:
    return (_FOLDER / name).read_text(encoding="utf-8")


def _policy(scripts: list[str]) -> str:
    """Nothing from outside, and of scripts only these (W3C Content Security Policy Level 3)."""
    digests = (base64.b64encode(sha256(script.encode()).digest()).decode() for script in scripts)
    allowed = " ".join(f"'sha256-{digest}'" for digest in digests)
    return (
        f"default-src 'none'; script-src {allowed}; style-src 'unsafe-inline'; img-src data:; "
        "base-uri 'none'; form-action 'none'"
    )


def _json(found: Any) -> str:
    """JSON that can stand in a script element: what could end the element is escaped."""
    text = json.dumps(found, separators=(",", ":"))
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")


def _ribbon(result: VerifyResult) -> list[tuple[str, str, str]]:
    """Of each button: its name, whether it reads right alone, and as what it reads otherwise."""
    run = next((r for r in result.scenarios if r.name == _BUTTON_SCENARIO), None)
    if run is None:
        return []
    cells = []
    for place, name in enumerate(BUTTONS):
        wrong = [
            pair
            for pair in run.reads
            if not pair.as_expected and pair.expected.held == 128 >> place
        ]
        seen = any(pair.expected.held == 128 >> place for pair in run.reads)
        if wrong:
            cells.append((name, "fail", f"reads as {spelled(wrong[0].byte)}"))
        else:
            cells.append((name, "pass" if seen else "not-judged", "reads right" if seen else "–"))
    return cells


def _now(change: Change, text: str) -> str:
    """What the sheet says at the key of a change; empty if the key is left to its default."""
    found: Any = tomllib.loads(text)
    for part in change.key.split("."):
        found = found.get(part) if isinstance(found, dict) else None
    return "" if found is None else str(found)


def _bar(found: Finding) -> _Bar | None:
    """None where there is no number to draw.

    Full is a margin as large as the limit; the numbers stand beside it, so a bar that is full says
    "at least".
    """
    if found.margin is None or found.limit is None or (not found.margin and not found.limit):
        return None
    whole = abs(found.limit) or abs(found.measured or 0) or 1
    good = found.margin >= 0
    size = _amount(abs(found.margin), found.unit)
    return _Bar(
        round(min(1.0, abs(found.margin) / whole), 4),
        good,
        f"{size} to spare" if good else f"{size} beyond the limit",
    )


def _amount(value: float, unit: str) -> str:
    if unit in ("edges", "clocks"):
        return f"{value:.0f} {unit}"
    return show(value * 1e-9, "s") if unit == "ns" else show(value, unit)


def _versions() -> list[tuple[str, str]]:
    found = [("padbench", __version__), ("Python", platform.python_version())]
    for name in _VERSIONS:
        try:
            found.append((name, version(name)))
        except PackageNotFoundError:
            continue
    return found
