"""``padbench inspect`` as people and scripts use it."""

import json
import os
import signal
import subprocess
import sys
import threading
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import padbench
from padbench.circuit.waves import line_waves
from padbench.cli import main
from padbench.core.timeline import Wire
from padbench.results.text import as_text
from padbench.scenarios import SCENARIOS
from padbench.sheet import load_sheet
from padbench.trials.trial import run_scenario
from padbench.waveio import read_wave, write_wave
from padbench.waveio.stream import Follow

ROOT = Path(__file__).parents[2]
WAVES = ROOT / "waves"
B = ROOT / "sim" / "sheets" / "harbour-b.toml"
SHEET = load_sheet(B)


@pytest.fixture
def inspect(capsys, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)

    def run(*arguments, code=None):
        got = main(["inspect", *map(str, arguments), "--json"])
        out, err = capsys.readouterr()
        if got == 2:
            return err
        found = json.loads(out)
        assert (got, err) == ({"pass": 0, "fail": 1}[found["verdict"]], "")
        assert code in (None, got)
        return found

    return run


def finding(found, id_):
    return next(f for f in found["findings"] if f["id"] == id_)


@pytest.mark.parametrize("name", ["each-button", "press-in-latch", "cut-short", "stopped-last-bit"])
@pytest.mark.parametrize("sheet", [[], ["--sheet", str(B)]])
def test_golden_waves_give_the_reads_of_their_scenario(inspect, name, sheet):
    result = run_scenario(SHEET, SCENARIOS[name], "push-pull", "slow")
    found = inspect(WAVES / f"{name}.vcd", *sheet)
    assert [(r["start_ps"], r["byte"], r["clocks"], r["cut_short"]) for r in found["reads"]] == [
        (p.read.start_ps, p.byte, len(p.read.clock_rises), p.read.cut_short) for p in result.reads
    ]
    assert found["channels"]["latch"] == {
        **{"name": "console.latch", "found": True, "how": "found by its name"}
    }


def test_a_stopped_read_is_named_with_its_clock_and_its_effect(inspect):
    found = finding(inspect(WAVES / "stopped-last-bit.vcd", code=1), "reads.extra-clock")
    assert found["where"] == "read 2, at 24958.500 µs"
    assert (found["met"]["read"], found["met"]["at_ps"]) == (2, 24_958_500_000)
    assert found["unit"] == "clocks"
    assert (found["measured"], found["limit"]) == (9, 8)
    assert "clock 8 is extra" in found["says"]
    assert "Right reads as pressed though it was not" in found["says"]


def volts_of(timeline, path, *, tick=200_000):
    """The capture of a scope: decimal commas, a preamble, a units row, some noise."""
    times = np.arange(8 * 10**9, timeline.end_ps, tick)
    names = ("console.latch", "console.clock", "cable.data")
    noise = np.random.default_rng(1).normal(0, 0.1, (3, len(times)))
    lines = [5.0 * (timeline.wires[n].at(times) == 1) + noise[k] for k, n in enumerate(names)]
    rows = zip(times * 1e-9, *lines, strict=True)
    with path.open("w", encoding="latin-1") as out:
        out.write("Made on;bench\nTip;10 M\xe4\n\nTime;CH1;CH2;CH3\nms;V;V;V\n")
        out.writelines(";".join(f"{x:.5f}" for x in row).replace(".", ",") + "\n" for row in rows)


