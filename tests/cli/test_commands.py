"""The command line as scripts use it: exit codes, JSON alone on standard output, files whole."""

import errno
import json
import os
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace

import pytest

from padbench import play, verify
from padbench.cli import COMMANDS, main
from padbench.cli.wave_folder import wave_folder
from padbench.core.timeline import Timeline
from padbench.files import one_run
from padbench.results.text import as_text
from padbench.sheet import STARTER
from padbench.waveio import write_wave

SHEETS = Path(__file__).parents[2] / "sim" / "sheets"
B = str(SHEETS / "harbour-b.toml")
A = str(SHEETS / "harbour-a.toml")
HDL = str(SHEETS / "harbour-hdl.toml")
OWN = """
[[scenario]]
name = "run-and-jump"
says = "Right held while A is tapped."
[[scenario.step]]
hold = ["Right"]
polls = 2
[[scenario.step]]
hold = ["Right", "A"]
"""


@pytest.fixture
def padbench(capsys, tmp_path, monkeypatch):
    """Run a command line in a folder of its own: (exit code, standard output, standard error)."""
    monkeypatch.chdir(tmp_path)

    def run(*arguments):
        code = main(list(arguments))
        out, err = capsys.readouterr()
        return code, out, err

    return run


def test_verify_b_passes_and_writes_a_wave_for_every_scenario(padbench):
    code, out, err = padbench("verify", B, "--json", "--waves", "w")
    found = json.loads(out)
    assert (code, found["verdict"], err) == (0, "pass", "")
    for scenario in found["scenarios"]:
        assert Path(scenario["vcd"]).is_file()
        assert {"name", "verdict", "reads", "vcd"} <= set(scenario)
    assert set(found["findings"][0]) == {
        "id",
        "verdict",
        "measured",
        "limit",
        "margin",
        "unit",
        "where",
        "source",
        "says",
        "met",
        "sources",
        "place",
    }


def test_verify_a_fails_and_names_the_swapped_buttons(padbench):
    code, out, _ = padbench("verify", A, "--json", "--no-waves")
    assert code == 1
    assert json.loads(out)["verdict"] == "fail"
    assert "Up and Down are swapped" in out
    assert not list(Path().iterdir())


def test_verify_for_people(padbench):
    code, out, _ = padbench("verify", A, "--no-waves", "--all")
    assert code == 1
    says = " ".join(out.split())
    assert "revision A: FAILS. 16 of 59 findings fail, and 19 of 19 scenarios go wrong." in says
    assert says.endswith("A verdict is a calculation, not a guarantee.")


def test_the_default_folder_for_waves(padbench):
    padbench("play", B, "--scenario", "idle")
    assert Path("waves/out/harbour-b/idle.vcd").is_file()


def test_play_shows_the_press_that_never_happened(padbench):
    code, out, _ = padbench("play", B, "--scenario", "stopped-last-bit", "--json")
    played = json.loads(out)
    assert code == 0
    assert [(r["byte"], r["pressed"], r["held"]) for r in played["reads"]] == [
        (0, [], []),
        (1, ["Right"], []),
        (0, [], []),
    ]


def test_play_on_a_port_and_corner(padbench):
    options = ["--scenario", "idle", "--port", "pull-down-only", "--corner", "fast", "--no-waves"]
    code, out, _ = padbench("play", A, *options)
    assert code == 1
    assert "fast corner, pull-down-only port" in out
    assert "FAILS" in out


def test_play_shows_the_run_that_verify_would_show(padbench):
    out = padbench("play", A, "--scenario", "idle", "--no-waves")[1]
    assert "fast corner, pull-down-only port" in out
    out = padbench("play", B, "--scenario", "idle", "--no-waves")[1]
    assert "slow corner, push-pull port" in out


