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
from padbench.live.page import _group, _orders, page_html
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


def test_the_address_stands_alone_on_its_line(monkeypatch, capsys):
    monkeypatch.setattr("padbench.live.server.LiveServer.serve_forever", lambda server: None)
    assert main(["live", str(B), "--no-browser"]) == 0
    where, ends = capsys.readouterr().out.splitlines()
    assert where.startswith("The bench stands at http://127.0.0.1:")
    assert "\\" not in where
    assert ends == "Ctrl-C ends it."


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device that is always full")
def test_an_export_that_was_not_written_is_not_said_to_be(monkeypatch, capsys):
    monkeypatch.setattr("padbench.live.page.export_html", lambda bench, step: "page" * 10_000)
    assert main(["live", str(B), "--export", "/dev/full"]) == 4
    assert "written" not in capsys.readouterr().out


def _pad(tmp_path, *changes):
    text = B.read_text(encoding="utf-8")
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    path = tmp_path / "pad.toml"
    path.write_text(text, encoding="utf-8")
    return Bench(path)


def _reads(group):
    return [group["kinds"][place] for place in group["reads"]]


@pytest.mark.parametrize("policy", ["newer", "older", "neither"])
def test_an_export_reads_what_the_bench_reads_whatever_stood_before(tmp_path, policy):
    bench = _pad(tmp_path, ('opposite-directions = "both"', f'opposite-directions = "{policy}"'))
    # Each state after one with another direction held, as an export has them.
    orders = [(8, 0), (12, 0), (12, 8), (4, 0), (12, 4), (15, 0), (3, 0), (15, 8), (15, 6)]
    for event in ({"event": "read"}, {"event": "fetch", "bit": 7, "extra": 1}):
        made = _group(bench.pad(State()), State(**event), orders)
        # Reads that are alike stand there once, or a page of all orders is too large.
        assert len({repr(kind) for kind in made["kinds"]}) == len(made["kinds"]) < len(orders)
        for (held, newer), read in zip(orders, _reads(made), strict=True):
            shown = bench.read(State(held=held, newer=newer, **event))
            pair = shown.run.reads[shown.number]
            assert read[2:4] == [pair.byte, pair.expected.byte], (held, newer)


def test_an_export_has_every_order_of_opposite_directions():
    orders = _orders()
    assert orders[:256] == [(held, 0) for held in range(256)]
    # A pair is open, one, the other, both at once, or both in either order.
    assert len(set(orders)) == len(orders) == 16 * 6 * 6


def test_a_console_whose_fetch_does_no_harm_stops_no_read_of_an_export(tmp_path):
    bench = _pad(tmp_path, ('use = "plain-loop"', 'use = "plain-loop"\nconsole = "50hz"'))
    state = State(event="fetch", bit=3, extra=2)
    made = _group(bench.pad(state), state, [(0x80, 0), (0x21, 0)])
    assert [read[2] for read in _reads(made)] == [0x80, 0x21]
    assert "no harm" in made["says"]
    shown = bench.read(state.model_copy(update={"held": 0x21}))
    assert shown.run.reads[shown.number].byte == 0x21


def test_reads_whose_times_divide_by_other_units_are_alike(tmp_path):
    path = tmp_path / "pad.toml"
    path.write_text(FIRMWARE, encoding="utf-8")
    made = _group(Bench(path).pad(State()), State(), [(held, 0) for held in (0, 1, 255)])
    assert [read[2] for read in _reads(made)] == [0, 1, 255]


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
