"""A result as one page that needs nothing else: no network, no other file.

    with whole_file(Path("report.html")) as out:
        write_page(verify_page(result, sheet, files, command), out)

What a command has to show is put together by ``verify_page``, ``regress_page`` and so on, out of
the blocks of `padbench.results.blocks`; head, style, verdict, cautions, versions, input files and
waves are the same for all and stand here.

All text reaches the page through jinja2's escaping or as JSON in which no ``<`` stands, and the
page forbids itself, by a content security policy, every script that is not its own.
"""

import base64
import json
import platform
import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from hashlib import sha256
from importlib.metadata import PackageNotFoundError, version
from itertools import count
from pathlib import Path
from typing import IO, Any, Literal

from padbench import __version__
from padbench.core.sentences import amount
from padbench.results.blocks import WORDS, Articles, Block, Cell, Ribbon
from padbench.results.inputs import Input
from padbench.results.wave_data import Wave, wave_object

__all__ = ["Page", "Section", "write_page"]

_FOLDER = Path(__file__).with_name("page")
_VERSIONS = ("myhdl", "numpy", "pydantic", "py65", "quantiphy")
"""What the figures of a page hang on, beside padbench and Python."""


_PARTS = re.compile(r"[\s+-]+")
"""Where a line may end: a held state is one word otherwise."""
_LONGEST_WORD = 24
"""Letters; longer ones come from names in sheets, and have to be broken on a narrow page."""


@dataclass(frozen=True, slots=True)
class Section:
    """A part of a page with a heading; ``id`` is where links go."""

    id: str
    title: str
    blocks: Sequence[Block]


@dataclass(frozen=True, slots=True)
class Page:
    """What one command shows.

    ``name`` is of what was judged, ``word`` the verdict in a word ("Passes.") and ``lead`` in a
    sentence. ``command`` repeats the run with the ``files`` in one folder; ``versions`` names
    further distributions that the result hangs on.
    """

    name: str
    verdict: Literal["pass", "fail", "stopped"]
    word: str
    lead: str
    sections: Sequence[Section]
    files: Sequence[Input]
    command: str
    ribbon: Ribbon | None = None
    versions: Sequence[str] = ()


def write_page(page: Page, out: IO[str]) -> None:
    """Write the page.

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
    environment.globals.update(words=WORDS, amount=amount)
    environment.tests["long"] = _long
    waves = _waves(page)
    scripts = [_asset("uplot.js"), _asset("waves.js")] if waves else []
    stream = environment.get_template("page.html.j2").stream(
        page=page,
        next_wave=partial(next, count()),
        policy=_policy(scripts),
        scripts=scripts,
        styles=[*([_asset("uplot.css")] if waves else []), _asset("page.css")],
        licence=_asset("uplot-licence.txt"),
        waves=_json([wave_object(wave) for wave in waves]),
        versions=_versions(page.versions),
    )
    out.writelines(stream)


def _long(cell: str | Cell) -> bool:
    """Whether a word in it is so long that it may be broken."""
    texts = (cell,) if isinstance(cell, str) else (cell.text, *cell.codes)
    return any(len(word) > _LONGEST_WORD for text in texts for word in _PARTS.split(text))


def _waves(page: Page) -> list[Wave]:
    """All waves in the order in which the templates meet, and number, them."""
    return [
        article.wave
        for section in page.sections
        for block in section.blocks
        if isinstance(block, Articles)
        for article in block.articles
        if article.wave is not None
    ]


def _asset(name: str) -> str:
    return (_FOLDER / name).read_text(encoding="utf-8")


def _policy(scripts: list[str]) -> str:
    """Nothing from outside, and of scripts only these (W3C Content Security Policy Level 3)."""
    digests = (base64.b64encode(sha256(script.encode()).digest()).decode() for script in scripts)
    allowed = " ".join(f"'sha256-{digest}'" for digest in digests) or "'none'"
    return (
        f"default-src 'none'; script-src {allowed}; style-src 'unsafe-inline'; img-src data:; "
        "base-uri 'none'; form-action 'none'"
    )


def _json(found: Any) -> str:
    """JSON that can stand in a script element: what could end the element is escaped."""
    text = json.dumps(found, separators=(",", ":"))
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")


def _versions(further: Sequence[str]) -> list[tuple[str, str]]:
    found = [("padbench", __version__), ("Python", platform.python_version())]
    for name in (*_VERSIONS, *further):
        try:
            found.append((name, version(name)))
        except PackageNotFoundError:
            continue
    return found