def test_play_tells_held_contacts_from_what_the_policy_hands_on(padbench):
    text = Path(B).read_text().replace('"both"', '"newer"')
    Path("last.toml").write_text(text)
    play = ["play", "last.toml", "--scenario", "opposite-directions", "--no-waves"]
    reads = json.loads(padbench(*play, "--json")[1])["reads"]
    assert reads[1]["held"] == ["Up", "Down"]
    assert reads[1]["expected"] == reads[1]["pressed"] == ["Down"]
    assert "Up+Down" in padbench(*play)[1]


def test_play_fails_where_only_a_rule_is_broken(padbench):
    Path("few.toml").write_text(
        Path(B).read_text().replace('use = "plain-loop"', 'use = "plain-loop"\nclocks = 4')
    )
    code, out, _ = padbench("play", "few.toml", "--scenario", "idle", "--json", "--no-waves")
    played = json.loads(out)
    assert (code, played["verdict"], played["problems"]) == (1, "fail", [])
    assert [f["id"] for f in played["findings"] if f["verdict"] == "fail"] == ["timing.clocks"]


def test_long_plays_are_cut_for_people_only(padbench):
    play = ["play", B, "--scenario", "all-states", "--no-waves"]
    code, out, _ = padbench(*play, "--all")
    assert code == 0
    assert "and 192 more reads" in out
    assert len(out.splitlines()) < 90
    short = padbench(*play)[1]
    assert "and 244 more" in short
    assert len(short.splitlines()) <= 24


@pytest.fixture(scope="module")
def judged_a():
    result = verify(A, ["each-button"])
    return result, play(A, "each-button", port="push-pull")


@pytest.mark.parametrize("columns", [30, 60, 200])
def test_nothing_is_cut_off_on_any_screen(judged_a, columns):
    whole, played = (as_text(one, columns) for one in judged_a)
    assert "Up and Down are swapped: Up belongs on stage 4" in " ".join(whole.split())
    assert "wrong, expected Up" in " ".join(played.split())


def test_a_fault_of_ours_is_no_fault_of_the_design(padbench, monkeypatch):
    def broken(*_, **__):
        raise IndexError("tuple index out of range")

    monkeypatch.setattr("padbench.cli.verify.verify_each", broken)
    code, out, err = padbench("verify", B, "--json")
    assert (code, out) == (3, "")
    assert err == "padbench: a fault in padbench itself: IndexError: tuple index out of range\n"


def test_own_scenarios_run_beside_the_shipped_ones(padbench):
    Path("own.toml").write_text(OWN)
    code, out, _ = padbench(
        "play", B, "--scenarios", "own.toml", "--scenario", "run-and-jump", "--json", "--no-waves"
    )
    assert code == 0
    assert [r["byte"] for r in json.loads(out)["reads"]] == [0x01, 0x01, 0x81]


def test_new_writes_a_sheet_that_verifies_and_never_overwrites(padbench):
    assert padbench("new", "mine.toml")[0] == 0
    assert Path("mine.toml").read_text() == STARTER
    assert padbench("verify", "mine.toml", "--no-waves")[0] == 0
    Path("mine.toml").write_text("precious")
    code, out, err = padbench("new", "mine.toml")
    assert (code, out) == (2, "")
    assert err.count("\n") == 1
    assert "mine.toml: there is such a file" in err
    assert Path("mine.toml").read_text() == "precious"


BAD = [
    (["nonsense"], "'nonsense' is not a command"),
    (["verfy"], "did you mean verify?"),
    (["verify"], "SHEET; see padbench verify --help"),
    (["verify", "none.toml"], "none.toml: "),
    (["verify", "."], "is a directory"),
    (["verify", B, "--frobnicate"], "--frobnicate; see"),
    (["play", B], "--scenario"),
    (["play", B, "--scenario", "stoped-last-bit"], "try stopped-last-bit"),
    (["play", B, "--scenario", "idle", "--port", "usb"], "try push-pull, pull-down-only"),
    (["play", B, "--scenario", "idle", "--corner", "dark"], "dark"),
    (["play", B, "--scenario", "idle", "--scenarios", "none.toml"], "none.toml: "),
    (["verify", B, "--waves", "/dev/null/x"], "/dev/null"),
]


