"""Words and numbers of a sentence."""

import pytest

from padbench.core.sentences import capital, counted


@pytest.mark.parametrize(
    ("number", "says"),
    [(0, "0 reads"), (1, "1 read"), (2, "2 reads"), (12_345, "12 345 reads")],
)
def test_what_is_counted_stands_in_the_plural_unless_it_is_one(number, says):
    assert counted(number, "read").replace("\N{NO-BREAK SPACE}", " ") == says


def test_a_sentence_begins_with_a_capital_and_keeps_the_rest():
    assert [capital(words) for words in ("", "a Pad", "éA")] == ["", "A Pad", "ÉA"]
