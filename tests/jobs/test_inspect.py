"""`padbench.inspect` from Python, and each rendering of what it gives."""

import io
import json
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from jsonschema import Draft202012Validator

import padbench
from padbench.cli import main
from padbench.core.levels import LOW
from padbench.core.timeline import Timeline, Wire
from padbench.jobs.schemas import json_schema
from padbench.parts import port_kind
from padbench.parts.own import own_text
from padbench.results.blocks import Articles
from padbench.results.capture_sections import chosen_reads
from padbench.results.documents import write_json
from padbench.results.html_page import write_page
from padbench.results.junit import write_junit
from padbench.results.result import combined
from padbench.results.text import as_text
from padbench.results.wave_data import wave_object

ROOT = Path(__file__).parents[2]
STOPPED = ROOT / "waves" / "stopped-last-bit.vcd"
EACH = ROOT / "waves" / "each-button.vcd"
SHEET = ROOT / "sim" / "sheets" / "harbour-b.toml"
SCHEMA = Draft202012Validator(json_schema("inspect"))


def document(result):
    out = io.StringIO()
    write_json(result, out)
    return json.loads(out.getvalue())


@pytest.fixture(scope="module")
def stopped():
    return padbench.inspect(STOPPED, sheet=SHEET)


def test_a_capture_by_path_or_open(stopped):
    whole = STOPPED.read_bytes()
    with STOPPED.open("rb") as raw, STOPPED.open() as text:
        for capture in (str(STOPPED), raw, text, io.BytesIO(whole), io.StringIO(whole.decode())):
            result = padbench.inspect(capture, sheet=SHEET)
            assert [*result.data.reads()] == [*stopped.data.reads()]
            assert result.findings == stopped.findings
            assert result.verdict == "fail"
        assert not raw.closed
        assert not text.closed


def test_a_table_that_is_open_with_columns_by_number():
    rows = ["0,0,1,1", "1e-5,1,1,1", "2e-5,0,1,0"]
    for bit in range(8):
        rows += [f"{3e-5 + bit * 6e-6:.7f},0,0,0", f"{3.1e-5 + bit * 6e-6:.7f},0,1,0"]
    file = io.StringIO("\n".join(["t,a,b,c", *rows, "1e-3,0,1,1", ""]))
    result = padbench.inspect(
        file, channels={"latch": 2, "clock": 3, "data": 4}, time=1, time_unit="s"
    )
    assert [read.byte for read in result.data.reads()] == [0xFF]
    assert result.name == "the capture"


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        ({"thresholds": (3, 1)}, "thresholds: '3,1' is not two rising voltages"),
        ({"thresholds": (1,)}, "thresholds: '1' is not two rising voltages"),
        ({"rate": -5}, "rate: '-5' is no number of samples"),
        ({"clocks": 65}, "clocks: 65 is not between 1 and 64"),
        ({"sync_line": 3}, "sync_line: give a line from 0 to 399, and sync CHANNEL too"),
        ({"fit": "port.toml"}, "fit: only a sheet says what is connected to the lines; give sheet"),
        ({"port": "push-pull"}, "port: only a sheet has kinds of port; give sheet too"),
        ({"sheet": 5}, "sheet: 5 is no use here; give a sheet, its file or its text"),
        ({"channels": "CH1"}, "channels: 'CH1' is no use here; give channels by role"),
        ({"channels": {"latch": None}, "thresholds": 3}, "thresholds: 3 is no use here"),
        ({"thresholds": (None, 3)}, "thresholds: 'None,3' is not two rising voltages"),
        ({"clocks": "8"}, "clocks: '8' is no use here; give a whole number"),
        ({"clocks": True}, "clocks: True is no use here"),
        ({"passes": 1.5}, "passes: 1.5 is no use here"),
        ({"time_unit": 5}, "time_unit: 5 is no use here; give a name"),
        ({"time_unit": "fortnight"}, "time_unit: 'fortnight' is no unit of time"),
        ({"rate": []}, "rate: [] is no use here"),
        ({"expect": 7}, "expect: 7 is no use here; give the path of a file"),
        ({"against": 7}, "against: 7 is no use here; give a capture or a sheet"),
        ({"scenario": 7}, "scenario: 7 is no use here"),
        ({"fit": 7}, "fit: 7 is no use here"),
        ({"scenario": "idle"}, "scenario: nothing is simulated"),
        ({"sheet": SHEET, "port": "x"}, "port: the sheet does not name 'x'"),
    ],
)
def test_what_cannot_be_done_is_refused(arguments, says):
    with pytest.raises(padbench.Refusal) as caught:
        padbench.inspect(EACH, **arguments)
    assert str(caught.value).startswith(says)


