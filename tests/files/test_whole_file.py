"""Output files are whole or not there, whatever ends the writing."""

import errno
import os
import resource
import shutil
import stat
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from matplotlib.figure import Figure

from padbench import files
from padbench.files import claim, one_run, plan, usable_name, was_read, whole_file
from padbench.results.pictures import save_figure


def _names(folder: Path) -> list[str]:
    return [path.name for path in folder.iterdir()]


def _interrupt(path: Path, error: type[BaseException]) -> None:
    with whole_file(path) as out:
        out.write("half")
        out.flush()
        raise error


def _write(path: Path, text: str, flush: bool) -> None:
    with whole_file(path) as out:
        out.write(text)
        if flush:
            out.flush()


def _be_overtaken(path: Path) -> None:
    with whole_file(path, overwrite=False) as out:
        out.write("later")
        path.write_text("mine")


def test_writes_utf8_with_plain_line_ends(tmp_path: Path) -> None:
    path = tmp_path / "new" / "folder" / "report.txt"
    with whole_file(path) as out:
        out.write("4,7 kΩ\n")
        assert not path.exists()
    assert path.read_bytes() == b"4,7 k\xce\xa9\n"
    assert _names(path.parent) == ["report.txt"]


@pytest.mark.parametrize("error", [RuntimeError, KeyboardInterrupt, OSError, SystemExit])
@pytest.mark.parametrize("before", [None, "as it was"])
def test_an_interrupted_write_leaves_no_trace(
    tmp_path: Path, error: type[BaseException], before: str | None
) -> None:
    path = tmp_path / "waves.vcd"
    if before is not None:
        path.write_text(before)
    with pytest.raises(error):
        _interrupt(path, error)
    assert (path.read_text() if path.exists() else None) == before
    assert _names(tmp_path) == ([] if before is None else ["waves.vcd"])


@pytest.fixture
def small_files() -> Iterator[None]:
    """The kernel refuses to let a file grow over 8 KiB, as a full disk would."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (8192, hard))
    yield
    resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


@pytest.mark.usefixtures("small_files")
@pytest.mark.parametrize("flush", [True, False])
def test_a_write_that_the_system_refuses(tmp_path: Path, flush: bool) -> None:
    path = tmp_path / "waves.vcd"
    path.write_text("as it was")
    # Without the flush a part is still in memory, so the error comes when the file is closed.
    text = "x" * (100_000 if flush else 8193)
    with pytest.raises(OSError) as caught:
        _write(path, text, flush)
    assert caught.value.errno == errno.EFBIG
    assert path.read_text() == "as it was"
    assert _names(tmp_path) == ["waves.vcd"]


_FILL = """
import os, sys
from pathlib import Path
from padbench.files import whole_file
path = Path(sys.argv[1]) / "waves.vcd"
path.write_text("as it was")
try:
    with whole_file(path) as out:
        out.write("x" * 1_000_000)
except OSError as error:
    print(error.errno, path.read_text(), os.listdir(path.parent))
