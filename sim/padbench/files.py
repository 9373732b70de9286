"""Output files that are whole or not there at all.

    with whole_file(Path("out/report.json")) as out:
        out.write(text)

Whatever ends the block early, from a full disk to an interrupt key, leaves the target as it was.
Within `one_run` outputs are announced at the start with `plan`, and none may be a file that
`was_read` or another output. What cannot be written at the end is kept in `Run.failed`, so that
the run can still tell its verdict.
"""

import errno
import os
import secrets
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress
from contextvars import ContextVar
from dataclasses import dataclass, field
from pathlib import Path
from stat import S_IMODE
from typing import IO, Any, Literal
from unicodedata import normalize


@dataclass(frozen=True, slots=True)
class Run:
    """The files of one command, by `_key`, and the outputs that could not be written."""

    used: dict[str, Literal["reads", "plans", "writes"]] = field(default_factory=dict)
    named: dict[str, str] = field(default_factory=dict)  # outputs as the user spelled them
    written: set[Path] = field(default_factory=set)
    failed: list[OSError] = field(default_factory=list)


class NotAllowed(PermissionError):
    """The place of an output, where nobody who runs this may write; told with the user's name."""


_RUN: ContextVar[Run | None] = ContextVar("files of this run", default=None)
_SAYS = {
    "reads": "this run reads it and does not write over it",
    "plans": "this run writes something else to it",
    "writes": "this run writes something else to it",
}


@contextmanager
def one_run() -> Iterator[Run]:
    """One command: within the block files read and files written are told apart.

    Inside another one it is that one.
    """
    outer = _RUN.get()
    if outer is not None:
        yield outer
        return
    run = Run()
    token = _RUN.set(run)
    try:
        yield run
    finally:
        _RUN.reset(token)


def was_read(path: Path) -> None:
    """Remember an input, which no output may be; ``OSError`` if an output is planned there."""
    run = _RUN.get()
    if run is None:
        return
    for key in _keys(path):
        if run.used.get(key) == "plans":
            raise OSError(errno.EBUSY, _SAYS["reads"], run.named[key])
        run.used[key] = "reads"


def plan(path: Path) -> None:
    """Announce an output and try its place; what exists is not touched.

    Raises ``OSError`` if nothing can be written there, or if this run has to do with that file
    already. Two spellings of one file are one, also where the file system ignores case.
    """
    run = _RUN.get()
    if run is None or _own_handle(path) is not None:
        return
    if path.is_dir():
        raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR), str(path))
    if path.exists() and not path.is_file():
        return
    keys = _keys(path)
    for key in keys:
        if key in run.used:
            raise OSError(errno.EBUSY, _SAYS[run.used[key]], str(path))
    if path.exists() and not os.access(path, os.W_OK):
        # Another file could take its name all the same, but somebody has protected it.
        raise NotAllowed(errno.EACCES, os.strerror(errno.EACCES), str(path))
    _try(Path(os.path.realpath(path)).parent, path)
    for key in keys:
        run.used[key] = "plans"
        run.named[key] = str(path)


def plan_folder(folder: Path) -> None:
    """Try a folder that is to get files; ``OSError`` if it cannot be made or written."""
    if _RUN.get() is not None:
        _try(Path(os.path.realpath(folder)), folder)


def _try(folder: Path, path: Path) -> None:
    """Make a file in a folder, or in the nearest one above it that there is, and remove it."""
    while not folder.exists():
        folder = folder.parent
    if not folder.is_dir():
        raise NotADirectoryError(errno.ENOTDIR, os.strerror(errno.ENOTDIR), str(folder))
    trial = folder / f".{secrets.token_hex(8)}.part"
    try:
        # Also where a signal comes between the two.
        try:
            trial.touch(exist_ok=False)
        finally:
            trial.unlink(missing_ok=True)
    except FileNotFoundError:
        # The folder is there: its file system makes no files, under any name.
        raise OSError(errno.EROFS, os.strerror(errno.EROFS), str(path)) from None
    except OSError as error:
        raise _told(error, path) from None


def _told(error: OSError, path: Path) -> OSError:
    """The error under the user's own name, and no longer like that of an input."""
    kind = NotAllowed if isinstance(error, PermissionError) else OSError
    return kind(error.errno, error.strerror, str(path))


def claim(path: Path) -> None:
    """Take a file for an output; ``OSError`` if this run has read it, or has written it already."""
    run = _RUN.get()
    if run is None:
        return
    key = _key(path)
    if run.used.get(key, "plans") != "plans":
        raise OSError(errno.EBUSY, _SAYS[run.used[key]], str(path))
    run.used[key] = "writes"
    run.written.add(Path(os.path.realpath(path)))


def written_in(folder: Path) -> set[str]:
    """Names of the files that this run has written into a folder."""
    run, real = _RUN.get(), Path(os.path.realpath(folder))
    return {path.name for path in run.written if path.parent == real} if run else set()


def _keys(path: Path) -> tuple[str, ...]:
    """What a file is known by: its place, and where it has several names the file itself."""
    with suppress(OSError):
        status = path.stat()
        if status.st_nlink > 1:
            return _key(path), f"{status.st_dev}:{status.st_ino}"
    return (_key(path),)


def _key(path: Path) -> str:
    """One text for all spellings of a file, whether or not it is there."""
    real = os.path.realpath(path)
    return normalize("NFC", real).casefold() if _ignores_case(Path(real)) else real


def _ignores_case(path: Path) -> bool:
    """Whether another spelling of what there is of a path leads to the same place."""
    while not path.exists() and path != path.parent:
        path = path.parent
    try:
        return path.samefile(str(path).swapcase()) and str(path) != str(path).swapcase()
    except OSError:
        return False


_RESERVED = {"con", "prn", "aux", "nul", *(f"{d}{n}" for d in ("com", "lpt") for n in range(1, 10))}


def usable_name(name: str) -> str:
    """A name for a file that no system reserves for a device: ``con`` becomes ``con-``."""
    stem, dot, ending = name.partition(".")
    return f"{stem}-{dot}{ending}" if stem.rstrip().casefold() in _RESERVED else name


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
    """As `_opened`; within a run what goes wrong is kept for its end."""
    run = _RUN.get()
    kept = run.failed if run is not None and overwrite else None
    try:
        with ExitStack() as stack:
            try:
                out = stack.enter_context(_opened(path, overwrite, binary))
            except OSError as error:
                if kept is None:
                    raise
                kept.append(error)
                out = stack.enter_context(Path(os.devnull).open(f"w{binary}"))
            yield out
    except OSError as error:
        if kept is None or error.filename not in (None, str(path)):
            raise
        kept.append(OSError(error.errno, error.strerror, str(path)))


@contextmanager
def _opened(path: Path, overwrite: bool, binary: str) -> Iterator[IO[Any]]:
    # The name of a file may be no UTF-8; where one is told, what is not is escaped.
    text = {"encoding": "utf-8", "errors": "backslashreplace", "newline": "\n"}
    how: dict[str, Any] = {} if binary else text
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
    _make_folder(target.parent, path)
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
    except OSError as error:
        if error.filename not in (None, str(temporary)):
            raise
        raise _told(error, path) from None
    finally:
        with suppress(OSError):
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


def _make_folder(folder: Path, path: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except FileExistsError:
        # It would read as "the output exists", which is not what is wrong.
        raise NotADirectoryError(errno.ENOTDIR, os.strerror(errno.ENOTDIR), str(folder)) from None
    except OSError as error:
        raise _told(error, path) from None


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