def test_the_same_as_volts_with_decimal_commas_and_a_preamble(inspect, tmp_path):
    golden = read_wave(WAVES / "stopped-last-bit.vcd")
    volts_of(golden, tmp_path / "scope.csv")
    options = ["--latch", "CH1", "--clock", "ch2", "--data", "4"]
    found = inspect("scope.csv", *options, code=1)
    assert [read["byte"] for read in found["reads"]] == [0, 1, 0]
    assert "clock 8 is extra" in finding(found, "reads.extra-clock")["says"]
    # Simulation and bench side by side: the same story, although one shows volts.
    other = inspect("scope.csv", *options, "--against", WAVES / "stopped-last-bit.vcd")
    assert finding(other, "against.reads")["verdict"] == "pass"
    other = inspect("scope.csv", *options, "--against", B, "--scenario", "stopped-last-bit")
    assert finding(other, "against.reads")["verdict"] == "pass"
    other = inspect("scope.csv", *options, "--against", WAVES / "press-in-latch.vcd")
    assert finding(other, "against.reads")["verdict"] == "fail"


def test_a_capture_beside_a_simulation_of_its_design(inspect):
    """The simulation is made on the spot, read by read."""
    options = ["--against", B, "--scenario"]
    same = inspect(WAVES / "each-button.vcd", *options, "each-button", code=0)
    assert finding(same, "against.reads")["verdict"] == "pass"
    assert finding(same, "against.reads")["source"] == (
        f"the simulation of {B}, each-button, push-pull port, slow corner"
    )
    assert finding(same, "against.reads")["says"] == (
        "8 presses here, the same as those of "
        f"the simulation of {B}, each-button, push-pull port, slow corner"
    )
    port = ["--port", "pull-down-only"]
    other = inspect(WAVES / "each-button.vcd", *options, "stopped-last-bit", *port, code=1)
    first = finding(other, "against.reads")
    assert "pull-down-only port" in first["source"]
    assert first["says"] == (
        "here is A, which the other has not (difference 1 of 8 beside the simulation of "
        f"{B}, stopped-last-bit, pull-down-only port, slow corner)"
    )
    rows = {row["button"]: row for row in other["beside"]}
    assert rows["A"] == {"button": "A", "seen": 0, "missed": 0, "extra": 1, "weak": 0}


def test_the_order_of_presses_without_times(inspect, tmp_path):
    names = ["A", "B", "Select", "Start", "Up", "Down", "Left", "Right"]
    file = tmp_path / "order.toml"
    file.write_text("".join(f'[[held]]\nbuttons = ["{name}"]\n' for name in names))
    found = inspect(WAVES / "each-button.vcd", "--expect", file, code=0)
    assert finding(found, "expect.order")["says"].startswith("8 presses came in the order of")
    assert [row["seen"] for row in found["beside"]] == [1] * 8
    file.write_text(file.read_text().replace('"Select"', '"Start"', 1))
    found = inspect(WAVES / "each-button.vcd", "--expect", file, code=1)
    assert finding(found, "expect.order")["verdict"] == "fail"


def ticks(*head, first=None):
    """A row each 100 ns with one read in the middle, as text; ``first`` makes the first column."""
    names = "latch;clock;data" if first is None else "n;latch;clock;data"
    rows = [[0, 1, 1] for _ in range(1000)]
    for n in range(90):
        rows[100 + n][0] = 1
    for place in range(8):
        for n in range(6):
            rows[250 + place * 62 + n][1] = 0
    lines = [";".join(map(str, row)) for row in rows]
    if first is not None:
        lines = [f"{first(n)};{line}" for n, line in enumerate(lines)]
    return "\n".join([*head, names, *lines, ""])


@pytest.mark.parametrize("first", [None, lambda n: n, lambda n: n / 1e7, lambda n: n % 3])
def test_a_rate_that_the_preamble_states_is_taken_and_said(inspect, tmp_path, capsys, first):
    path = tmp_path / "ticks.csv"
    path.write_text(ticks("Made on;bench", "Time step;100;ns", first=first))
    found = inspect(path, code=0)
    assert found["statistics"]["latch width"]["median"] == pytest.approx(9)
    assert found["channels"]["time"] == {
        "name": "1e+07 samples a second",
        "found": True,
        "how": "line 2 says Time step;100;ns",
    }
    main(["inspect", str(path), "--all"])
    out, _ = capsys.readouterr()
    assert "time: 1e+07 samples a second, line 2 says Time step;100;ns" in out
    other = inspect(path, "--rate", "5M")
    assert other["statistics"]["latch width"]["median"] == pytest.approx(18)
    assert "time" not in other["channels"]


