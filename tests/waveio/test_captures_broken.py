"""Captures that are broken in every way that came to mind: one line with the place, or the reads.

Each case runs the whole command. The large ones are made on the fly and are checked for memory.
"""

import gzip
import io
import json
import os
import re
import subprocess
import sys
import tracemalloc
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from padbench.cli import main

WAVES = Path(__file__).parents[2] / "waves"
HEAD = (
    "$timescale 1 ns $end\n$var wire 1 ! latch $end\n$var wire 1 # clock $end\n"
    "$var wire 1 $ data $end\n$enddefinitions $end\n#0 0! 1# 1$\n"
)
ROWS = "".join(f"{n}e-6,0,1,1\n" for n in range(9))
CSV = "time,latch,clock,data\n" + ROWS
LONG = "time,latch,clock,data\n" + "".join(f"{n}e-6,0,1,1\n" for n in range(1200))

PORTS = (
    "$timescale 1 ns $end\n$var port 1 <0 latch $end\n$var port 1 <1 clock $end\n"
    "$var port [1:0] <2 data $end\n$var port 1 <3 q $end\n$enddefinitions $end\n"
    "#0 $dumpports pD 6 0 <0 pU 0 6 <1 pZN 00 66 <2 pH 0 6 <3 $end\n"
)
VCD_CASES = {
    "empty": ("", "line 1: the file is empty"),
    "white space": ("\n \n", "line 1: the file is empty"),
    "dollar": ("$", "line 1: the file ends among the declarations"),
    "half a keyword": ("$timesc", "line 1: the file ends among the declarations"),
    "header only": (HEAD[: HEAD.index("#0")], "line 5: the file has no time"),
    "header cut": (HEAD[:60], "line 3: the file ends among the declarations"),
    "no timescale": (HEAD[21:], "line 4: no $timescale"),
    "timescale of weeks": (HEAD.replace("1 ns", "3 weeks"), "line 1: $timescale 3weeks"),
    "timescale of nothing": (HEAD.replace("1 ns", "0 ns"), "line 1: $timescale 0ns"),
    "var of two words": (HEAD.replace("1 # clock", "1"), "line 3: a $var has type, size, code"),
    "var of many bits": (HEAD.replace("1 # clock", "many # clock"), "line 3: a $var has type"),
    "scope of one word": ("$scope module $end\n" + HEAD, "line 1: a $scope has a type and a name"),
    "upscope outside": ("$upscope $end\n" + HEAD, "line 1: $upscope outside any scope"),
    "word in the header": (
        HEAD.replace("$var wire 1 #", "hello $var wire 1 #"),
        "line 3: confused",
    ),
    "section not closed": (HEAD.replace("latch $end", "latch"), "line 2: confused|clearly"),
    "latch missing": (HEAD.replace("latch", "lever"), "--latch: no one channel is clearly"),
    "two latches": (HEAD.replace("clock", "latch"), "--latch: no one channel is clearly"),
    "unknown code": (HEAD + "#1\n1%\n#2\n", "line 8: code % is not declared"),
    "code too long": (HEAD + "#1\n1!!\n#2\n", "line 8: code !! is not declared"),
    "code too long 2": (HEAD + "#1\n1!!!!!!!!!!!!!!!!!!\n#2\n", "line 8: code !!!!"),
    "value without code": (HEAD + "#1\n1\n#2\n", "line 8: a value without a code"),
    "no value": (HEAD + "#1\n2!\n#2\n", "line 8: confused: 2!"),
    "word": (HEAD + "#1\nquit\n#2\n", "line 8: confused: quit"),
    "vector of letters": (HEAD + "#1\nb01q !\n#2\n", "line 8: b01q is no level"),
    "empty vector": (HEAD + "#1\nb !\n#2\n", "line 8: b is no level"),
    "real latch": (HEAD + "#1\nr1.5 !\n#2\n", "line 8: r1.5 is no level"),
    "string latch": (HEAD + "#1\nshello !\n#2\n", "line 8: shello is no level"),
    "vector of unknown code": (HEAD + "#1\nb01 %\n#2\n", "line 8: code % is not declared"),
    "time falls": (HEAD + "#5\n1!\n#4\n", "line 9: time runs backwards to #4"),
    "time negative": (HEAD + "#-5\n1!\n", "line 7: #-5 is no time"),
    "time with a point": (HEAD + "#5.5\n1!\n", "line 7: #5.5 is no time"),
    "time of letters": (HEAD + "#now\n1!\n", "line 7: #now is no time"),
    "time of nothing": (HEAD + "#\n1!\n", "line 7: # is no time"),
    "time too late": (HEAD + "#99999999999999999\n1!\n", "line 7: the time is too late"),
    "time of many digits": (HEAD + "#" + "9" * 400 + "\n1!\n", "line 7: the time is too late"),
    "zero byte": (HEAD + "#1\n1\0!\n#2\n", "line 8: a byte 0|value without a code"),
    "zero bytes": (HEAD + "#1\n" + "\0" * 5000 + "\n#2\n", "line 8: "),
    "latin": (HEAD + "#1\n1ä\n#2\n", "line 8: "),
    "end outside": (HEAD + "#1\n$end\n#2\n", "line 8: $end without a beginning"),
    "dump in dump": (HEAD + "#1\n$dumpall\n$dumpon\n#2\n", "line 9: $dumpon inside another"),
    "unknown keyword": (HEAD + "#1\n$dumpports\n#2\n", "line 8: $dumpports has no place here"),
    "state of no port": (PORTS + "#1\npQ 6 0 <0\n#2\n", "line 9: confused: pQ"),
    "strength of nine": (PORTS + "#1\npD 9 0 <0\n#2\n", "line 9: confused: pD"),
    "port of unknown code": (PORTS + "#1\npD 6 0 <8\n#2\n", "line 9: code <8 is not"),
    "header again": (HEAD + "#1\n$var wire 1 ! a $end\n#2\n", "line 8: "),
}
CSV_CASES = {
    "names only": ("time,latch,clock,data\n", "no rows of numbers"),
    "names only, no line end": ("time,latch,clock,data", "no rows of numbers"),
    "one column": ("latch\n0\n1\n", "line 1: one column only"),
    "prose": ("Dear reader,\nthis is no table.\n", "line 2: no rows of numbers"),
    "zero bytes": ("\0" * 100, "line 1: a zero byte"),
    "zero byte in a row": (CSV + "9e-6,0,\0,1\n", "line 11: a zero byte"),
    "three fields": (CSV + "9e-6,0,1\n1e-5,0,1,1\n", "line 11: 3 fields; there should be 4"),
    "five fields": (CSV + "9e-6,0,1,1,1\n1e-5,0,1,1\n", "line 11: 5 fields"),
    "a word": (CSV + "9e-6,0,up,1\n1e-5,0,1,1\n", "line 11: 'up' in column 3"),
    "an empty field": (CSV + "9e-6,0,,1\n1e-5,0,1,1\n", "line 11: '' in column 3"),
    "nan as a level": (CSV + "9e-6,0,nan,1\n1e-5,0,1,1\n", "line 11: nan as clock"),
    "infinite level": (CSV + "9e-6,0,inf,1\n1e-5,0,1,1\n", "line 11: inf as clock"),
    "nan as a time": (CSV + "nan,0,1,1\n1e-5,0,1,1\n", "line 11: nan as time"),
    "infinite time": (CSV + "inf,0,1,1\n", "line 11: inf as time"),
    "no time": (CSV + ",0,1,1\n1e-5,0,1,1\n", "line 11: '' in column 1"),
    "x as a time": (CSV + "x,0,1,1\n1e-5,0,1,1\n", "line 11: nan as time"),
    "time falls": (CSV + "5e-6,0,1,1\n1e-5,0,1,1\n", "line 11: time runs backwards"),
    "time too late": (CSV + "1e30,0,1,1\n", "a time beyond what can be counted"),
    "nan among levels": (LONG + "1,nan,1,1\n", "line 1202: nan as latch; a finite number"),
    "five": (LONG + "1,5,1,1\n", "line 1202: 5 among levels; 0, 1, H"),
    "huge level": (LONG + "1,500,1,1\n", "line 1202: 500 among"),
    "comma and point": (CSV + "9e-6,0,1.000.000,1\n", "line 11: '1.000.000' in column 3"),
    "no latch": (CSV.replace("latch", "lever"), "--latch: no one channel is clearly the latch"),
    "no names": (ROWS, "--latch: no one channel is clearly the latch"),
    "nan volts": (CSV.replace(",0,", ",0.1,") + "9e-6,nan,1,1\n", "line 11: nan as latch"),
    "infinite volts": (CSV.replace(",0,", ",0.1,") + "9e-6,-inf,1,1\n", "line 11: -inf as latch"),
    "levels of letters": (
        CSV.replace(",0,1,1", ",L,H,H") + "8e-6,L,M,H\n" * 1500,
        "line 11: 'M' among levels; 0, 1, H, L",
    ),
    "dates": (
        CSV.replace("e-6,", ":00:00,"),
        "line 2: '0:00:00' in column 1; a number should stand here, the time in seconds",
    ),
    "not gzip after all": (b"\x1f\x8b" + b"hello" * 30, "line 1: "),
    "binary": (bytes(range(256)) * 40, "line 1: a zero byte"),
}
CASES = {f"vcd, {k}": v for k, v in VCD_CASES.items()} | {
    f"csv, {k}": v for k, v in CSV_CASES.items()
}


