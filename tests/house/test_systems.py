"""What must not hang on one operating system: everything but HDL runs without Unix's own parts."""

import subprocess
import sys

ELSEWHERE = """
import os, signal, sys

for name in ("fcntl", "resource", "pwd", "grp", "termios"):
    sys.modules[name] = None
for name in ("getuid", "geteuid", "killpg", "fork", "setsid", "mkfifo", "O_NOFOLLOW"):
    if hasattr(os, name):
        delattr(os, name)
for name in ("SIGHUP", "SIGKILL"):
    delattr(signal, name)
from padbench.cli import main

def run(*words):
    code = main(list(words))
    if code:
        sys.exit(f"{words}: {code}")

run("new", "pad.toml")
run("verify", "pad.toml", "--report", "pad.html")
run("inspect", "waves/out/pad/each-button.vcd")
run("wiring", "pad.toml", "--csv", "pad.csv")
run("routine", "read-twice")
"""


def test_all_but_hdl_runs_without_what_only_unix_has(tmp_path):
    ran = subprocess.run(
        [sys.executable, "-c", ELSEWHERE], cwd=tmp_path, capture_output=True, text=True, check=False
    )
    assert ran.returncode == 0, ran.stderr[-2000:]
    assert (tmp_path / "pad.html").exists()