@pytest.mark.parametrize(
    ("head", "first", "says"),
    [
        (["Sample interval;100"], None, "no column is the time (line 1 says Sample interval;100,"),
        (["Sample rate;1 MHz", "Sample rate;2 MHz"], None, "line 2 says Sample rate;2 MHz, where"),
        ([], None, "--time: no column is the time; give --time or --rate"),
        ([], lambda n: n, "--time: the first column counts the rows; give --time or --rate"),
        (["Sample interval;100;ns"], lambda n: n * n, "but the first column rises otherwise"),
        (["Sample interval;100;ns"], lambda n: n / 1e6, "but the first column rises otherwise"),
    ],
)
def test_a_time_is_never_guessed(inspect, tmp_path, head, first, says):
    (tmp_path / "ticks.csv").write_text(ticks(*head, first=first))
    err = inspect(tmp_path / "ticks.csv")
    assert says in err
    assert err.count("\n") == 1


def test_the_first_column_is_the_time_where_nothing_else_is_said(inspect, tmp_path):
    (tmp_path / "ticks.csv").write_text(ticks(first=lambda n: n / 1e7))
    found = inspect(tmp_path / "ticks.csv", code=0)
    assert found["channels"]["time"] == {"name": "n", "found": True, "how": "the first column"}


@pytest.mark.parametrize(
    ("head", "names", "factor", "unit", "how"),
    [
        ("", "time in microseconds", 1e6, "us", "as its column says"),
        ("", "t (usec)", 1e6, "us", "as its column says"),
        ("", "time_ps", 1e12, "ps", "as its column says"),
        ("Horizontal Units;us\n", "Time", 1e6, "us", "as line 1 says"),
        ("Horizontal Units;us\n", "Time (us)", 1e6, "us", "as its column says"),
        ("", "time", 1, "s", "as nothing says otherwise"),
    ],
)
def test_the_unit_of_the_time_is_understood_and_said(
    inspect, tmp_path, capsys, head, names, factor, unit, how
):
    path = tmp_path / "units.csv"
    text = ticks(first=lambda n: f"{n / 1e7 * factor:.9g}").replace("n;latch", f"{names};latch")
    path.write_text(head + text)
    found = inspect(path, code=0)
    assert found["statistics"]["latch width"]["median"] == pytest.approx(9)
    assert found["time_unit"] == {"unit": unit, "how": how}
    main(["inspect", str(path), "--all"])
    assert f"in {unit}, {how}" in capsys.readouterr().out
    assert inspect(path, "--time-unit", unit)["time_unit"] == {"unit": unit, "how": "given"}


@pytest.mark.parametrize(
    ("head", "name", "says"),
    [
        ("", "time (fortnights)", "column 1 has 'fortnights' for the unit of the time"),
        ("", "time in ticks", "column 1 has 'ticks' for the unit of the time"),
        ("", "time (V)", "column 1 has 'V' for the unit of the time"),
        ("X Units;ticks\n", "time", "line 1 has 'ticks' for the unit of the time"),
        ("X Units;ms\n", "time (us)", "column 1 is in us, but line 1 says ms"),
    ],
)
def test_a_unit_of_the_time_that_is_none_is_refused(inspect, tmp_path, head, name, says):
    path = tmp_path / "units.csv"
    path.write_text(head + ticks(first=lambda n: n / 10).replace("n;latch", f"{name};latch"))
    err = inspect(path)
    assert f"{path}: --time-unit: {says}" in err
    assert "give --time-unit, as us" in err
    found = inspect(path, "--time-unit", "us", code=0)
    assert found["statistics"]["latch width"]["median"] == pytest.approx(9)