@pytest.mark.parametrize("capture", [None, 5, [None], [], [EACH, 5], b"each-button.vcd"])
def test_what_is_no_capture_is_refused(capture):
    with pytest.raises(padbench.Refusal, match=r"^capture: .*; give a path or an open file"):
        padbench.inspect(capture)


def test_several_captures_give_one_result_as_bad_as_the_worst(stopped):
    both = padbench.inspect([EACH, STOPPED], sheet=SHEET)
    assert both.verdict == "fail"
    assert both.exit_code == 1
    assert both.lead == "1 of 2 fail."
    assert [len(seen.rows) for seen in both.data] == [8, 3]
    assert both.findings[-len(stopped.findings) :] == stopped.findings
    assert padbench.inspect((EACH,), sheet=SHEET).name == "each-button.vcd"
    assert padbench.inspect([EACH, EACH]).exit_code == 0
    with pytest.raises(padbench.Refusal, match="fit: there are 2 captures; give the one to fit"):
        padbench.inspect([EACH, STOPPED], sheet=SHEET, fit="port.toml")


def test_messages_name_arguments_and_no_options(tmp_path):
    table = tmp_path / "a--b.csv"
    table.write_text("a,b,c\n0,1,1\n1,1,1\n")
    with pytest.raises(padbench.waveio.WaveError) as caught:
        padbench.inspect(table, time_unit="us")
    says = str(caught.value)
    assert says.startswith(f"{table}: latch: no one channel is clearly the latch")
    with pytest.raises(padbench.waveio.WaveError) as caught:
        padbench.inspect(table, channels={"latch": 1, "clock": 2, "data": 3})
    assert "; give time or rate" in str(caught.value)
    assert main(["inspect", str(table), "--latch", "1", "--clock", "2", "--data", "3"]) == 2


@pytest.mark.parametrize("named", [EACH.name, "pad.toml", "parts.toml"])
def test_a_fit_takes_no_place_of_an_input(tmp_path, named):
    (tmp_path / EACH.name).write_bytes(EACH.read_bytes())
    (tmp_path / "parts.toml").write_text(own_text(replace(port_kind("push-pull"), name="own")))
    sheet = SHEET.read_text() + '\n[parts]\nfile = "parts.toml"\n'
    (tmp_path / "pad.toml").write_text(sheet)
    before = (tmp_path / named).read_bytes()
    loaded = padbench.load_sheet(tmp_path / "pad.toml")
    for given in (tmp_path / "pad.toml", loaded):
        with pytest.raises(OSError, match="reads it and does not write over it"):
            padbench.inspect(tmp_path / EACH.name, sheet=given, fit=tmp_path / named)
    assert (tmp_path / named).read_bytes() == before


def test_a_file_that_breaks_off_says_so_with_its_verdict(tmp_path):
    """What stood before holds, so it passes; nobody may take that for the whole."""
    (tmp_path / "cut.vcd").write_bytes(EACH.read_bytes()[:3000])
    result = padbench.inspect(tmp_path / "cut.vcd")
    assert result.exit_code == 0
    assert result.lead.startswith("2 reads before the file breaks off, ")
    (tmp_path / "cut.vcd").write_bytes(STOPPED.read_bytes()[:-20])
    assert padbench.inspect(tmp_path / "cut.vcd").exit_code == 1


def test_json_is_what_its_schema_says(stopped):
    written = document(stopped)
    SCHEMA.validate(written)
    assert len(written["reads"]) == 3
    found = next(f for f in written["findings"] if f["id"] == "reads.extra-clock")
    assert (found["met"]["read"], found["met"]["at_ps"]) == (2, 24_958_500_000)
    assert [source["class"] for source in found["sources"]] == ["common practice", "from memory"]


def test_json_of_a_frame_fits_its_schema(tmp_path):
    golden = padbench.read_wave(EACH)
    frame = 262 * 63_509_000
    first = int(golden.wires["console.latch"].rises()[0]) - 5 * 63_509_000
    pulses = [(first + n * frame + edge * 190_000_000, edge) for n in range(3) for edge in (0, 1)]
    wires = {**golden.wires, "tv.vsync": Wire.of([(0, 1), *pulses])}
    padbench.write_wave(replace(golden, wires=wires), tmp_path / "sync.vcd")
    result = padbench.inspect(tmp_path / "sync.vcd", channels={"sync": "vsync"})
    written = document(result)
    SCHEMA.validate(written)
    assert written["reads"][0]["frame"]["first_line"] == 250
    assert "line 250, vertical blanking" in " ".join(as_text(result, 200).split())


