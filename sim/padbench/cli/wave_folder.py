"""Where waves go: a folder a sheet, and in it those of the last run only.

    with wave_folder(sheet, options.waves, options.no_waves) as folder:
        verify(sheet, waves=folder)

A folder that the user names is his: nothing in it is taken away, and no list is laid there.
"""

import json
import os
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from itertools import count
from pathlib import Path, PurePosixPath
from typing import Any

from padbench.cli.errors import UsageError, exit_code
from padbench.files import plan_folder, usable_name, whole_file, written_in

_LIST = ".padbench-waves"
"""JSON: the sheet whose waves these are, and which files are ours, relative to the folder."""


@contextmanager
def wave_folder(
    sheet: Path, waves: Path | None, no_waves: bool, part: str = "", *, more: bool = False
) -> Iterator[Path | None]:
    """The folder for this sheet's waves, None for no waves; it is tried at once.

    Without one of the user's it is ``waves/out/NAME``, or ``NAME-2`` where another sheet of that
    name has been, and of that the ``part``. At the end of the block what an earlier run left
    there is taken away, unless this one wants ``more`` beside it.
    """
    if no_waves or waves is not None:
        if waves is not None and not no_waves:
            plan_folder(waves)
        yield None if no_waves else waves
        return
    own = Path("waves", "out", usable_name(sheet.stem))
    named = (own.with_name(own.name + (f"-{n}" if n > 1 else "")) for n in count(1))
    folder = next(one for one in named if _belongs(one, sheet))
    try:
        plan_folder(folder / part)
    except OSError as error:
        why = (error.strerror or str(error)).lower()
        says = f"{folder}: {why}; say with --waves DIR where waves go, or give --no-waves"
        raise UsageError(says, code=exit_code(error)) from None
    if (folder / _LIST).is_symlink():
        says = "a link stands where padbench lists a folder's waves; remove it, or give --waves DIR"
        raise UsageError(f"{folder / _LIST}: {says}")
    yield folder / part
    wrote = {(PurePosixPath(part) / name).as_posix() for name in written_in(folder / part)}
    if not wrote:
        return
    listed = {name for name in _list(folder)["waves"] if _is_ours(name)}
    before = {name for name in listed if PurePosixPath(name).parent == PurePosixPath(part)}
    gone = set() if more else before - wrote
    for name in gone:
        # A link is the user's: no run leaves one.
        with suppress(OSError):
            if not (folder / name).is_symlink():
                (folder / name).unlink()
    with whole_file(folder / _LIST) as out:
        about = {"sheet": os.path.relpath(sheet, folder), "waves": sorted(listed - gone | wrote)}
        json.dump(about, out, indent=1)


def several(sheets: Sequence[Path], waves: Path | None) -> Iterator[tuple[Path, Path | None]]:
    """Each sheet with the folder that the user named; several have one each in that."""
    taken: set[str] = set()
    for sheet in sheets:
        stem = usable_name(sheet.stem)
        names = (stem + (f"-{n}" if n > 1 else "") for n in count(1))
        name = next(name for name in names if name.casefold() not in taken)
        taken.add(name.casefold())
        yield sheet, waves / name if waves is not None and len(sheets) > 1 else waves


def _belongs(folder: Path, sheet: Path) -> bool:
    """Whether no other sheet has its waves there, or only one that is gone."""
    owner = _list(folder)["sheet"]
    try:
        return not owner or not (folder / owner).exists() or (folder / owner).samefile(sheet)
    except (OSError, ValueError):
        return True


def _list(folder: Path) -> dict[str, Any]:
    # Deeply nested, it is more than Python reads; and it may be a pipe, which would never end.
    with suppress(OSError, ValueError, KeyError, TypeError, RecursionError):
        if not (folder / _LIST).is_file():
            raise FileNotFoundError(_LIST)
        about = json.loads((folder / _LIST).read_text(encoding="utf-8"))
        if isinstance(about["sheet"], str) and isinstance(about["waves"], list):
            return dict(about)
    return {"sheet": "", "waves": []}


def _is_ours(name: object) -> bool:
    """A list that somebody has changed names nothing outside of the folder."""
    if not isinstance(name, str) or not name.endswith(".vcd") or "\0" in name:
        return False
    return not PurePosixPath(name).is_absolute() and ".." not in PurePosixPath(name).parts