def test_a_capture_without_a_read_is_nothing_to_compare_with(inspect, tmp_path):
    rows = "".join(f"{n}e-3,0,1,1\n" for n in range(9))
    (tmp_path / "still.csv").write_text(f"time,latch,clock,data\n{rows}")
    err = inspect(WAVES / "cut-short.vcd", "--against", "still.csv")
    assert "still.csv: no read in it to compare with; name a capture with reads" in err


def test_expectations(inspect, tmp_path):
    entries = []
    for read in inspect(WAVES / "each-button.vcd")["reads"]:
        if read["pressed"]:
            ms = read["start_ps"] / 1e9
            entries.append(
                f"[[held]]\nbuttons = {json.dumps(read['pressed'])}\n"
                f'from = "{ms - 2:.3f} ms"\nto = "{ms + 2:.3f} ms"\n'
            )
    file = tmp_path / "held.toml"
    file.write_text('slack = "0.5 ms"\n' + "".join(entries))
    found = inspect(WAVES / "each-button.vcd", "--expect", file, code=0)
    assert finding(found, "expect.held")["verdict"] == "pass"
    file.write_text(file.read_text().replace('"A"', '"B"', 1))
    found = inspect(WAVES / "each-button.vcd", "--expect", file, code=1)
    assert "held B, read A" in finding(found, "expect.held")["says"]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("held = 3", "1: held: 3 is not a list of tables"),
        ("[[hold]]", "1: hold: is no known table"),
        (
            '[[held]]\nbuttons = ["A"]\nfrom = "1 ms"',
            "held 1, to: is missing; give both in every entry",
        ),
        (
            '[[held]]\nbuttons = ["Z"]\nfrom = "1 ms"\nto = "2 ms"',
            'buttons[0]: "Z" is no known button',
        ),
        ('[[held]]\nbuttons = ["A"]\nfrom = "1 m"\nto = "2 ms"', "3: held 1, from: "),
        ('[[held]]\nbuttons = ["A"]\nfrom = "3 ms"\nto = "2 ms"', "is not after from"),
        ('slack = "x"', "1: slack: "),
        ("", 'is empty; begin with [[held]], buttons = ["A"], from = "120 ms"'),
        ("\xff", "is not UTF-8; save the file as UTF-8"),
    ],
)
def test_expectations_that_cannot_be_used(inspect, tmp_path, text, says):
    (tmp_path / "held.toml").write_text(text, encoding="latin-1")
    err = inspect(WAVES / "each-button.vcd", "--expect", "held.toml")
    assert err.startswith("padbench: held.toml")
    assert says in err


@pytest.mark.parametrize(
    ("options", "says"),
    [
        (["--latch", "nothing"], "--latch: no channel is named 'nothing'; try "),
        (["--latch", "pad.stages"], "has 8 bits of type reg; name one bit"),
        (["--latch", "pad.stages[9]"], "has bits 7 to 0"),
        (["--latch", "console.clock"], "--clock: console.clock is the latch already"),
        (["--thresholds", "3,1"], "is not two rising voltages"),
        (["--input", "Q=x"], "--input: 'Q=x' is no button and channel"),
        (["--input", "A=x", "--input", "a=y"], "--input: A has two channels; give it once"),
        (["--rate", "10M"], "--time and --rate are for CSV"),
        (["--rate", "fast"], "is no number of samples"),
        (["--time-unit", "V"], "--time-unit: 'V' is no unit of time"),
        (["--time-unit", "us"], "--time-unit: no column is the time here"),
        (["--clocks", "0"], "is not between 1 and 64"),
        (["--passes", "9"], "is not between 1 and 4"),
        (["--passes", "0"], "--passes: 0 is not between 1 and 4"),
        (["--port", "push-pull"], "give --sheet too"),
        (["--sheet", str(B), "--port", "x"], "does not name 'x'"),
        (["--against", "none.vcd"], "none.vcd: No such file"),
        (["--against", str(B)], "harbour-b.toml is a sheet; give --scenario too"),
        (["--scenario", "idle"], "nothing is simulated; give --against SHEET too"),
        (["--against", str(B), "--scenario", "idel"], "no scenario 'idel'; try idle"),
        (["--against", str(B), "--scenario", "idle", "--port", "x"], "does not name 'x'"),
        (["--against", "none.toml", "--scenario", "idle"], "none.toml"),
        (["--sync-line", "3"], "--sync-line: give a line from 0 to 399, and --sync CHANNEL too"),
        (["--expect", "none.toml"], "none.toml"),
        (
            ["--fit", "fit.toml"],
            "--fit: only a sheet says what is connected to the lines; give --sheet",
        ),
        ([WAVES / "each-button.vcd", "--fit", "fit.toml"], "--fit: there are several captures"),
    ],
)
def test_options_that_cannot_be_used(inspect, options, says):
    err = inspect(WAVES / "each-button.vcd", *options)
    assert says in err
    assert err.count("\n") == 1


