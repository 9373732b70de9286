"""Polls of one to four passes: nothing may be right by luck for two.

That a console acts only where all passes agree is common practice; the rest is arithmetic.
"""

from dataclasses import dataclass, field, replace
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from padbench.core.pad import PadModel
from padbench.core.stimulus import DrivenLines
from padbench.scenarios import SCENARIOS, Scenario
from padbench.scenarios.expect import accepted_states, allowed_states, fits
from padbench.scenarios.script import Script, Setting
from padbench.scenarios.timetable import Timetable
from padbench.scenarios.user import scenarios_from_text
from padbench.sheet import STARTER, SheetError, load_sheet
from padbench.trials.trial import run_scenario

PASSES = [1, 2, 3, 4]


@pytest.fixture
def setting(limits, timing):
    return Setting(PadModel(limits, answer=500_000), timing, 16_639_000_000, 5_000_000_000)


@pytest.mark.parametrize("passes", PASSES)
@pytest.mark.parametrize("spare", [0, 1, 3_000_000, 11_000_000, 40_000_000])
def test_passes_stand_one_after_the_other_and_fit_into_the_period(setting, passes, spare):
    length = setting.timing.length
    tight = replace(setting, passes=passes, period=passes * length + spare)
    timetable = Timetable(tight)
    for _ in range(3):
        timetable.poll()
    starts = [read.start for read in timetable.script().stimulus.reads]
    assert len(starts) == 3 * passes
    polls = [starts[first : first + passes] for first in range(0, len(starts), passes)]
    assert [poll[0] - polls[0][0] for poll in polls] == [0, tight.period, 2 * tight.period]
    for poll, following in zip(polls, [*polls[1:], [polls[-1][0] + tight.period]], strict=True):
        gaps = [b - a - length for a, b in pairwise(poll)]
        # As between latch and clock, or what the period leaves for each.
        assert gaps == [min(setting.timing.latch_to_clock, spare // passes)] * (passes - 1)
        assert poll[-1] + length <= following[0]


@pytest.mark.parametrize("passes", PASSES)
def test_each_pass_can_be_the_stopped_one(setting, passes):
    for stopped in range(passes):
        timetable = Timetable(replace(setting, passes=passes))
        timetable.poll()
        timetable.poll(stopped=[*[(0, 0)] * stopped, (8, 1)])
        timetable.poll()
        script = timetable.script()
        bytes_read = [expected.byte for expected in script.expected]
        # At ground the lost last bit reads as pressed (common practice).
        assert bytes_read == [
            1 if number == passes + stopped else 0 for number in range(3 * passes)
        ]
        assert [one.clocks for one in script.expected].index(9) == passes + stopped
        if passes > 1:
            assert [[fits(0, state) for state in poll] for poll in script.accepted] == [[True]] * 3


@pytest.mark.parametrize("passes", PASSES[1:])
def test_a_change_between_any_two_passes_is_not_acted_on_before_the_next_poll(setting, passes):
    several = replace(setting, passes=passes)
    for after in range(passes - 1):
        timetable = Timetable(several)
        timetable.poll()
        probe = Timetable(several)
        probe.poll()
        probe.poll()
        timetable.hold(["A"], at=probe.reads[passes + after].start + setting.timing.length)
        timetable.poll()
        timetable.poll()
        script = timetable.script()
        held = [one.held for one in script.expected]
        assert held == [0] * (passes + after + 1) + [0x80] * (2 * passes - after - 1)
        assert [fits(0, poll[0]) for poll in script.accepted] == [True, True, False]
        assert [fits(0x80, poll[0]) for poll in script.accepted] == [False, False, True]


@given(st.integers(1, 4), st.data())
def test_a_poll_counts_only_where_every_pass_agrees(passes, data):
    bits = st.tuples(*[st.booleans()] * 2).map(lambda two: (*two, *[False] * 6))
    reads = data.draw(st.lists(bits, min_size=passes, max_size=3 * passes))
    bytes_read = [sum(128 >> n for n, bit in enumerate(read) if bit) for read in reads]
    state, states = 0, []
    for first in range(0, len(reads) // passes * passes, passes):
        if len(set(bytes_read[first : first + passes])) == 1:
            state = bytes_read[first]
        states.append(state)
    assert list(accepted_states(bytes_read, passes)) == states
    allowed = allowed_states(reads, passes)
    assert [len(poll) for poll in allowed] == [1] * len(states)
    assert all(fits(state, poll[0]) for state, poll in zip(states, allowed, strict=True))


def disturbed(stops):
    def build(setting: Setting) -> Script:
        timetable = Timetable(setting)
        timetable.hold(["B"])
        timetable.poll()
        timetable.hold([])
        timetable.poll(stopped=stops)
        return timetable.script()

    return Scenario("disturbed", "One pass of the second poll is stopped.", build)


@pytest.mark.parametrize("passes", PASSES)
def test_a_poll_of_so_many_passes_is_simulated(passes):
    sheet = load_sheet(STARTER + f"passes = {passes}\n")
    result = run_scenario(sheet, SCENARIOS["each-button"], "push-pull", "slow")
    assert result.problems == ()
    assert [pair.byte for pair in result.reads] == [
        128 >> place for place in range(8) for _ in range(passes)
    ]
    for stopped in range(passes):
        scenario = disturbed([*[(0, 0)] * stopped, (8, 1)])
        result = run_scenario(sheet, scenario, "push-pull", "slow")
        assert result.problems == ()
        assert [pair.byte for pair in result.reads] == [0x40] * passes + [
            int(number == stopped) for number in range(passes)
        ]
        if passes > 1:
            assert result.accepted == (0x40, 0x40)


@pytest.mark.parametrize("passes", PASSES[1:])
def test_a_wrong_state_is_met_at_the_last_pass_of_its_poll(passes):
    def build(setting: Setting) -> Script:
        timetable = Timetable(setting)
        timetable.poll()
        timetable.poll(expect=(True,) + (False,) * 7)
        return timetable.script()

    sheet = load_sheet(STARTER + f"passes = {passes}\n")
    result = run_scenario(sheet, Scenario("x", "Wants A.", build), "push-pull", "slow")
    (state,) = [problem for problem in result.problems if "poll 2" in problem.says]
    assert "acts on nothing, expected A" in state.says
    assert state.at == result.reads[-1].read.start_ps


@pytest.mark.parametrize("passes", PASSES)
def test_scenarios_of_ones_own_have_as_many(setting, passes):
    text = f"[[scenario]]\nname='x'\nsays='y'\npasses={passes}\n[[scenario.step]]\nhold=['A']\n"
    (scenario,) = scenarios_from_text(text, "own").values()
    assert [one.byte for one in scenario.build(setting).expected] == [0x80] * passes


@pytest.mark.parametrize("passes", PASSES)
def test_the_period_has_to_hold_all_of_them(passes):
    busy = passes * load_sheet(STARTER).poll.read_time
    text = STARTER + f"passes = {passes}\n"
    assert load_sheet(text + f'period = "{busy * 1.001 * 1e6:.3f} us"\n').poll.passes == passes
    with pytest.raises(SheetError, match="not longer than the reading itself"):
        load_sheet(text + f'period = "{busy * 0.999 * 1e6:.3f} us"\n')


@dataclass
class Routine:
    """A poll by a routine of three passes that reads nothing, and remembers what is asked of it."""

    passes: int = 3
    latch: tuple[int, int] = (0, 1_000_000)
    longest: int = 100_000_000
    lines: DrivenLines = field(default_factory=lambda: DrivenLines((), (), ()))
    asked: list[tuple[int, int]] = field(default_factory=list)

    def begin(self):
        return self

    def cases(self):
        return ()

    def fetch_stopping(self, held, number, bit):
        self.asked.append((number, bit))

    def call(self, at, pad, *, fetch, other, preset):
        return 0, at + 1


def test_each_bit_of_each_pass_of_a_routine_is_stopped(setting):
    routine = Routine()
    SCENARIOS["stopped-any-bit"].build(replace(setting, routine=routine))
    # Three levels of the serial input, three held states.
    wanted = [(number, bit) for number in range(3) for bit in range(1, 9) for _ in range(9)]
    assert sorted(routine.asked) == wanted
