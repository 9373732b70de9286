"""Output files that are whole or not there at all.

    with whole_file(Path("out/report.json")) as out:
        out.write(text)

Whatever ends the block early, from a full disk to an interrupt key, leaves the target as it was.
"""

import errno
import os
import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from stat import S_IMODE, S_ISREG
from typing import IO

__all__ = ["whole_file"]


@contextmanager
def whole_file(path: Path, *, overwrite: bool = True) -> Iterator[IO[str]]:
    r"""Open ``path`` for UTF-8 text with ``\n`` at line ends; it appears when the block ends well.

    Missing folders are made. Permissions are those a plain ``open`` would give. A device, a FIFO
    or the standard output (``/dev/stdout``) has no whole to wait for and is written directly.

    Raises ``FileExistsError`` if ``overwrite`` is False and the file exists, even if it came to
    exist during the block, and any other ``OSError`` for a place that cannot be written.
    """
    if _is_stream(path):
        with path.open("w", encoding="utf-8", newline="\n") as out:
            yield out
        return
    target = path.resolve()  # through a link, so that the link stays one
    if target.exists() and not overwrite:
        raise _exists(path)
    target.parent.mkdir(parents=True, exist_ok=True)
    temporary = target.with_name(f".{secrets.token_hex(8)}.part")
    try:
        # Mode x for a file that is surely ours; the umask has its say, as it has not with mkstemp.
        with temporary.open("x", encoding="utf-8", newline="\n") as out:
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


def _is_stream(path: Path) -> bool:
    """Whether ``path`` names something that a rename must not take the place of."""
    try:
        mode = path.stat().st_mode
    except FileNotFoundError:
        return False
    # Standard output that the shell sent to a file looks like that file from here; replacing the
    # file would leave the shell's handle on the old one. Such names lead through /proc.
    link = path.parent / path.readlink() if path.is_symlink() else path
    handles = any(way.parent.resolve().is_relative_to("/proc") for way in (path, link))
    return handles or not S_ISREG(mode)


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
