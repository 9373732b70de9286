"""What is kept is used again by the command line, and touches nothing that is there."""

import json
import shlex

import pytest

import padbench as pb
from padbench.cli import main
from padbench.live.bench import Bench
from padbench.live.keep import keep
from padbench.live.state import State

STATES = [
    ("plain", {"held": 0x84}),
    ("stopped", {"held": 0x90, "event": "fetch", "bit": 3, "extra": 2}),
    ("order", {"held": 12, "newer": 4, "dials": {"policy.opposite-directions": "newer"}}),
    ("beyond", {"held": 0x81, "event": "past", "corner": "fast"}),
    ("shipped", {"event": "press-in-latch", "dials": {"contacts.stuck": "B"}}),
    ("bouncy", {"event": "bounce", "dials": {"contacts.bounce": "20 ms"}}),
    ("routine", {"held": 0x11, "event": "fetch", "dials": {"poll.use": "routine read-twice"}}),
    ("late", {"held": 0x80, "dials": {"cable.length": "50 m", "poll.console": "50hz"}}),
]


@pytest.mark.parametrize(("name", "state"), STATES, ids=[name for name, _ in STATES])
def test_each_saved_file_is_used_again(ask, folder, capsys, tmp_path, monkeypatch, name, state):
    shown = ask("read", state)[1]
    status, kept = ask("keep", state, name=name)
    assert status == 200, kept
    assert f"{name}.svg" in kept["files"]
    monkeypatch.chdir(tmp_path)
    words = shlex.split(kept["command"])
    assert words[0] == "padbench"
    code = main([*words[1:], "--json", "--waves", str(tmp_path / "w")])
    again = json.loads(capsys.readouterr().out)
    assert code == (again["verdict"] == "fail")
    assert again["verdict"] == shown["verdict"]
    assert again["reads"][shown["number"]]["byte"] == shown["byte"]
    assert again["port"] == shown["port"]
    # The wave is the one that play writes, and inspect reads the same bytes from it.
    wave = pb.read_wave(folder / f"{name}.vcd")
    assert wave == pb.read_wave(next((tmp_path / "w").glob("*.vcd")))
    reads = pb.decode(wave)
    assert reads[shown["number"]].worst_byte(shown["wants"]) == shown["byte"]
    assert "<svg" in (folder / f"{name}.svg").read_text(encoding="utf-8")


def test_the_kept_sheet_has_the_dials_as_they_stand(ask, folder):
    dials = {"pull-up.value": "22 kΩ ± 5 %", "register.part": "74HC165", "poll.use": "brisk"}
    ask("keep", {"dials": dials}, name="turned")
    sheet = pb.load_sheet(folder / "turned.toml")
    assert sheet.pull_up.value.nominal == 22e3
    assert sheet.chip.part == "74HC165"
    assert sheet.poll.use == "brisk"
    before = pb.load_sheet(folder / "harbour-b.toml")
    assert (sheet.buttons, sheet.cable, sheet.works_with) == (
        before.buttons, before.cable, before.works_with,
    )  # fmt: skip


def test_a_sheet_with_two_lines_in_its_name_is_kept_as_one_that_can_be_read(folder, tmp_path):
    path = tmp_path / "two\nlines.toml"
    path.write_bytes((folder / "harbour-b.toml").read_bytes())
    keep(Bench(path), State(held=1), "kept")
    assert pb.load_sheet(tmp_path / "kept.toml").cable == pb.load_sheet(path).cable


@pytest.mark.parametrize(
    "name",
    ["../out", "a/b", "a\\b", "", ".", "..", "/tmp/x", "A", "a.toml", "con", "idle", "a" * 41,
     "x\n", "x\0", 7, None, ["a"]],
)  # fmt: skip
def test_only_a_plain_new_name_will_do(ask, folder, name):
    before = {path: path.read_bytes() for path in folder.parent.rglob("*") if path.is_file()}
    status, told = ask("keep", {"held": 1}, name=name)
    assert status == 422
    assert len(told["problems"]) == 1
    after = {path: path.read_bytes() for path in folder.parent.rglob("*") if path.is_file()}
    assert after == before


@pytest.mark.parametrize("ending", [".toml", "-scenario.toml", ".vcd", ".svg"])
def test_no_file_that_is_there_is_touched(ask, folder, ending):
    name = "taken" + "".join(filter(str.isalpha, ending))
    there = folder / f"{name}{ending}"
    there.write_text("mine")
    status, told = ask("keep", {"held": 1}, name=name)
    assert status == 422
    assert there.name in told["problems"][0]
    assert there.read_text() == "mine"
    assert [path.name for path in folder.glob(f"{name}*")] == [there.name]


def test_a_file_that_comes_to_be_meanwhile_stays_and_the_others_go(ask, folder, monkeypatch):
    def written(timeline, path, about):
        path.write_text("wave")
        (folder / "race.svg").write_text("mine")

    monkeypatch.setattr("padbench.live.keep.write_wave", written)
    status, _ = ask("keep", {"held": 1}, name="race")
    assert status == 422
    assert [(p.name, p.read_text()) for p in folder.glob("race*")] == [("race.svg", "mine")]
    assert not [path for path in folder.iterdir() if path.name.startswith(".")]


def test_the_sheet_of_the_bench_stays_as_it_is(ask, folder):
    before = (folder / "harbour-b.toml").read_bytes()
    assert ask("keep", {"dials": {"cable.length": "9 m"}}, name="harbour-b")[0] == 422
    ask("keep", {"dials": {"cable.length": "9 m"}}, name="nine")
    assert (folder / "harbour-b.toml").read_bytes() == before