@pytest.mark.parametrize(("arguments", "says"), BAD)
def test_bad_input_is_one_line_and_exit_2(padbench, arguments, says):
    code, out, err = padbench(*arguments)
    assert (code, out) == (2, "")
    assert err.count("\n") == 1
    assert says in err
    assert err.startswith("padbench: ")


def test_a_unit_that_does_not_fit_names_its_line(padbench):
    text = Path(B).read_text()
    line = next(n for n, row in enumerate(text.split("\n"), 1) if row.startswith("value = "))
    broken = text.replace(text.split("\n")[line - 1], 'value = "47 kF"')
    Path("broken.toml").write_text(broken)
    code, _, err = padbench("verify", "broken.toml")
    assert code == 2
    assert f"broken.toml:{line}: pull-up.value" in err


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_has_help_with_an_example(padbench, capsys, command):
    with pytest.raises(SystemExit) as stop:
        main([command, "--help"])
    assert stop.value.code == 0
    assert "example: padbench" in " ".join(capsys.readouterr().out.split())


def test_help_lists_every_command(padbench):
    code, out, _ = padbench("--help")
    assert code == 0
    assert all(f"  {command}" in out for command in COMMANDS)
    assert padbench()[1] == out


def test_a_full_disk_is_one_line_and_leaves_nothing(padbench, monkeypatch):
    def full(*_, **__):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), "w/idle.vcd")

    monkeypatch.setattr("padbench.jobs.verify.write_wave", full)
    code, out, err = padbench("play", B, "--scenario", "idle", "--waves", "w", "--json")
    assert (code, out) == (4, "")
    assert err == "padbench: w/idle.vcd: the disk is full; make room, or write elsewhere\n"


def test_stopping_leaves_no_half_written_wave(padbench, monkeypatch):
    def stop(*_, **__):
        raise KeyboardInterrupt

    monkeypatch.setattr("padbench.waveio.vcd_out.VCDWriter", stop)
    code, _, err = padbench("play", B, "--scenario", "idle", "--waves", "w")
    assert (code, err) == (130, "padbench: stopped; files already written are whole\n")
    assert not list(Path("w").iterdir())


def test_the_installed_command_and_the_module_answer():
    script = Path(sys.executable).with_name("padbench")
    for command in ([str(script)], [sys.executable, "-m", "padbench"]):
        ran = subprocess.run([*command, "--version"], capture_output=True, text=True, check=True)
        assert ran.stdout.startswith("padbench ")


def test_help_imports_nothing_heavy():
    code = (
        "import sys; from padbench.cli import main; main(['--help']);"
        "heavy = {'numpy', 'myhdl', 'pydantic', 'rich', 'vcd', 'argparse', 'typing'};"
        "heavy &= set(sys.modules);"
        "sys.exit(str(heavy) if heavy else 0)"
    )
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert ran.returncode == 0, ran.stderr


@pytest.mark.parametrize("more", [[], ["--json"]])
def test_a_reader_that_goes_away_is_no_verdict(more):
    """Text and JSON of a sound pad end with the code that says what happened, and no word."""
    play = ["play", B, "--scenario", "idle", "--no-waves", *more]
    read, write = os.pipe()
    os.close(read)
    command = [sys.executable, "-m", "padbench", *play]
    ran = subprocess.run(command, stdout=write, stderr=subprocess.PIPE, text=True, check=False)
    os.close(write)
    assert (ran.returncode, ran.stderr) == (4, "")


@pytest.mark.parametrize("closed", [">&-", "2>&-"])
def test_a_closed_output_is_told_at_once(tmp_path, closed):
    """The first file that is opened would take its place."""
    line = f"{sys.executable} -m padbench play {B} --scenario idle {closed}"
    ran = subprocess.run(
        line, shell=True, capture_output=True, text=True, check=False, cwd=tmp_path
    )
    assert ran.returncode == 4
    assert "is closed; send it somewhere" in ran.stdout + ran.stderr
    assert not list(tmp_path.iterdir())


