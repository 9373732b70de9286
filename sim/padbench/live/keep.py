"""What the page shows, kept as files, and the command line that plays it again.

    keep(bench, State(held=0x80), "a-alone")["command"]

They lie beside the sheet, under a name of their own; no file that is there is touched.
"""

import re
import shlex
from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from padbench.files import usable_name, whole_binary
from padbench.jobs.loading import Refusal
from padbench.live.bench import Bench, Shown
from padbench.live.state import State
from padbench.results.pictures import save_figure
from padbench.results.wave_picture import wave_figure
from padbench.scenarios import ROUTINE_SCENARIOS, SCENARIOS
from padbench.waveio.vcd_out import write_wave

_NAME = re.compile(r"[a-z0-9][a-z0-9-]{0,39}")


def keep(bench: Bench, state: State, name: object) -> dict[str, Any]:
    """Write sheet, scenario, wave and picture of a state; ``files``, ``missing``, ``command``.

    Without matplotlib the picture is what is ``missing``. Raises `Refusal` for a name that is no
    plain name or is taken, ``OSError`` where a file cannot be written: then none is left behind.
    """
    if not isinstance(name, str) or not _NAME.fullmatch(name) or usable_name(name) != name:
        raise Refusal("name", 'write a plain name, such as "right-stops", without folder or ending')
    if name in SCENARIOS or name in ROUTINE_SCENARIOS:
        raise Refusal("name", f"{name} is a shipped scenario; take another name")
    shown = bench.read(state, name)
    folder = bench.path.parent
    sheet, own = folder / f"{name}.toml", folder / f"{name}-scenario.toml"
    command = _command(shown, sheet, own, state)
    head = f"Kept from the live bench of {bench.path.name}. To play it again:\n{command}"
    # The name of a file may have ends of lines in it.
    head = "".join(f"# {line}\n" for line in head.splitlines()) + "\n"
    about = f"{shown.run.name}: {shown.run.says} ({shown.run.where})"
    wanted: list[tuple[Path, Callable[[Path], None]]] = [
        (sheet, lambda path: _write(path, head + shown.pad.text)),
        (folder / f"{name}.vcd", lambda path: write_wave(shown.run.timeline, path, about)),
        (folder / f"{name}.svg", lambda path: _picture(path, shown)),
    ]
    if shown.own:
        wanted.insert(1, (own, lambda path: _write(path, head + shown.own)))
    taken = [path.name for path, _ in wanted if path.exists()]
    if taken:
        raise Refusal("name", f"there is a {taken[0]} already and it is left alone; take another")
    missing = ""
    # First all of them apart, so that a fault leaves nothing behind; then each takes its name.
    with TemporaryDirectory(dir=folder, prefix=".") as apart:
        for path, write in wanted:
            try:
                write(Path(apart) / path.name)
            except ValueError as error:
                missing = f"the picture: {error}"
        made = [(path, Path(apart) / path.name) for path, _ in wanted]
        made = [(path, part) for path, part in made if part.exists()]
        placed: list[Path] = []
        try:
            for path, part in made:
                with whole_binary(path, overwrite=False) as out:
                    out.write(part.read_bytes())
                placed.append(path)
        except OSError:
            for path in placed:
                path.unlink()
            raise
    return {"files": [path.name for path in placed], "missing": missing, "command": command}


def _command(shown: Shown, sheet: Path, own: Path, state: State) -> str:
    words = ["padbench", "play", str(sheet), "--scenario", shown.run.name]
    words += ["--scenarios", str(own)] if shown.own else []
    return shlex.join([*words, "--port", shown.run.port, "--corner", state.corner])


def _write(path: Path, text: str) -> None:
    path.write_text(text, encoding="utf-8")


def _picture(path: Path, shown: Shown) -> None:
    save_figure(wave_figure(shown.run, shown.number, path, pad=shown.pad.sheet.pad.name), path)
