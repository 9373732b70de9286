"""CSV as instruments write it: one set of samples in many dialects gives the same wires."""

import gzip
from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from padbench.core.levels import HIGH, LOW, UNKNOWN
from padbench.core.timeline import Wire
from padbench.waveio import Columns, CsvScan, Thresholds, WaveError, csv_scan, open_capture

TIMES = [0.0, 1e-6, 2e-6, 3e-6, 4.5e-6, 6e-6, 7e-6, 8e-6]
VOLTS = [0.1, 0.2, 2.0, 4.9, 5.1, 2.5, 4.0, 0.3]
ZONES = Wire.of(
    [
        *((0, LOW), (2_000_000, UNKNOWN), (3_000_000, HIGH), (6_000_000, UNKNOWN)),
        *((7_000_000, HIGH), (8_000_000, LOW)),
    ]
)


def scanned(path, columns, block=1 << 24):
    kept = csv_scan._BLOCK
    csv_scan._BLOCK = block
    try:
        with open_capture(path) as scan:
            assert isinstance(scan, CsvScan)
            pieces = list(scan.pieces(columns))
            layout = scan.layout
    finally:
        csv_scan._BLOCK = kept
    wires = {}
    for role in columns.channels:
        parts = [piece.changes[role] for piece in pieces if role in piece.changes]
        wires[role] = Wire.from_arrays(
            np.concatenate([t for t, _ in parts]), np.concatenate([v for _, v in parts])
        )
    return wires, pieces, layout


def table(delimiter, decimal, quote=""):
    rows = []
    for when, volts in zip(TIMES, VOLTS, strict=True):
        fields = [f"{when:.7f}", f"{volts:.3f}", f"{5 - volts:.3E}", "7"]
        fields = [quote + field.replace(".", decimal) + quote for field in fields]
        rows.append(delimiter.join(fields))
    return rows


PREAMBLES = {
    "none": [],
    "names": ["Time;CH1;CH2;Note"],
    "units row": ["Made on;bench 3", "Step;1E-06", "", "t;CH1;CH2;Note", "s;V;V;"],
    "units in names": ["# made by a logger", "Time [s];CH1 (V);CH2 (V);Note"],
}


@pytest.mark.parametrize("preamble", PREAMBLES)
@pytest.mark.parametrize(
    ("delimiter", "decimal"), [(",", "."), (";", "."), (";", ","), ("\t", "."), ("\t", ",")]
)
@pytest.mark.parametrize("ending", ["\n", "\r\n"])
def test_dialects(tmp_path, preamble, delimiter, decimal, ending):
    head = [line.replace(";", delimiter) for line in PREAMBLES[preamble]]
    path = tmp_path / "d.csv"
    path.write_text(ending.join([*head, *table(delimiter, decimal), ""]), newline="")
    wires, _, layout = scanned(path, Columns(0, None, {"data": 1}))
    assert wires["data"] == ZONES
    assert (layout.delimiter, layout.decimal) == (delimiter, decimal)
    assert layout.columns[1].name == ("" if preamble == "none" else "CH1")


@pytest.mark.parametrize(("packed", "mark", "quote"), list(product([0, 1], [0, 1], ["", '"'])))
def test_gzip_byte_order_mark_and_quotes(tmp_path, packed, mark, quote):
    text = "\n".join(["Time,CH1,CH2,n", *table(",", ".", quote), ""]).encode()
    data = b"\xef\xbb\xbf" * mark + text
    (tmp_path / "p").write_bytes(gzip.compress(data) if packed else data)
    wires, _, layout = scanned(tmp_path / "p", Columns(0, None, {"data": 1}))
    assert wires["data"] == ZONES
    assert layout.columns[0].name == "Time"


@pytest.mark.parametrize(("unit", "factor"), [("ms", 1e3), ("us", 1e6), ("µs", 1e6), ("ns", 1e9)])
def test_units(tmp_path, unit, factor):
    rows = [f"{t * factor:.9g};{v * 1000:.1f}" for t, v in zip(TIMES, VOLTS, strict=True)]
    for head in (["Time;CH1", f"({unit});(mV)"], [f"Time ({unit});CH1 [mV]"]):
        (tmp_path / "u.csv").write_text("\n".join([*head, *rows, ""]), encoding="latin-1")
        wires, _, _ = scanned(tmp_path / "u.csv", Columns(0, None, {"data": 1}))
        assert wires["data"] == ZONES


