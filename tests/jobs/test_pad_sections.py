"""What a swept pad shows is what was counted."""

from padbench.core.buttons import BUTTONS
from padbench.core.pad import PadModel
from padbench.core.sentences import grouped
from padbench.jobs.pad_sections import pad_document, pad_sections
from padbench.padsweep.counting import TIES, PadCounts, PadPart, count_part, pad_parts
from padbench.results.blocks import Prose, Table


def test_the_choices_are_those_counted_and_the_safest_is_marked(limits):
    """Of two policies on some kinds of read; what comes out best says so, nothing else does."""
    pad, swept = PadModel(limits), PadCounts(("push-pull",), "both", 0)
    for policy, part in pad_parts(pad, 8):
        if policy in ("both", "neither") and part.stopped_bit in (0, 8) and part.extra <= 1:
            swept.add(policy, part, count_part(pad, policy, part))
    sections = pad_sections([swept], lambda _, case: str(case))
    blocks = {part.title: part.blocks for part in sections if "page" in part.media}
    (choices,) = blocks["Stopped reads and opposite directions, by policy and tie"]
    assert isinstance(choices, Table)
    marked = {row[:2] for row in choices.rows if row[-1] == "safest"}
    assert marked == {(policy, TIES[tie]) for policy, tie in swept.safest}
    assert 0 < len(marked) < len(choices.rows) == 4
    for row in choices.rows:
        tie = next(level for level, name in TIES.items() if name == row[1])
        assert row[2] == grouped(swept.total(str(row[0]), tie).cases)
    (cases,) = blocks["The first case of each kind"]
    assert isinstance(cases, Prose)
    assert len(cases.lines) == 2 * len(swept.whole.first)
    assert BUTTONS[-1] in " ".join(map(str, cases.lines))


def test_each_count_stands_under_its_own_key(limits):
    """With a number of its own for each, so that none can stand for another."""
    pad, part = PadCounts(("push-pull",), "both", 0), PadPart(0, 3, 1)
    tally = count_part(PadModel(limits), "both", part)
    pad.add("both", part, tally)
    tally.ghost, tally.missed = [*range(10, 18)], [*range(20, 28)]
    tally.shown, tally.lost = [*range(30, 38)], [*range(40, 48)]
    document = pad_document(pad, lambda _, case: str(case))
    assert [*document["seen_not_pressed"].values()] == tally.ghost
    assert [*document["pressed_not_seen"].values()] == tally.missed
    assert [*document["reads"][0]["seen_not_held"].values()] == tally.shown
    assert [*document["reads"][0]["held_not_seen"].values()] == tally.lost
    assert [*document["seen_not_pressed"]] == list(BUTTONS)
