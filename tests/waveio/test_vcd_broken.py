"""A file that is no whole VCD file ends in one line that says where and what, never otherwise."""

import re
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from padbench.core.timeline import Timeline, Wire, Word
from padbench.waveio import WaveError, read_wave, write_wave

HEAD = "$timescale 1 ns $end\n$var wire 1 ! a $end\n$var reg 4 # w $end\n$enddefinitions $end\n"
END = "$enddefinitions $end #0\n"


def _complaint(data: bytes, folder: Path) -> str:
    path = folder / "broken.vcd"
    path.write_bytes(data)
    with pytest.raises(WaveError) as caught:
        read_wave(path)
    place, _, says = str(caught.value).partition(": ")
    assert place == str(path)
    assert says.isprintable()
    return says


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "line 1: the file is empty; it should hold a value change dump"),
        (" \n\n", "line 1: this is no value change dump; it should begin with $timescale"),
        ("time,latch,clock\n0,0,1\n", "line 1: this is no value change dump; it should begin"),
        ("$timescale 1 ns $end\n", "line 2: the file ends among the declarations"),
        ("$var wire 1 ! a $end $enddefinitions $end", "line 1: no $timescale"),
        (f"$timescale 3 weeks $end {END}", "line 1: $timescale 3weeks; it should be between"),
        (f"$timescale 0 ns $end {END}", "line 1: $timescale 0ns; it should be between"),
        (f"$timescale 1 as $end {END}", "line 1: $timescale 1as; it should be between"),
        (f"$scope module a $end\n$upscope $end\n$upscope $end {END}", "line 3: $upscope outside"),
        (f"$scope a $end {END}", "line 1: a $scope has a type and a name"),
        (f"$var wire many ! a $end {END}", "line 1: a $var has type, size, code and name"),
        (f"$var reg 999999999999 ! a $end {END}", "line 1: a $var has type, size, code and name"),
        (HEAD.replace("reg 4 # w", "wire 1 # a") + "#0\n", "a: is declared twice; each variable"),
        ("$var wire 1 ! a $end\n#0\n1!", "line 3: the file ends among the declarations"),
        (HEAD, "line 4: the file has no time"),
        (HEAD + "#0\n$var wire 1 $ b $end", "line 6: code ire is not declared"),
        (HEAD + "#0\n1$", "line 6: code $ is not declared"),
        (HEAD + "#0\n2!", "line 6: confused: 2!; a time such as #100 or a value"),
        (HEAD + "#0\nb2 #", "line 6: b2 is no level; 0, 1, x or z"),
        (HEAD + "#0\nb10 !", "line 6: b10 is too long; 1 bits should stand here at most"),
        (HEAD + "#0\nb10000 #", "line 6: b10000 is too long; 4 bits"),
        (HEAD + "#0\nbxxxxx #", "line 6: bxxxxx is too long; 4 bits"),
        (HEAD + "#0\nr1.5 !", "line 6: r1.5 is no level; 0, 1, x or z"),
        (HEAD + "#5\n#4", "line 6: time runs backwards to #4"),
        (HEAD + "#-4", "line 5: #-4 is no time; a whole number should follow #"),
        (HEAD + "#1.5", "line 5: #1.5 is no time"),
        (HEAD + f"#{10**16}", "line 5: the time is too late"),
        (HEAD + "#" + "9" * 5000, "line 5: the time is too late"),
        (HEAD + "#0\n$end", "line 6: $end without a beginning"),
        (HEAD + "#0\n$dumpvars\n$dumpall", "line 7: $dumpall inside another"),
        (HEAD + "#0\n$dumpvars\n1!", "line 7: the file breaks off here"),
        (HEAD + "#0\n$dumpports 1!", "line 6: $dumpports has no place here"),
        (HEAD + "#0\n1", "line 6: a value without a code"),
        (HEAD + "#0\n#", "line 6: # is no time"),
        (HEAD + "#0\nb101", "line 6: the file breaks off here"),
        (HEAD + "#0\nb101 ", "line 6: the file breaks off here"),
        (HEAD + "#0\n$comment and so", "line 6: the file breaks off here"),
        (HEAD + "#0\n\0\0", "line 6: a byte 0; VCD files hold printable ASCII only"),
    ],
)
def test_says_where_and_what(tmp_path: Path, text: str, says: str) -> None:
    complaint = _complaint(text.encode("latin-1"), tmp_path)
    assert complaint.startswith(says)
    assert "; " in complaint or ": $" in complaint


def test_a_note_that_is_no_text(tmp_path: Path) -> None:
    text = "$timescale 1 ns $end $scope module console $end $var reg 8 ! note $end $upscope $end"
    says = _complaint(f"{text} $enddefinitions $end\n#0\nb11111111 !".encode(), tmp_path)
    assert says == "console.note: a note that is no text; it should hold UTF-8 characters"


def test_binary(tmp_path: Path) -> None:
    assert _complaint(bytes(range(256)) * 40, tmp_path).startswith(
        "line 1: this is no value change dump"
    )


def test_no_such_file(tmp_path: Path) -> None:
    with pytest.raises(WaveError, match="No such file or directory; name a capture"):
        read_wave(tmp_path / "none.vcd")
    with pytest.raises(WaveError, match="Is a directory; name a capture"):
        read_wave(tmp_path)


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    path = tmp_path_factory.mktemp("whole") / "whole.vcd"
    wires = {"pad.clock": Wire.of([(0, 1), (40, 0), (90, 1)]), "a.b-c": Wire.of([(0, 3), (7, 2)])}
    words = {"pad.stages": Word.of(8, [(0, None), (40, 9)]), "pad.one": Word.of(1, [(0, 1)])}
    events = {"console.sample": np.array([0, 40])}
    write_wave(Timeline(100, wires, words, events, ((50, "half way"),)), path, comment="all kinds")
    return path.read_bytes()


def test_broken_off_anywhere(tmp_path: Path, whole: bytes) -> None:
    first_value = whole.index(b"$end\n", whole.index(b"$dumpvars"))
    no_values_yet = whole.index(b"#0") + 2  # also a whole file, if a poor one
    for length in {*range(first_value + 4)} - {no_values_yet, no_values_yet + 1}:
        _complaint(whole[:length], tmp_path)
    # Later, what is left can be a whole file by itself; but not if it ends inside a value.
    for length in range(first_value + 4, len(whole)):
        if re.search(rb"\nb[01x]* ?\Z", whole[:length]):
            _complaint(whole[:length], tmp_path)


@given(st.data())
def test_any_damage(
    tmp_path_factory: pytest.TempPathFactory, whole: bytes, data: st.DataObject
) -> None:
    damaged = bytearray(whole)
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(damaged)))
        new = data.draw(st.one_of(st.binary(max_size=3), st.sampled_from([b"$end", b"\n", b"#1"])))
        damaged[at : at + data.draw(st.integers(0, 6))] = new
    _read_or_complain(bytes(damaged), tmp_path_factory)


@given(st.one_of(st.binary(), st.text("$#01xzbrs !\nendvarscope", max_size=60).map(str.encode)))
def test_any_bytes(tmp_path_factory: pytest.TempPathFactory, data: bytes) -> None:
    _read_or_complain(data, tmp_path_factory)


def _read_or_complain(data: bytes, folders: pytest.TempPathFactory) -> None:
    path = folders.getbasetemp() / "damaged.vcd"
    path.write_bytes(data)
    complaint = f"{path}: "
    try:
        read_wave(path)
    except WaveError as error:
        complaint = str(error)
    assert complaint.startswith(f"{path}: ")
    assert complaint.isprintable()