def test_levels_at_changes_only_and_unknown(tmp_path):
    text = "time,latch,clock\n0,0,1\n0.000001,1,x\n0.000003,1,z\n0.000003,0,1\n"
    (tmp_path / "l.csv").write_text(text)
    wires, pieces, _ = scanned(tmp_path / "l.csv", Columns(0, None, {"latch": 1, "clock": 2}))
    assert wires["latch"] == Wire.of([(0, 0), (1_000_000, 1), (3_000_000, 0)])
    assert wires["clock"] == Wire.of([(0, 1), (1_000_000, 2), (3_000_000, 1)])
    assert pieces[-1].end_ps == 3_000_000


SPARSE = "time;latch;clock;n\n0;0;1;7\n1e-6;1;;\n3e-6;;0;\n3e-6;;x;\n4e-6;0;;\n5e-6;;;\n6e-6;;1;\n"


def test_an_empty_field_is_as_before_where_samples_stand_at_changes_only(tmp_path):
    path = tmp_path / "s.csv"
    path.write_text(SPARSE)
    for block in (1 << 20, 9):
        columns = Columns(0, None, {"latch": 1, "clock": 2}, {"supply": 3})
        wires, pieces, _ = scanned(path, columns, block)
        assert wires["latch"] == Wire.of([(0, 0), (1_000_000, 1), (4_000_000, 0)])
        assert wires["clock"] == Wire.of([(0, 1), (3_000_000, 2), (6_000_000, 1)])
        assert pieces[-1].end_ps == 6_000_000
        assert pieces[0].volts == {"supply": (7, 7)}


def test_the_same_in_volts_with_decimal_commas(tmp_path):
    path = tmp_path / "v.csv"
    path.write_text('t;a;b\n0;0,5;4,9\n1e-6;"3,6";\n2e-6;;0,1\n3e-6;2,0;\n4e-6;;4,5\n')
    wires, _, _ = scanned(path, Columns(0, None, {"a": 1, "b": 2}))
    assert wires["a"] == Wire.of([(0, LOW), (1_000_000, HIGH), (3_000_000, UNKNOWN)])
    assert wires["b"] == Wire.of([(0, HIGH), (2_000_000, LOW), (4_000_000, HIGH)])


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        # A value that repeats shows that these are samples, and one of them is missing.
        ("3e-6;;0;", "3e-6;;1;", "line 3: '' in column 3"),
        (
            "6e-6;;1;\n",
            "6e-6;;1;\n" + "7e-6;;0;\n7e-6;;1;\n" * 600 + "9;;up;\n",
            "'up' among levels",
        ),
        ("6e-6;;1;\n", "6e-6;;1;\n" + "7e-6;;0;\n7e-6;;1;\n" * 600 + "9;;5;\n", "'5' among levels"),
        ("6e-6;;1;\n", "6e-6;;1;\n" + "7e-6;;0;\n7e-6;;1;\n" * 600 + ";;0;\n", "'' in column 1"),
    ],
)
def test_an_empty_field_elsewhere_is_refused(tmp_path, old, new, says):
    (tmp_path / "s.csv").write_text(SPARSE.replace(old, new))
    with pytest.raises(WaveError) as caught:
        scanned(tmp_path / "s.csv", Columns(0, None, {"latch": 1, "clock": 2}))
    assert any(part in str(caught.value) for part in says.split("|"))


def test_with_a_rate_an_empty_field_is_a_sample_that_is_missing(tmp_path):
    (tmp_path / "s.csv").write_text(SPARSE)
    with pytest.raises(WaveError, match="line 3: '' in column 3"):
        scanned(tmp_path / "s.csv", Columns(None, 1e6, {"latch": 1, "clock": 2}))


def test_a_rate_instead_of_a_time(tmp_path):
    (tmp_path / "r.csv").write_text("a,b\n" + "0,1\n" * 3 + "1,1\n")
    wires, pieces, _ = scanned(tmp_path / "r.csv", Columns(None, 4e6, {"latch": 0}))
    assert wires["latch"] == Wire.of([(0, 0), (750_000, 1)])
    assert pieces[-1].end_ps == 750_000


def test_thresholds_and_extremes(tmp_path):
    (tmp_path / "t.csv").write_text("t,v,s\n0,0,4.9\n1e-6,2,5.2\n2e-6,3,4.7\n")
    columns = Columns(0, None, {"data": 1}, {"supply": 2}, Thresholds(1, 2.5))
    wires, pieces, _ = scanned(tmp_path / "t.csv", columns)
    assert wires["data"] == Wire.of([(0, LOW), (1_000_000, UNKNOWN), (2_000_000, HIGH)])
    assert pieces[0].volts == {"supply": (4.7, 5.2)}


