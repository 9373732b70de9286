"""A sheet from a path, a text or a dict, and where its keys stand."""

import copy
import pickle
import tomllib
from pathlib import Path

import pytest

from padbench.sheet import STARTER, SheetError, load_sheet, sheet_from_text

DATA = tomllib.loads(STARTER)


def test_all_ways_give_the_same_sheet(tmp_path: Path) -> None:
    path = tmp_path / "pad.toml"
    path.write_text(STARTER, encoding="utf-8")
    sheets = [load_sheet(source) for source in (path, str(path), STARTER, DATA)]
    assert all(sheet == sheets[0] for sheet in sheets)
    other = load_sheet(STARTER.replace('length = "2.5 m"', 'length = "2.4 m"'))
    assert other != sheets[0]


def problem(source: object) -> str:
    with pytest.raises(SheetError) as caught:
        load_sheet(source)  # type: ignore[arg-type]
    (only,) = caught.value.problems
    return str(only)


def test_errors_name_where_the_sheet_came_from(tmp_path: Path) -> None:
    line = STARTER[: STARTER.index("length =")].count("\n") + 1
    wrong = STARTER.replace('"2.5 m"', '"2.5 V"')
    path = tmp_path / "pad.toml"
    path.write_text(wrong, encoding="utf-8")
    says = 'cable.length: "2.5 V" is in volts (V), not metres; write for example "2.5 m"'
    assert problem(path) == problem(str(path)) == f"{path}:{line}: {says}"
    assert problem(wrong) == f"<text>:{line}: {says}"
    data = copy.deepcopy(DATA)
    data["cable"]["length"] = "2.5 V"
    assert problem(data) == f"<dict>: {says}"


@pytest.mark.parametrize("text", ["pad = 3", "\n", "[pad]\n"])
def test_text_is_known_by_a_line_end_or_an_equals_sign(text: str) -> None:
    with pytest.raises(SheetError, match=r"^<text>:"):
        load_sheet(text)


@pytest.mark.parametrize("path", ["none.toml", "[pad]", "."])
def test_any_other_str_is_a_path(path: str) -> None:
    with pytest.raises(SheetError, match=r"there is no such file|is a directory"):
        load_sheet(path)


def test_a_path_may_have_an_equals_sign(tmp_path: Path) -> None:
    path = tmp_path / "r=39k.toml"
    path.write_text(STARTER, encoding="utf-8")
    assert load_sheet(path) == load_sheet(STARTER)


@pytest.mark.parametrize(
    ("data", "says"),
    [
        ({}, "<dict>: pad: is missing; write the table [pad]"),
        ({**DATA, "pull_up": {}}, "<dict>: pull_up: is no known table; the nearest known is"),
        ({**DATA, "cable": 3}, "<dict>: cable: 3 is not a table; write [cable] on a line"),
        ({**DATA, 3: 4}, "<dict>: [3]: 3 is no text; write keys as text"),
    ],
)
def test_a_dict_is_checked_as_a_file_is(data: dict[str, object], says: str) -> None:
    with pytest.raises(SheetError) as caught:
        load_sheet(data)
    assert str(caught.value).startswith(says)


def test_a_dict_is_not_kept(tmp_path: Path) -> None:
    data = copy.deepcopy(DATA)
    sheet = load_sheet(data)
    data["pad"]["name"] = "other"
    assert sheet.pad.name == "My pad"
    assert sheet.line_of("pad.name") is None


def test_parts_beside_the_sheet(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    with pytest.raises(SheetError, match=r"^my-parts.toml: there is no such file; begin with"):
        load_sheet({**DATA, "parts": {"file": "my-parts.toml"}})


def line(needle: str, text: str = STARTER) -> int:
    return text[: text.index(needle)].count("\n") + 1


def test_where_keys_stand() -> None:
    text = STARTER.replace("stuck = []", 'stuck = ["A",\n"B"]')
    sheet = load_sheet(text)
    assert sheet.line_of("cable.length") == line("length =", text)
    assert sheet.line_of("cable") == line("[cable]", text)
    assert sheet.line_of("buttons.Up") == line("Up = 4", text)
    assert sheet.line_of("contacts.stuck[1]") == line('"B"]', text)
    assert sheet.line_of("works-with.ports") == line("ports =", text)


@pytest.mark.parametrize("key", ["poll.clock-low", "policy.debounce", "hdl", "hdl.top", "", "x.y"])
def test_what_does_not_stand_there_has_no_line(key: str) -> None:
    assert load_sheet(STARTER).line_of(key) is None


def test_copies_know_their_lines() -> None:
    sheet = load_sheet(STARTER)
    changed = sheet.model_copy(update={"contacts": sheet.contacts})
    for other in (changed, pickle.loads(pickle.dumps(sheet)), copy.deepcopy(sheet)):
        assert other == sheet
        assert other.line_of("cable.length") == line("length =")


def test_nothing_is_searched_before_somebody_asks(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[str] = []

    def count(text: str) -> dict[tuple[str, ...], int]:
        asked.append(text)
        return {("cable", "length"): 7}

    monkeypatch.setattr("padbench.toml.document.lines_of", count)
    sheet = sheet_from_text(STARTER, "x")
    assert asked == []
    assert [sheet.line_of("cable.length"), sheet.line_of("cable.length")] == [7, 7]
    assert asked == [STARTER]
