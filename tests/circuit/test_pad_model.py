"""From the sheet to numbers, against calculations done by hand."""

from math import log

import pytest

from padbench.circuit.pad_model import pad_model
from padbench.sheet import STARTER, sheet_from_text

# At 4.75 V and 40 °C the CD4021B takes 4.75/5 (3.5/3.25)^1.56 (1 + 0.003 x 15) times as long.
LONGER = 1.11442


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
    # A square-law output (threshold 1.5 V) whose load takes 67.5 / 100.5 of 200 ns at 50 pF from
    # 4.5 to 0.5 V, 0.3 % longer for each of 15 °C. Seconds for each farad at 1 A/V², with 3.5 and
    # 3.25 V of overdrive: saturation down to that, then triode, to 10 %, to 30 % and to a half.
    pad = pad_model(sheet(), "push-pull", "slow")
    tenth = 2 * (4.5 - 3.5) / 3.5**2 + log((7 - 0.5) / 0.5) / 3.5
    gain = tenth * 50e-12 / (200e-9 * 67.5 / 100.5 * 1.045)
    assert gain < 0.4875e-3 / (3.5 * 0.4 - 0.4**2 / 2)  # what 0.51 mA at 25 °C are at 40 °C
    pinched = 2 * (4.75 - 3.25) / 3.25**2
    whole = pinched + log((6.5 - 1.425) / 1.425) / 3.25
    half = pinched + log((6.5 - 2.375) / 2.375) / 3.25
    # The data sheet's answer ends at half the supply with 50 pF.
    cable = (whole * (250e-12 + 20e-12) - half * 50e-12) / gain
    assert pad.answer == pytest.approx((320e-9 * LONGER + cable) * 1e12, rel=2e-3)
    assert pad.limits.answer.ps == pad.answer + pad.clock_line.rise + 1


def test_a_pull_down_only_port_leaves_the_rise_to_the_resistor():
    # 3.6 k + 5 % into 250 pF of cable and 7.5 pF of input, to 70 %, from the diode's drop and what
    # 75 ohm add to it, between 0.5 V and 0.9 V, to within the leakage's 23 mV of the supply
    pad = pad_model(sheet(), "pull-down-only", "slow")
    tau = 3780 * 257.5e-12 * 1e12
    assert tau * log((4.75 - 0.9) / 1.425) < pad.clock_line.rise < tau * log((5.25 - 0.3) / 1.55)
    # The fall is quick: 75 ohm and the diode.
    assert 10e3 < pad.latch_line.fall < 60e3


def test_a_push_pull_port_is_nearly_at_once():
    pad = pad_model(sheet(), "push-pull", "slow")
    # 75 ohm beside 3.6 k + 5 % into 257.5 pF, from 0.1 V to 70 %
    assert pad.clock_line.rise == pytest.approx(75 * 3780 / 3855 * 257.5 * 1.204, rel=0.03)


def test_a_line_without_a_resistor_never_rises_on_a_pull_down_only_port():
    text = sheet(one=('latch-to-supply = "3.6k ± 5 %"', 'latch-to-supply = "absent"'))
    pad = pad_model(text, "pull-down-only", "slow")
    assert pad.latch_line.rise is None
    assert pad.clock_line.rise is not None


def test_limits_come_with_their_source():
    limits = pad_model(sheet(), "push-pull", "slow").limits
    for limit, nanoseconds in (
        (limits.load_width, 160),
        (limits.clock_width, 180),
        (limits.removal, 280),
        (limits.setup_parallel, 50),
        (limits.clock_period, 1e3 / 3),
    ):
        assert limit.ps == pytest.approx(nanoseconds * 1e3 * LONGER, rel=1e-4)
        stretched = limit.sources[-1]
        assert (stretched.kind, "fitted law" in stretched.title) == ("from memory", True)
    assert limits.removal.sources[0].kind == "from memory"


def test_at_5_v_and_25_degrees_the_limits_are_those_of_the_table():
    text = sheet(one=('"5 V ± 5 %"', '"5 V"'), two=('"0 °C to 40 °C"', '"25 °C"'))
    limits = pad_model(text, "push-pull", "slow").limits
    assert (limits.load_width.ps, limits.clock_width.ps) == (160_000, 180_000)
    assert (limits.removal.ps, limits.setup_parallel.ps) == (280_000, 50_000)
    assert limits.clock_period.ps == 333_333


def test_chained_parts_need_time_from_one_to_the_next():
    # Clock to output 320 ns and set-up of the serial input 120 ns, both from memory.
    chained = sheet(stages=("stages = 8", "stages = 16"))
    assert pad_model(chained, "push-pull", "slow").limits.clock_period.ps == pytest.approx(
        440e3 * LONGER, rel=1e-4
    )


def test_a_slow_line_adds_to_the_answer():
    pad = pad_model(sheet(), "pull-down-only", "fast")
    slow = pad_model(sheet(), "pull-down-only", "slow")
    assert pad.limits == slow.limits
    assert slow.limits.answer.ps == slow.answer + slow.clock_line.rise + 1
    assert slow.limits.first_answer.ps == slow.answer + slow.latch_line.rise + 1
