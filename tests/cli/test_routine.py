"""``padbench routine`` as scripts use it."""

import json
from pathlib import Path

import pytest

from padbench.cli import main
from padbench.core.decode import decode
from padbench.parts import console_names, console_timing, consoles
from padbench.routines.source import load_routine
from padbench.waveio import read_wave

SOURCES = Path(__file__).parents[1] / "routines" / "sources"
ONCE = load_routine("read-once").segments[0][1]
HEX = ":0480000018A900605B\n:00000001FF\n"  # clc, lda #0, rts at $8000


@pytest.fixture
def padbench(capsys, tmp_path, monkeypatch):
    """Run ``padbench routine`` in a folder of its own: (exit code, output, errors)."""
    monkeypatch.chdir(tmp_path)

    def run(*arguments):
        code = main(["routine", *arguments])
        out, err = capsys.readouterr()
        return code, out, err

    return run


def test_read_once_is_exposed_by_the_numbers_of_the_closed_form(padbench):
    code, out, err = padbench("read-once", "--json", "--period", "432", "--waves", "worst.vcd")
    found = json.loads(out)
    assert (code, err) == (1, "")
    assert found["cycles"] == 135
    assert found["lines"] == pytest.approx(135 / (341 / 3))
    assert found["microseconds"] == pytest.approx(135 * 176 / 315)
    assert found["port_reads"] == [18, 32, 46, 60, 74, 88, 102, 116]
    (sweep,) = found["sweeps"]
    assert {key: sweep[key] for key in ("period", "cases", "hit", "corrupt")} == {
        "period": 432,
        "cases": 110592,
        "hit": 2048,
        "corrupt": 1793,
    }
    assert (sweep["accepted_wrong"], sweep["never_settles"]) == (1793, 0)
    example = sweep["counterexample"]
    # The wave is of exactly that case: the same byte, from the wires.
    (read,) = decode(read_wave(Path("worst.vcd")))
    assert (example["held"], read.byte) == (0, example["got"])
    assert found["vcd"] == "worst.vcd"


def test_the_exposed_read_twice_says_what_would_be_safe(padbench):
    code, out, _ = padbench(
        str(SOURCES / "read-twice-36.asm"), "--json", "--period", "432", "--waves", "w.vcd"
    )
    found = json.loads(out)
    assert (code, found["verdict"]) == (1, "exposed")
    assert found["sweeps"][0]["accepted_wrong"] > 0
    assert 36 not in found["safe"]["loops"]
    assert 14 in found["safe"]["loops"]
    assert 0 not in found["safe"]["gaps"]
    assert found["safe"]["periods"] == [432]
    example = found["sweeps"][0]["counterexample"]
    assert [read.byte for read in decode(read_wave(Path("w.vcd")))] == [example["got"]] * 2


def test_advice_says_for_which_rates_it_is(padbench):
    _, out, _ = padbench(str(SOURCES / "read-twice-36.asm"), "--period", "432")
    out = " ".join(out.split())
    assert "with a fetch every 432 cycles" in out
    assert "Other rates of the console were not tried" in out
    _, out, _ = padbench(str(SOURCES / "read-twice-36.asm"))
    out = " ".join(out.split())
    assert "at each of the 16 rates tried" in out
    assert "not tried" not in out


def test_the_50_hz_console_is_immune(padbench):
    code, out, _ = padbench("read-once", "--console", "50hz", "--json")
    found = json.loads(out)
    assert (code, found["verdict"]) == (0, "immune")
    assert found["sweeps"][0]["counterexample"] is None
    assert found["lines"] == pytest.approx(135 / 106.5625)


def test_a_console_that_is_in_the_table_can_be_named(padbench, monkeypatch):
    """Nothing but an entry of `parts/consoles.toml` is needed."""
    known = {name: console_timing(name) for name in console_names()}
    longer = known["60hz"].model_copy(update={"name": "70hz", "fetch_periods": (500,)})
    monkeypatch.setattr(consoles, "_consoles", lambda: {**known, "70hz": longer})
    _, out, _ = padbench("read-once", "--console", "70hz", "--json")
    found = json.loads(out)
    assert [sweep["period"] for sweep in found["sweeps"]] == [500]
    assert "70hz" in found["on"]
    code, _, err = padbench("read-once", "--console", "71hz")
    assert (code, err.count("\n")) == (2, 1)


