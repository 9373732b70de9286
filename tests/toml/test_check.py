"""A document against a model, message by message."""

from collections.abc import Iterator, Mapping
from typing import Annotated, Any, Literal

import pytest
from pydantic import Field, TypeAdapter, model_validator

from padbench.sheet.model import Sheet
from padbench.toml import Clash, Document, Refused, SheetError, Table, check


class Step(Table):
    hold: tuple[int, ...] = Field(examples=[[1, 2]])
    polls: Annotated[int, Field(strict=True, ge=1, le=9, examples=[3])] = 1

    @model_validator(mode="after")
    def _even(self) -> "Step":
        if self.polls == 7:
            raise Refused("is a bad step", "take another")
        return self


class Play(Table):
    name: str = Field(min_length=1, examples=["x"])
    step_list: tuple[Step, ...] = ()


class Limits(Table):
    number: float | None = Field(default=None, gt=0, allow_inf_nan=False)
    whole: int = 3
    flag: bool = False
    word: Literal["up", "down"] | None = None


class File(Table):
    play: tuple[Play, ...]
    limits: Limits = Field(default_factory=Limits)
    kinds: dict[Literal["one", "two"], Limits] = Field(default_factory=dict)


GOOD = "[[play]]\nname = 'a'\n[[play.step-list]]\nhold = [1]\n[limits]\n"


def refused(text: str) -> list[str]:
    with pytest.raises(SheetError) as caught:
        check(Document.parse(text, "f.toml", "start so"), File)
    return [str(problem) for problem in caught.value.problems]


def test_a_good_file() -> None:
    read = check(Document.parse(GOOD, "f.toml", "start so"), File)
    assert read.play[0].step_list[0].hold == (1,)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("[limits]\n", "f.toml: play: is missing; write [[play]] on a line of its own"),
        ("play = 3\n", "f.toml:1: play: 3 is not a list of tables; write [[play]] on a line"),
        ("play = [3]\n", "f.toml:1: play[0]: 3 is not a table; write [play] on a line of its own"),
        (GOOD + "number = 0", "f.toml:6: limits.number: 0 is not more than 0"),
        (GOOD + "number = nan", "f.toml:6: limits.number: nan is not a finite number"),
        (GOOD + "number = 'x'", 'limits.number: "x" is not a number; write for example number = 1'),
        (GOOD + "whole = 'x'", 'limits.whole: "x" is not a whole number; write for example whole'),
        (GOOD + "whole = 1.5", "limits.whole: 1.5 is not a whole number"),
        (GOOD + "whole = [1]", "limits.whole: a list of 1 is not a whole number"),
        (
            GOOD + "flag = 'x'",
            'limits.flag: "x" is not true or false; write for example flag = tru',
        ),
        (
            GOOD + "word = 'dwn'",
            'limits.word: "dwn" is not known here; the nearest known is "down"',
        ),
        (GOOD + "word = 3", "limits.word: 3 is not text in quotes"),
        (GOOD + "wurd = 3", 'limits.wurd: is no key of [limits]; the nearest known is "word"'),
        (GOOD + "[limts]", 'f.toml:6: limts: is no known table; the nearest known is "limits"'),
        (
            GOOD + "[kinds.tow]",
            'f.toml:6: kinds.tow: is no key of [kinds]; the nearest known is "t',
        ),
        (GOOD + "[kinds.two]\nwhole = 'x'", 'f.toml:7: kinds.two.whole: "x" is not a whole number'),
        ("limts = 3\n" + GOOD, "f.toml:1: limts: is no known key; "),
        (GOOD.replace("[1]", "3"), 'play "a", step-list 1, hold: 3 is not a list; write for examp'),
        (GOOD.replace("[1]", "['x']"), 'step-list 1, hold[0]: "x" is not a whole number; write f'),
        (GOOD.replace("hold = [1]", ""), 'f.toml:3: play "a", step-list 1, hold: is missing; wri'),
        (
            GOOD.replace("[1]", "[1]\npols = 2"),
            'f.toml:5: play "a", step-list 1, pols: is no key of [[play.step-list]]; the nearest',
        ),
        (GOOD.replace("[1]", "[1]\npolls = 0"), "polls: 0 is less than 1; write for example polls"),
        (
            GOOD.replace("[1]", "[1]\npolls = 10"),
            "polls: 10 is more than 9; write for example poll",
        ),
        (GOOD.replace("[1]", "[1]\npolls = 7"), "step-list 1: is a bad step; take another"),
        (GOOD.replace("'a'", "''"), 'f.toml:2: play "", name: "" is empty; write for example name'),
        (
            GOOD.replace("name = 'a'\n", ""),
            "f.toml:1: play 1, name: is missing; write for example n",
        ),
    ],
)
def test_each_refusal_is_one_line(text: str, says: str) -> None:
    (line,) = refused(text)
    assert says in line
    assert "; " in line


def test_problems_come_in_order_of_lines_and_the_rest_is_counted() -> None:
    text = GOOD + "".join(f"k{n} = 1\n" for n in reversed(range(60)))
    lines = refused(text.replace("[1]", "3"))
    assert lines[0].startswith("f.toml:4: ")
    assert lines[1].startswith("f.toml:6: limits.k59: ")
    assert len(lines) == 12
    assert lines[-1] == "f.toml: has 50 more problems; mend the ones above first"


def test_values_that_clash_are_said_beside_what_cannot_be_read() -> None:
    seen: list[Any] = []

    def across(tables: Mapping[str, Any]) -> Iterator[Clash]:
        seen.append(tables["play"])
        yield Clash(("limits", "whole"), "is odd", "write an even one")
        yield Clash(("limits", "flag"), "is not given", "give it")
        yield Clash(("kinds", "one"), "is off", "leave it out")

    text = GOOD + "whole = 5\n[kinds.one]\n"
    document = Document.parse(text.replace("[1]", "3"), "f.toml", "")
    with pytest.raises(SheetError) as caught:
        check(document, File, across)
    assert [str(problem) for problem in caught.value.problems[1:]] == [
        "f.toml:5: limits.flag: is not given; give it",
        "f.toml:6: limits.whole: 5 is odd; write an even one",
        "f.toml:7: kinds.one: is off; leave it out",
    ]
    assert seen == [None]
    with pytest.raises(SheetError, match="is odd"):
        check(Document.parse(text, "f.toml", ""), File, across)
    assert seen[1][0].name == "a"


def test_names_with_underscores_are_for_code_only() -> None:
    (line,) = refused(GOOD.replace("step-list", "step_list"))
    assert 'step_list: is no key of [[play]]; the nearest known is "step-list"' in line


def examples(model: type[Table]) -> Iterator[tuple[type[Table], str, Any]]:
    for name, field in model.model_fields.items():
        inner = field.annotation
        marks = [mark.example for mark in field.metadata if hasattr(mark, "example")]
        for example in [*marks, *(field.examples or [])]:
            yield model, name, example
        for kind in (inner, *getattr(inner, "__args__", ())):
            if isinstance(kind, type) and issubclass(kind, Table):
                yield from examples(kind)


@pytest.mark.parametrize(
    ("model", "name", "example"),
    [pytest.param(*case, id=f"{case[0].__name__}.{case[1]}") for case in examples(Sheet)],
)
def test_every_example_of_the_sheet_would_do(model: type[Table], name: str, example: Any) -> None:
    field = model.model_fields[name]
    TypeAdapter(Annotated[field.annotation, Field(), *field.metadata]).validate_python(example)
