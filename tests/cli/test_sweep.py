"""``padbench sweep``: what scripts and people get."""

import itertools
import json
import re
import shlex
from pathlib import Path

import pytest

from padbench.cli import main
from padbench.core.buttons import byte_of
from padbench.core.decode import decode
from padbench.jobs import routine as routine_job
from padbench.jobs import sweep as sweep_job
from padbench.scenarios.expect import expected_bits, held_state
from padbench.waveio import read_wave

SOURCES = Path(__file__).parents[1] / "routines" / "sources"
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
    # 96 cycles more mend the rates at which it fails today, and break it at another.
    assert {95, 97} < set(made["safe"]["gaps"])
    assert 96 not in made["safe"]["gaps"]
    assert made["safe"]["periods"] == [*by_period]


def test_two_workers_print_the_same(capsys):
    arguments = ("--routine", EXPOSED, "--json", "--period", "432", "--period", "576")
    assert told(capsys, *arguments) == told(capsys, *arguments, "--workers", "2")


def test_the_same_keys_and_counts_as_routine(capsys):
    sweep = json.loads(told(capsys, "--routine", EXPOSED, "--json", "--period", "432")[1])
    main(["routine", EXPOSED, "--json", "--period", "432"])
    routine = json.loads(capsys.readouterr().out)
    assert sweep["stopped"] is False
    assert sweep == routine


def test_the_commands_that_it_names_play_the_first_case_of_each_kind(capsys, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    arguments = ("--routine", EXPOSED, "--period", "432", "--period", "576")
    made = json.loads(told(capsys, *arguments, "--json")[1])
    for sweep in made["sweeps"]:
        kinds = [one["kind"] for one in sweep["counterexamples"]]
        assert kinds == ["accepted_wrong", "corrupt"]
        case = dict(sweep["counterexamples"][0])
        case.pop("play")
        assert case == sweep["counterexample"]
        for found in sweep["counterexamples"]:
            assert replayed_routine(capsys, found, sweep["period"])
    _, out, _ = told(capsys, *arguments, "--all")
    kinds = ("accepted_wrong", "a wrong byte handed on"), ("corrupt", "a pass misread")
    for place, (kind, says) in enumerate(kinds):
        worst = max(made["sweeps"], key=lambda one: one[kind] / one["cases"])
        assert f"To see it, {says}: {worst['counterexamples'][place]['play']}\n" in out


def replayed_routine(capsys, found, period):
    """Play the case of a counterexample: its passes, what it hands on, and its wave are alike."""
    command = shlex.split(found["play"])
    assert command[:2] == ["padbench", "play"]
    code = main([*command[1:], "--json"])
    out, err = capsys.readouterr()
    made = json.loads(out)
    assert (err, made["held"], made["phase"]) == ("", found["held"], found["phase"])
    pad = found["pad"] - 1
    waves = [read.byte for read in decode(read_wave(Path(made["vcd"])))]
    # A pass that the limit cut off is in the wave, and is none.
    assert waves[: len(made["passes"][pad])] == made["passes"][pad]
    assert made["period"] == period
    right = found["held"] ^ 0xFF * pad
    if found["kind"] == "accepted_wrong":
        return code == 1 and made["results"][pad] == found["got"] != right
    if found["kind"] == "never_settles":
        return code == 1 and not made["finished"] and made["results"] is None
    return next(byte for byte in waves if byte != right) == found["got"]


@pytest.mark.parametrize(
    ("what", "more"),
    [
        ("read-until-agree", ["--period", "432", "--limit", "300"]),
        ("read-once", ["--period", "432", "--clocks", "each"]),
        ("read-twice-both", ["--period", "432", "--clocks", "each", "--result", "A,$10"]),
    ],
)
def test_a_case_that_needs_more_options_is_played_with_them(
    capsys, tmp_path, monkeypatch, what, more
):
    monkeypatch.chdir(tmp_path)
    _, out, _ = told(capsys, "--routine", what, *more, "--json")
    (sweep,) = json.loads(out)["sweeps"]
    assert sweep["counterexamples"]
    for found in sweep["counterexamples"]:
        assert replayed_routine(capsys, found, sweep["period"])


def test_a_routine_played_for_people(capsys, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    command = ["play", "--routine", EXPOSED, "--period", "576", "--case", "held=0 phase=49"]
    assert main(command) == 1
    out = capsys.readouterr().out
    assert "held nothing, passes read Right, Right" in out
    assert "FAILS. Handed on after " in out
    assert "Wave: waves/out/read-twice-36/case-00-576-49-pad-1.vcd" in out
    assert main([*command, "--no-waves"]) == 1
    assert "Wave" not in capsys.readouterr().out


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["--routine", "read-once", "--case", "held=0 phase=432"], "from 0 to 431"),
        (["--routine", "read-once", "--case", "phase=3"], "held is missing"),
        (["--routine", "read-once", "--case", "held=0 pad=1 pad=2"], "pad is there twice"),
        (["--routine", "read-once", "--case", "held=0 pad=2"], "reads one port only"),
        (["--routine", "read-once", "--case", "held=0", "--period", "all"], "give one"),
        (["--routine", "read-once", "--scenario", "idle"], "goes with --case"),
        (["--case", "held=A"], "SHEET is missing"),
        ([str(SHEETS / "harbour-b.toml"), "--case", "held=A at=2"], "none of held, stopped-bit"),
        ([str(SHEETS / "harbour-b.toml"), "--case", "held=Fire"], "is no button"),
        ([str(SHEETS / "harbour-b.toml")], "--scenario --case"),
    ],
)
def test_cases_that_cannot_be_played_are_one_line(capsys, arguments, says):
    assert main(["play", *arguments]) == 2
    out, err = capsys.readouterr()
    assert (out, err.count("\n")) == ("", 1)
    assert says in err


