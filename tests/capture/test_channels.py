"""Names as people write them on their probes; what could mean two things is not taken."""

import pytest

from padbench.capture.channels import guess


@pytest.mark.parametrize(
    "name",
    [
        *("latch", "LATCH", "pad_latch", "o_latch", "bench.pad.latch", "Latch (D0)", "latch[0]"),
        *("Channel 1 latch", "CH1: latch", "D0_latch", "ch1 Latch", "DIO 3-Latch"),
        *("latch CH1", "Latch - Channel 2", "Strobe D0"),
    ],
)
def test_a_latch(name):
    assert guess(["clock", name, "Channel 3"], "latch") == 1


@pytest.mark.parametrize(
    ("names", "role"),
    [
        (["Channel 1", "Channel 2"], "latch"),
        (["Channel 1 latch", "Channel 2 latch"], "latch"),
        (["latch_count", "latches"], "latch"),
        (["CH1", "D0 x"], "clock"),
    ],
)
def test_no_telling(names, role):
    assert guess(names, role) is None


def test_a_label_by_itself_keeps_its_meaning():
    assert guess(["D0", "D1", "CLK"], "data") == 0