def test_words_for_people(padbench):
    code, out, _ = padbench("read-once", "--line", "250", "--clocks", "each", "--period", "432")
    assert code == 1
    for said in (
        " 135 ",
        " 1.19 ",
        "Read routine read-once: Exposed. Hands on",
        "in vertical blanking",
    ):
        assert said in out


def hex_of(origin, code):
    """As Intel HEX: count, address, kind, bytes and checksum in each record."""
    records = [
        [len(part), *divmod(origin + at, 256), 0, *part]
        for at in range(0, len(code), 16)
        if (part := code[at : at + 16])
    ]
    lines = [bytes([*one, -sum(one) & 0xFF]).hex() for one in records]
    return "".join(f":{line}\n" for line in lines) + ":00000001FF\n"


def test_all_kinds_of_file(padbench):
    """The same machine code, at places of its own in each: the counts are the same."""
    Path("a.bin").write_bytes(b"\xea" + ONCE)
    Path("a.hex").write_text(hex_of(0xC001, ONCE))
    Path("a.asm").write_text(".byte " + ", ".join(map(str, ONCE)))
    found = []
    for options in (
        ["a.bin", "--origin", "$C000", "--entry", "$C001"],
        ["a.hex"],
        ["a.asm", "--result", "$00"],
    ):
        code, out, _ = padbench(*options, "--json", "--period", "432")
        made = json.loads(out)
        assert (code, made["verdict"]) == (1, "exposed")
        found.append([made["cycles"], made["sweeps"][0]["accepted_wrong"]])
    assert found == [[135, 1793]] * 3


@pytest.mark.parametrize(
    ("source", "says"),
    [
        ("lda $4016\nlda #0\nrts", "in 255 of 256 held states"),
        ("ldx #1\nstx $4016\ndex\nstx $4016\n" + "lda $4016\n" * 8 + "lda $20\nrts", "wrong"),
    ],
)
def test_a_routine_that_is_wrong_by_itself(source, says, padbench):
    Path("a.asm").write_text(source)
    code, out, _ = padbench("a.asm", "--json", "--period", "432")
    found = json.loads(out)
    assert (code, found["verdict"]) == (1, "wrong")
    assert says in found["says"] or says in found["verdict"]


OLD_HALF = """
        jsr read
        lda $00
        and #$F0            ; four buttons of what was read, four of what stood there
        sta $01
        lda $02
        and #$0F
        ora $01
        sta $02
        rts
read:
        .byte """ + ", ".join(map(str, ONCE))


KEEPS_OPPOSED = """
read:   lda #1
        sta $4016
        lsr a
        sta $4016
        ldx #8
loop:   lda $4016
        lsr a
        rol $00
        dex
        bne loop
        lda $00
        and #$0C        ; up and down
        cmp #$0C
        beq keep
        lda $00
        and #$03        ; left and right
        cmp #$03
        beq keep
        lda $00
        sta $01
keep:   rts
"""


def test_a_routine_may_keep_the_old_state_at_opposite_directions(padbench):
    Path("keeps.asm").write_text(KEEPS_OPPOSED)
    found = json.loads(padbench("keeps.asm", "--result", "$01", "--json", "--period", "432")[1])
    assert found["verdict"] == "exposed"


def test_a_result_that_the_pad_does_not_reach_is_found_out(padbench):
    """Its place is preset with what is held, so only the opposite there shows it."""
    for place, says in (("$55", "never writes the place of its result"), ("$55,$56", "never")):
        code, out, _ = padbench("read-once", "--result", place, "--json", "--period", "432")
        found = json.loads(out)
        assert (code, found["verdict"]) == (1, "wrong")
        assert says in found["says"]
    Path("half.asm").write_text(OLD_HALF)
    code, out, _ = padbench(
        *("half.asm", "--result", "$02", "--json", "--report", "page.html", "--period", "432")
    )
    found = json.loads(out)
    assert (code, found["verdict"]) == (1, "wrong")
    assert "depends on the byte that stood in the place of its result" in found["says"]
    assert "in 144 held states" in found["says"]
    assert (
        padbench("read-twice", "--json", "--period", "432")[0] == 0
    )  # keeps the old byte, but under a fetch only


