"""The assembler: all that py65 can disassemble comes back, and mistakes have a line."""

from contextlib import suppress

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from py65.devices.mpu6502 import MPU
from py65.disassembler import Disassembler

from padbench.routines.assembly import assemble
from padbench.routines.bus import INSTRUCTIONS, LENGTHS
from padbench.routines.routine import RoutineError
from padbench.routines.source import load_routine


def code_of(source: str) -> bytes:
    ((_, code),) = assemble(source, "test.asm").segments
    return code


@pytest.mark.parametrize("opcode", sorted(INSTRUCTIONS), ids=lambda op: f"{op:02X}")
def test_every_instruction_comes_back_from_its_disassembly(opcode):
    memory = [0] * 0x10000
    memory[0x8000:0x8003] = [opcode, 0x16, 0x40]
    text = Disassembler(MPU(memory, 0x8000)).instruction_at(0x8000)[1]
    for written in (text, text.lower()):
        assert (
            list(code_of(written)) == memory[0x8000 : 0x8000 + LENGTHS[INSTRUCTIONS[opcode].mode]]
        )


def test_labels_constants_comments_and_directives():
    source = """
; a comment; with a semicolon
port = $4016
count = 8
        .org $9000
start:  ldx #count      ; decimal
        lda #%00000001
        sta port+1
        lda #<table
        ldy #>table
back:   dex
        bne back
        beq ahead
        nop
ahead:  jmp (table)
table:  .byte 1, $FF, >start, count - 1
"""
    made = assemble(source, "test.asm")
    assert made.segments == (
        (
            0x9000,
            bytes.fromhex("A208 A901 8D1740 A914 A090 CA D0FD F001 EA 6C1490 01FF9007"),
        ),
    )
    assert made.labels["ahead"] == 0x9011
    assert made.lines[0x9000] == ("test.asm", 6)


def test_zero_page_is_used_where_it_fits_and_labels_settle():
    assert code_of("late = $10\nlda late\n") == bytes([0xA5, 0x10])
    assert code_of("lda late\nlate = $10\n") == bytes([0xA5, 0x10])
    assert code_of("lda late\nlate: nop\n") == bytes([0xAD, 0x03, 0x80, 0xEA])
    assert code_of("lda $10,y\n") == bytes([0xB9, 0x10, 0x00])


def test_four_digits_and_prefixes_say_how_long_an_address_is():
    assert code_of("lda $0010\n") == bytes([0xAD, 0x10, 0x00])
    assert code_of("p = $0010\nlda p\n") == code_of("lda z:$0010\n") == bytes([0xA5, 0x10])
    assert code_of("p = $10\nlda a:p,x\n") == bytes([0xBD, 0x10, 0x00])
    assert code_of("sty $0010,x\n") == bytes([0x94, 0x10])  # there is no longer form
    assert code_of("lda ($0010),y\n") == bytes([0xB1, 0x10])
    for wrong in ("lda z:$1234", "sty a:$10,x", "lda ($1234),y", "lda q:$10"):
        with pytest.raises(RoutineError, match=r"test\.asm:1: "):
            code_of(wrong)


def test_several_origins_make_several_segments():
    made = assemble(".org $8000\nnop\n.org $9000\nrts\n", "test.asm")
    assert made.segments == ((0x8000, b"\xea"), (0x9000, b"\x60"))


def test_labels_between_labels_are_known_there_only():
    source = "one: dex\n@back: bne @back\ntwo: dex\n@back: bne @back\nbeq @back\nrts\n"
    assert code_of(source) == bytes.fromhex("CA D0FE CA D0FE F0FC 60")
    with pytest.raises(RoutineError, match=r"test\.asm:4: @back is an unknown label"):
        code_of("one: dex\n@back: bne @back\ntwo: dex\nbne @back\n")


@pytest.mark.parametrize(
    ("written", "code"),
    [
        ("lda #'A'", "A941"),
        ("lda #';' ; a comment", "A93B"),
        (".byte ',', \"a;b\", 1", "2C613B6201"),
        (".word $1234, here\nhere: nop", "341204 80EA"),
        ("lda #2+3*4", "A90E"),
        ("lda #(2+3)*4", "A914"),
        ("lda (2+3)*4", "A514"),
        ("lda #1<<4|$81&$0F^2", "A913"),
        ("lda #10/3", "A903"),
        ("lda #10-3-2", "A905"),
        ("lda #<~$01", "A9FE"),
        ("lda #<$1234+1\nlda #>($12FF+1)", "A935 A913"),
        ("lda (($10+1)),y", "B111"),
        ("lda ($10*2,x)", "A120"),
        ("jmp (table+1)\ntable = $9000", "6C0190"),
        ("nop\njmp *-1", "EA4C0080"),
    ],
)
def test_expressions_and_constants(written, code):
    assert code_of(written) == bytes.fromhex(code)


