"""What a swept pad shows is what was counted."""

from padbench.core.buttons import BUTTONS
from padbench.core.pad import PadModel
from padbench.core.sentences import grouped
from padbench.jobs.pad_sections import pad_document, pad_sections
from padbench.padsweep.counting import TIES, PadCounts, PadPart, pad_parts, read_part
from padbench.results.blocks import Prose, Table


def test_the_choices_are_those_counted_and_the_safest_is_marked(limits):
    """Of two policies on some kinds of read; what comes out best says so, nothing else does."""
    pad = PadModel(limits)
    swept = PadCounts(["push-pull"], pad, 8)
    for policy, part in pad_parts(pad, 8):
        if policy in ("both", "neither") and part.stopped_bit in (0, 8) and part.extra <= 1:
            swept.reads[policy, part] = read_part(pad, policy, part)
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
    """Of a pad that lacks a button, in which no two of the four are alike."""
    stages = tuple((1 << bit, bit + 1) for bit in range(8) if bit != 3)
    pad = PadCounts(["push-pull"], PadModel(limits, stage_of=stages), 8)
    reads = read_part(pad.pad, "both", PadPart(0, 3, 1))
    pad.reads["both", reads.part] = reads
    document = pad_document(pad, lambda _, case: str(case))
    masks = {
        "seen_not_pressed": reads.got & ~reads.must,
        "pressed_not_seen": reads.must & ~reads.got,
        "seen_not_held": reads.got & ~reads.held,
        "held_not_seen": reads.held & ~reads.got,
    }
    there = document | document["reads"][0]
    told = {name: [*there[name].values()] for name in masks}
    assert told == {
        name: [sum(bool(one & 128 >> place) for one in mask.tolist()) for place in range(8)]
        for name, mask in masks.items()
    }
    assert len({tuple(one) for one in told.values()}) == 4
    assert [*document["seen_not_pressed"]] == list(BUTTONS)