def test_where_waves_cannot_be_put_it_says_how_to_do_without(padbench, monkeypatch):
    monkeypatch.setattr("padbench.cli.verify.verify_each", None)
    Path("waves").write_text("mine")
    code, out, err = padbench("verify", B)
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert "not a directory; say with --waves DIR where waves go, or give --no-waves" in err
    assert Path("waves").read_text() == "mine"


@pytest.mark.parametrize(
    ("command", "judges"),
    [
        (["verify"], "padbench.jobs.verify.try_sheet"),
        (["play", "--scenario", "idle"], "padbench.jobs.verify.run_scenario"),
        (["regress", "--scenario", "idle"], "padbench.jobs.regress.regress_hdl"),
    ],
)
def test_places_of_waves_are_tried_before_the_work(padbench, monkeypatch, command, judges):
    monkeypatch.setattr(judges, None)
    sheet = HDL if command[0] == "regress" else B
    Path("w/idle.vcd").mkdir(parents=True)
    code, out, err = padbench(command[0], sheet, *command[1:], "--waves", "w")
    assert (code, out) == (2, "")
    assert err == "padbench: w/idle.vcd: is a directory; name a file that can be used\n"
    Path("w/idle.vcd").rmdir()
    report = ["--waves", "w", "--report", "w/../w/idle.vcd"]
    code, out, err = padbench(command[0], sheet, *command[1:], *report)
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert "this run writes something else to it" in err
    assert list(Path("w").iterdir()) == []


def test_a_link_in_the_place_of_the_list_of_waves_is_told_at_once(padbench, monkeypatch):
    monkeypatch.setattr("padbench.cli.verify.verify_each", None)
    Path("mine.toml").write_text(Path(B).read_text())
    folder = Path("waves/out/mine")
    folder.mkdir(parents=True)
    (folder / ".padbench-waves").symlink_to(Path("mine.toml").resolve())
    code, out, err = padbench("verify", "mine.toml")
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert ".padbench-waves: a link stands where padbench lists" in err


@pytest.mark.parametrize("why", [errno.EROFS, errno.EACCES], ids=errno.errorcode.get)
def test_a_place_that_takes_no_output_is_one_code_whatever_would_be_written(
    padbench, monkeypatch, why
):
    monkeypatch.setattr("padbench.cli.verify.verify_each", None)
    says = os.strerror(why)

    def instead_of(do):
        def refused(path, *arguments, **options):
            if path.suffix == ".part" or path.name == "w":
                raise OSError(why, says, str(path))
            return do(path, *arguments, **options)

        return refused

    for name in ("touch", "open", "mkdir"):
        monkeypatch.setattr(Path, name, instead_of(getattr(Path, name)))
    verify = ["verify", B]
    for command, named in (
        (verify, "waves/out/harbour-b"),
        ([*verify, "--waves", "w"], "w"),
        ([*verify, "--no-waves", "--report", "a.html"], "a.html"),
        (["new", "a.toml"], "a.toml"),
        (["new", "w/a.toml"], "w/a.toml"),
    ):
        code, out, err = padbench(*command)
        assert (code, out, err.count("\n")) == (4, "", 1)
        assert err.startswith(f"padbench: {named}: {says.lower()}; ")


def test_a_file_that_is_protected_is_not_written_over(padbench, monkeypatch):
    monkeypatch.setattr("padbench.cli.verify.verify_each", None)
    Path("a.html").write_text("mine")
    # Whoever runs the tests may write everything.
    monkeypatch.setattr("padbench.files.os.access", lambda *_: False)
    code, out, err = padbench("verify", B, "--no-waves", "--report", "a.html")
    assert (code, out) == (4, "")
    assert err == "padbench: a.html: permission denied; name a file that can be used\n"


