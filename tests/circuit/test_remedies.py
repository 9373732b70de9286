"""What a remedy says, put back into the sheet: it mends, and what lies outside does not."""

import random
from dataclasses import replace
from functools import partial
from pathlib import Path

import numpy as np
import pytest

from padbench.circuit.design import design_of, stacked
from padbench.circuit.electric import judge_electric
from padbench.circuit.mending import needs_remedy, with_remedies
from padbench.circuit.pad_model import CORNERS
from padbench.circuit.quantities import QUANTITIES, followed_by_a_program, growing_with_cable
from padbench.circuit.worst_case import keeping, worst_case
from padbench.core.findings import THIN, Finding, Rule, worst_of_each
from padbench.core.timing import RULES
from padbench.scenarios import SCENARIOS
from padbench.sheet import SheetError, load_sheet
from padbench.trials.trial import run_scenario, try_sheet
from sheets import FIRMWARE, put_back, written

BEHIND = {"cable.length": growing_with_cable(), "firmware.poll": followed_by_a_program()}
SPOILT = {
    "pull-up too small": {"pull-up.value": "10k ± 5 %"},
    "pull-up thin": {"pull-up.value": "26k ± 5 %"},
    "pull-up far too small": {"pull-up.value": "90 Ω"},
    "pull-up far too large": {"pull-up.value": "50 MΩ ± 10 %"},
    "a wire": {"pull-up.value": "0 Ω"},
    "no latch resistor": {"resistors.latch-to-supply": "absent"},
    "a large clock resistor": {"resistors.clock-to-supply": "400k ± 2 %"},
    "a small latch resistor": {"resistors.latch-to-supply": "200 Ω"},
    "a tiny clock resistor": {"resistors.clock-to-supply": "30 Ω"},
    "a long cable": {"cable.length": "300 m ± 1 %"},
    "a thick cable": {"cable.capacitance": "2 nF/m"},
    "worn contacts": {"contacts.worn": "30k ± 20 %"},
    "dirty contacts": {"contacts.open": "60k"},
    "small pull-ups": {"pull-up.rating": "10 uW"},
    "small resistors": {"resistors.rating": "7.5 mW"},
    "a short latch": {"poll.latch-width": "150 ns ± 10 %"},
    "a short clock": {"poll.clock-low": "150 ns", "poll.sample": "100 ns"},
    "clocks close together": {"poll.clock-high": "0.9 us ± 5 %", "poll.sample": "100 ns"},
    "a low supply": {"pad.supply": "4.5 V", "cable.length": "24 m"},
    "quick polls": {"poll.period": "1 ms ± 1 %"},
    "a slow program": FIRMWARE | {"register.next-bit": "1 us to 8 us"},
    "a program that is slow to begin": FIRMWARE | {"register.first-bit": "2 us to 30 us"},
    "a deaf program": FIRMWARE | {"register.shortest-pulse": "900 ns"},
}


def all_of(remedy):
    return (remedy, *remedy.also)


def holds(change, id_, *, thin=False):
    """Whether a finding holds, and with room if it was thin; a sheet that is refused does not."""
    try:
        sheet = written(change)
    except SheetError:
        return False
    if thin and id_ == "cable.length":
        found = next(one for one in judge_electric(sheet).findings if one.id == id_)
        return found.verdict == "pass" and not found.thin
    if id_ == "bounce.polls":
        found = judge_electric(sheet, remedies=False).findings
        return next(one.verdict for one in found if one.id == id_) == "pass"
    ports = sheet.works_with.ports
    if id_.startswith("port."):
        port = id_.split(".")[1]
        kind = sheet.port(port)
        ports = (port,)
        id_ = next(row.id for row in QUANTITIES.values() if row.name_on(kind) == id_)
    designs = stacked([design_of(sheet, sheet.part, sheet.port(port)) for port in ports])
    if thin:
        (worst,) = worst_case(designs, (id_,))
        return bool((worst.margin >= THIN * abs(worst.limit)).all())
    return bool(keeping(designs, BEHIND.get(id_, (id_,))).all())


