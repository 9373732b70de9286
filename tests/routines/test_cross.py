"""Cross assemblers as programs, their listings and symbols: what two of them really wrote."""

import json
import os
import sys
from pathlib import Path

import pytest

from padbench.routines.cross import ASSEMBLERS
from padbench.routines.poll import poll_of
from padbench.routines.routine import RoutineError
from padbench.routines.source import load_routine
from padbench.sheet import STARTER, sheet_from_text
from padbench.toml.problems import SheetError

SOURCE = """port = $4016
read:   lda #1
        sta port
loop:   dex
        bne loop
        rts
"""
CODE = bytes.fromhex("A901 8D1640 CA D0FD 60")

# As written by ca65 2.19 and ld65, and by 64tass 1.58, for that source.
LISTING = """ca65 V2.18 - Debian 2.19-1
Main file   : my.s
Current file: my.s

000000r 1               port = $4016
000000r 1  A9 01        read:   lda #1
000002r 1  8D 16 40             sta port
000005r 1  CA           loop:   dex
000006r 1  D0 FD                bne loop
000008r 1  60                   rts
"""
SYMBOLS = "al 000080 .__ZPSTART__\nal 008005 .loop\nal 008000 .read\n"
OTHER = """; 64tass Turbo Assembler Macro V1.58.2974? listing file

;Offset\t;Hex\t\t;Monitor\t;Source

=$4016\t\t\t\t\tport = $4016
.8000\ta9 01\t\tlda #$01\tread:   lda #1
.8002\t8d 16 40\tsta $4016\t        sta port
.8005\tca\t\tdex\t\tloop:   dex
.8006\td0 fd\t\tbne $8005\t        bne loop
.8008\t60\t\trts\t\t        rts

;******  End of listing
"""


REAL = """port = $4016
result = $10
read:   lda #1
        sta port
        sta result
        lsr a
        sta port
again:  lda port
        lsr a
        rol result
        bcc again
        rts
"""


@pytest.mark.parametrize("assembler", ASSEMBLERS)
def test_the_programs_themselves_make_what_our_own_makes(tmp_path, assembler):
    """They are run here; where one is not installed the error says so, and this fails."""
    path = tmp_path / "my.asm"
    path.write_text(REAL if assembler == "ca65" else f"* = $8000\n{REAL}")
    theirs = load_routine(str(path), assembler=assembler, entry="read")
    path.write_text(REAL)
    ours = load_routine(str(path))
    assert theirs.segments == ours.segments
    assert theirs.entry == ours.entry
    assert {"port", "result", "read", "again"} <= set(theirs.labels)
    assert not any(name.startswith("__") for name in theirs.labels)
    above = assembler != "ca65"
    assert len(theirs.lines) == 10  # one for each instruction
    assert all(line - above == ours.lines[at][1] for at, (_, line) in theirs.lines.items())
    path.write_text(REAL.replace("lsr a\n        sta", "lsx a\n        sta"))
    with pytest.raises(RoutineError, match=rf":6: {assembler} refuses it"):
        load_routine(str(path), assembler=assembler)


@pytest.fixture
def programs(tmp_path, monkeypatch):
    """Stand-ins that write those files, and are told the words with which they were run."""
    folder = tmp_path / "bin"
    folder.mkdir()

    def install(name, files, code=0, says=""):
        path = folder / name
        path.write_text(
            f"#!{sys.executable}\n"
            "import pathlib, sys\n"
            f"pathlib.Path({str(tmp_path)!r}, {name + '.words'!r}).write_text(repr(sys.argv[1:]))\n"
            f"for name, text in {json.dumps(files)}.items():\n"
            "    pathlib.Path(name).write_bytes(text.encode('latin-1'))\n"
            f"sys.stderr.write({says!r})\n"
            f"sys.exit({code})\n"
        )
        path.chmod(0o755)

    monkeypatch.setenv("PATH", f"{folder}{os.pathsep}/nowhere")
    return install


ORG = """port = $4016
        .org $10
result: .res 1
        .org $C000
        .macro strobe
        lda #1
        sta port
        lsr a
        sta port
        .endmacro
read:   strobe
        .if 0
again:  lda port
        lsr a
        rol result
        bcc again
        .endif
        lda #1
        sta result
        .include "bits.inc"
        rts
"""
BITS = """again:  lda port
        lsr a
        rol result
        bcc again
"""