def test_outputs_are_tried_before_the_work(padbench, monkeypatch):
    monkeypatch.setattr("padbench.cli.verify.verify_each", None)
    Path("mine.toml").write_text(Path(B).read_text())
    Path("folder").mkdir()
    for outputs, says in (
        (["--report", "a.html", "--junit", "./x/../a.html"], "writes something else to it"),
        (["--report", "folder"], "folder: is a directory"),
        (["--report", "mine.toml/a.html"], "mine.toml: not a directory"),
        (["--waves", "mine.toml"], "mine.toml: not a directory"),
        (["--report", ""], "--report: the name is empty; name a file or a folder"),
        (["--waves", ""], "--waves: the name is empty"),
    ):
        code, out, err = padbench("verify", "mine.toml", *outputs)
        assert (code, out, err.count("\n")) == (2, "", 1)
        assert says in err
    assert sorted(path.name for path in Path().iterdir()) == ["folder", "mine.toml"]


def test_an_output_that_is_an_input_is_refused_when_it_is_read(padbench, monkeypatch):
    monkeypatch.setattr("padbench.jobs.verify.try_sheet", None)
    sheet = Path(B).read_text()
    Path("mine.toml").write_text(sheet)
    code, out, err = padbench("verify", "mine.toml", "--report", "mine.toml")
    assert (code, out) == (2, "")
    assert "mine.toml: this run reads it" in err
    assert Path("mine.toml").read_text() == sheet


def test_the_verdict_is_told_although_a_file_cannot_be_written(padbench, monkeypatch):
    def full(*_):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr("padbench.results.junit.write_junit", full)
    play = ["play", B, "--scenario", "idle", "--no-waves", "--junit", "x.xml"]
    code, out, err = padbench(*play)
    assert code == 4
    assert "Passes." in out
    assert err == "padbench: x.xml: the disk is full; make room, or write elsewhere\n"
    assert not list(Path().iterdir())
    assert json.loads(padbench(*play, "--json")[1])["verdict"] == "pass"


def test_a_picture_of_margins_is_of_one_sheet(padbench):
    code, _, err = padbench("verify", A, B, "--margins", "m.svg")
    assert (code, err) == (2, "padbench: --margins: is for one sheet; name one\n")


def test_sheets_of_one_name_have_folders_of_their_own(padbench):
    for folder in ("a", "b"):
        Path(folder).mkdir()
        Path(folder, "pad.toml").write_text(Path(B).read_text())
    play = ["--port", "push-pull", "--corner", "fast", "--scenario"]
    for sheet, scenario in (("a", "idle"), ("b", "idle"), ("a", "bounce")):
        assert padbench("play", f"{sheet}/pad.toml", *play, scenario)[0] == 0
    waves = sorted(str(path) for path in Path("waves/out").rglob("*.vcd"))
    assert waves == [f"waves/out/{n}.vcd" for n in ("pad-2/idle", "pad/bounce", "pad/idle")]


def test_waves_of_an_earlier_run_go_but_nothing_else(padbench):
    sheet, own = Path("pad.toml"), Path("waves/out/pad")
    sheet.write_text("")

    def run(*names):
        with one_run(), wave_folder(sheet, None, False) as folder:
            for name in names:
                write_wave(Timeline(10), folder / name)

    run("a.vcd", "b.vcd")
    (own / "mine.vcd").write_text("")
    Path("outside.vcd").write_text("")
    listed = json.loads((own / ".padbench-waves").read_text())
    listed["waves"] += ["../../../outside.vcd", str(Path("outside.vcd").resolve()), "\0.vcd"]
    (own / ".padbench-waves").write_text(json.dumps(listed))
    run("b.vcd", "c.vcd")
    assert {path.name for path in own.glob("*.vcd")} == {"b.vcd", "c.vcd", "mine.vcd"}
    assert Path("outside.vcd").exists()