def test_periods_are_swept_in_the_order_of_asking_and_once(padbench):
    again = ["--period", "576", "--period", "432", "--period", "576"]
    _, out, _ = padbench("read-once", "--json", *again)
    assert [sweep["period"] for sweep in json.loads(out)["sweeps"]] == [576, 432]
    _, out, _ = padbench("read-once", "--json", "--period", "all")
    assert len(json.loads(out)["sweeps"]) == 16


@pytest.mark.parametrize(
    ("name", "content", "options", "says"),
    [
        ("a.asm", b".byte 2", [], "a.asm:1: $02 at $8000 is not a documented opcode"),
        ("a.asm", b"nop\njmp $1234", [], "a.asm:2: $1234 is jumped to"),
        ("a.asm", b"rts", [], "a.asm: never reads a port"),
        ("a.asm", b"lsr a\nbcc l\nnop\nl: rts", [], "a.asm: never reads a port"),
        ("a.asm", b"nop\nl: jmp l", [], "a.asm:1: the routine has not come back"),
        ("a.asm", b"rts", ["--result", "$4016"], "a.asm: the result address $4016 is the port"),
        ("a.asm", b"rts", ["--result", "x1"], "'x1' is neither an address nor a label"),
        ("a.asm", b"rts", ["--entry", "$9000"], "a.asm: the entry $9000 lies outside"),
        ("a.asm", b"rts\nlda foo", [], "a.asm:2: foo is an unknown label"),
        ("a.asm", b"\xff", [], "a.asm:1: byte 0xFF is not UTF-8"),
        ("a.asm", b"", [], "a.asm: is empty"),
        ("a.asm", b"rts", ["--origin", "$9000"], "a.asm: --origin is for a .bin only"),
        ("read-once", None, ["--period", "7"], "--period: '7' is no number of cycles"),
        ("a.asm", b"rts", ["--limit", "0"], "--limit: 0 is not between"),
        ("a.asm", b"rts", ["--limit", "x"], "padbench: --limit: 'x' is no whole number; see"),
        ("read-once", None, ["--result", ""], "--result '' is neither an address nor a label"),
        ("read-once", None, ["--line", "262"], "--line: line 262 is outside 0..261"),
        ("a.asm", b"rts", ["--ports", "$4016"], "--ports: '$4016' is not two addresses"),
        ("a.asm", b"rts", ["--ports", "$10,$11"], "a.asm: port $0010 lies in zero page"),
        ("a.asm", b"rts", ["--ports", "$8000,$11"], "a.asm:1: port $8000 lies inside the routine"),
        ("a.asm", b"rts", ["--result", "A,A"], "a.asm: the result place is the same"),
        ("a.bin", b"\x60" * 9, ["--origin", "$FFFF"], "a.bin: 9 bytes from $FFFF run over"),
        ("a.bin", b"\x60", ["--origin", "home"], "--origin: 'home' is no address"),
        (
            "a.hex",
            b":0480000018A900605C\n",
            [],
            "a.hex:1: is not Intel HEX (record has invalid checksum); write it anew",
        ),
        ("a.hex", b"\n:0480000018A9006\n", [], "a.hex:2: is not Intel HEX (hex file contains"),
        ("a.hex", b"hello\n", [], "is not Intel HEX"),
        ("a.hex", b":00000001FF\n", [], "a.hex: holds no data"),
        ("a.hex", b":020000040001F9\n:0100000060 9F", [], "a.hex"),
        ("read-thrice", None, [], "did you mean read-twice?"),
        ("none.asm", None, [], "none.asm: there is no such file"),
    ],
)
def test_bad_input_is_one_line_and_exit_code_2(padbench, name, content, options, says):
    if content is not None:
        Path(name).write_bytes(content)
    code, out, err = padbench(name, *options)
    assert (code, out) == (2, "")
    assert says in err
    assert err.startswith("padbench: ")
    assert err.count("\n") == 1


def test_a_pipe_or_a_folder_is_refused_at_once(padbench, tmp_path):
    import os  # noqa: PLC0415

    os.mkfifo(tmp_path / "pipe.asm")
    (tmp_path / "folder.asm").mkdir()
    for name in ("pipe.asm", "folder.asm"):
        code, _, err = padbench(name)
        assert code == 2
        assert "is not a file" in err
