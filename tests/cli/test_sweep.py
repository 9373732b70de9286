"""``padbench sweep``: what scripts and people get."""

import json
import re
import shlex
from pathlib import Path

import pytest

from padbench.cli import main
from padbench.decode import decode
from padbench.sweep import pad_cases, work
from padbench.waveio import read_vcd

SOURCES = Path(__file__).parents[1] / "console" / "sources"
SHEETS = Path(__file__).parents[2] / "sim" / "sheets"
EXPOSED = str(SOURCES / "read-twice-36.asm")


def told(capsys, *arguments):
    code = main(["sweep", *arguments])
    out, err = capsys.readouterr()
    return code, out, err


def test_the_exposed_routine_at_all_rates_as_json(capsys):
    code, out, err = told(capsys, "--routine", EXPOSED, "--json")
    made = json.loads(out)
    assert (code, err) == (1, "")
    assert made["verdict"] == "exposed"
    assert len(made["sweeps"]) == 16
    assert sum(sweep["cases"] for sweep in made["sweeps"]) == 6_930_432
    by_period = {sweep["period"]: sweep for sweep in made["sweeps"]}
    assert by_period[432]["accepted_wrong"] > 0
    for sweep in made["sweeps"]:
        case = sweep["counterexample"]
        assert case["kind"] == ("accepted_wrong" if sweep["accepted_wrong"] else "corrupt")
    assert len(made["port_reads"]) == 16


def test_two_workers_print_the_same(capsys):
    arguments = ("--routine", EXPOSED, "--json", "--period", "432", "--period", "576")
    assert told(capsys, *arguments) == told(capsys, *arguments, "--workers", "2")


def test_the_same_keys_and_counts_as_routine(capsys):
    sweep = json.loads(told(capsys, "--routine", EXPOSED, "--json", "--period", "432")[1])
    main(["routine", EXPOSED, "--json"])
    routine = json.loads(capsys.readouterr().out)
    assert sweep.pop("stopped") is False
    assert sweep == routine


def test_the_command_that_it_names_plays_the_worst_case(capsys, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    _, out, _ = told(capsys, "--routine", EXPOSED)
    command = shlex.split(re.sub(r"\s+", " ", out[out.index("To see it: ") + 11 :]))
    case = re.search(r"Period 576, phase (\d+): held nothing, handed on (\w+)", out)
    assert case is not None
    assert command[:2] == ["padbench", "routine"]
    assert main(command[1:]) == 1
    capsys.readouterr()
    reads = decode(read_vcd(tmp_path / "worst.vcd"))
    assert {read.byte for read in reads} == {1}


def test_a_safe_routine_is_0_and_names_no_fault(capsys):
    code, out, _ = told(capsys, "--routine", "read-once", "--console", "50hz")
    assert code == 0
    assert "immune" in out


def test_a_good_sheet_is_proved(capsys):
    code, out, err = told(capsys, "--sheet", str(SHEETS / "harbour-b.toml"))
    assert (code, err) == (0, "")
    assert "proved for all 68550656 cases" in out


def test_a_bad_sheet_as_json_with_the_wave_of_its_example(capsys, tmp_path):
    wave = tmp_path / "wrong.vcd"
    code, out, _ = told(
        capsys, "--sheet", str(SHEETS / "harbour-a.toml"), "--json", "--waves", str(wave)
    )
    made = json.loads(out)
    assert code == 1
    assert made["verdict"] == "fail"
    first = made["ports"][0]
    assert first["seen_not_pressed"]["Up"] > 0 == first["seen_not_pressed"]["A"]
    case = first["counterexample"]
    assert decode(read_vcd(wave))[1].byte == case["got"] != case["expected"]
    assert [tie["serial_input"] for tie in first["ties"]] == ["ground", "supply"]
    opposites = {one["policy"]: one["opposites"] for one in first["policies"]}
    assert opposites["both"] > 0 == opposites["neutral"]


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        ([], "--routine --sheet"),
        (["--routine", "read-once", "--sheet", "x.toml"], "not allowed"),
        (["--routine", "read-onse"], "did you mean read-once"),
        (["--routine", "read-once", "--period", "7"], "--period"),
        (["--routine", "read-once", "--workers", "0"], "--workers: 0 is not between"),
        (["--sheet", "nowhere.toml"], "nowhere.toml"),
    ],
)
def test_input_that_cannot_be_used_is_one_line(capsys, arguments, says):
    code, out, err = told(capsys, *arguments)
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert says in err


@pytest.mark.parametrize("calls", [5, 0])
def test_ctrl_c_gives_what_was_found_so_far(capsys, monkeypatch, calls):
    whole, done = work.count, []

    def stopped(*arguments):
        if len(done) == calls:
            raise KeyboardInterrupt
        done.append(whole(*arguments))
        return done[-1]

    monkeypatch.setattr(work, "count", stopped)
    code, out, err = told(capsys, "--routine", "read-once", "--json")
    made = json.loads(out)
    assert (code, err, made["stopped"]) == (130, "", True)
    assert made["verdict"] == "stopped"
    # Five parts of 64 held states: the first period is whole, the second begun.
    expected = [256 * 3424, 64 * 3040] if calls else [0, 0]
    assert [sweep["cases"] for sweep in made["sweeps"]][:2] == expected


def test_ctrl_c_on_a_sheet_gives_what_was_found_so_far(capsys, monkeypatch):
    whole, done = pad_cases.count_part, []

    def stopped(*arguments):
        if len(done) == 7:
            raise KeyboardInterrupt
        done.append(1)
        return whole(*arguments)

    monkeypatch.setattr(pad_cases, "count_part", stopped)
    code, out, _ = told(capsys, "--sheet", str(SHEETS / "harbour-b.toml"), "--json")
    made = json.loads(out)
    assert (code, made["verdict"]) == (130, "stopped")
    assert 0 < made["cases"] < 8 * 65536


def test_the_map_says_for_each_loop_length_which_gaps_are_safe(capsys):
    arguments = ("--routine", EXPOSED, "--period", "432", "--map")
    code, out, _ = told(capsys, *arguments, "--json")
    made = json.loads(out)["map"]
    assert (code, made["loop"]) == (1, 36)
    row = made["safe"][made["loops"].index(36)]
    assert (row[0], row[1]) == (False, True)
    _, out, _ = told(capsys, *arguments)
    assert "36 (now): 1 to 35" in out


@pytest.mark.parametrize("more", [(), ("--map",)])
@pytest.mark.parametrize("kind", ["png", "svg"])
def test_pictures_are_written_whole(capsys, tmp_path, kind, more):
    path = tmp_path / f"sweep.{kind}"
    told(capsys, "--routine", EXPOSED, "--period", "432", "--picture", str(path), *more)
    raw = path.read_bytes()
    assert raw.startswith(b"\x89PNG") if kind == "png" else b"</svg>" in raw
    assert [one.name for one in tmp_path.iterdir()] == [path.name]


@pytest.mark.parametrize(
    "more",
    [("--picture", "x.gif"), ("--sheet", "x.toml", "--map")],
)
def test_pictures_that_cannot_be(capsys, more):
    what = () if "--sheet" in more else ("--routine", "read-once", "--period", "432")
    code, out, err = told(capsys, *what, *more)
    assert (code, out, err.count("\n")) == (2, "", 1)
