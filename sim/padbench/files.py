"""Output files that are whole or not there at all.

    with whole_file(Path("out/report.json")) as out:
        out.write(text)

Whatever ends the block early, from a full disk to an interrupt key, leaves the target as it was.
Within `one_run` no output may be a file that `was_read`, nor one that was written already.
"""

import errno
import os
import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from pathlib import Path
from stat import S_IMODE
from typing import IO, Any

__all__ = ["claim", "one_run", "was_read", "whole_binary", "whole_file"]

# Real path of each file, and what this run has to do with it.
_USED: ContextVar[dict[str, str] | None] = ContextVar("files of this run", default=None)


@contextmanager
def one_run() -> Iterator[None]:
    """One command: within the block files read and files written are told apart.

    Inside another one it is that one.
    """
    if _USED.get() is not None:
        yield
        return
    token = _USED.set({})
    try:
        yield
    finally:
        _USED.reset(token)


def was_read(path: Path) -> None:
    """Remember an input, which `claim` then refuses."""
    used = _USED.get()
    if used is not None:
        used[os.path.realpath(path)] = "this run reads it and does not write over it"


def claim(path: Path) -> None:
    """Take a file for an output; ``OSError`` if this run has read it, or has written it already."""
    used, target = _USED.get(), os.path.realpath(path)
    if used is None:
        return
    if target in used:
        raise OSError(errno.EBUSY, used[target], str(path))
    used[target] = "this run writes something else to it"


@contextmanager
def whole_file(path: Path, *, overwrite: bool = True) -> Iterator[IO[str]]:
    r"""Open ``path`` for UTF-8 text with ``\n`` at line ends; it appears when the block ends well.

    See `whole_binary`.
    """
    with _whole(path, overwrite, "") as out:
        yield out


@contextmanager
def whole_binary(path: Path, *, overwrite: bool = True) -> Iterator[IO[bytes]]:
    """Open ``path`` for bytes; the file appears when the block ends well.

    Missing folders are made. Permissions are those a plain ``open`` would give. A device, a FIFO
    or the standard output (``/dev/stdout``) has no whole to wait for and is written directly.

    Raises ``FileExistsError`` if ``overwrite`` is False and the file exists, even if it came to
    exist during the block, and any other ``OSError`` for a place that cannot be written or that
    `claim` refuses.
    """
    with _whole(path, overwrite, "b") as out:
        yield out


@contextmanager
def _whole(path: Path, overwrite: bool, binary: str) -> Iterator[IO[Any]]:
    how: dict[str, Any] = {} if binary else {"encoding": "utf-8", "newline": "\n"}
    handle = _own_handle(path)
    if handle is not None:
        # A copy of the handle goes on where it stands; opening the name would start over.
        with os.fdopen(os.dup(handle), f"w{binary}", **how) as out:
            yield out
        return
    if path.exists() and not path.is_file():
        if not overwrite:
            raise _exists(path)
        with path.open(f"w{binary}", **how) as out:
            yield out
        return
    # Through a link, so that the link stays one; `Path.resolve` has an error of its own for loops.
    target = Path(os.path.realpath(path))
    if target.exists() and not overwrite:
        raise _exists(path)
    claim(path)
    _make_folder(target.parent)
    temporary = target.with_name(f".{secrets.token_hex(8)}.part")
    try:
        # Mode x for a file that is surely ours; the umask has its say, as it has not with mkstemp.
        with temporary.open(f"x{binary}", **how) as out:
            if target.exists():
                temporary.chmod(S_IMODE(target.stat().st_mode))
            yield out
        # Errors of late writing appear when a file is closed, so the move comes after that.
        if overwrite:
            temporary.replace(target)
        else:
            _move_to_free_name(temporary, target, path)
    finally:
        temporary.unlink(missing_ok=True)


def _own_handle(path: Path) -> int | None:
    """Number of the open file of this process that ``/dev/stdout`` or the like stands for.

    Sent to a file by the shell, it would otherwise look like that file, and be replaced.
    """
    link = path.parent / path.readlink() if path.is_symlink() else path
    for way in (path, link):
        if way.name.isdigit() and os.path.realpath(way.parent) == f"/proc/{os.getpid()}/fd":
            return int(way.name)
    return None


def _make_folder(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except FileExistsError:
        # It would read as "the output exists", which is not what is wrong.
        raise NotADirectoryError(errno.ENOTDIR, os.strerror(errno.ENOTDIR), str(folder)) from None


def _move_to_free_name(temporary: Path, target: Path, path: Path) -> None:
    """Give the file its name if nothing has that name, in one step that nothing can come between.

    A hard link does it; where the file system has none, an empty file first claims the name.
    """
    try:
        os.link(temporary, target)
    except FileExistsError:
        raise _exists(path) from None
    except OSError:
        try:
            os.close(os.open(target, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o666))
        except FileExistsError:
            raise _exists(path) from None
        temporary.replace(target)


def _exists(path: Path) -> FileExistsError:
    return FileExistsError(errno.EEXIST, os.strerror(errno.EEXIST), str(path))
