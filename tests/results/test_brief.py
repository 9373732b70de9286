"""A short answer is 24 lines, whatever was found and however wide the screen is."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from padbench.results.blocks import NEVER_CUT, Lines
from padbench.results.brief import HEIGHT, fitted

WORDS = st.text("abc Ω漢 -+1234", max_size=300)
ROWS = st.lists(st.tuples(st.text("ab.-", max_size=40), WORDS), max_size=40)


@settings(max_examples=30, deadline=None)
@given(
    st.lists(st.builds(Lines, st.sampled_from(["", "A title"]), ROWS), max_size=5),
    st.integers(30, 200),
)
def test_it_fits_whatever_is_in_it(blocks, width):
    lines = fitted(blocks, width)
    assert len(lines) <= HEIGHT
    assert all(line.cell_len <= width for line in lines)


def shown(*blocks, width=80, height=HEIGHT):
    return [line.plain for line in fitted(blocks, width, height)]


def test_all_is_shown_where_there_is_room():
    assert shown(
        Lines("Title", [("one", "first"), ("three", "third")]), Lines("", [("", "x")])
    ) == [
        "Title",
        "  one    first",
        "  three  third",
        "x",
    ]


def test_what_stands_first_gets_the_room_that_is_left():
    first, second = (
        Lines("", [("", f"{word} one {word} two. {word} {'more ' * 15}")]) for word in "ab"
    )
    lines = shown(first, second, width=60, height=3)
    assert lines == [
        "a one a two. a more more more more more more more more more",
        "more " * 5 + "more",
        "b one b two.",
    ]


def test_rows_that_find_no_room_are_counted():
    lines = shown(Lines("", [(str(n), "row") for n in range(30)]), Lines("", [("", "last")]))
    assert len(lines) == HEIGHT
    assert lines[-2:] == ["and 8 more", "last"]
    assert lines[21] == "21  row"


def test_what_is_to_be_copied_is_one_line_and_counts_for_those_it_takes():
    path = "/a" * 100
    lines = shown(
        Lines("", [(str(n), "row") for n in range(30)]), Lines("", [("Waves", path)], whole=True)
    )
    assert lines[-1] == f"Waves: {path}"
    assert len(lines) == HEIGHT - 2


def test_files_written_outlast_the_rows_of_an_answer():
    files = [(f"Kind {n}", f"/a/{'long/' * 25}name{n}") for n in range(3)]
    answer = Lines("", [(f"label {n}", "says " * 30) for n in range(19)])
    text = "\n".join(line.plain for line in fitted([answer, Lines("", files, whole=True)], 80))
    assert all(path in text for _, path in files)
    assert "more" in text


def test_a_verdict_is_never_cut():
    verdict = "FAILS " + "word " * 60
    lines = shown(
        Lines("", [("", verdict)], NEVER_CUT), Lines("", [(str(n), "row") for n in range(40)])
    )
    assert " ".join(" ".join(lines).split()).startswith(verdict.strip())
    assert len(lines) <= HEIGHT


@pytest.mark.parametrize("kept", ["68 550 656", "5.96 µs", "3.6 kΩ", "100 %", "40 °C", "10 000 ns"])
def test_a_number_stays_with_its_unit(kept):
    for room in range(20, 40):
        assert kept in "\n".join(shown(Lines("", [("", f"{'x ' * 15}{kept} after")]), width=room))


def test_a_terminal_is_told_nothing_by_a_name():
    (line,) = shown(Lines("", [("a\x1b[31m", "b\x07\u202e")]))
    assert line.isprintable()
    assert "\\x1b[31m" in line


def test_what_finds_no_room_ends_with_a_whole_sentence():
    says = "150 kΩ ± 5 %; from 24.74 kΩ to 1.018 MΩ would do. Mends 3 findings and 12 scenarios"
    row = Lines("", [("1", f"The pull-up resistors: {says}")], 1)
    assert shown(row) == [
        "1  The pull-up resistors: 150 kΩ ± 5 %; from 24.74 kΩ to 1.018 MΩ would do."
    ]
    assert shown(row, width=62) == ["1  The pull-up resistors: 150 kΩ ± 5 %"]
    # A sentence is never cut.
    assert " ".join(shown(Lines("", [("", "word " * 30)], 1))).split() == ["word"] * 30


@pytest.mark.parametrize("between", [", ", "; "])
def test_a_list_says_how_much_of_it_is_left_out(between):
    names = [f"name-{number}" for number in range(30)]
    (line,) = shown(Lines("", [("fail", f"30: {between.join(names)}.")], 1, listed=True))
    shown_names, left_out = line.removeprefix("fail  30: ").split(" and ")
    count = len(shown_names.split(between))
    assert shown_names == between.join(names[:count])
    assert left_out == f"{30 - count} more"
    assert len(line) > 60


def test_what_must_change_outlasts_the_margins_of_what_holds():
    change = Lines("Change", [(str(n), "it") for n in range(6)], kept=True)
    holds = Lines("Holds", [(f"h{n}", "it") for n in range(5)])
    for height in (13, 12, 11):
        lines = shown(change, holds, height=height)
        assert lines[:7] == ["Change", *(f"  {n}  it" for n in range(6))]
        assert len(lines) <= height
    # Where there is no other way, of these too some are left out.
    assert "  and 3 more" in shown(change, holds, height=9)[:7]