def test_every_rendering_says_what_failed(stopped):
    text, page, junit = as_text(stopped), io.StringIO(), io.StringIO()
    assert "reads.extra-clock" in text
    assert text.splitlines()[-1].startswith("stopped-last-bit.vcd: FAILS. 3 reads; 1 of ")
    write_page(stopped, page)
    assert "clock 8 is extra" in page.getvalue()
    assert "Read 2 at 24.9585\N{NO-BREAK SPACE}ms" in page.getvalue()
    write_junit([stopped], junit)
    cases = ET.fromstring(junit.getvalue()).iter("testcase")
    failed = [case.get("name") for case in cases if case.find("failure") is not None]
    assert failed == ["reads.extra-clock"]


def many(tmp_path, spoilt):
    """Forty reads with another byte each, one of them with a clock that is low for 170 ns."""
    US, wires = 10**6, {"latch": [(0, 0)], "clock": [(0, 1)], "data": [(0, 1)]}
    for number in range(40):
        start = (1 + 16 * number) * 1000 * US
        wires["latch"] += [(start, 1), (start + 9 * US, 0)]
        for bit in range(8):
            fall = start + (14 + 6 * bit) * US
            low = 300_000 if number != spoilt or bit != 4 else 170_000
            wires["clock"] += [(fall, 0), (fall + low, 1)]
            wires["data"].append((fall - 5_500_000, 1 - (number >> 7 - bit & 1)))
    end = wires["clock"][-1][0] + 1000 * US
    line = Timeline(end, {f"pad.{name}": Wire.of(some) for name, some in wires.items()})
    padbench.write_wave(line, tmp_path / "many.vcd")
    return padbench.inspect(tmp_path / "many.vcd"), (1 + 16 * spoilt) * 1000 * US + 38 * US


def test_the_read_that_breaks_a_rule_is_on_the_page_marked_at_its_moment(tmp_path):
    """The last of forty reads, after more changes than find room."""
    result, at = many(tmp_path, 38)
    broken = [f for f in result.findings if f.verdict == "fail"]
    assert {(f.id, f.met.read, f.met.at_ps) for f in broken} == {("timing.clock-low", 39, at)}
    shown = {one.read.number: one for one in chosen_reads(result.data, result.findings)}
    assert 39 in shown
    assert shown[39].marks == [(at, broken[0].says)]
    (articles,) = (
        block
        for part in result.sections
        if part.id == "reads"
        for block in part.blocks
        if isinstance(block, Articles)
    )
    article = next(one for one in articles.articles if one.name.startswith("Read 39 at"))
    assert article.verdict == "fail"
    wave = article.wave()
    assert wave.first == 39
    assert wave.offset + wave.marks[0][0] == at
    assert wave.timeline.wires["clock"].at(np.asarray([wave.marks[0][0]])).tolist() == [LOW]
    assert wave_object(wave)["reads"][0][3] == 38


def test_waves_are_made_only_for_a_page(tmp_path):
    result, _ = many(tmp_path, 1)
    (tmp_path / "many.vcd").unlink()
    assert "Reads" in as_text(result)
    document(result)


def test_several_captures_end_with_a_line_each_and_the_worst_code(capsys, tmp_path):
    page = tmp_path / "both.html"
    assert main(["inspect", str(EACH), str(STOPPED), "--report", str(page)]) == 1
    out, err = capsys.readouterr()
    assert err == ""
    assert "each-button.vcd: Holds." in out
    assert "stopped-last-bit.vcd: FAILS." in out
    assert "2 files: FAILS. 1 of 2 fail." in out
    assert "Read 2 at 24.9585\N{NO-BREAK SPACE}ms" in page.read_text(encoding="utf-8")
    assert main(["inspect", str(EACH), str(EACH)]) == 0
    capsys.readouterr()
    assert main(["inspect", str(EACH), str(STOPPED), "--json"]) == 1
    both = json.loads(capsys.readouterr().out)
    assert both["verdict"] == "fail"
    assert [len(one["reads"]) for one in both["results"]] == [8, 3]
    assert main(["inspect", str(EACH), str(tmp_path / "none.vcd")]) == 2
    assert capsys.readouterr().err.count("\n") == 1


def test_results_combine(stopped):
    result = combined([padbench.inspect(EACH), stopped])
    assert result.exit_code == 1
    assert len(document(result)["results"]) == 2


