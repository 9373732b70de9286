"""A pad that is a program: what it needs of a poll, and between which times it works."""

import pytest

from padbench.circuit.electric import judge_electric
from padbench.core.findings import Place
from sheets import FIRMWARE, put_back, written


def followed(*changes, remedies=True, ports=("push-pull",)):
    sheet = written(FIRMWARE, *changes, ports=ports)
    found = judge_electric(sheet, remedies=remedies).findings
    return next(one for one in found if one.id == "firmware.poll")


def test_what_is_said_of_a_program_is_data_and_words():
    found = followed()
    assert (found.verdict, found.place, found.where) == ("pass", Place("poll"), "the sheet's poll")
    # 5 µs and 3 µs from the sheet, and the charging of the cable.
    assert found.facts["first bit"] == pytest.approx(5.2e-6, abs=0.2e-6)
    assert found.facts["later bits"] == pytest.approx(3.2e-6, abs=0.2e-6)
    assert found.facts["pulse"] == pytest.approx(300e-9)
    assert "plain-loop" in found.facts["polls"]
    assert found.says.startswith("it needs 5.")
    assert "each alone, the rest as it is: latch from" in found.says
    assert "after the clock's fall" in found.says
    assert "each alone" not in followed(remedies=False).says


@pytest.mark.parametrize(
    "key", ["poll.latch-width", "poll.clock-low", "poll.clock-high", "poll.sample"]
)
def test_the_ends_that_are_told_are_where_it_begins_and_ends_to_work(key):
    facts = followed().facts
    assert facts[f"{key} works"]
    for end, way in (("from", 1), ("to", -1)):
        limit = facts[f"{key} {end}"]
        if limit is None or limit * (1 + way * 1e-3) > 1:
            continue
        inside = put_back(FIRMWARE, key, limit * (1 + way * 1e-3), "s")
        assert followed(inside, remedies=False).verdict == "pass", (end, limit)
    first = facts[f"{key} from"]
    if first is not None:
        outside = put_back(FIRMWARE, key, first * (1 - 1e-3), "s")
        assert followed(outside, remedies=False).verdict == "fail"


def test_one_that_never_works_says_so_and_has_no_time():
    found = followed({"resistors.latch-to-supply": "absent"}, ports=("pull-down-only",))
    assert (found.verdict, found.facts["first bit"]) == ("fail", None)
    assert "it needs for ever from the latch to the first sample" in found.says
    assert "latch never" in found.says
    assert found.remedy is not None


def test_a_register_has_no_such_finding():
    ids = {one.id for one in judge_electric(written(), remedies=False).findings}
    assert "firmware.poll" not in ids
