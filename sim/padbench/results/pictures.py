"""What every picture shares: colours, kinds of file, and a file that is whole or not there.

Needs the extra ``pictures`` (matplotlib), which only this module's callers import, when they draw.
"""

import warnings
from io import StringIO
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from padbench.results.result import Result

from padbench.files import whole_binary

INK, SOFT, BAND, TEAL = "#1b2629", "#55605f", "#ece6d3", "#0a5661"
BAD = "#9c2a0e"
STEPS = ("#cfc7b0", "#8d9896", "#8a6a00", BAD)
"""The page's colours in light (``page/page.css``); of steps the last is the worst and darkest."""

_KINDS = (".png", ".svg", ".pdf")
_NO_DATE: dict[str, dict[str, Any]] = {".svg": {"Date": None}, ".pdf": {"CreationDate": None}}


def new_figure(path: Path, width: float, height: float, **options: Any) -> "Figure":
    """An empty figure (inches) for a file of that name.

    Raises ``ValueError`` for an ending other than .png, .svg or .pdf or without matplotlib.
    """
    if path.suffix.lower() not in _KINDS:
        raise ValueError(f"{path} is no kind of picture; end it in {', '.join(_KINDS)}")
    try:
        from matplotlib.figure import Figure  # noqa: PLC0415  (slow, and an extra)
    except ImportError:
        raise ValueError("matplotlib is missing; pip install 'padbench[pictures]'") from None
    return Figure(figsize=(width, height), **options)


def notebook_svg(result: "Result") -> str | None:
    """The wave of the read that shows most of a result's runs: one that fails, else the first.

    None if nothing was played, or without matplotlib.
    """
    from padbench.results.wave_picture import shown_read, wave_figure  # noqa: PLC0415

    runs = [run for run in result.runs if run.count]
    shown = next((run for run in runs if run.verdict == "fail"), runs[0] if runs else None)
    if shown is None:
        return None
    try:
        figure = wave_figure(shown, shown_read(shown), Path("wave.svg"), pad=result.name)
    except ValueError:
        return None
    out = StringIO()
    figure.savefig(out, format="svg")
    return out.getvalue()


def save_figure(figure: "Figure", path: Path) -> None:
    """Write a figure, whole or not at all; the same figure gives the same bytes.

    Raises ``OSError`` if the file cannot be written.
    """
    import matplotlib as mpl  # noqa: PLC0415
    from matplotlib.text import Text  # noqa: PLC0415

    kind = path.suffix.lower()
    for text in figure.findobj(Text):
        # The name of a file need not be UTF-8.
        text.set_text(text.get_text().encode("utf-8", "backslashreplace").decode())
    # A sign that the font lacks is drawn as a box; that is no reason to speak on a terminal.
    with (
        whole_binary(path) as out,
        mpl.rc_context({"svg.hashsalt": "padbench"}),
        warnings.catch_warnings(),
    ):
        warnings.filterwarnings("ignore", message="Glyph .* missing from")
        figure.savefig(out, format=kind[1:], dpi=150, metadata=_NO_DATE.get(kind))