def test_org_macros_and_conditions_have_their_lines(tmp_path):
    """What is in no branch taken has none, and reserved bytes are no code."""
    (tmp_path / "bits.inc").write_text(BITS)
    path = tmp_path / "my.s"
    path.write_text(ORG)
    routine = load_routine(str(path), assembler="ca65")
    ((start, code),) = routine.segments
    assert (start, routine.entry, len(code)) == (0xC000, 0xC000, 22)
    assert code[:6] == bytes.fromhex("A901 8D1640 4A")
    lines = [(Path(file).name, line) for _, (file, line) in sorted(routine.lines.items())]
    macro, bits = [("my.s", n) for n in (6, 7, 8, 9)], [("bits.inc", n) for n in (1, 2, 3, 4)]
    assert lines == [*macro, ("my.s", 18), ("my.s", 19), *bits, ("my.s", 21)]
    assert routine.sources[str(tmp_path / "bits.inc")] == BITS

    two = path.with_name("two.s")
    two.write_text(ORG + '        .segment "RODATA"\n        .byte 1\n')
    with pytest.raises(RoutineError, match=r"org stands beside the segment RODATA; use one"):
        load_routine(str(two), assembler="ca65")


def test_in_a_listing_what_is_left_out_takes_no_line(tmp_path):
    """Nor does what is included; of a macro the lines in it have theirs."""
    (tmp_path / "more.inc").write_text(" clc\n")
    path = tmp_path / "my.s"
    path.write_text(
        "* = $8000\nm .macro\n lda #\\1 ; as asked\n .endm\n .if 0\nread: lda #1\n rts\n .fi\n"
        'read: #m 1\n .include "more.inc"\n lda #1\n rts\n'
    )
    routine = load_routine(str(path), assembler="64tass")
    lines = {at: line for at, (_, line) in routine.lines.items()}
    assert lines == {0x8000: 3, 0x8003: 11, 0x8005: 12}


@pytest.mark.parametrize("assembler", ASSEMBLERS)
def test_what_is_wrong_in_an_included_file_is_said_of_it(tmp_path, assembler):
    (tmp_path / "bad.inc").write_text("\n  lda #1\n  ldq #3\n")
    path = tmp_path / "my.s"
    path.write_text("* = $8000\n" * (assembler == "64tass") + '  .include "bad.inc"\n  rts\n')
    with pytest.raises(RoutineError, match=rf"bad\.inc:3: {assembler} refuses it"):
        load_routine(str(path), assembler=assembler)


def test_the_poll_of_a_sheet_takes_an_assembler_too(tmp_path, programs):
    """Here the program makes the code of a shipped routine, whatever the source."""
    shipped = load_routine("read-once")
    code = shipped.segments[0][1].decode("latin-1")
    programs("64tass", {"out.lst": OTHER, "out.lbl": "", "out.bin": code})
    path = tmp_path / "my.s"
    path.write_text(SOURCE)
    before = STARTER[: STARTER.index("[poll]")]
    keys = f'[poll]\nroutine = "{path}"\nassembler = "64tass"\n'
    poll = poll_of(sheet_from_text(before + keys, "pad.toml").poll)
    assert poll is not None
    assert poll.routine.segments == shipped.segments
    alone = before + '[poll]\nassembler = "64tass"\n'
    with pytest.raises(SheetError, match="has assembler without a routine"):
        sheet_from_text(alone, "pad.toml")


def test_what_a_program_finds_wrong_has_its_line(tmp_path, programs):
    path = tmp_path / "my.s"
    path.write_text(SOURCE)
    for assembler, package in (("ca65", "cc65"), ("64tass", "64tass")):
        with pytest.raises(RoutineError, match=f"is not installed; apt-get install {package}"):
            load_routine(str(path), assembler=assembler)
    programs("ca65", {}, 1, "my.s(2): Error: Symbol 'foo' is undefined\n")
    programs("64tass", {}, 1, "my.s:2:6: error: not defined symbol 'foo'\n  jmp foo\n")
    for assembler in ASSEMBLERS:
        with pytest.raises(RoutineError) as caught:
            load_routine(str(path), assembler=assembler)
        assert str(caught.value).startswith(f"{path}:2: {assembler} refuses it (")
        assert "foo" in str(caught.value)
    programs("64tass", {"out.lst": OTHER.replace(".8", ".0"), "out.lbl": "", "out.bin": "x"})
    with pytest.raises(RoutineError, match=r"say where it lies"):
        load_routine(str(path), assembler="64tass")


@pytest.mark.parametrize("listing", [LISTING, OTHER])
def test_labels_and_lines_survive_beside_a_binary(tmp_path, listing):
    path = tmp_path / "my.bin"
    path.write_bytes(CODE)
    path.with_suffix(".lst").write_text(listing)
    path.with_suffix(".lbl").write_text(SYMBOLS)
    routine = load_routine(str(path), entry="read")
    assert routine.labels["loop"] == 0x8005
    file, line = routine.lines[0x8005]
    assert file == str(path.with_suffix(".lst"))
    assert "dex" in listing.splitlines()[line - 1]
    # Of the listing's row the source alone.
    assert routine.sources[file].splitlines()[line - 1] == "loop:   dex"
    # A listing of other code says nothing.
    path.write_bytes(CODE[::-1])
    assert 0x8000 not in load_routine(str(path)).lines