def test_there_are_enough_of_them():
    assert len(CASES) >= 60


@pytest.mark.parametrize("case", CASES)
def test_one_line_with_the_place(tmp_path, capsys, case):
    data, says = CASES[case]
    path = tmp_path / "broken"
    path.write_bytes(data if isinstance(data, bytes) else data.encode("latin-1"))
    assert _complaint(path, capsys, says)


def _complaint(path, capsys, says):
    code = main(["inspect", str(path), "--json"])
    out, err = capsys.readouterr()
    assert (code, out) == (2, "")
    assert err.startswith(f"padbench: {path}: ")
    assert err.count("\n") == 1
    assert err[:-1].isprintable()
    assert any(piece in err for piece in says.split("|")), err
    return True


def _large(name):
    """A file-like that makes a large capture as it is read."""
    if name == "a line of a gigabyte":
        return (b"$timescale 1 ns $end " if n == 0 else b"x" * (1 << 20) for n in range(1024))
    if name == "a token of a gigabyte":
        return (HEAD.encode() if n == 0 else b"1" * (1 << 20) for n in range(1024))
    if name == "a row of a gigabyte":
        return (CSV.encode() if n == 0 else b"1" * (1 << 20) for n in range(1024))
    if name == "a million columns":
        return iter([b"time" + b",0" * 1_000_000 + b"\n"] + [b"0" + b",0" * 1_000_000 + b"\n"] * 3)
    if name == "many columns":
        return iter([b"time" + b",0" * 5000 + b"\n"] + [b"0" + b",0" * 5000 + b"\n"] * 3)
    assert name == "zeros"
    return (b"\0" * (1 << 20) for _ in range(2048))


