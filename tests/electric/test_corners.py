"""From the sheet to numbers, against calculations done by hand."""

import pytest

from padbench.electric.corners import pad_model
from padbench.sheet import STARTER, sheet_from_text


def sheet(**changes):
    text = STARTER
    for old, new in changes.values():
        assert old in text
        text = text.replace(old, new)
    return sheet_from_text(text, "starter")


def test_the_fast_corner_has_no_delays():
    pad = pad_model(sheet(), "pull-down-only", "fast")
    assert (pad.answer, pad.latch_line.rise, pad.clock_line.fall) == (0, 0, 0)


def test_the_slow_answer_is_the_data_sheet_and_the_cable():
    # 320 ns + 784 ohm x (250 pF cable + console - 50 pF) x ln(1 / 0.3)
    pad = pad_model(sheet(), "push-pull", "slow")
    console = 20e-12
    cable = (0.4 / 0.51e-3) * (250e-12 + console - 50e-12) * 1.2039728
    assert pad.answer == pytest.approx((320e-9 + cable) * 1e12, rel=1e-6)
    assert pad.limits.answer.ps == pad.answer + 1


def test_a_pull_down_only_port_leaves_the_rise_to_the_resistor():
    # 3.6 k + 5 % into 250 pF of cable and 7.5 pF of input, to 70 %
    pad = pad_model(sheet(), "pull-down-only", "slow")
    expected = 3780 * 257.5e-12 * 1.2039728 * 1e12
    assert pad.clock_line.rise == pytest.approx(expected, rel=1e-6)
    assert pad.latch_line.fall == 0


def test_limits_come_with_their_source():
    limits = pad_model(sheet(), "push-pull", "slow").limits
    assert (limits.load_width.ps, limits.clock_width.ps) == (160_000, 180_000)
    assert (limits.removal.ps, limits.setup_parallel.ps) == (280_000, 50_000)
    assert limits.clock_period.ps == 333_333
    assert "from memory" in limits.removal.source


def test_chained_parts_need_time_from_one_to_the_next():
    # Clock to output 320 ns and set-up of the serial input 120 ns, both from memory.
    chained = sheet(stages=("stages = 8", "stages = 16"))
    assert pad_model(chained, "push-pull", "slow").limits.clock_period.ps == 440_000


def test_a_slow_line_adds_to_the_answer():
    pad = pad_model(sheet(), "pull-down-only", "fast")
    slow = pad_model(sheet(), "pull-down-only", "slow")
    assert pad.limits == slow.limits
    assert slow.limits.answer.ps == slow.answer + slow.clock_line.rise + 1
    assert slow.limits.first_answer.ps == slow.answer + slow.latch_line.rise + 1