def test_a_link_of_the_users_in_the_place_of_a_wave_stays(padbench):
    sheet, own = Path("pad.toml"), Path("waves/out/pad")
    sheet.write_text("")
    for name in ("a.vcd", "b.vcd"):
        with one_run(), wave_folder(sheet, None, False) as folder:
            write_wave(Timeline(10), folder / name)
        if name == "a.vcd":
            (own / "a.vcd").rename("kept.vcd")
            (own / "a.vcd").symlink_to(Path("kept.vcd").resolve())
    assert (own / "a.vcd").is_symlink()
    assert Path("kept.vcd").exists()


@pytest.mark.parametrize("kind", ["deep", "a pipe", "no table"])
def test_a_list_of_waves_that_somebody_spoilt_is_none(padbench, kind):
    sheet, spoilt = Path("pad.toml"), Path("waves/out/pad/.padbench-waves")
    sheet.write_text("")
    spoilt.parent.mkdir(parents=True)
    if kind == "a pipe":
        os.mkfifo(spoilt)
    else:
        spoilt.write_text("[" * 200_000 if kind == "deep" else "[]")
    with one_run(), wave_folder(sheet, None, False) as folder:
        assert folder == spoilt.parent


def test_a_name_that_is_no_utf_8_and_no_formula(padbench):
    name = os.fsdecode(b"p\xff$x^{_\\frac")
    try:
        Path(f"{name}.toml").write_text(Path(B).read_text())
    except OSError:
        pytest.skip("this file system takes no such name")
    outputs = ["--picture", "a.svg", "--report", "a.html", "--junit", f"{name}.xml"]
    code, out, err = padbench("play", f"{name}.toml", "--scenario", "idle", *outputs)
    assert (code, err) == (0, "")
    assert "waves/out/p\\udcff$x^{_\\frac/idle.vcd" in out
    for file in (Path("a.svg"), Path("a.html"), Path(f"{name}.xml")):
        file.read_text(encoding="utf-8")
    assert padbench("latency", "--picture", f"{name}.svg")[0] == 0


def test_signs_that_a_terminal_obeys_do_not_reach_it(padbench):
    """A name that hides the verdict: in text and in JSON it is shown as what it is."""
    bad = "\x1b[8m\x9b8m\u202e\x7f"
    Path("capture.csv").write_text(f'"time{bad}",latch,clock,"da\u202eta{bad}"\n')
    for more in ([], ["--json"]):
        code, out, err = padbench("inspect", "capture.csv", f"--data=da\u202eta{bad}", *more)
        assert code in (0, 1, 2)
        assert all(sign.isprintable() or sign == "\n" for sign in out + err)
    for name in ("JSON", "text"):
        Path(f"{bad[:4]}{name}.toml").write_text(Path(B).read_text())
        sheet = f"{bad[:4]}{name}.toml"
        more = ["--json"] if name == "JSON" else []
        out = padbench("play", sheet, "--scenario", "idle", "--waves", bad, *more)[1]
        assert all(sign.isprintable() or sign == "\n" for sign in out)
        if more:
            assert json.loads(out)["vcd"].startswith(bad)
        else:
            assert "\\x1b[8m" in out


def test_new_refuses_whatever_is_there(padbench):
    os.mkfifo("pipe.toml")
    code, _, err = padbench("new", "pipe.toml")
    assert (code, err.count("\n")) == (2, 1)


def test_a_message_is_one_line_whatever_the_names(padbench):
    code, _, err = padbench("verify", "a\nb\x1b[1m.toml")
    assert (code, err.count("\n")) == (2, 1)
    assert "\x1b" not in err
    code, _, err = padbench("play", B, "--scenario", "idle", "--waves", "/dev/null/a\nb")
    assert (code, err.count("\n")) == (2, 1)


def run_alone(*arguments, **options):
    command = [sys.executable, "-m", "padbench", *arguments]
    return subprocess.run(command, capture_output=True, text=True, check=False, **options)