@pytest.mark.parametrize(
    "name",
    [
        *("a line of a gigabyte", "a token of a gigabyte", "a row of a gigabyte"),
        *("a million columns", "many columns", "zeros"),
    ],
)
def test_a_bomb_does_not_fill_the_memory(tmp_path, capsys, name):
    """Gzip, so that a small file on the disk is a large one in the memory of a careless reader."""
    path = tmp_path / "bomb.gz"
    with gzip.open(path, "wb", compresslevel=1) as out:
        parts = _large(name)
        first = next(parts)
        out.write(first)
        # Members of a gzip file may follow each other: pack one megabyte once, then repeat it.
        second = next(parts, b"")
        rest = sum(1 for _ in parts)
    member = io.BytesIO()
    with gzip.GzipFile(fileobj=member, mode="wb", compresslevel=1) as packed:
        packed.write(second)
    with path.open("ab") as raw:
        for _ in range(rest + 1):
            raw.write(member.getvalue())
    tracemalloc.start()
    try:
        assert _complaint(path, capsys, "")
        assert tracemalloc.get_traced_memory()[1] < 150 << 20
    finally:
        tracemalloc.stop()


def test_no_such_file_and_a_folder(tmp_path, capsys):
    assert _complaint(tmp_path / "none", capsys, "No such file or directory")
    assert _complaint(tmp_path, capsys, "Is a directory")


def test_a_pipe_is_read_as_it_comes():
    data = (WAVES / "stopped-last-bit.vcd").read_bytes()
    command = [sys.executable, "-m", "padbench", "inspect", "/dev/stdin", "--json"]
    done = subprocess.run(command, input=data, capture_output=True, env=os.environ, check=False)
    assert (done.returncode, done.stderr) == (1, b"")
    assert done.stdout.startswith(b'{"schema": 2, "assumed": [], "verdict": "fail"')