def test_lines_are_counted_past_empty_ones(tmp_path):
    path = tmp_path / "e.csv"
    rows = [f"{n}e-6,0.5\n" + "\r\n" * (n % 3 == 0) for n in range(30)]
    path.write_text("t,v\n" + "".join(rows) + "3e-5,up\n", newline="")
    for block in (1 << 20, 40):
        with pytest.raises(WaveError, match=r"line 42: 'up' in column 2"):
            scanned(path, Columns(0, None, {"v": 1}), block)


def test_volts_that_begin_like_levels_are_refused_and_not_guessed(tmp_path):
    path = tmp_path / "v.csv"
    path.write_text("t,a\n" + "".join(f"{n}e-6,0\n" for n in range(1200)) + "2e-3,5\n")
    with pytest.raises(WaveError, match=r"line 1202: 5 among levels; .* or give --thresholds"):
        scanned(path, Columns(0, None, {"a": 1}))
    wires, _, _ = scanned(path, Columns(0, None, {"a": 1}, {}, Thresholds(1.5, 3.5)))
    assert wires["a"].levels.tolist() == [LOW, HIGH]


@settings(deadline=None, max_examples=40)
@given(
    st.lists(st.tuples(st.integers(0, 50), st.integers(0, 5)), min_size=6, max_size=60),
    st.integers(10, 300),
)
def test_blocks_make_no_difference(tmp_path_factory, steps, block):
    path = tmp_path_factory.getbasetemp() / "blocks.csv"
    when = np.cumsum([step for step, _ in steps])
    rows = [f"{t}e-9,{v}.0\n" for t, (_, v) in zip(when, steps, strict=True)]
    path.write_text("time,v\n" + "".join(rows))
    wires, pieces, _ = scanned(path, Columns(0, None, {"v": 1}), block)
    zones = [LOW if v <= 1.5 else HIGH if v >= 3.5 else UNKNOWN for _, v in steps]
    assert wires["v"] == Wire.from_arrays(when * 1000, zones)
    assert pieces[-1].end_ps == when[-1] * 1000


@pytest.mark.parametrize("cut", ["1e-5,0.", "1e-5,", "1e-5", "1e"])
def test_a_row_that_breaks_off(tmp_path, cut):
    path = tmp_path / "cut.csv"
    path.write_text("time,v,w\n" + "".join(f"{n}e-6,0.5,0.1\n" for n in range(8)) + cut)
    wires, pieces, _ = scanned(path, Columns(0, None, {"v": 1}))
    assert pieces[-1].broken_off == "line 10 has no line end and is left out"
    assert (len(wires["v"].times), pieces[-1].end_ps) == (1, 7_000_000)


def test_packed_data_that_break_off_between_rows_say_so(tmp_path):
    rows = "".join(f"{n}e-6,0.5\n" for n in range(20))
    packed = gzip.compress(("time,v\n" + rows).encode())
    (tmp_path / "p.gz").write_bytes(packed[:-6])  # the data are all there, what checks them is not
    _, pieces, _ = scanned(tmp_path / "p.gz", Columns(0, None, {"v": 1}))
    assert pieces[-1].end_ps == 19_000_000
    assert "break off" in pieces[-1].broken_off


@pytest.mark.parametrize("block", [1 << 20, 40])
@pytest.mark.parametrize("stump", ["8e-6,5.0", "8e-6,5", "8e-6,0"])
def test_a_last_row_without_a_line_end_may_be_a_stump_and_is_left_out(tmp_path, block, stump):
    path = tmp_path / "last.csv"
    path.write_text("time,v\n" + "".join(f"{n}e-6,0.5\n" for n in range(8)) + stump)
    wires, pieces, _ = scanned(path, Columns(0, None, {"v": 1}), block)
    assert wires["v"].times.tolist() == [0]
    assert pieces[-1].end_ps == 7_000_000
    assert pieces[-1].broken_off == "line 10 has no line end and is left out"


@pytest.mark.parametrize("block", [1 << 20, 40])
@pytest.mark.parametrize(
    "closing", ["END OF DATA\n", "end,,\n", "\n# done, at last\n\n", "Total: ok"]
)
def test_a_closing_line_of_text_is_left_out_and_told(tmp_path, block, closing):
    path = tmp_path / "closed.csv"
    path.write_text("time,v,w\n" + "".join(f"{n}e-6,{n},0.5\n" for n in range(20)) + closing)
    wires, pieces, _ = scanned(path, Columns(0, None, {"v": 1}), block)
    assert pieces[-1].end_ps == 19_000_000
    assert wires["v"].levels.tolist() == [LOW, UNKNOWN, HIGH]
    line = 22 + closing.startswith("\n")
    if closing.endswith("\n"):
        assert pieces[-1].left_out == (1, f"line {line}: {closing.strip()}")
        assert pieces[-1].broken_off is None
    else:
        assert pieces[-1].broken_off == f"line {line} has no line end and is left out"