def test_one_bit_of_a_wide_variable(inspect):
    """Stage 8, the register's output, is bit 7 of the stages: the data line before the cable."""
    golden = inspect(WAVES / "each-button.vcd")
    found = inspect(WAVES / "each-button.vcd", "--data", "pad.stages[7]")
    assert [r["byte"] for r in found["reads"]] == [r["byte"] for r in golden["reads"]]


def test_voltages_in_a_vcd_are_read_as_volts(inspect, tmp_path):
    """What `verify --analogue` writes: the levels beside the voltages say the same."""
    timeline = run_scenario(SHEET, SCENARIOS["each-button"], "push-pull", "slow").timeline
    waves = line_waves(SHEET, "push-pull", timeline)
    write_wave(timeline, tmp_path / "volts.vcd", volts=waves)
    roles = ("latch", "clock", "data")
    options = [part for role in roles for part in (f"--{role}", f"analogue.{role}")]
    found = inspect("volts.vcd", *options, "--against", "volts.vcd", code=0)
    levels = inspect("volts.vcd", code=0)
    assert [r["byte"] for r in found["reads"]] == [r["byte"] for r in levels["reads"]]
    assert finding(found, "levels.clock-edge")["measured"] > 0
    supply = ["--latch", "console.latch", *options[2:], "--supply", "analogue.latch"]
    assert inspect("volts.vcd", *supply)["volts"]["supply"]["max"] > 4.5
    assert "no channel" in inspect("volts.vcd", "--supply", "analogue.supply")


def test_voltages_are_found_by_their_names_where_no_levels_are(inspect, tmp_path):
    """The same rises of latch and clock as levels, in a file with nothing but voltages."""
    timeline = run_scenario(SHEET, SCENARIOS["each-button"], "push-pull", "slow").timeline
    waves = line_waves(SHEET, "push-pull", timeline)
    write_wave(timeline, tmp_path / "both.vcd", volts=waves)
    lines = (tmp_path / "both.vcd").read_text().splitlines(keepends=True)
    head = [line for line in lines if not line.startswith("$var wire")]
    codes = {line.split()[3] for line in lines if line.startswith("$var wire")}
    left = [n for n in head if not (n[0] in "01xz" and n.strip()[1:] in codes)]
    (tmp_path / "volts.vcd").write_text("".join(left))
    found = inspect("volts.vcd", code=0)
    assert found["channels"]["data"]["name"] == "analogue.data"
    levels = inspect("both.vcd", code=0)
    assert levels["channels"]["data"]["name"] == "cable.data"
    assert [r["byte"] for r in found["reads"]] == [r["byte"] for r in levels["reads"]]


def test_what_cannot_be_taken_is_not_offered(inspect, tmp_path):
    head = "$timescale 1 ns $end $var wire 8 ! latch $end $var wire 1 # clk $end"
    (tmp_path / "wide.vcd").write_text(f"{head} $enddefinitions $end\n#0 1#\n#1 0#\n")
    assert "clearly the latch; name one, there are clk\n" in inspect("wide.vcd")