"""


def test_a_full_disk(tmp_path: Path) -> None:
    unshare = shutil.which("unshare")
    if unshare is None:
        pytest.skip("needs unshare to mount a small disk without rights")
    mount = 'mount -t tmpfs -o size=64k none "$1" || exit 77; exec "$2" -c "$3" "$1"'
    done = subprocess.run(
        [unshare, "-Urm", "sh", "-c", mount, "sh", str(tmp_path), sys.executable, _FILL],
        capture_output=True,
        text=True,
        check=False,
    )
    if done.returncode == 77 or "unshare" in done.stderr:
        pytest.skip("this system lets nobody mount a small disk")
    assert done.stdout == f"{errno.ENOSPC} as it was ['waves.vcd']\n", done.stderr


def test_refuses_an_existing_file_at_once(tmp_path: Path) -> None:
    path = tmp_path / "sheet.toml"
    path.write_text("mine")
    with pytest.raises(FileExistsError) as caught, whole_file(path, overwrite=False):
        pytest.fail("the block should not begin")
    assert caught.value.filename == str(path)
    assert path.read_text() == "mine"


@pytest.mark.parametrize("links", [True, False])
def test_refuses_a_file_that_appears_meanwhile(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, links: bool
) -> None:
    if not links:
        monkeypatch.setattr(os, "link", _no_links)
    path = tmp_path / "sheet.toml"
    with pytest.raises(FileExistsError):
        _be_overtaken(path)
    assert path.read_text() == "mine"
    assert _names(tmp_path) == ["sheet.toml"]


@pytest.mark.parametrize("links", [True, False])
def test_a_free_name_is_taken(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, links: bool) -> None:
    if not links:
        monkeypatch.setattr(os, "link", _no_links)
    path = tmp_path / "sheet.toml"
    with whole_file(path, overwrite=False) as out:
        out.write("new")
    assert path.read_text() == "new"
    assert _names(tmp_path) == ["sheet.toml"]


def _no_links(*_: object) -> None:
    raise OSError(errno.EPERM, os.strerror(errno.EPERM))


def test_permissions_are_those_of_a_plain_open(tmp_path: Path) -> None:
    new, old = tmp_path / "new", tmp_path / "old"
    old.write_text("")
    old.chmod(0o604)
    before = os.umask(0o027)
    try:
        for path in (new, old):
            with whole_file(path) as out:
                out.write("text")
    finally:
        os.umask(before)
    assert stat.S_IMODE(new.stat().st_mode) == 0o640
    assert stat.S_IMODE(old.stat().st_mode) == 0o604


def test_a_link_stays_a_link(tmp_path: Path) -> None:
    real, link = tmp_path / "deep" / "real", tmp_path / "link"
    real.parent.mkdir()
    real.write_text("old")
    link.symlink_to(real)
    with whole_file(link) as out:
        out.write("new")
    assert link.is_symlink()
    assert real.read_text() == "new"


def test_a_pipe_is_written_directly(tmp_path: Path) -> None:
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    got: list[str] = []
    reader = threading.Thread(target=lambda: got.append(pipe.read_text()), daemon=True)
    reader.start()
    with whole_file(pipe) as out:
        out.write("through")
    # A writer that replaced the pipe would leave the reader waiting.
    reader.join(timeout=2)
    assert got == ["through"]
    assert stat.S_ISFIFO(pipe.stat().st_mode)


@pytest.mark.parametrize("name", ["/dev/stdout", "/dev/fd/1", "/proc/self/fd/1"])
def test_standard_output_sent_to_a_file(tmp_path: Path, name: str) -> None:
    path = tmp_path / "out.txt"
    code = (
        "import os, sys; from pathlib import Path; from padbench.files import whole_file\n"
        "os.write(1, b'before, ')\n"
        "with whole_file(Path(sys.argv[1])) as out: out.write('here, ')\n"
        "os.write(1, b'after')"
    )
    with path.open("w") as out:
        kept = os.fstat(out.fileno()).st_ino
        subprocess.run([sys.executable, "-c", code, name], stdout=out, check=True)
    assert path.read_text() == "before, here, after"
    assert path.stat().st_ino == kept


def test_places_that_cannot_be_written(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(NotADirectoryError), whole_file(tmp_path / "file" / "a"):
        pass
    with pytest.raises(NotADirectoryError), whole_file(tmp_path / "file" / "a" / "b"):
        pass
    with pytest.raises(IsADirectoryError), whole_file(tmp_path):
        pass
    assert _names(tmp_path) == ["file"]


def _touch(path: Path) -> None:
    with whole_file(path) as out:
        out.write("new")


def test_within_a_run_no_output_takes_the_place_of_an_input_or_of_another_output(
    tmp_path: Path,
) -> None:
    sheet, link, page = tmp_path / "pad.toml", tmp_path / "link", tmp_path / "page.html"
    sheet.write_text("mine")
    link.symlink_to(sheet)
    with one_run():
        was_read(sheet)
        for name in (sheet, link, tmp_path / "." / "x" / ".." / "pad.toml"):
            with pytest.raises(OSError, match="this run reads it"):
                claim(name)
        _touch(page)
        with pytest.raises(OSError, match="writes something else"):
            claim(page)
    assert sheet.read_text() == "mine"
    # The next run knows nothing of that one.
    with one_run():
        _touch(page)


def test_devices_may_be_named_twice() -> None:
    with one_run():
        _touch(Path("/dev/null"))
        _touch(Path("/dev/null"))


def test_a_picture_goes_through_no_link_that_lies_ready(tmp_path):
    """What somebody else has laid beside the target is left alone, whatever its name."""
    sheet = tmp_path / "sheet.toml"
    sheet.write_text("precious")
    beside = tmp_path / ".picture.svg.part"
    beside.symlink_to(sheet)
    save_figure(Figure(), tmp_path / "picture.svg")
    assert sheet.read_text() == "precious"
    assert beside.is_symlink()
    assert (tmp_path / "picture.svg").read_bytes().startswith(b"<?xml")
    assert len(list(tmp_path.iterdir())) == 3


def test_what_fails_at_the_end_of_a_run_is_kept_and_the_run_goes_on(tmp_path: Path) -> None:
    page = tmp_path / "page.html"
    page.write_text("as it was")
    with one_run() as run:
        plan(page)
        with whole_file(page) as out:
            out.write("half")
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        (tmp_path / "folder").mkdir()
        _touch(tmp_path / "folder")
    assert [(error.errno, error.filename) for error in run.failed] == [
        (errno.ENOSPC, str(page)),
        (errno.EISDIR, str(tmp_path / "folder")),
    ]
    assert page.read_text() == "as it was"
    assert _names(tmp_path / "folder") == []


def test_two_outputs_are_compared_as_files(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    link = tmp_path / "link"
    link.symlink_to(tmp_path)
    with one_run():
        plan(tmp_path / "a")
        plan(tmp_path / "A")
        with pytest.raises(OSError, match="writes something else"):
            plan(link / "a")
    monkeypatch.setattr(files, "_ignores_case", lambda _: True)
    with one_run():
        plan(tmp_path / "a")
        with pytest.raises(OSError, match="writes something else"):
            plan(tmp_path / "A")
    assert _names(tmp_path) == ["link"]


def test_an_output_that_is_read_later_is_refused_then(tmp_path: Path) -> None:
    sheet = tmp_path / "pad.toml"
    sheet.write_text("mine")
    with one_run():
        plan(sheet)
        with pytest.raises(OSError, match="this run reads it"):
            was_read(sheet)


def test_no_name_of_a_device() -> None:
    assert [usable_name(name) for name in ("con", "NUL.vcd", "com1.x", "console", "idle.vcd")] == [
        *("con-", "NUL-.vcd", "com1-.x", "console", "idle.vcd")
    ]


def test_another_name_of_an_input_is_no_place_for_an_output(tmp_path: Path) -> None:
    sheet, twin = tmp_path / "s.toml", tmp_path / "m.svg"
    sheet.write_text("sheet")
    os.link(sheet, twin)
    with one_run():
        was_read(sheet)
        with pytest.raises(OSError, match="this run reads it"):
            plan(twin)
    with one_run():
        plan(twin)
        with pytest.raises(OSError, match="this run reads it"):
            was_read(sheet)
