"""Where a design is built: a folder of its own whose name no shell, make or simulator misreads.

    with build_folder() as folder: ...

Simulators put names of files into lines for a shell or for make. So neither the sheet's name nor
the place of the sources reaches them: a source whose path has anything but plain signs is
copied into the folder, and messages are told with its own path (`as_written`).
"""

import contextlib
import os
import re
import shutil
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

from padbench.cosim.job import RECORDS, HdlError, Job

_PREFIX = "padbench-build-"
_PLAIN = re.compile(r"[\w./+-]+", re.ASCII)
_MOST_COPIED = 2_000
"""Files and folders of headers."""
_NEW = 60.0
"""Seconds in which a folder may not have its lock yet."""


@contextmanager
def build_folder() -> Iterator[Path]:
    """A new folder for one build, gone afterwards; those of runs that were killed go first.

    Where this process is killed, what watches its programs (`padbench.cosim.process.Programs`)
    takes it away, if any runs. Raises ``OSError`` if there is no place for it.
    """
    _sweep()
    place = Path(tempfile.mkdtemp(prefix=f"{_PREFIX}{os.getpid()}-", dir=_base()))
    lock = _locked(place)
    try:
        yield place
    finally:
        shutil.rmtree(place, ignore_errors=True)
        if lock is not None:
            os.close(lock)


@contextmanager
def swept() -> Iterator[None]:
    """At its end the build folders of processes that are gone are taken away."""
    try:
        yield
    finally:
        _sweep()


def _sweep() -> None:
    for old in _base().glob(f"{_PREFIX}*"):
        _take_away(old)


def _base() -> Path:
    """The system's temporary folder, or where that has a name to be misread, a usual one."""
    usual = tempfile.gettempdir()
    for base in (usual, "/tmp", "/var/tmp"):
        real = os.path.realpath(base)
        if _PLAIN.fullmatch(real) and os.access(real, os.W_OK):
            return Path(real)
    return Path(usual)


def _locked(folder: Path) -> int | None:
    """The folder, open and locked as long as this process lives; None if another has locked it."""
    import fcntl  # noqa: PLC0415 - of Unix alone, as the simulators are here

    handle = os.open(folder, os.O_RDONLY)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        os.close(handle)
        return None
    return handle


def _take_away(old: Path) -> None:
    """Remove a build folder that is ours and that no process holds any more."""
    with contextlib.suppress(OSError):
        status = old.lstat()
        if status.st_uid != os.getuid() or old.is_symlink() or not old.is_dir():
            return
        if time.time() - status.st_mtime < _NEW and _lives(old.name):
            return
        lock = _locked(old)
        if lock is not None:
            shutil.rmtree(old, ignore_errors=True)
            os.close(lock)


def _lives(name: str) -> bool:
    """Whether there is a process of the number that a folder has in its name."""
    number = re.match(rf"{_PREFIX}(\d+)-", name)
    try:
        os.kill(int(number[1]) if number else 0, 0)
    except (ProcessLookupError, OverflowError):
        return False
    except OSError:
        pass  # it is another user's
    return True


def within_reach(job: Job, folder: Path) -> Job:
    """The job with sources that are plain paths: copies in ``folder`` where theirs are not.

    Raises `HdlError` for a folder of headers that is too much to copy, or has no end.
    """
    sources, includes = list(job.sources), list(job.includes)
    for number, source in enumerate(sources):
        if not _PLAIN.fullmatch(source):
            # A link would not do: cocotb follows it.
            copy = folder / f"source-{number}{Path(source).suffix}"
            sources[number] = str(shutil.copyfile(source, copy))
    for number, include in enumerate(includes):
        if not _PLAIN.fullmatch(include):
            if says := _too_much(include):
                raise HdlError(f"include[{number}]", says)
            copy = folder / f"include-{number}"
            includes[number] = str(shutil.copytree(include, copy, ignore=_unreadable))
    return replace(job, sources=sources, includes=includes)


def _too_much(include: str) -> str:
    """Why a folder is not copied; empty if it can be."""
    found, seen = 0, set[str]()
    for place, _, names in os.walk(include, followlinks=True):
        real = os.path.realpath(place)
        if real in seen:
            return f"{place} is a link to a folder that is there already; take the link away"
        seen.add(real)
        found += 1 + len(names)
        if found > _MOST_COPIED:
            return f"{include} has more than {_MOST_COPIED} files; name the folder of the headers"
    return ""


def _unreadable(folder: str, names: list[str]) -> list[str]:
    """What is no file and no folder, such as a pipe or a link to nothing: copying would stop."""
    paths = {name: Path(folder) / name for name in names}
    return [name for name, path in paths.items() if not (path.is_file() or path.is_dir())]


def as_written(says: str, job: Job, used: Job) -> str:
    """A simulator's message with the sources' own paths."""
    pairs = [*zip(job.sources, used.sources, strict=True)]
    for own, copy in [*pairs, *zip(job.includes, used.includes, strict=True)]:
        says = says.replace(copy, own)
    return says


def size_of(folder: Path) -> int:
    """Bytes of all files of a build but its records."""
    total = 0
    for where, _, names in os.walk(folder):
        for name in names:
            with contextlib.suppress(OSError):
                total += (Path(where) / name).lstat().st_size if name != RECORDS else 0
    return total
