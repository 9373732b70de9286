"""Each broken sheet is the starter with one thing changed; each gives one clear line."""

from dataclasses import dataclass

import pytest

from padbench.sheet import STARTER, SheetError, sheet_from_text


@dataclass(frozen=True)
class Broken:
    """``old`` in the starter becomes ``new``; then ``key`` is to blame, on the line of ``new``."""

    old: str
    new: str
    key: str
    says: str
    line: bool = True
    others: int = 0
    """Problems beside the one described."""


NAME = 'name = "My pad"'
SUPPLY = '"5 V ± 5 %"'
PART = 'part = "CD4021B"'
STAGES = "stages = 8 "
SERIAL = 'serial-input = "ground"'
INVERTED = "latch-inverted = false"
PULL_UP = 'value = "39k ± 5 %"'
PORTS = 'ports = ["push-pull", "pull-down-only"]'
USE = 'use = "plain-loop"'
LENGTH = 'length = "2.5 m"'
LATCH_R = 'latch-to-supply = "3.6k ± 5 %"'

CASES = {
    # the pad
    "name missing": Broken(NAME, "", "pad.name", "is missing; write for example name =", False),
    "name empty": Broken(NAME, 'name = ""', "pad.name", "is empty"),
    "name blank": Broken(NAME, 'name = "  "', "pad.name", "is empty"),
    "name a number": Broken(NAME, "name = 5", "pad.name", "5 is not text in quotes"),
    "name a list": Broken(NAME, 'name = ["x"]', "pad.name", "is not text in quotes"),
    "name too long": Broken(NAME, f'name = "{"x" * 201}"', "pad.name", "201 characters long"),
    "name of control characters": Broken(
        NAME, r'name = "a\u0007b\nc"', "pad.name", r'"a\x07b\nc" holds a control character'
    ),
    "supply without unit": Broken(SUPPLY, '"5"', "pad.supply", '"5" has no unit'),
    "supply a bare number": Broken(
        SUPPLY, "5", "pad.supply", '5 has no unit; write for example "5 V'
    ),
    "supply in ohms": Broken(SUPPLY, '"5 Ω"', "pad.supply", "is in ohms (Ω), not volts"),
    "supply nan": Broken(SUPPLY, "nan", "pad.supply", "nan"),
    "supply nan in quotes": Broken(SUPPLY, '"nan V"', "pad.supply", "is not a finite number"),
    "supply infinite": Broken(SUPPLY, '"inf V"', "pad.supply", "is not a finite number"),
    "supply negative": Broken(SUPPLY, '"-5 V"', "pad.supply", "is negative"),
    "supply zero": Broken(SUPPLY, '"0 V"', "pad.supply", "is not between 0.5 V and 50 V"),
    "supply too high for the part": Broken(
        SUPPLY, '"18 V ± 5 %"', "pad.supply", "the CD4021B takes 3 V to 18 V"
    ),
    "supply too low for the part": Broken(SUPPLY, '"2.5 V"', "pad.supply", "takes 3 V to 18 V"),
    "tolerance over 100 %": Broken(SUPPLY, '"5 V ± 500 %"', "pad.supply", "outside 0 to 100 %"),
    "tolerance in volts": Broken(SUPPLY, '"5 V ± 0.2 V"', "pad.supply", "not in per cent"),
    "pad misspelt": Broken("[pad]", "[pda]", "pda", 'the nearest known is "pad"', others=1),
    "pad a number": Broken("[pad]", "pad = 5\n[works]", "pad", "5 is not a table", False, others=1),
    "pad a list of tables": Broken("[pad]", "[[pad]]", "pad", "a list of 1 is not a table"),
    # the register
    "part unknown": Broken(
        PART, 'part = "CD4012B"', "register.part", 'the nearest known is "CD4021B"'
    ),
    "part unlike any": Broken(PART, 'part = "?"', "register.part", "known are CD4021B, MC14021B"),
    "part a number": Broken(PART, "part = 4021", "register.part", "4021 is not the name"),
    "part missing": Broken(PART, "", "register.part", "is missing", False),
    "stages zero": Broken(STAGES, "stages = 0 ", "register.stages", "0 is less than 1"),
    "stages too many": Broken(STAGES, "stages = 25 ", "register.stages", "25 is more than 24"),
    "stages huge": Broken(STAGES, f"stages = 0x{'f' * 400} ", "register.stages", "1600 bits"),
    "stages a fraction": Broken(STAGES, "stages = 8.0 ", "register.stages", "not a whole number"),
    "stages in quotes": Broken(STAGES, 'stages = "8" ', "register.stages", "not a whole number"),
    "stages true": Broken(STAGES, "stages = true ", "register.stages", "true is not a whole"),
    "stages fewer than wired": Broken(
        "A = 8", "A = 9", "buttons.A", "9 is beyond the last of 8 stages; write a stage from 1 to 8"
    ),
    "serial input a ring": Broken(
        SERIAL, 'serial-input = "Q8"', "register.serial-input", "closes a ring"
    ),
    "serial input from data": Broken(
        SERIAL, 'serial-input = "data"', "register.serial-input", "closes a ring"
    ),
    "serial input misspelt": Broken(
        SERIAL, 'serial-input = "grund"', "register.serial-input", 'nearest known is "ground"'
    ),
    "serial input a number": Broken(
        SERIAL, "serial-input = 0", "register.serial-input", "0 is not text in quotes"
    ),
    "latch inverted in words": Broken(
        INVERTED, 'latch-inverted = "no"', "register.latch-inverted", "is not true or false"
    ),
    "key with an underscore": Broken(
        INVERTED, "latch_inverted = false", "register.latch_inverted", '"latch-inverted"'
    ),
    # the buttons
    "button unknown": Broken("Up = 4", "Upp = 4", "buttons.Upp", 'the nearest known is "Up"'),
    "button in small letters": Broken("Select = 6", "select = 6", "buttons.select", '"Select"'),
    "stage zero": Broken("Up = 4", "Up = 0", "buttons.Up", "0 is less than 1"),
    "stage negative": Broken("Up = 4", "Up = -4", "buttons.Up", "-4 is less than 1"),
    "stage text": Broken("Up = 4", 'Up = "P4"', "buttons.Up", "is not a whole number"),
    "stage a date": Broken("Up = 4", "Up = 1979-05-27", "buttons.Up", "1979-05-27 is not a whole"),
    "button twice": Broken("Up = 4", "Up = 4\nUp = 3", "", "is not TOML", False),
    # resistors, contacts, cable
    "pull-up in farads": Broken(
        PULL_UP, 'value = "47 kF"', "pull-up.value", '"47 kF" is in farads (F), not ohms'
    ),
    "pull-up with a comma": Broken(
        PULL_UP, 'value = "4,7k"', "pull-up.value", 'write a point: "4.7k"'
    ),
    "pull-up absurd": Broken(PULL_UP, 'value = "1e99"', "pull-up.value", "is absurdly large"),
    "pull-up true": Broken(PULL_UP, "value = true", "pull-up.value", "true is not a value"),
    "pull-up misspelt absent": Broken(PULL_UP, 'value = "abesnt"', "pull-up.value", "not a number"),
    "pull-up without quotes": Broken(PULL_UP, "value = 39k", "", "in quotes"),
    "closed above worn": Broken('"300 Ω"', '"20k"', "contacts.worn", "less than a fresh", False),
    "open below worn": Broken('"10 MΩ"', '"5k"', "contacts.open", "not more than a worn"),
    "open zero": Broken('"10 MΩ"', '"0 Ω"', "contacts.open", "is not more than 0 Ω"),
    "bounce too long": Broken('"5 ms"', '"5 s"', "contacts.bounce", "between 0 s and 1 s"),
    "bounce in metres": Broken('"5 ms"', '"5 m"', "contacts.bounce", "is in metres (m)"),
    "stuck not a list": Broken("stuck = []", 'stuck = "A"', "contacts.stuck", "is not a list"),
    "stuck unknown": Broken("stuck = []", 'stuck = ["a1"]', "contacts.stuck[0]", "no known button"),
    "stuck twice": Broken("stuck = []", 'stuck = ["A", "A"]', "contacts.stuck[1]", "twice"),
    "stuck too often": Broken(
        "stuck = []", f"stuck = [{'1,' * 9}]", "contacts.stuck", "a list of 9 is too many; name at"
    ),
    "length without unit": Broken(LENGTH, "length = 2.5", "cable.length", "2.5 has no unit"),
    "length negative": Broken(LENGTH, 'length = "-1 m"', "cable.length", "is negative"),
    "length of a country": Broken(LENGTH, 'length = "900 km"', "cable.length", "0 m and 1 km"),
    "capacitance in farads": Broken(
        'capacitance = "100 pF/m"', 'capacitance = "100 pF"', "cable.capacitance", "farads (F)"
    ),
    "cable key misspelt": Broken("length =", "lenght =", "cable.lenght", '"length"'),
    "resistor in volts": Broken(
        LATCH_R, 'latch-to-supply = "5 V"', "resistors.latch-to-supply", "is in volts"
    ),
    # policy, ports, poll
    "policy unknown": Broken(
        '"both"', '"niether"', "policy.opposite-directions", 'the nearest known is "neither"'
    ),
    "policy a list": Broken('"both"', '["both"]', "policy.opposite-directions", "not text"),
    "ports empty": Broken(PORTS, "ports = []", "works-with.ports", "an empty list is not enough"),
    "ports twice": Broken(
        PORTS, 'ports = ["push-pull", "push-pull"]', "works-with.ports[1]", "stands there twice"
    ),
    "port unknown": Broken(
        PORTS, 'ports = ["push-pul"]', "works-with.ports[0]", 'the nearest known is "push-pull"'
    ),
    "ports missing": Broken(PORTS, "", "works-with.ports", "is missing", False),
    "poll unknown": Broken(USE, 'use = "plane-loop"', "poll.use", 'nearest known is "plain-loop"'),
    "poll a number": Broken(USE, "use = 1", "poll.use", "1 is not the name of a poll"),
    "poll without timings": Broken(USE, "", "poll.latch-width", "is missing", False, others=6),
    "clocks none": Broken(USE, USE + "\nclocks = 0", "poll.clocks", "0 is less than 1", False),
    "clocks too many": Broken(USE, USE + "\nclocks = 65", "poll.clocks", "more than 64", False),
    "passes too many": Broken(USE, USE + "\npasses = 5", "poll.passes", "more than 4", False),
    "clock of no length": Broken(
        USE, USE + '\nclock-low = "0 s"', "poll.clock-low", "between 1 ps and 1 s", False
    ),
    "latch of two seconds": Broken(
        USE, USE + '\nlatch-width = "2 s"', "poll.latch-width", "between 1 ps and 1 s", False
    ),
    "sample too late": Broken(
        USE, USE + '\nsample = "6.15 us"', "poll.sample", "before the clock falls again", False
    ),
    "period too short": Broken(
        USE, USE + '\nperiod = "60 us"', "poll.period", "longer than the reading itself", False
    ),
    "period too short for two passes": Broken(
        USE, USE + '\npasses = 2\nperiod = "100 us"', "poll.period", "itself, 127 µs", False
    ),
    "poll key misspelt": Broken(
        USE, USE + '\nclock-lo = "1 us"', "poll.clock-lo", '"clock-low"', False
    ),
    # the file as a whole
    "unknown table": Broken("[cable]", "[cabel]", "cabel", 'the nearest known is "cable"'),
    "table twice": Broken("[cable]", "[pad]", "", "is not TOML"),
    "bracket missing": Broken("[cable]", "[cable", "", "is not TOML"),
    "quote missing": Broken(NAME, 'name = "My pad', "", "is not TOML", False),
    "a line of prose": Broken(NAME, "this is my pad", "", "is not TOML"),
    "a key of newlines": Broken(NAME, NAME + '\n"a\\nb" = 1', r"pad.a\nb", "is no key", False),
    "an endless line": Broken(NAME, NAME + " #" + "x" * 600, "", "characters long"),
    "number of many digits": Broken(STAGES, f"stages = {'9' * 200} ", "register.stages", "bits"),
}