WHOLE = (WAVES / "each-button.vcd").read_bytes()
BODY = WHOLE.index(b"$enddefinitions $end\n#0\n") + 25


@pytest.mark.parametrize(
    ("part", "packed"),
    [(0.31, False), (0.5, False), (0.77, False), (0.93, False), (0.8, True), (0.95, True)],
)
def test_cut_anywhere_gives_the_reads_before_the_cut(tmp_path, capsys, part, packed):
    def reads(data):
        path = tmp_path / "cut.vcd"
        path.write_bytes(data)
        code = main(["inspect", str(path), "--json"])
        out, _ = capsys.readouterr()
        assert code == 0
        return json.loads(out)

    whole = reads(WHOLE)["reads"]
    cut = int(BODY + part * (len(WHOLE) - BODY))
    if packed:
        data = gzip.compress(WHOLE)
        data = data[: int(part * len(data))]
    else:
        while WHOLE[cut - 1 : cut].isspace():
            cut -= 1
        data = WHOLE[:cut]
    found = reads(data)
    assert len(found["reads"]) <= len(whole)
    for got, want in zip(found["reads"][:-1], whole, strict=False):
        assert got == want
    says = [f["says"] for f in found["findings"] if f["id"] == "capture.cut-short"]
    assert len(says) == 1
    assert re.match(r"the file breaks off \((line \d+|the compressed data)", says[0])


def test_a_csv_cut_in_a_row_says_so(tmp_path, capsys):
    path = tmp_path / "cut.csv"
    path.write_text(CSV + "9e-6,0,")
    main(["inspect", str(path), "--json"])
    assert '"capture.cut-short"' in capsys.readouterr().out
    path.write_text(CSV + "9e-6,0,1,1")  # of 11, 1.5 or 1e-6, perhaps
    main(["inspect", str(path), "--json"])
    assert "(line 11 has no line end and is left out)" in capsys.readouterr().out


def _survives(path, data, capsys):
    path.write_bytes(data)
    code = main(["inspect", str(path), "--json"])
    out, err = capsys.readouterr()
    if code == 2:
        assert out == ""
        assert err.startswith("padbench: ")
        assert err.count("\n") == 1
    else:
        assert code in (0, 1)
        assert err == ""


quick = settings(
    deadline=None, max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
pieces = st.sampled_from(
    (
        *(b"pU 0 6 <0", b"pX", b"$vcdclose #9", b"$dumpportsoff"),
        *(b"$end", b"\n", b"#1", b" ", b"b01", b"b", b"r1", b"1!", b"$dumpoff", b"$comment"),
        *(b"x", b"\0", b",", b";", b"nan", b"-1", b'"', b"1e9", b"\r\n", b"0,1", b"\xff", b"1e400"),
    )
)


@quick
@given(st.data())
def test_any_damage_to_a_vcd_file(tmp_path, capsys, data):
    pulses = "".join(f"#{n} p{'DU'[n % 2]} 6 0 <{n % 3}\n" for n in range(1, 50) if n % 3 < 2)
    whole = data.draw(st.sampled_from([WHOLE[: BODY + 1500], (PORTS + pulses).encode()]))
    _damage(tmp_path / "d", whole, data, capsys)


@quick
@given(st.data())
def test_any_damage_to_a_csv_file(tmp_path, capsys, data):
    pulses = "".join(f"{n}e-6,{n % 20 == 0:d},{n % 2},{n % 3 % 2}\n" for n in range(60))
    _damage(tmp_path / "d", b"time,latch,clock,data\n" + pulses.encode(), data, capsys)


def _damage(path, whole, data, capsys):
    damaged = bytearray(whole)
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(damaged)))
        damaged[at : at + data.draw(st.integers(0, 8))] = data.draw(
            st.one_of(pieces, st.binary(max_size=3))
        )
    _survives(path, bytes(damaged), capsys)


@quick
@given(st.one_of(st.binary(), st.lists(pieces, max_size=40).map(b"".join)))
def test_any_bytes(tmp_path, capsys, data):
    _survives(tmp_path / "d", data, capsys)


def test_a_pipe_that_nobody_writes_to_is_not_waited_for(tmp_path, capsys):
    path = tmp_path / "pipe.vcd"
    os.mkfifo(path)
    assert main(["inspect", str(path), "--json"]) == 2
    assert "the file is empty" in capsys.readouterr().err