def test_a_bit_of_a_range_that_does_not_end_in_zero(tmp_path):
    text = EACH.read_text().replace("stages[7:0]", "stages[15:8]")
    (tmp_path / "high.vcd").write_text(text)
    result = padbench.inspect(tmp_path / "high.vcd", channels={"data": "pad.stages[15]"})
    same = padbench.inspect(EACH, channels={"data": "pad.stages[7]"})
    assert [*result.data.reads()] == [*same.data.reads()]
    assert document(result)["channels"]["data"]["name"] == "pad.stages[15]"
    with pytest.raises(ValueError, match=r"vcd: data: pad\.stages has bits 15 to 8"):
        padbench.inspect(tmp_path / "high.vcd", channels={"data": "pad.stages[7]"})


def test_what_fails_finds_room_before_what_is_only_doubtful(tmp_path):
    result, _ = many(tmp_path, 38)
    broken = next(f for f in result.findings if f.verdict == "fail")

    def at(number, verdict):
        start = int(result.data.rows["start"][number])
        return replace(broken, verdict=verdict, case="fail", met=result.data.met(start + 1))

    doubtful = [at(number, "not-judged") for number in range(9)]
    failing = [at(number, "fail") for number in range(20, 31)]
    chosen = {one.read.number for one in chosen_reads(result.data, doubtful + failing)}
    assert chosen == {1, *range(21, 32)}


def volts(tmp_path, scale, data=None, low=0.0):
    """A read of A and of nothing, 10 MS/s, latch and clock from ``low`` volts up by ``scale``."""
    at = np.arange(2500)
    within = at % 1000
    latch = (within >= 50) & (within < 140) & (at < 2000)
    fell = (within - 190) % 60
    clock = ~((within >= 190) & (within < 190 + 480) & (fell < 10) & (at < 2000))
    held = (within >= 50) & (within < 205) & (at < 1000)
    lines = [low + scale * latch, low + scale * clock, low + (data or scale) * ~held]
    rows = np.stack([at * 1e-7, *lines], axis=1)
    path = tmp_path / f"{scale}-{low}.csv"
    np.savetxt(path, rows, "%.7f,%.4f,%.4f,%.4f", header="t (s),latch,clock,data", comments="")
    return path


def thresholds(result):
    return [(f.verdict, f.case) for f in result.findings if f.id == "levels.thresholds"]


@pytest.mark.parametrize(
    ("scale", "low", "without", "with_sheet"),
    [
        (5, 0, [], ("pass", "")),
        (4.3, 0.7, [], ("pass", "")),
        (3.3, 0, [("not-judged", "")], ("fail", "")),
        (3.65, 1.6, [("not-judged", "")], ("fail", "low")),
        (0.5, 0, [("not-judged", "")], ("fail", "tenth")),
        (255, 0, [("not-judged", "")], ("fail", "over")),
    ],
)
def test_lines_are_read_by_their_levels_and_held_to_the_sheet(
    tmp_path, scale, low, without, with_sheet
):
    path = volts(tmp_path, scale, low=low)
    alone, held = padbench.inspect(path), padbench.inspect(path, sheet=SHEET)
    for result in (alone, held):
        assert [read.byte for read in result.data.reads()] == [0x80, 0]
    assert thresholds(alone) == without
    assert thresholds(held) == [with_sheet] * 3
    runts = {f.verdict for f in alone.findings if f.id == "levels.runts"}
    assert runts == ({"not-judged"} if without else {"pass"})
    assert with_sheet[0] == held.verdict
    same = padbench.inspect(path, thresholds="auto")
    assert same.findings == alone.findings


def test_data_too_weak_for_the_clock_beside_it_does_not_pass(tmp_path):
    """2.4 V is no high where the clock has 5 V, nor where it has 3.6 V and 2.5 V would be one."""
    for scale in (5, 3.4):
        path = volts(tmp_path, scale, data=0.45 * scale)
        for sheet in (None, SHEET):
            result = padbench.inspect(path, sheet=sheet)
            (found,) = (f for f in result.findings if f.id == "levels.moves")
            assert (found.verdict, found.where) == ("fail", "data")


@pytest.mark.parametrize(("scale", "says"), [(0.5, "give --scale 10"), (255, "give --scale, the")])
def test_what_are_no_volts_of_a_pad_name_their_scale(tmp_path, scale, says):
    for sheet, lines in ((None, 1), (SHEET, 3)):
        result = padbench.inspect(volts(tmp_path, scale), sheet=sheet)
        found = [f for f in result.findings if f.id == "levels.thresholds"]
        assert [says in one.says for one in found] == [True] * lines