def test_the_line_of_the_frame_with_a_vertical_sync(inspect, tmp_path, capsys):
    golden = read_wave(WAVES / "each-button.vcd")
    frame = 262 * 63_509_000
    first = int(golden.wires["console.latch"].rises()[0]) - 5 * 63_509_000
    pulses = [(first + n * frame + edge * 190_000_000, edge) for n in range(3) for edge in (0, 1)]
    wires = {**golden.wires, "tv.vsync": Wire.of([(0, 1), *pulses])}
    write_wave(replace(golden, wires=wires), tmp_path / "sync.vcd")
    found = inspect("sync.vcd", "--sync", "vsync")
    assert found["reads"][0]["frame"] == {
        **{"lines_after_sync": 5.0, "first_line": 250, "last_line": 250},
        **{"in_blanking": True, "in_picture": False},
    }
    assert (found["frame"]["console"], found["frame"]["sync_line"]) == ("60hz", 245)
    assert inspect("sync.vcd", "--sync", "vsync", "--sync-line", "0")["frame"]["sync_line"] == 0
    main(["inspect", "sync.vcd", "--sync", "vsync"])
    assert "line 250, vertical blanking" in " ".join(capsys.readouterr().out.split())


def test_passes_that_disagree_are_told(inspect, tmp_path):
    result = run_scenario(SHEET, SCENARIOS["read-twice-rejects"], "push-pull", "slow")
    write_wave(result.timeline, tmp_path / "twice.vcd")
    found = inspect("twice.vcd")
    assert found["passes"] == 2
    assert "in 3 of 5 polls the 2 passes disagree" in finding(found, "reads.passes-agree")["says"]


def test_opposite_directions_and_presses(inspect, tmp_path):
    result = run_scenario(SHEET, SCENARIOS["opposite-directions"], "push-pull", "slow")
    write_wave(result.timeline, tmp_path / "both.vcd")
    found = inspect("both.vcd")
    assert "opposite directions" in finding(found, "reads.opposite-directions")["says"]
    buttons = inspect(WAVES / "each-button.vcd")["buttons"]
    assert [press["button"] for press in buttons] == [
        *("A", "B", "Select", "Start", "Up", "Down", "Left", "Right")
    ]
    # A is down in the first read, so nobody saw it go down.
    assert [press["down_ps"] is None for press in buttons] == [True] + 7 * [False]
    assert all(press["down_ps"] < press["up_ps"] for press in buttons[1:-1])


def test_tables_for_people(capsys):
    assert main(["inspect", str(WAVES / "stopped-last-bit.vcd"), "--all"]) == 1
    out, err = capsys.readouterr()
    assert err == ""
    assert "latch: console.latch, found by its name" in out
    assert "scan lines" in out
    assert "stopped-last-bit.vcd: FAILS. 3 reads; 1 of " in out


def lines_of(read):
    """As a logger writes them: changes of latch, clock and data around one read, in ms."""
    timeline = read_wave(WAVES / "each-button.vcd")
    wires = [timeline.wires[name] for name in ("console.latch", "console.clock", "cable.data")]
    times = np.unique(np.concatenate([wire.times for wire in wires]))
    starts = [*timeline.wires["console.latch"].rises().tolist(), timeline.end_ps]
    times = times[(times >= starts[read]) & (times < starts[read + 1])]
    rows = zip(times.tolist(), *((wire.at(times + 1) == 1).tolist() for wire in wires), strict=True)
    return "".join(f"{t / 1e12:.9f},{a:d},{b:d},{c:d}\n" for t, a, b, c in rows)