@pytest.mark.parametrize("case", CASES.values(), ids=CASES.keys())
def test_a_broken_sheet_gives_one_clear_line(case: Broken) -> None:
    assert case.old in STARTER
    text = STARTER.replace(case.old, case.new, 1)
    with pytest.raises(SheetError) as caught:
        sheet_from_text(text, "pad.toml")
    problems = caught.value.problems
    mine = [one for one in problems if one.key == case.key and case.says in str(one)]
    assert len(mine) == 1, [str(one) for one in problems]
    assert len(problems) == 1 + case.others, [str(one) for one in problems]
    if case.line:
        assert mine[0].line == STARTER[: STARTER.index(case.old)].count("\n") + 1
    for problem in problems:
        assert len(str(problem).splitlines()) == 1
        assert str(problem).isprintable()
        assert str(problem).startswith("pad.toml:")
        assert problem.wrong
        assert problem.instead


def test_there_are_enough_of_them() -> None:
    assert len(CASES) >= 45


@pytest.mark.parametrize("table", ["pad", "register", "buttons", "works-with", "poll"])
def test_a_missing_table_is_named(table: str) -> None:
    # The header goes and the table's keys with it, to the end of the table.
    head, rest = STARTER.split(f"[{table}]\n", 1)
    tail = rest[rest.index("\n[") :] if "\n[" in rest else ""
    with pytest.raises(SheetError) as caught:
        sheet_from_text(head + tail, "pad.toml")
    assert str(caught.value) == f"pad.toml: {table}: is missing; write the table [{table}]"


