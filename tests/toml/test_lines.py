"""Where keys stand, against texts whose writer knows."""

import tomllib
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from padbench.toml.lines import DEEPEST, Path, lines_of


def test_places() -> None:
    text = """top = 1
"a b".c = 2
[t]
# comment
x.y = 3
z = { p = 1, "q.r" = 2 }
l = [
  1, # one
  { m = 2 },
]
[[many]]
k = 1
[[many]]
k = 2
[deep."er".est]
"""
    where = lines_of(text)
    assert where["top",] == 1
    assert where["a b",] == where["a b", "c"] == 2
    assert where["t",] == 3
    assert where["t", "x", "y"] == 5
    assert where["t", "z", "q.r"] == 6
    assert where["t", "l", 0] == 8
    assert where["t", "l", 1, "m"] == 9
    assert where["many",] == 11
    assert where["many", 0, "k"] == 12
    assert where["many", 1] == 13
    assert where["many", 1, "k"] == 14
    assert where["deep", "er"] == 15


def test_places_in_tables_of_tables() -> None:
    text = "[[a]]\n[[a.b]]\nx = 1\n[[a.b]]\nx = 2\n[[a]]\n[[a.b]]\nx = 3\n"
    where = lines_of(text)
    assert [where["a", 0, "b", 0, "x"], where["a", 0, "b", 1, "x"], where["a", 1, "b", 0, "x"]] == [
        3,
        5,
        8,
    ]


class Writer:
    """Writes TOML and remembers on which line each key came to stand."""

    def __init__(self, draw: st.DrawFn) -> None:
        self.draw, self.text = draw, ""
        self.lines: dict[Path, int] = {}

    def note(self, path: Path) -> None:
        for depth in range(1, min(len(path), DEEPEST) + 1):
            self.lines.setdefault(path[:depth], self.text.count("\n") + 1)

    def gap(self) -> None:
        self.text += self.draw(st.sampled_from(["", " ", "\n", "\n\t", ' # ] } = "\n', "\r\n"]))

    def pair(self, name: str, value: Any, path: Path, *, inline: bool) -> None:
        path = (*path, name)
        self.note(path)
        self.text += f"{self.draw(st.sampled_from(SPELLINGS[name]))} = "
        self.value(value, path)
        if not inline:
            self.text += self.draw(st.sampled_from(["\n", " # rest\n", "\n\n", "\r\n"]))

    def value(self, value: Any, path: Path) -> None:
        if isinstance(value, list):
            self.text += "["
            for index, item in enumerate(value):
                self.gap()
                self.note((*path, index))
                self.value(item, (*path, index))
                self.gap()
                if index + 1 < len(value) or self.draw(st.booleans()):
                    self.text += ","
            self.gap()
            self.text += "]"
        elif isinstance(value, dict):
            self.text += "{ "
            for place, (name, below) in enumerate(value.items()):
                self.text += ", " if place else ""
                self.pair(name, below, path, inline=True)
            self.text += " }"
        else:
            self.text += self.draw(st.sampled_from(SCALARS))


SPELLINGS = {
    "a": ["a", '"a"', "'a'", r'"\u0061"'],
    "b-1_2": ["b-1_2", '"b-1_2"'],
    "x.y": ['"x.y"', "'x.y'"],
    "] # = {": ['"] # = {"', "'] # = {'"],
    'say "n"': [r'"say \"n\""', "'say \"n\"'"],
    "é": ['"é"'],
    "7": ["7"],
}
SCALARS = [
    "1",
    "-0.5e3",
    "true",
    "1979-05-27 07:32:00",
    "1979-05-27T07:32:00.5+01:00",
    '""',
    "''",
    '"a # ] } \\" , [ = b"',
    "'a # ] } \\'",
    '"""\n]\n" two "" \\""" }\n"""',
    '"""one quote more""""',
    '"""two quotes more"""""',
    "'''\n[x]\nb = 1 '' \\\n'''''",
    '""""""',
]

names = st.sampled_from(list(SPELLINGS))
values = st.recursive(
    st.none(),
    lambda below: st.lists(below, max_size=4) | st.dictionaries(names, below, max_size=3),
    max_leaves=6,
)
tables = st.dictionaries(names, values, max_size=3)


@given(
    st.data(), tables, st.dictionaries(names, st.lists(tables, min_size=1, max_size=3), max_size=2)
)
@settings(max_examples=80, deadline=None)
def test_every_key_is_found_where_it_was_written(
    data: st.DataObject, top: dict[str, Any], below: dict[str, list[dict[str, Any]]]
) -> None:
    writer = Writer(data.draw)
    for name, value in top.items():
        writer.pair(name, value, (), inline=False)
    for name, entries in below.items():
        if name in top:
            continue
        spelt = data.draw(st.sampled_from(SPELLINGS[name]))
        listed = len(entries) > 1 or data.draw(st.booleans())
        for index, entry in enumerate(entries):
            writer.gap()
            writer.text += "\n"
            path: Path = (name, index) if listed else (name,)
            writer.note(path)
            writer.text += f"[[ {spelt}]]\n" if listed else f"[{spelt} ] # t\n"
            for key, value in entry.items():
                writer.pair(key, value, path, inline=False)
            if data.draw(st.booleans()):
                writer.note((*path, "deep", "er"))
                writer.text += f"[{spelt}.deep . 'er']\n"
                writer.pair("a", None, (*path, "deep", "er"), inline=False)
    tomllib.loads(writer.text)  # what is no TOML is never searched
    assert lines_of(writer.text) == writer.lines


def test_a_list_in_a_list_is_no_header() -> None:
    lines = lines_of("[t]\na = [[1],\n[2]]\nc = 1\n")
    assert lines["t", "a", 1] == lines["t", "a", 1, 0] == 3
    assert lines["t", "c"] == 4
    assert ("1",) not in lines


def test_depth_is_bounded() -> None:
    text = "a" + ".a" * 200 + " = 1\nb = " + "[\n" * 200 + "]" * 200
    lines = lines_of(text)
    assert max(map(len, lines)) == DEEPEST
    assert lines["a",] == 1
    assert lines[("b", *[0] * (DEEPEST - 1))] == DEEPEST + 1
