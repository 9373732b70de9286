"""Extended VCD (IEEE Std 1364-2005, 18.4): no simulator at hand writes it, so files are made here.

They are made from the grammar of the standard, as far as it is remembered.
"""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from padbench.core.levels import FLOATING, HIGH, LOW, UNKNOWN
from padbench.core.timeline import Wire
from padbench.waveio import Pick, WaveError, open_capture, vcd_scan

HEAD = (
    "$date\n today\n$end\n$version\n by hand\n$end\n$timescale\n 1 ns\n$end\n"
    "$scope module bench.pad $end\n$var port 1 <0 latch $end\n$var port [7:0] <1 held $end\n"
    "$var port 1 p2 odd $end\n$upscope $end\n$enddefinitions $end\n"
)
START = "#0\n$dumpports\npD 6 0 <0\npUUUUUUUD 00000000 66666666 <1\npT 0 0 p2\n$end\n"


def scanned(path, text, block=1 << 20, **picks):
    path.write_text(text)
    kept = vcd_scan.BLOCK
    vcd_scan.BLOCK = block
    try:
        with open_capture(path) as scan:
            by_name = {variable.name.rpartition(".")[2]: variable for variable in scan.variables}
            chosen = {role: Pick(by_name[name], bit) for role, (name, bit) in picks.items()}
            pieces = list(scan.pieces(chosen))
    finally:
        vcd_scan.BLOCK = kept
    wires = {}
    for role in picks:
        parts = [piece.changes[role] for piece in pieces if role in piece.changes]
        wires[role] = Wire.from_arrays(
            np.concatenate([t for t, _ in parts]), np.concatenate([v for _, v in parts])
        )
    return wires, pieces


def test_states_are_levels(tmp_path):
    text = START + "#7\npU 0 6 <0\n#9\npA 6 6 <0\npF 0 0 p2\n$vcdclose #20 $end\n"
    picks = {"latch": ("latch", 0), "low": ("held", 0), "top": ("held", 7), "odd": ("odd", 0)}
    wires, pieces = scanned(tmp_path / "e.vcd", HEAD + text, **picks)
    assert wires["latch"] == Wire.of([(0, LOW), (7000, HIGH), (9000, UNKNOWN)])
    assert (wires["low"].levels[0], wires["top"].levels[0]) == (LOW, HIGH)
    assert wires["odd"] == Wire.of([(0, FLOATING)])
    assert (pieces[-1].end_ps, pieces[-1].broken_off) == (20_000, None)


@settings(deadline=None, max_examples=60)
@given(
    st.lists(
        st.tuples(st.integers(0, 9), st.sampled_from("DUNZdulhLHXT01?FAaBbCcf"), st.booleans()),
        min_size=1,
        max_size=25,
    ),
    st.integers(1, 90),
)
def test_blocks_make_no_difference(tmp_path_factory, changes, block):
    path = tmp_path_factory.getbasetemp() / "blocks.vcd"
    now, text = 0, ""
    for wait, state, odd in changes:
        now += wait
        text += f"#{now}\np{state} 6 0 {'p2' if odd else '<0'}\n"
    picks = {"latch": ("latch", 0), "odd": ("odd", 0)}
    one, _ = scanned(path, HEAD + START + text, **picks)
    other, pieces = scanned(path, HEAD + START + text, block, **picks)
    assert one == other
    assert pieces[-1].end_ps == now * 1000


def test_what_was_not_recorded_is_a_gap_and_no_edge(tmp_path):
    text = START + "#2\n$dumpportsoff\npX 6 6 <0\n$end\n#5\n$dumpportson\npU 0 6 <0\n$end\n#7\n"
    wires, pieces = scanned(tmp_path / "e.vcd", HEAD + text, latch=("latch", 0))
    assert wires["latch"] == Wire.of([(0, LOW), (5000, HIGH)])
    assert [gap for piece in pieces for gap in piece.gaps] == [(2000, 5000)]


@pytest.mark.parametrize("rest", ["p", "pU", "pU 0", "pU 0 6", "pU 0 6 <", "$vcdclose #"])
def test_a_file_that_breaks_off_gives_what_stood_before(tmp_path, rest):
    text = HEAD + START + "#3\npU 0 6 <0\n#8\n" + rest
    wires, pieces = scanned(tmp_path / "e.vcd", text, latch=("latch", 0))
    assert wires["latch"] == Wire.of([(0, LOW), (3000, HIGH)])
    assert pieces[-1].broken_off is not None


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("#1\npQ 6 0 <0\n#2\n", "line 23: confused: pQ; a time such as #100"),
        ("#1\npD 8 0 <0\n#2\n", "line 23: confused: pD"),
        ("#1\npD 0 6x <0\n#2\n", "line 23: confused: pD"),
        ("#1\npD 6 0 <9\n#2\n", "line 23: code <9 is not declared"),
        ("#5\n$vcdclose #4 $end\n", "line 23: time runs backwards to #4"),
    ],
)
def test_what_cannot_stand_there(tmp_path, text, says):
    with pytest.raises(WaveError) as caught:
        scanned(tmp_path / "e.vcd", HEAD + START + text, latch=("latch", 0))
    assert says in str(caught.value)