def test_a_safe_routine_is_0_and_names_no_fault(capsys):
    code, out, _ = told(capsys, "--routine", "read-once", "--console", "50hz")
    assert code == 0
    assert "Read routine read-once: Immune. A stopped read never changes a byte" in out


def test_a_good_sheet_is_proved(capsys):
    code, out, err = told(capsys, "--sheet", str(SHEETS / "harbour-b.toml"))
    assert (code, err) == (0, "")
    assert "proved for all 12 800 cases" in " ".join(out.split())


def test_a_bad_sheet_as_json_with_the_wave_of_its_example(capsys, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    code, out, _ = told(
        capsys, "--sheet", str(SHEETS / "harbour-a.toml"), "--json", "--waves", "wrong.vcd"
    )
    made = json.loads(out)
    assert code == 1
    assert made["verdict"] == "fail"
    first = made["ports"][0]
    assert first["seen_not_pressed"]["Up"] > 0 == first["seen_not_pressed"]["A"]
    case = first["counterexample"]
    assert decode(read_wave(Path("wrong.vcd")))[1].byte == case["got"] != case["expected"]
    assert [tie["serial_input"] for tie in first["ties"]] == ["ground", "supply"]
    _, text, _ = told(capsys, "--sheet", str(SHEETS / "harbour-a.toml"), "--all")
    for port in made["ports"]:
        kinds = [one["kind"] for one in port["counterexamples"]]
        assert kinds[:2] == ["seen_not_pressed", "pressed_not_seen"]
        for found in port["counterexamples"]:
            assert f"To see it: {found['play']}\n" in text
            assert main([*shlex.split(found["play"])[1:], "--json"]) == (
                found["got"] != found["expected"]
            )
            played = json.loads(capsys.readouterr().out)
            assert (played["port"], played["corner"]) == (port["ports"][0], "fast")
            assert played["reads"][1]["byte"] == found["got"]
            assert byte_of(played["reads"][1]["expected"]) == found["expected"]
            assert Path(played["vcd"]).is_file()


def test_options_that_a_pad_has_no_use_for_are_named(capsys):
    arguments = ("--sheet", str(SHEETS / "harbour-b.toml"))
    for more in ((), ("--all",)):
        given = ("--workers", "2", "--cluster", "tcp://127.0.0.1:9", "--period", "432")
        code, out, _ = told(capsys, *arguments, *given, "--clocks", "each", *more)
        assert code == 0
        assert "--workers, --cluster, --period and --clocks: not used" in " ".join(out.split())
    assert "not used" not in told(capsys, *arguments)[1]


def test_which_tie_and_policy_are_safest_over_every_read(capsys):
    """Stopped reads counted; against reads worked out one by one."""
    _, out, _ = told(capsys, "--sheet", str(SHEETS / "harbour-b.toml"), "--json")
    (port,) = json.loads(out)["ports"]
    rows = {(one["policy"], one["serial_input"]): one for one in port["policies"]}
    assert len(rows) == 8
    for (policy, tie), row in rows.items():
        assert row["cases"] == 256 * 25
        # 7 of 16 states of the four directions have a pair that is closed.
        assert row["opposites"] - row["opposites_stopped"] == (112 if policy == "both" else 0)
        counted = by_hand(policy, {"ground": 0, "supply": 1}[tie])
        got = ("opposites_stopped", "spoilt", "spoilt_not_pressed", "spoilt_not_seen")
        assert [row[key] for key in got] == counted
    least = min(row["opposites"] for row in rows.values())
    safest = [one for one, row in rows.items() if row["opposites"] == least]
    keys = ("policy", "serial_input")
    assert port["safest"] == [dict(zip(keys, one, strict=True)) for one in safest]
    assert safest == [(policy, "supply") for policy in ("neither", "newer", "older")]


def by_hand(policy, tie):
    """All contacts close at once; a stopped read depends on the state at the latch's end alone."""
    counts = [0, 0, 0, 0]
    for bit, extra in itertools.product(range(1, 9), (1, 2, 3)):
        for state in range(256):
            held = held_state([(0, state)], 1, policy)
            bits = expected_bits(held, serial=tie, stopped_bit=bit, extra_clocks=extra)
            got = sum(128 >> place for place, one in enumerate(bits) if one)
            both = got & 0x0C == 0x0C or got & 0x03 == 0x03
            seen = (both, got != held, got & ~held != 0, held & ~got != 0)
            for place, one in enumerate(seen):
                counts[place] += one
    return counts


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


@pytest.mark.parametrize("calls", [1, 0])
def test_ctrl_c_gives_what_was_found_so_far(capsys, monkeypatch, calls):
    whole, done = routine_job.count, []

    def stopped(*arguments):
        if len(done) == calls:
            raise KeyboardInterrupt
        done.append(whole(*arguments))
        return done[-1]

    monkeypatch.setattr(routine_job, "count", stopped)
    code, out, err = told(capsys, "--routine", "read-once", "--json")
    made = json.loads(out)
    assert (code, err, made["stopped"]) == (130, "", True)
    assert made["verdict"] == "stopped"
    expected = [256 * 3424, 0] if calls else [0, 0]
    assert [sweep["cases"] for sweep in made["sweeps"]][:2] == expected


def test_ctrl_c_on_a_sheet_gives_what_was_found_so_far(capsys, monkeypatch):
    whole, done = sweep_job.read_part, []

    def stopped(*arguments):
        if len(done) == 7:
            raise KeyboardInterrupt
        done.append(1)
        return whole(*arguments)

    monkeypatch.setattr(sweep_job, "read_part", stopped)
    code, out, _ = told(capsys, "--sheet", str(SHEETS / "harbour-b.toml"), "--json")
    made = json.loads(out)
    assert (code, made["verdict"]) == (130, "stopped")
    assert made["cases"] == 256 * 7


def test_the_map_says_for_each_loop_length_which_gaps_are_safe(capsys):
    arguments = ("--routine", EXPOSED, "--period", "432", "--map")
    code, out, _ = told(capsys, *arguments, "--json")
    made = json.loads(out)["map"]
    assert (code, made["loop"]) == (1, 36)
    row = made["safe"][made["loops"].index(36)]
    assert (row[0], row[1]) == (False, True)
    assert made["unsafe"][made["loops"].index(36)][:2] == [[432], []]
    _, out, _ = told(capsys, *arguments, "--all")
    assert re.search(r"36 \(now, not safe as it is\) +2 to 35", out)


@pytest.mark.parametrize(
    ("what", "kind"),
    [
        (("--routine", EXPOSED, "--period", "432"), "png"),
        (("--routine", EXPOSED, "--period", "432", "--map"), "svg"),
    ],
)
def test_pictures_are_written_whole(capsys, tmp_path, kind, what):
    path = tmp_path / f"sweep.{kind}"
    told(capsys, *what, "--picture", str(path))
    raw = path.read_bytes()
    assert raw.startswith(b"\x89PNG") if kind == "png" else b"</svg>" in raw
    assert [one.name for one in tmp_path.iterdir()] == [path.name]


@pytest.mark.parametrize(
    "arguments",
    [
        ("--routine", "read-once", "--period", "432", "--picture", "x.gif"),
        ("--sheet", str(SHEETS / "harbour-b.toml"), "--picture", "x.svg"),
        ("--sheet", "x.toml", "--map"),
    ],
)
def test_pictures_that_cannot_be(capsys, arguments):
    code, out, err = told(capsys, *arguments)
    assert (code, out, err.count("\n")) == (2, "", 1)
