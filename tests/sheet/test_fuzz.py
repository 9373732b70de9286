"""Whatever stands in the file, it is a sheet or a `SheetError` of one-line problems."""

import re
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from padbench.sheet import STARTER, Sheet, SheetError, sheet_from_text

KEYS = [*re.findall(r"^([\w-]+) =", STARTER, flags=re.M), "clocks", "sample", "period"]
TABLES = re.findall(r"^\[(.*)\]", STARTER, flags=re.M)


def is_read_or_refused(text: str) -> None:
    try:
        sheet = sheet_from_text(text, "f\nuzz.toml")
    except SheetError as error:
        problems = error.problems
    else:
        assert isinstance(sheet, Sheet)
        return
    assert 1 <= len(problems) <= 51
    for problem in problems:
        assert str(problem).isprintable()
        assert problem.wrong
        assert problem.instead
        assert problem.line is None or 1 <= problem.line <= text.count("\n") + 1


@given(st.text())
def test_any_text(text: str) -> None:
    is_read_or_refused(text)


@given(st.text("[]{}=\"'#.,\n\\ abx019_-\t\r"))
def test_text_of_the_signs_of_toml(text: str) -> None:
    is_read_or_refused(text)


@st.composite
def mutated(draw: st.DrawFn) -> str:
    """The starter with a few slices cut, doubled or written over."""
    text = STARTER
    for _ in range(draw(st.integers(1, 4))):
        start = draw(st.integers(0, len(text)))
        end = min(len(text), start + draw(st.integers(0, 40)))
        piece = draw(
            st.one_of(
                st.just(""),
                st.just(text[start:end] * 2),
                st.text(max_size=10),
                st.sampled_from(['"', "]", "[", "\n", "=", "0", "-", "\n[pad]\n", "5 V", "'''"]),
            )
        )
        text = text[:start] + piece + text[end:]
    return text


@given(mutated())
@settings(max_examples=300, deadline=None)
def test_a_starter_with_slices_changed(text: str) -> None:
    is_read_or_refused(text)


def toml(value: Any) -> str:
    """A value as TOML, in the small part of it that this test writes."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return '"' + "".join(f"\\U{ord(c):08X}" for c in value) + '"'
    if isinstance(value, list):
        return "[" + ", ".join(map(toml, value)) + "]"
    if isinstance(value, dict):
        return "{" + ", ".join(f"{toml(key)} = {toml(one)}" for key, one in value.items()) + "}"
    return repr(value)


words = st.sampled_from(
    ["5 V", "47k", "4k7 ± 5 %", "2.5 m", "absent", "ground", "A", "push-pull", "brisk", "1 us"]
)
scalars = st.one_of(
    st.booleans(), st.integers(), st.integers(0, 30), st.floats(), st.text(max_size=8), words
)
values = st.recursive(
    scalars,
    lambda below: st.one_of(
        st.lists(below, max_size=3),
        st.dictionaries(st.one_of(st.text(max_size=5), st.sampled_from(KEYS)), below, max_size=3),
    ),
    max_leaves=5,
)
names = st.one_of(st.sampled_from(KEYS), st.text(max_size=5))
tables = st.dictionaries(
    st.one_of(st.sampled_from(TABLES), st.text(max_size=5)),
    st.one_of(values, st.dictionaries(names, values, max_size=5)),
    max_size=6,
)


@given(tables)
@settings(deadline=None)
def test_any_document(document: dict[str, Any]) -> None:
    is_read_or_refused("\n".join(f"{toml(key)} = {toml(one)}" for key, one in document.items()))


@given(st.sampled_from(KEYS), values)
@settings(max_examples=300, deadline=None)
def test_any_value_for_a_key_of_the_starter(key: str, value: Any) -> None:
    text = re.sub(rf"^{key} = .*$", lambda _: f"{key} = {toml(value)}", STARTER, flags=re.M)
    is_read_or_refused(text)
