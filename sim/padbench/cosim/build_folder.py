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
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

from padbench.cosim.job import RECORDS, Job

_PLAIN = re.compile(r"[\w./+-]+", re.ASCII)


@contextmanager
def build_folder() -> Iterator[Path]:
    """A new folder for one build, gone afterwards.

    Where this process is killed, what watches its programs (`padbench.cosim.process.Programs`)
    takes it away. Raises ``OSError`` if there is no place for it.
    """
    place = Path(tempfile.mkdtemp(prefix=f"padbench-build-{os.getpid()}-", dir=_base()))
    try:
        yield place
    finally:
        shutil.rmtree(place, ignore_errors=True)


def _base() -> Path:
    """The system's temporary folder, or where that has a name to be misread, a usual one."""
    usual = tempfile.gettempdir()
    for base in (usual, "/tmp", "/var/tmp"):
        real = os.path.realpath(base)
        if _PLAIN.fullmatch(real) and os.access(real, os.W_OK):
            return Path(real)
    return Path(usual)


def within_reach(job: Job, folder: Path) -> Job:
    """The job with sources that are plain paths: copies in ``folder`` where theirs are not."""
    sources, includes = list(job.sources), list(job.includes)
    for number, source in enumerate(sources):
        if not _PLAIN.fullmatch(source):
            # A link would not do: cocotb follows it.
            copy = folder / f"source-{number}{Path(source).suffix}"
            sources[number] = str(shutil.copyfile(source, copy))
    for number, include in enumerate(includes):
        if not _PLAIN.fullmatch(include):
            includes[number] = str(shutil.copytree(include, folder / f"include-{number}"))
    return replace(job, sources=sources, includes=includes)


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