@pytest.mark.parametrize("form", ["csv", "vcd"])
def test_a_growing_capture_is_followed_and_summed_up_when_stopped(form):
    """Each button is told while the writer is still there; then Ctrl-C."""
    with subprocess.Popen(
        [sys.executable, "-m", "padbench", "inspect", "-"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as live:
        if form == "csv":
            parts = ["time,latch,clock,data\n0,0,1,1\n" + lines_of(0), *map(lines_of, range(1, 6))]
        else:
            whole = (WAVES / "each-button.vcd").read_text()
            parts = [whole[: len(whole) * 3 // 4]]
        late = threading.Timer(20, live.kill)
        late.start()
        for part in parts:
            live.stdin.write(part)
            live.stdin.flush()
        seen = [live.stdout.readline().split() for _ in range(4)]
        assert [line[2] for line in seen] == ["A", "B", "Select", "Start"]
        assert all(line[1] == "s" for line in seen)
        live.send_signal(signal.SIGINT)
        out, _ = live.communicate()
        late.cancel()
    assert live.returncode in (0, 1)
    assert "standard input" in out
    assert "reads" in out


def test_standard_input_is_read_where_a_pipe_cannot_be_waited_for(monkeypatch):
    def no_socket(*_):
        raise OSError("an operation was attempted on something that is not a socket")

    monkeypatch.setattr("padbench.waveio.stream._SELECTS", False, raising=False)
    monkeypatch.setattr("padbench.waveio.stream.select.select", no_socket)
    ours, theirs = os.pipe()
    os.write(theirs, b"time,latch\n")
    os.close(theirs)
    with os.fdopen(ours, "rb") as pipe:
        assert Follow(pipe.fileno()).read(100) == b"time,latch\n"


def test_standard_input_is_read_by_itself(inspect):
    assert "-: standard input is read by itself, with one data line" in inspect(
        "-", WAVES / "each-button.vcd"
    )


def test_two_pads_on_one_latch(inspect):
    """Two data lines of one recording: the cable, and the register's output before it."""
    found = inspect(WAVES / "each-button.vcd", "--data", "cable.data", "--data", "pad.stages[0]")
    one, other = found["results"]
    alone = inspect(WAVES / "each-button.vcd", "--data", "pad.stages[0]")
    assert [read["byte"] for read in one["reads"]] == [128 >> n for n in range(8)]
    assert [read["byte"] for read in other["reads"]] == [read["byte"] for read in alone["reads"]]
    python = padbench.inspect(
        WAVES / "each-button.vcd", channels={"data": ["cable.data", "pad.stages[0]"]}
    )
    assert [len(seen.rows) for seen in python.data] == [8, 8]
    assert "each-button.vcd, pad.stages[0]" in as_text(python)


def test_a_line_at_both_ends_of_its_cable(inspect, tmp_path):
    """Volts of a row each 20 ns; the far end comes 60 ns later, and has less swing."""
    golden = read_wave(WAVES / "stopped-last-bit.vcd")
    times = np.arange(8_318_000_000, 8_420_000_000, 20_000)
    names = ("console.latch", "console.clock", "cable.data")
    lines = [5.0 * (golden.wires[n].at(times) == 1) for n in names]
    far = 0.2 + 4.5 * (golden.wires["console.clock"].at(times - 60_000) == 1)
    early = 5.0 * (golden.wires["cable.data"].at(times + 40_000) == 1)
    rows = zip(times * 1e-12, *lines, far, early, strict=True)
    text = "".join(",".join(f"{x:.9g}" for x in row) + "\n" for row in rows)
    (tmp_path / "ends.csv").write_text("time,latch,clock,data,clock end,data end\n" + text)
    found = inspect("ends.csv", "--far-clock", "clock end", "--far-data", "data end")
    ways = found["statistics"]
    assert ways["clock through the cable, rise"]["median"] == pytest.approx(0.06)
    assert ways["clock through the cable, fall"]["count"] == 8
    assert ways["data through the cable, rise"]["median"] == pytest.approx(0.04)
    assert found["levels"]["far-clock"] == {"min": pytest.approx(0.2), "max": pytest.approx(4.7)}
    assert ways["far-clock rise, 10 to 90 %"]["count"] == 8