def test_low_thresholds_serve_the_decoding_only(tmp_path):
    """2.4 V is no high for a register at 5 V, at the end of the cable where it is recorded."""
    low = {"thresholds": (0.8, 2.0)}
    table = volts(tmp_path, 2.4).read_text().splitlines()
    good = volts(tmp_path, 5).read_text().splitlines()
    both = tmp_path / "both.csv"
    weak = (row.split(",", 1)[1] for row in table)
    joined = [*map(",".join, zip(good, weak, strict=True))][1:]
    both.write_text("\n".join(["t (s),latch,clock,data,far latch,far clock,far data", *joined]))
    far = {"channels": {f"far-{line}": f"far {line}" for line in ("latch", "clock")}}
    for path, options, weak in (
        (tmp_path / "2.4-0.0.csv", {}, ["latch", "clock", "data"]),
        (both, far, ["latch", "clock"]),
    ):
        result = padbench.inspect(path, sheet=SHEET, **low, **options)
        assert [read.byte for read in result.data.reads()] == [0x80, 0]
        found = {f.where: f for f in result.findings if f.id == "levels.thresholds"}
        assert [line for line, one in found.items() if one.verdict == "fail"] == weak
        assert [found[line].measured for line in weak] == [pytest.approx(2.4)] * len(weak)
    assert found["latch"].says.startswith("the latch at the pad's end goes between 0 V and 2.4 V")


def test_data_that_stand_at_no_high_level_are_held_to_the_console(tmp_path):
    table = volts(tmp_path, 5).read_text().splitlines()
    rows = [",".join([*row.split(",")[:3], "2.4"]) for row in table[1:]]
    (tmp_path / "still.csv").write_text("\n".join([table[0], *rows, ""]))
    result = padbench.inspect(tmp_path / "still.csv", sheet=SHEET, thresholds=(0.8, 2.0))
    found = {f.where: f.verdict for f in result.findings if f.id == "levels.thresholds"}
    assert found == {"latch": "pass", "clock": "pass", "data": "fail"}


def test_a_line_is_inverted_by_the_name_of_its_channel(tmp_path):
    path = volts(tmp_path, 5)
    path.write_text(path.read_text().replace("clock,data", "clock,CH3"))
    own = {"channels": {"data": "CH3"}}
    results = [padbench.inspect(path, invert=name, **own) for name in ("CH3", "Data")]
    assert [[read.byte for read in r.data.reads()] for r in results] == [[0x7F, 0xFF]] * 2
    with pytest.raises(ValueError, match="input A: no channel is named 'CH5'"):
        padbench.inspect(path, channels={"A": "CH5", **own["channels"]})


def test_given_thresholds_stay(tmp_path):
    result = padbench.inspect(volts(tmp_path, 3.3), thresholds=(1.5, 3.5))
    assert thresholds(result) == []
    assert len(result.data.rows) == 0
    moves = [f for f in result.findings if f.id == "levels.moves"]
    assert [(f.verdict, f.where) for f in moves] == [
        ("fail", line) for line in ("latch", "clock", "data")
    ]
    assert "latch goes from 0 V to 3.3 V and is never high" in moves[0].says


def test_what_cannot_be_read_twice_is_told(tmp_path):
    with volts(tmp_path, 3.3).open("rb") as file:
        result = padbench.inspect(file)
    (found,) = (f for f in result.findings if f.id == "levels.thresholds")
    assert (found.verdict, found.case) == ("not-judged", "told")
    assert found.says.endswith("which the thresholds do not part; 990 mV and 2.31 V would")


def test_samples_too_far_apart_judge_no_limit_below_them(tmp_path):
    """100 ns apart: the register's 180 ns can be told. 1 µs apart: they cannot."""
    fine = padbench.inspect(volts(tmp_path, 5))
    widths = {f.id: f.verdict for f in fine.findings}
    assert widths["timing.clock-low"] == "pass"
    table = (tmp_path / "5-0.0.csv").read_text().splitlines()
    (tmp_path / "coarse.csv").write_text("\n".join([table[0], *table[1::10], ""]))
    coarse = padbench.inspect(tmp_path / "coarse.csv")
    (found,) = (f for f in coarse.findings if f.id == "timing.clock-low")
    assert found.verdict == "not-judged"
    assert found.says == "samples 1 µs apart cannot tell whether 180 ns are kept"
    SCHEMA.validate(document(coarse))