def test_included_files_keep_their_lines(tmp_path):
    (tmp_path / "port.inc").write_text('port = $4016\n.include "more/sub.inc"\n')
    (tmp_path / "more").mkdir()
    (tmp_path / "more" / "sub.inc").write_text("sub: lda port\n rts\n")
    main = tmp_path / "main.asm"
    main.write_text(' .include "port.inc"\nstart: jsr sub\n rts\n')
    routine = load_routine(str(main), entry="start")
    assert routine.segments == ((0x8000, bytes.fromhex("AD1640 60 200080 60")),)
    assert routine.lines[0x8000] == (str(tmp_path / "more" / "sub.inc"), 1)
    assert routine.lines[0x8004] == (str(main), 2)
    (tmp_path / "more" / "sub.inc").write_text("sub: lda nothing\n")
    with pytest.raises(RoutineError, match=r"sub\.inc:1: nothing is an unknown label"):
        load_routine(str(main))


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ('.include "main.asm"', 'main.asm:1: "main.asm" includes itself'),
        ('.include "back.inc"', 'back.inc:1: "main.asm" includes itself'),
        ('.include "none.inc"', 'main.asm:1: "none.inc" is not there'),
        (".include none.inc", "is no file to include"),
        ('.include "wide.inc"', "has too many lines"),
    ],
)
def test_files_that_cannot_be_included(tmp_path, text, says):
    (tmp_path / "back.inc").write_text('.include "main.asm"\n')
    (tmp_path / "wide.inc").write_text("\n" * 99_990 + '.include "more.inc"\n')
    (tmp_path / "more.inc").write_text("\n" * 99)
    (tmp_path / "main.asm").write_text(text + "\n rts\n")
    with pytest.raises(RoutineError) as caught:
        load_routine(str(tmp_path / "main.asm"))
    assert says in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("source", "line", "says"),
    [
        ("lda #1/0", 1, "divide by 1"),
        ("lda #(1", 1, "parenthesis"),
        ("lda #'", 1, "is not a number"),
        (".byte 1,,2", 1, "lacks a number"),
        ('.byte "a', 1, "is not a number"),
        ("lda #1+", 1, "lacks a number"),
        ("lda #)", 1, "lacks a number"),
        ("lda $10,x,y", 1, "is no operand"),
        ("nop\nlda labbel\nlabel: nop", 2, "labbel is an unknown label; did you mean label?"),
        ("bne nowhere", 1, "nowhere is an unknown label"),
        ("nop\nnope", 2, "nope is no instruction"),
        ("lda #256", 1, "does not fit a byte"),
        ("lda #-1", 1, "outside"),
        ("lda ($10", 1, "parenthesis"),
        ("stx $1234,y", 1, "no such addressing mode"),
        ("lda", 1, "no such addressing mode"),
        ("lda $12 34", 1, "is not a number or a name"),
        ("lda $1 $2,x", 1, "is not a number or a name"),
        ("a: nop", 1, "word of the language"),
        ("l: nop\nl: nop", 2, "has a value already"),
        (".text 1", 1, "is no directive"),
        (".org $FFFF\nnop\nnop", 3, "runs over the end of memory"),
        (".org $8000\nnop\n.org $8000\nnop", 4, "is taken by line 2"),
        ("l: nop\n" + ".byte 0\n" * 200 + "bne l", 202, "bytes away"),
        ("x = $1234", 1, "is a word of the language"),
        ("big = $12345", 1, "outside"),
        ("nop\n" + "n" * 501, 2, "too many"),
        ("; nothing", None, "holds no instruction"),
        ("a1 = a2\na2 = a1\nlda a1", 1, "unknown label"),
        (".byte", 1, "lacks a number"),
    ],
)
def test_mistakes_have_file_and_line(source, line, says):
    with pytest.raises(RoutineError) as caught:
        assemble(source, "test.asm")
    message = str(caught.value)
    assert message.startswith("test.asm:" if line is None else f"test.asm:{line}: "), message
    assert says in message
    assert "\n" not in message


@settings(deadline=None, max_examples=150)
@given(st.text(st.sampled_from("ldastxbne $#%(),:;=.+-<>09afXYA\n\t"), max_size=60))
def test_whatever_is_written_is_assembled_or_refused(source):
    with suppress(RoutineError):
        for at, code in assemble(source, "test.asm").segments:
            assert 0 < at + len(code) <= 0x10000