CONSOLE = ("latch.sink", "clock.sink", "supply.idle", "supply.all-held")


def asked_too_much(change):
    """What of the console's current a sheet asks too much of."""
    try:
        sheet = written(change)
    except SheetError:
        return {*CONSOLE}
    ports = sheet.works_with.ports
    designs = stacked([design_of(sheet, sheet.part, sheet.port(port)) for port in ports])
    return {worst.id for worst in worst_case(designs, CONSOLE) if not worst.holds.all()}


def beyond(end, unit, way):
    return end + way * 0.05 if unit == "°C" else end * (1 + way * 1e-3)


def check(change, id_, remedy, works):
    low, high, unit = remedy.low, remedy.high, remedy.unit
    inside = [end for end in (low, high) if end is not None]
    if len(inside) == 2:
        inside.append(sum(inside) / 2)
    for number in (*inside, *remedy.e12[:1], *remedy.e24[-1:]):
        assert works(change | put_back(change, remedy.key, number, unit), id_), (id_, number)
    outside = [beyond(low, unit, -1)] if low is not None else []
    outside += [beyond(high, unit, 1)] if high is not None else []
    asked = asked_too_much(change | put_back(change, remedy.key, inside[-1], unit))
    for number in outside:
        other = change | put_back(change, remedy.key, number, unit)
        assert not works(other, id_) or asked_too_much(other) - asked, (id_, number)


@pytest.mark.parametrize("name", SPOILT)
def test_a_remedy_put_back_mends_and_what_lies_outside_does_not(name):
    change = SPOILT[name]
    found = [one for one in judge_electric(written(change)).findings if needs_remedy(one)]
    assert found
    assert all(one.remedy is not None for one in found)
    pairs = [
        (one.id, remedy, partial(holds, thin=one.thin))
        for one in found
        for remedy in all_of(one.remedy)
        if (remedy.low, remedy.high) != (None, None) and not remedy.key.startswith("port.")
    ]
    assert pairs
    random.Random(name).shuffle(pairs)
    # Every key once, for any of the findings that it mends.
    keys = {pair[1].key: pair for pair in pairs}
    for pair in keys.values():
        check(change, *pair)


RUNS = {
    "a short latch": ({"poll.latch-width": "150 ns"}, "timing.latch-width"),
    "a latch that just does": ({"poll.latch-width": "180 ns"}, "timing.latch-width"),
    "a short low part": ({"poll.clock-low": "150 ns", "poll.sample": "10 ns"}, "timing.clock-low"),
    "a short high part": (
        {"poll.clock-high": "190 ns", "poll.clock-low": "0.9 us"},
        "timing.clock-high",
    ),
    "clocks close together": (
        {"poll.clock-high": "100 ns", "poll.clock-low": "220 ns", "poll.sample": "220 ns"},
        "timing.clock-period",
    ),
    "a clock too soon": (
        {"poll.latch-to-clock": "20 ns", "poll.clock-low": "220 ns", "poll.sample": "220 ns"},
        "timing.removal",
    ),
    "a first sample too soon": (
        {
            **{"poll.latch-width": "250 ns", "poll.latch-to-clock": "50 ns"},
            **{"poll.clock-low": "300 ns", "poll.sample": "100 ns"},
        },
        "timing.first-bit",
    ),
    "a sample too soon": (
        {"poll.clock-high": "250 ns", "poll.clock-low": "300 ns", "poll.sample": "250 ns"},
        "timing.later-bits",
    ),
    "a late sample": ({"poll.sample": "700 ns"}, "timing.sample-point"),
    "a slow program": (FIRMWARE | {"register.next-bit": "1 us to 8 us"}, "timing.later-bits"),
    "a program and a late sample": (FIRMWARE | {"poll.sample": "2 us"}, "timing.sample-point"),
}
SOME = [SCENARIOS["idle"], SCENARIOS["cut-short"]]
PUSH_PULL = ("push-pull",)