@pytest.mark.parametrize("what", ["--help", "verify"])
def test_standard_output_on_a_full_disk_is_one_line(what):
    arguments = ["--help"] if what == "--help" else ["verify", B, "--no-waves", "--json"]
    with Path("/dev/full").open("w") as full:
        command = [sys.executable, "-m", "padbench", *arguments]
        ran = subprocess.run(command, stdout=full, stderr=subprocess.PIPE, text=True, check=False)
    assert ran.returncode == 4
    says = "padbench: standard output: the disk is full; make room, or write elsewhere\n"
    assert ran.stderr == says


def test_a_terminal_without_the_signs_gets_them_escaped(tmp_path):
    environment = {**os.environ, "PYTHONIOENCODING": "ascii"}
    for more in ([], ["--json"]):
        play = ["play", B, "--scenario", "idle", "--no-waves", *more]
        ran = run_alone(*play, env=environment)
        assert (ran.returncode, ran.stderr) == (0, "")


def test_an_end_by_signal_leaves_no_half_written_file(tmp_path):
    verify = [sys.executable, "-m", "padbench", "verify", B, "--waves", str(tmp_path)]
    with subprocess.Popen(verify, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE) as process:
        while not list(tmp_path.iterdir()):
            assert process.poll() is None
        process.terminate()
        _, err = process.communicate(timeout=60)
    assert b"Traceback" not in err
    assert process.returncode in (0, 143)
    assert not list(tmp_path.glob(".*"))


@pytest.mark.parametrize(
    "arguments",
    [
        ["play", B, "--scenario", "idle", "--report", "a.html", "--json"],
        ["sweep", "--routine", "read-twice", "--period", "500", "--workers", "2", "--json"],
    ],
    ids=["play", "sweep"],
)
def test_what_only_unix_has_is_not_needed_but_for_hdl(tmp_path, arguments):
    code = (
        "import os, signal, sys\n"
        "for name in ('fcntl', 'resource', 'pwd', 'grp', 'termios'): sys.modules[name] = None\n"
        "for name in ('killpg', 'getuid', 'fork', 'setsid'): delattr(os, name)\n"
        "for name in ('SIGHUP', 'SIG_BLOCK', 'SIG_SETMASK', 'pthread_sigmask'):\n"
        "    delattr(signal, name)\n"
        # Here the standard library ends a worker by it.
        "if '--workers' not in sys.argv: del signal.SIGKILL\n"
        "from importlib import import_module\n"
        "import padbench.cli as cli\n"
        "for name in cli.COMMANDS: import_module(f'padbench.cli.{name}')\n"
        "import padbench.__main__ as entry\n"
        "entry.run()"
    )
    ran = subprocess.run(
        [sys.executable, "-c", code, *arguments],
        capture_output=True,
        text=True,
        check=False,
        cwd=tmp_path,
    )
    assert (ran.returncode, ran.stderr) == (0, "")
    assert json.loads(ran.stdout)["verdict"] in ("pass", "detects")


def test_hdl_says_where_it_cannot_be_run(padbench, monkeypatch):
    monkeypatch.setattr("padbench.jobs.regress.os", SimpleNamespace(name="nt"))
    code, _, err = padbench("regress", str(SHEETS / "harbour-hdl.toml"), "--no-waves")
    assert (code, err.count("\n")) == (2, 1)
    assert "HDL is run on Linux and macOS only" in err


def test_hanging_up_is_an_end_by_signal_but_not_under_nohup(tmp_path):
    code = (
        "import os, signal, sys, padbench.cli\n"
        "def stop(arguments):\n    os.kill(os.getpid(), signal.SIGHUP); return 0\n"
        "padbench.cli.main = stop\n"
        "import padbench.__main__ as entry\n"
        "if len(sys.argv) > 1: signal.signal(signal.SIGHUP, signal.SIG_IGN)\n"
        "entry.run()"
    )
    for more, expected in (([], 129), (["nohup"], 0)):
        assert (
            subprocess.run([sys.executable, "-c", code, *more], check=False).returncode == expected
        )
