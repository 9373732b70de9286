"""``padbench latency`` as scripts use it."""

import json
from pathlib import Path

import pytest

from padbench.cli import main


@pytest.fixture
def padbench(capsys, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)

    def run(*arguments):
        code = main(["latency", *arguments])
        out, err = capsys.readouterr()
        return code, out, err

    return run


def test_without_chatter_the_delay_spreads_over_one_poll_period(padbench):
    code, out, err = padbench("--console", "50hz", "--bounce", "0 ms", "--every", "2", "--json")
    found = json.loads(out)
    assert (code, err) == (0, "")
    frames = found["frames"]
    assert frames["max"] - frames["min"] == pytest.approx(2)
    assert frames["mean"] == pytest.approx((frames["max"] + frames["min"]) / 2)
    # 313 lines from latch to screen line 0 of the next picture: 71 of blanking, 242 of a frame.
    assert found["milliseconds"]["mean"] == pytest.approx(frames["mean"] / 50.007 * 1000, rel=1e-4)
    assert [corner["share"] for corner in found["distribution"]][-1] == 1


def test_every_fourth_frame_waits_four_frames(padbench):
    _, out, _ = padbench("--every", "4", "--bounce", "0 ms", "--console", "50hz", "--json")
    found = json.loads(out)
    assert found["frames"]["max"] - found["frames"]["min"] == pytest.approx(4)


def test_reading_twice_in_the_chatter_is_later_than_reading_once(padbench):
    means = [
        json.loads(padbench("--routine", name, "--json")[1])["frames"]["mean"]
        for name in ("read-once", "read-twice")
    ]
    assert means[0] < means[1]


@pytest.mark.parametrize(
    ("name", "start"), [("d.png", b"\x89PNG"), ("d.svg", b"<?xml"), ("deep/d.pdf", b"%PDF")]
)
def test_the_plot_is_a_picture_and_leaves_nothing_else(padbench, name, start):
    code, out, _ = padbench("--picture", name)
    assert code == 0
    assert "median" not in out
    assert "50 % within" in out
    assert Path(name).read_bytes().startswith(start)
    assert [path.name for path in Path(name).parent.iterdir()] == [Path(name).name]


@pytest.mark.parametrize(
    ("options", "says"),
    [
        (["--bounce", "5"], "has no unit"),
        (["--bounce", "2 s"], "is not between 0 s and 100 ms"),
        (["--closed", "1/0"], "is no chance"),
        (["--closed", "2"], "a chance is from 0 to 1"),
        (["--picture", "d.txt"], "is no kind of picture"),
        (["--every", "0"], "is not between 1 and 60 frames"),
        (["--processing", "x"], "--processing: 'x' is no whole number"),
        (["--line", "300"], "line 300 is outside 0..261"),
        (["--screen-line", "240"], "screen line 240 is outside 0..239"),
        (["--routine", "none"], "is neither a shipped routine"),
        (["--four-players"], "unrecognized arguments"),
    ],
)
def test_bad_input_is_one_line_and_exit_code_2(padbench, options, says):
    code, out, err = padbench(*options)
    assert (code, out) == (2, "")
    assert says in err
    assert err.count("\n") == 1


def test_a_routine_without_a_latch_is_refused(padbench):
    Path("a.asm").write_text("lda $4016\nrts\n")
    code, _, err = padbench("--routine", "a.asm")
    assert code == 2
    assert "never latches" in err


BOTH = """
        ldx #1
        stx $4016
        dex
        stx $4016
        ldy #8
bits:   ldx #1
two:    lda $4016,x
        lsr a
        rol $20,x
        dex
        bpl two
        dey
        bne bits
        rts
"""


def test_a_result_that_shows_no_press_is_refused_with_the_reason(padbench):
    Path("both.asm").write_text(BOTH)
    assert padbench("--routine", "both.asm", "--result", "$20")[0] == 0
    code, _, err = padbench("--routine", "both.asm", "--result", "$21")
    assert (code, err.count("\n")) == (2, 1)
    assert "hands on the buttons of the second pad for those of the first" in err
    code, _, err = padbench("--routine", "both.asm", "--result", "$55")
    assert (code, err.count("\n")) == (2, 1)
    assert "never writes the place of its result" in err
