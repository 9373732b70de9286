"""A result as one page that needs nothing else: no network, no other file.

    with whole_file(Path("report.html")) as out:
        write_page(result, out)

What a command has to show are the sections of its result; head, style, verdict, cautions, versions,
input files and waves are the same for all and stand here.

All text reaches the page through jinja2's escaping or as JSON in which no ``<`` stands, and the
page forbids itself, by a content security policy, every script that is not its own.
"""

import base64
import json
import platform
import re
from collections.abc import Callable, Iterator, Sequence
from functools import cache, partial
from hashlib import sha256
from importlib.metadata import PackageNotFoundError, version
from itertools import count
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any

from padbench import __version__
from padbench.core.buttons import BUTTONS
from padbench.core.sentences import amount, counted
from padbench.results.answer import Answer
from padbench.results.blocks import WORDS, Article, Articles, Block, Cell, Lines, findings_blocks
from padbench.results.result import Result, Section
from padbench.results.wave_data import Wave, wave_object

if TYPE_CHECKING:
    from jinja2 import Environment

_FOLDER = Path(__file__).with_name("page")
_VERSIONS = ("myhdl", "numpy", "pydantic", "py65", "quantiphy")
"""What the figures of a page depend on, beside padbench and Python."""


_PARTS = re.compile(r"[\s+-]+")
"""Where a line may end: a held state is one word otherwise."""
_INSIDE = re.compile(
    r"(?<=\d) (?=\d{3}(?!\d)|[pnµmkMG]?(?:Ω|[VAsFHWmgB]|Hz|W|cycles?)(?!\w)|°C|%|/ ?\d)"
    r"|(?<=/) (?=\d)"
)
"""A space between groups of digits, or between a number and its unit, where no line ends."""
_LONGEST_WORD = 24
"""Letters; longer ones come from names in sheets, and have to be broken on a narrow page."""


def write_page(result: Result, out: IO[str]) -> None:
    """Write the page.

    Raises ``ImportError`` without jinja2, ``OSError`` if ``out`` cannot take it.
    """
    environment = environment_of()
    sections = [part for part in result.sections if "page" in part.media]
    waves = [*_waves(sections)]
    several = any(part.id == "each" for part in sections)
    hero = None if result.answer is None else _telling(result.answer, [one for one, _ in waves])
    scripts = [asset("uplot.js"), asset("waves.js")] if waves else []
    stream = environment.get_template("page.html.j2").stream(
        page=result,
        sections=sections,
        answer=result.answer,
        several=several,
        short=() if result.answer else [*_short(result)][: None if several else 1],
        buttons=BUTTONS,
        hero=None if hero is None else waves[hero][0],
        hero_wave=hero,
        next_wave=partial(next, count()),
        next_keys=partial(next, count()),
        policy=policy_of(scripts),
        scripts=scripts,
        styles=[*([asset("uplot.css")] if waves else []), asset("page.css")],
        licence=asset("uplot-licence.txt"),
        waves=_wave_texts([wave for _, wave in waves]),
        versions=_versions(result.versions),
    )
    out.writelines(stream)


def _short(result: Result) -> Iterator[Lines]:
    """What a terminal shows first, of several results that of each.

    A page that begins with an answer has no need of it.
    """
    for part in result.sections:
        if "brief" in part.media:
            lines = (one for one in part.blocks if isinstance(one, Lines))
            yield from (one for one in lines if any(label for label, _ in one.rows))


def notebook_html(result: Result) -> str:
    """Verdict and findings, as `write_page` has them, for a notebook."""
    blocks = findings_blocks(result.findings)
    template = environment_of().get_template("notebook.html.j2")
    return template.render(page=result, blocks=blocks)


def blocks_html(blocks: Sequence[Block]) -> str:
    """Blocks of a page by themselves, to be put into one that is there."""
    return environment_of().get_template("some_blocks.html.j2").render(blocks=blocks)


@cache
def environment_of(*folders: Path) -> "Environment":
    """Where the templates of a page are, and those of further folders."""
    from jinja2 import Environment, FileSystemLoader, StrictUndefined  # noqa: PLC0415  (only here)

    environment = Environment(
        loader=FileSystemLoader([_FOLDER, *folders]),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=_together,
    )
    environment.globals.update(words=WORDS, amount=amount, counted=counted)
    environment.tests["long"] = _long
    return environment


def _together(value: Any) -> Any:
    """A text in which a number stays with its unit; a command to copy stays as it is.

    Templates give what else is to be copied, names of files and their texts, as markup.
    """
    if type(value) is not str or "\n" in value or "padbench " in value:
        return value
    return _INSIDE.sub("\N{NO-BREAK SPACE}", value)


def _long(cell: str | Cell) -> bool:
    """Whether a word in it is so long that it may be broken."""
    texts = (cell,) if isinstance(cell, str) else (cell.text, *cell.codes)
    return any(len(word) > _LONGEST_WORD for text in texts for word in _PARTS.split(text))


def _telling(answer: Answer, articles: Sequence[Article]) -> int | None:
    """Which wave shows most: of the first cause that some run fails by, else of each button alone.

    Only where the sheet alone is at fault is it a run in which nothing fails.
    """
    names = [cause.telling for cause in answer.causes if cause.scenarios]
    names += [*answer.failing, "each-button"]
    places = {one.name: place for place, one in reversed([*enumerate(articles)])}
    return next((places[name] for name in names if name in places), 0 if articles else None)


def _waves(sections: Sequence[Section]) -> Iterator[tuple[Article, Callable[[], Wave]]]:
    """All waves in the order in which the templates meet, and number, them."""
    for section in sections:
        for block in section.blocks:
            if isinstance(block, Articles):
                yield from ((one, one.wave) for one in block.articles if one.wave is not None)


def _wave_texts(waves: Sequence[Callable[[], Wave]]) -> Iterator[str]:
    """A JSON list piece by piece: no more than one wave is there at a time."""
    yield "["
    for number, wave in enumerate(waves):
        yield ("," if number else "") + json_text(wave_object(wave()))
    yield "]"


def asset(name: str) -> str:
    """A style or script of the page, or the licence of one."""
    return (_FOLDER / name).read_text(encoding="utf-8")


def policy_of(scripts: Sequence[str], *, asks: bool = False) -> str:
    """Nothing from outside, and of scripts only these (W3C Content Security Policy Level 3).

    A page that ``asks`` may ask the server that it came from.
    """
    digests = (base64.b64encode(sha256(script.encode()).digest()).decode() for script in scripts)
    allowed = " ".join(f"'sha256-{digest}'" for digest in digests) or "'none'"
    back = "'self'" if asks else "'none'"
    return (
        f"default-src 'none'; script-src {allowed}; style-src 'unsafe-inline'; img-src data:; "
        f"connect-src {back}; base-uri 'none'; form-action 'none'"
    )


def json_text(found: Any) -> str:
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
