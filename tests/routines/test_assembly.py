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
    assert made.lines[0x9000] == 6


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


@pytest.mark.parametrize(
    ("source", "line", "says"),
    [
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
        (".word 1", 1, "is no directive"),
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