def run(sheet):
    """What the wires of a run do, and no more."""
    return worst_of_each(
        found
        for port in sheet.works_with.ports
        for corner in CORNERS
        for found in run_scenario(sheet, SCENARIOS["idle"], port, corner).findings
    )


def seen(change, id_, ports=PUSH_PULL):
    """The finding of a run, and not of the calculation; None for a sheet that is refused."""
    try:
        sheet = written(change, ports=ports)
    except SheetError:
        return None
    return next(one for one in run(sheet) if one.id == id_)


def mended(change, id_, ports=PUSH_PULL):
    """The same with its remedy."""
    return with_remedies(written(change, ports=ports), [seen(change, id_, ports)])[0]


def runs_well(change, id_, *, thin=False):
    found = seen(change, id_)
    return found is not None and found.verdict == "pass" and not (thin and found.thin)


@pytest.mark.parametrize("name", RUNS)
def test_what_mends_a_finding_of_a_run_is_seen_to_in_another(name):
    change, id_ = RUNS[name]
    found = mended(change, id_)
    assert needs_remedy(found), found
    numbered = [one for one in all_of(found.remedy) if (one.low, one.high) != (None, None)]
    assert numbered, found.remedy
    for remedy in [one for one in numbered if not one.key.startswith("port.")][:3]:
        check(change, id_, remedy, partial(runs_well, thin=found.thin))


@pytest.mark.parametrize("line", ["latch", "clock"])
def test_edges_that_never_arrive_are_mended_by_a_resistor(line):
    change = {f"resistors.{line}-to-supply": "400k"}
    port = ("pull-down-only",)
    found = mended(change, f"timing.{line}-arrives", port)
    assert found.verdict == "fail"
    remedy = found.remedy
    assert remedy.key == f"resistors.{line}-to-supply"

    def arrives(factor):
        again = change | put_back(change, remedy.key, remedy.high * factor, "Ω")
        return seen(again, found.id, port).verdict

    assert (arrives(1), arrives(1.01)) == ("pass", "fail")


def test_too_few_clocks():
    found = mended({"poll.clocks": 5}, "timing.clocks")
    assert (found.remedy.key, found.remedy.low) == ("poll.clocks", 8)
    assert runs_well({"poll.clocks": 8}, "timing.clocks")
    assert not runs_well({"poll.clocks": 7}, "timing.clocks")


def test_a_rule_for_which_no_value_was_tried_does_not_say_that_none_helps():
    rule = Rule("timing.made-up", "s", {"fail": "too late"}, ("cable.length",))
    for made_up in (rule, replace(RULES["timing.setup-parallel"])):
        late = Finding(made_up, "fail", 1e-9, 2e-9, -1e-9)
        (found,) = with_remedies(written({}), [late])
        assert "none was looked for" in found.remedy.says
        assert "no single value" not in found.remedy.says
    wrong = written({"register.part": "74HC165"})
    late = Finding(RULES["timing.latch-width"], "fail", 1e-9, 2e-9, -1e-9)
    assert "mend wiring.load first" in with_remedies(wrong, [late])[0].remedy.says
    # What the sheet's own poll keeps is broken by the reads of one scenario.
    assert "the reads of that scenario" in with_remedies(written({}), [late])[0].remedy.says


def test_what_no_value_mends_says_so():
    # Without the resistor the latch never rises, and with it the cable is too long for this poll.
    change = {"resistors.latch-to-supply": "absent", "cable.length": "300 m"}
    change |= {"poll.latch-width": "1 us", "poll.latch-to-clock": "0.5 us"}
    found = {one.id: one for one in judge_electric(written(change)).findings}
    remedy = found["data.first-bit"].remedy
    assert "no single value of the sheet would mend this" in remedy.says
    assert (remedy.low, remedy.high, remedy.also) == (None, None, ())