@pytest.mark.parametrize("block", [1 << 20, 40])
@pytest.mark.parametrize(
    ("after", "says"),
    [
        ("2e-5,0.5\n", None),
        ("2e-5,0.5", "no line end"),
        ("up,7\n", "line 23: 'up' in column 1; a number"),
        ("nan,nan\n", "line 23: nan as time"),
    ],
)
def test_text_between_rows_is_left_out_and_what_follows_is_judged(
    tmp_path, monkeypatch, block, after, says
):
    path = tmp_path / "between.csv"
    rows = "".join(f"{n}e-6,0.5\n" for n in range(20))
    path.write_text("time,v\n" + rows + "PAUSE\n" + after)
    if says in (None, "no line end"):
        with open_capture(path) as scan:
            monkeypatch.setattr(csv_scan, "_BLOCK", block)
            pieces = list(scan.pieces(Columns(0, None, {"v": 1})))
        assert pieces[-1].left_out == (1, "line 22: PAUSE")
        assert says is None or says in pieces[-1].broken_off
        return
    with pytest.raises(WaveError, match=says):
        scanned(path, Columns(0, None, {"v": 1}), block)


@pytest.mark.parametrize("word", ["OVER", "over", "-OVER", "OL", '"OVER"'])
def test_a_voltage_out_of_range_is_at_no_level(tmp_path, word):
    path = tmp_path / "over.csv"
    rows = [f"{n}e-6,{word if n == 30 else 4.9},0.5\n" for n in range(40)]
    path.write_text("time,v,w\n" + "".join(rows))
    wires, _, _ = scanned(path, Columns(0, None, {"v": 1}))
    assert wires["v"] == Wire.of([(0, HIGH), (30_000_000, UNKNOWN), (31_000_000, HIGH)])
    path.write_text("time,v,w\n" + "".join(rows).replace("30e-6", word))
    with pytest.raises(WaveError, match="line 32: nan as time"):
        scanned(path, Columns(0, None, {"v": 1}))


def test_quoted_decimal_commas_between_commas(tmp_path):
    """All fields in quotes, or those with a comma in them only."""
    for bare in (False, True):
        fields = [row.replace(".", ",").split(";") for row in table(";", ".")]
        rows = [",".join(f if bare and "," not in f else f'"{f}"' for f in row) for row in fields]
        path = tmp_path / "q.csv"
        path.write_text("\n".join(['"Time, in s",CH1,CH2,n', *rows, ""]))
        wires, _, layout = scanned(path, Columns(0, None, {"data": 1}), 100)
        assert wires["data"] == ZONES
        assert (layout.delimiter, layout.decimal, layout.columns[0].name) == (",", ",", "Time")
        path.write_text(path.read_text() + '"up","1,0",1,2\n"0,1",1,1,1\n')
        with pytest.raises(WaveError, match="line 10: '\"up\"' in column 1"):
            scanned(path, Columns(0, None, {"data": 1}))


def test_a_long_second_line_is_told_by_its_number(tmp_path):
    path = tmp_path / "long.csv"
    path.write_text("time,v\n" + "1" * (3 << 20) + "\n")
    with pytest.raises(WaveError, match="line 2: a line of more than 1024 KiB"):
        scanned(path, Columns(0, None, {"v": 1}))


def test_volts_are_handed_on_as_they_were_sampled(tmp_path):
    """In volts whatever the unit; levels and columns with holes have none."""
    rows = [f"{n}e-6,{100 * n},{n % 2},{'' if n == 3 else n}" for n in range(20)]
    path = tmp_path / "mixed.csv"
    path.write_text("\n".join(["time (s),clock (mV),data,latch (V)", *rows, ""]))
    with open_capture(path) as scan:
        pieces = [*scan.pieces(Columns(0, None, {"clock": 1, "data": 2, "latch": 3}))]
    (piece,) = (piece for piece in pieces if piece.analogue)
    assert piece.analogue.keys() == {"clock"}
    seconds, volts = piece.analogue["clock"]
    assert seconds == pytest.approx(np.arange(20) * 1e-6)
    assert volts == pytest.approx(np.arange(20) * 0.1)
    assert piece.apart_ps == 1_000_000


def test_a_list_of_changes_has_no_step(tmp_path):
    rows = [f"{n * n}e-6,{n % 2},{n % 2},{n % 2}" for n in range(40)]
    path = tmp_path / "changes.csv"
    path.write_text("\n".join(["time,latch,clock,data", *rows, ""]))
    with open_capture(path) as scan:
        pieces = [*scan.pieces(Columns(0, None, {"clock": 2}))]
    assert {piece.apart_ps for piece in pieces} == {0}