def test_no_buttons_at_all() -> None:
    head, rest = STARTER.split("A = 8\n", 1)
    text = head + rest[rest.index("\n#") :]
    with pytest.raises(SheetError) as caught:
        sheet_from_text(text, "pad.toml")
    (problem,) = caught.value.problems
    assert str(problem) == "pad.toml:21: buttons: an empty table is not enough; name at least 1"


def test_missing_keys_point_at_their_table() -> None:
    text = STARTER.replace(PART, "")
    with pytest.raises(SheetError) as caught:
        sheet_from_text(text, "pad.toml")
    assert caught.value.problems[0].line == text[: text.index("[register]")].count("\n") + 1


def test_a_clash_with_a_default_points_at_the_table() -> None:
    text = STARTER.replace('worn = "10k"', "").replace('"300 Ω"', '"20k"')
    with pytest.raises(SheetError) as caught:
        sheet_from_text(text, "pad.toml")
    line = text[: text.index("[contacts]")].count("\n") + 1
    assert str(caught.value).startswith(f"pad.toml:{line}: contacts.worn: is less than a fresh")


def test_a_stuck_button_must_be_wired() -> None:
    text = STARTER.replace("Right = 1\n", "").replace("stuck = []", 'stuck = ["Right"]')
    with pytest.raises(SheetError, match=r"contacts.stuck\[0\]: \"Right\" is on no stage"):
        sheet_from_text(text, "pad.toml")


def test_a_part_for_lower_supplies() -> None:
    text = STARTER.replace('CD4021B" ', '74HC165" ').replace(SUPPLY, '"9 V"', 1)
    with pytest.raises(SheetError, match="the 74HC165 takes 2 V to 6 V"):
        sheet_from_text(text, "pad.toml")