def test_a_thin_finding_has_the_range_in_which_it_is_thin_no_more():
    found = {one.id: one for one in judge_electric(written(SPOILT["pull-up thin"])).findings}
    one = found["levels.pressed"]
    assert one.thin
    assert one.remedy.low > 26e3
    assert one.remedy.also == ()
    long = written({"cable.length": "9 m"})
    cable = next(one for one in judge_electric(long).findings if one.id == "cable.length")
    assert cable.thin
    assert cable.remedy.high < 9


def test_no_remedy_asks_more_than_a_port_may_sink():
    # 5.25 V / 4.4 mA are 1.2 kΩ: below that the edges would do, and the console would not.
    change = {"resistors.clock-to-supply": "40k ± 5 %"}
    found = {one.id: one for one in judge_electric(written(change)).findings}
    resistor = next(x for x in all_of(found["clock.rise"].remedy) if x.kind == "resistor")
    assert resistor.low > 1e3
    assert holds(change | {resistor.key: f"{resistor.low * 0.99} Ω ± 5 %"}, "clock.rise")
    assert asked_too_much(change | {resistor.key: f"{resistor.low * 0.99} Ω ± 5 %"})


def test_every_finding_that_fails_or_is_thin_has_a_remedy():
    sheets = Path(__file__).parents[2] / "sim" / "sheets"
    result = try_sheet(load_sheet(sheets / "harbour-a.toml"), SOME)
    wanting = [one for one in result.findings if needs_remedy(one)]
    assert len(wanting) > 12
    assert [one.id for one in wanting if one.remedy is None or not one.remedy.says] == []
    keys = {one.id: one.remedy.key for one in wanting}
    assert keys["wiring.serial-input"] == "register.serial-input"
    assert keys["timing.latch-arrives"] == "resistors.latch-to-supply"


def test_sizes_of_resistors_are_large_enough():
    change = SPOILT["small resistors"]
    found = {one.id: one for one in judge_electric(written(change)).findings}
    size = next(x for x in all_of(found["power.latch-resistor"].remedy) if x.unit == "W")
    assert size.key == "resistors.rating"
    assert "usual sizes: 62.5 mW, 100 mW" in size.says
    assert size.low < 0.0625


PORT = Path(__file__).parents[2] / "sim" / "padbench" / "parts" / "ports.toml"


def test_a_resistor_of_ones_own_port_is_mended_in_the_parts_file(tmp_path):
    table = PORT.read_text()
    start = table.index("[push-pull]")
    own = table[start : table.index("[push-pull-weak-high]")].replace("[push-pull", "[port.mine")
    own = "\n".join(line for line in own.splitlines() if not line.startswith("data-pull"))

    def sheet(ohms):
        pull = f'min = {ohms}, max = {ohms}, unit = "Ω", at = "all", source = "mine", class = "C"'
        (tmp_path / "mine.toml").write_text(f"{own}\ndata-pull-up = {{ {pull} }}\n")
        target = tmp_path / "pad.toml"
        starter = (PORT.parents[2] / "sheets" / "harbour-b.toml").read_text()
        text = '[parts]\nfile = "mine.toml"\n' + starter
        target.write_text(text.replace('["push-pull", "pull-down-only"]', '["mine"]'))
        return load_sheet(target)

    def low(ohms, remedies=False):
        found = judge_electric(sheet(ohms), remedies=remedies).findings
        return next(one for one in found if one.id == "data.low")

    found = low(500, remedies=True)
    assert found.verdict == "fail"
    assert found.remedy.key == "port.mine.data-pull-up"
    assert low(found.remedy.low).verdict == "pass"
    assert low(found.remedy.low * 0.999).verdict == "fail"
    assert all(np.array(found.remedy.e24) >= found.remedy.low)
