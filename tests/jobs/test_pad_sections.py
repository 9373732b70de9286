"""What a swept pad shows is what was counted."""

from padbench.core.buttons import BUTTONS
from padbench.core.pad import PadModel
from padbench.core.sentences import grouped
from padbench.jobs.pad_sections import pad_document, pad_sections
from padbench.padsweep.counting import count_parts, pad_parts
from padbench.padsweep.tally import TIES, PadCounts, PadPart
from padbench.results.blocks import Prose, Table


def test_the_choices_are_those_counted_and_the_safest_is_marked(limits):
    """Of two policies on some kinds of read; what comes out best says so, nothing else does."""
    swept = PadCounts(("push-pull",), "both", 0)
    for policy in ("both", "neither"):
        pad = PadModel(limits, policy=policy)
        for parts in pad_parts(8):
            if parts[0].stopped_bit in (0, 8) and parts[0].extra <= 1:
                swept.add(policy, parts[0], count_parts(pad, parts))
    sections = pad_sections([swept], lambda _, case: str(case))
    blocks = {part.title: part.blocks for part in sections if "page" in part.media}
    (choices,) = blocks["Stopped reads and opposite directions, by policy and tie"]
    assert isinstance(choices, Table)
    marked = {row[:2] for row in choices.rows if row[-1] == "safest"}
    assert marked == {(policy, TIES[tie]) for policy, tie in swept.safest}
    assert 0 < len(marked) < len(choices.rows) == 4
    for row in choices.rows:
        tie = next(level for level, name in TIES.items() if name == row[1])
        assert row[2] == grouped(swept.choices[str(row[0]), tie].cases)
    (cases,) = blocks["The first case of each kind"]
    assert isinstance(cases, Prose)
    assert len(cases.lines) == 2 * len(swept.whole.first)
    assert BUTTONS[-1] in " ".join(map(str, cases.lines))


def test_each_count_stands_under_its_own_key(limits):
    """With a number of its own for each, so that none can stand for another."""
    pad = PadCounts(("push-pull",), "both", 0)
    pad.add("both", PadPart(0, 3, 1, 0), count_parts(PadModel(limits), [PadPart(0, 3, 1, 0)]))
    tally = pad.whole
    tally.ghost, tally.missed = [*range(10, 18)], [*range(20, 28)]
    (read,) = pad.reads.values()
    read.shown, read.lost = [*range(30, 38)], [*range(40, 48)]
    document = pad_document(pad, lambda _, case: str(case))
    assert [*document["seen_not_pressed"].values()] == tally.ghost
    assert [*document["pressed_not_seen"].values()] == tally.missed
    assert [*document["reads"][0]["seen_not_held"].values()] == read.shown
    assert [*document["reads"][0]["held_not_seen"].values()] == read.lost
    assert [*document["seen_not_pressed"]] == list(BUTTONS)
