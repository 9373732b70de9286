"""``padbench live`` as a process: it says where it is, ends with Ctrl-C, leaves nothing."""

import json
import shutil
import signal
import socket
import subprocess
import sys
from pathlib import Path
from urllib.error import HTTPError
from urllib.request import urlopen

import pytest

from padbench.cli import main
from padbench.live.bench import Bench
from padbench.live.dials import turned
from padbench.live.page import page_html
from padbench.live.state import State
from padbench.sheet import STARTER, load_sheet, sheet_from_text

ROOT = Path(__file__).parents[2]
B = ROOT / "sim" / "sheets" / "harbour-b.toml"

FIRMWARE = """
[pad]
name = "A pad with \\"quotes\\" and <b>"
supply = "5 V ± 5 %"
[register]
kind = "firmware"
first-bit = "1 us to 3 us"
next-bit = "1 us to 3 us"
shortest-pulse = "200 ns"
[buttons]
A = 8
B = 7
Select = 6
Start = 5
Up = 4
Down = 3
Left = 2
Right = 1
[pull-up]
value = "39k ± 5 %"
[works-with]
ports = ["push-pull"]
[poll]
routine = "read-twice"
"""


def test_it_serves_until_ctrl_c(tmp_path):
    shutil.copy(B, tmp_path)
    command = [sys.executable, "-m", "padbench", "live", "harbour-b.toml", "--no-browser", "--json"]
    with subprocess.Popen(
        command, cwd=tmp_path, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as process:
        told = json.loads(process.stdout.readline())
        assert told["address"].startswith("http://127.0.0.1:")
        assert b"Harbour Street" in urlopen(told["address"]).read()
        with pytest.raises(HTTPError, match="403"):
            urlopen(told["address"] + "x")
        process.send_signal(signal.SIGINT)
        out, err = process.communicate(timeout=60)
    assert (process.returncode, out) == (130, "")
    assert err.count("\n") == 1
    assert [path.name for path in tmp_path.iterdir()] == ["harbour-b.toml"]


def test_what_cannot_be_served_is_one_line(tmp_path, capsys):
    (tmp_path / "bad.toml").write_text(STARTER.replace('"39k ± 5 %"', '"39 kF"'), encoding="utf-8")
    assert main(["live", str(tmp_path / "bad.toml")]) == 2
    assert "pull-up.value" in capsys.readouterr().err
    assert main(["live", str(B), "--port", "70000"]) == 2
    assert capsys.readouterr().err.count("\n") == 1
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        assert main(["live", str(B), "--port", str(taken.getsockname()[1])]) == 2
    said = capsys.readouterr().err
    assert said.startswith("padbench: --port: ")
    assert said.count("\n") == 1


def test_an_export_takes_the_place_of_no_sheet(tmp_path, capsys):
    shutil.copy(B, tmp_path)
    sheet = tmp_path / "harbour-b.toml"
    before = sheet.read_bytes()
    assert main(["live", str(sheet), "--export", str(sheet)]) != 0
    assert "does not write over it" in capsys.readouterr().err
    assert sheet.read_bytes() == before


@pytest.mark.parametrize("text", [STARTER, FIRMWARE, B.read_text(encoding="utf-8")])
def test_a_sheet_that_nobody_turned_is_the_sheet(text):
    sheet = load_sheet(text)
    assert sheet_from_text(turned(sheet, {}), "x") == sheet


def test_a_pad_that_is_a_program_behind_a_routine(tmp_path):
    path = tmp_path / "pad.toml"
    path.write_text(FIRMWARE, encoding="utf-8")
    bench = Bench(path)
    assert "register.part" not in {dial.key for dial in bench.dials}
    assert "<b>" not in page_html(bench, "token").replace("<b>–</b>", "")
    shown = bench.read(State(held=0x81, event="fetch", bit=8))
    assert shown.twice is None
    assert shown.run.reads[shown.number].byte == 0x81
    assert shown.run.accepted == (0x81, 0x81)
    assert bench.read(State(held=4, dials={"poll.use": "plain-loop"})).run.reads[0].byte == 4


def test_parts_of_ones_own_are_found_beside_the_sheet(tmp_path):
    shipped = (ROOT / "sim" / "padbench" / "parts" / "ports.toml").read_text(encoding="utf-8")
    port = shipped.split("[pull-down-only]")[1].split("\n[")[0]
    (tmp_path / "my-parts.toml").write_text(f"[port.workshop]{port}", encoding="utf-8")
    path = tmp_path / "pad.toml"
    text = B.read_text(encoding="utf-8").replace('"pull-down-only"]', '"workshop"]')
    path.write_text('[parts]\nfile = "my-parts.toml"\n' + text, encoding="utf-8")
    bench = Bench(path)
    state = State(held=0x40, dials={"works-with.ports": "workshop"})
    assert bench.read(state).run.port == "workshop"
    assert bench.read(state).run.reads[0].byte == 0x40
