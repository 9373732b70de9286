"""What a caller from Python may hand to the jobs, and how anything else is refused."""

import pytest

import padbench
from padbench.routines.routine import RoutineError
from padbench.sheet import STARTER, SheetError

OWN = '[[scenario]]\nname = "mine"\nsays = "A is held."\n[[scenario.step]]\nhold = ["A"]\n'


def test_one_scenario_may_be_given_alone():
    assert [run.name for run in padbench.verify(STARTER, "idle").runs] == ["idle"]


def test_names_of_files_may_be_text(tmp_path):
    own = tmp_path / "own.toml"
    own.write_text(OWN)
    waves = tmp_path / "waves"
    padbench.verify(STARTER, "mine", own_scenarios=str(own), waves=str(waves))
    padbench.play(STARTER, "idle", waves=str(waves))
    padbench.routine("read-once", waves=str(waves / "worst.vcd"))
    assert {path.name for path in waves.iterdir()} == {"mine.vcd", "idle.vcd", "worst.vcd"}
    other = padbench.inspect(
        waves / "mine.vcd", against=STARTER, scenario="mine", own_scenarios=str(own)
    )
    assert "against.reads" in {finding.id for finding in other.findings}


def test_there_are_two_corners():
    with pytest.raises(padbench.Refusal, match="corner: there is no corner 'hot'; try fast, slow"):
        padbench.play(STARTER, "idle", corner="hot")


def test_the_clocks_of_a_fetch_are_joined_or_not():
    with pytest.raises(padbench.Refusal, match="clocks: 'some' is none; try joined, each"):
        padbench.routine("read-once", clocks="some")


def test_a_channel_has_a_known_role(tmp_path):
    with pytest.raises(padbench.Refusal, match="channels: 'clk' is no role; use latch, clock"):
        padbench.inspect(tmp_path / "none.vcd", channels={"clk": "CH2"})


def test_an_empty_text_is_an_empty_sheet():
    with pytest.raises(SheetError, match="<text>: is empty"):
        padbench.load_sheet("")


def test_every_refusal_is_a_value_error():
    assert issubclass(SheetError, ValueError)
    assert issubclass(RoutineError, ValueError)
    assert issubclass(padbench.Refusal, ValueError)
