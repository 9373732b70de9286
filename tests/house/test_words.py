"""What a user reads keeps to one name for one thing, and to plain words."""

import ast
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]

# Each pattern with a text that it is for; what is said now instead stands behind it.
GONE = {
    r"\bhangs? on figures\b": "it hangs on figures from memory",  # rests on
    r"\bit may [\d{]": "it may 100 mW",  # 100 mW is allowed
    r"\bare (?:\S+ )?\S+ from a clock to its sample": "are 6.15 µs from a clock to its sample",
    r"that the register needs are kept": "A, and the B that the register needs are kept",  # needs B
    r"\bstand-?still\b": "at a stand-still",  # steady
    r"\bno bit at a level\b": "there is no bit at a level",  # all eight bits undecided
    r"the last value that would do": "which is not the last value that would do",  # well inside
    r"keeps the old byte in": "keeps the old byte in 3 of these",  # old byte kept
    r"\bno guarantee\b": "this is no guarantee",  # not a guarantee
    r"\bremarks?\b": "a remark",  # comment
    r"\bafter the begin\b": "after the begin",  # start
    r"\bcontract's\b|\((?:\w+ )?given[);]": "(given; used unmodified)",
    r"\bpass spoil(?:s|t|ed)\b|\bcorrupt\w*": "a corrupted pass",  # misread
    r"\d{5,} (?:cases|reads|polls|states|phases)\b": "68550656 cases",  # in groups of three digits
}


def sentences():
    """Every text with a blank in the package that is no docstring; guides; golden answers."""
    for path in (ROOT / "sim" / "padbench").rglob("*.py"):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        notes = {
            id(node.value)
            for node in ast.walk(tree)
            if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)
        }
        for node in ast.walk(tree):
            text = node.value if isinstance(node, ast.Constant) else None
            if isinstance(text, str) and " " in text and id(node) not in notes:
                yield path, text
    texts = [*(ROOT / "tests" / "cli" / "golden").glob("*.txt"), *ROOT.glob("*.md")]
    texts += [*ROOT.glob("sim/**/README.md"), *ROOT.glob("hdl/*.md"), *ROOT.glob("waves/*.md")]
    texts += [*ROOT.glob("sim/padbench/**/*.toml")]
    for path in texts:
        yield path, path.read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def said():
    found = [(path.relative_to(ROOT).as_posix(), text) for path, text in sentences()]
    assert len(found) > 3000
    return found


@pytest.mark.parametrize(("word", "once"), GONE.items())
def test_a_word_that_went_does_not_come_back(said, word, once):
    pattern = re.compile(word)
    assert pattern.search(once)
    assert [(path, found[0]) for path, text in said if (found := pattern.search(text))] == []
