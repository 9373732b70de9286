"""What a sheet does not say: not fitted, refused, or listed as assumed in every output."""

import io
import json
import re

import pytest

import padbench
from padbench.jobs.wiring import plan_wiring
from padbench.results.documents import write_json
from padbench.results.html_page import write_page
from padbench.results.junit import write_junit
from padbench.results.text import as_text
from padbench.sheet import STARTER, SheetError, sheet_from_text
from padbench.wiring.mistakes import judge_wiring


def without(*tables, text=STARTER):
    for table in tables:
        text, count = re.subn(rf"^\[{table}\]\n(?:(?!\[).*\n)*", "", text, flags=re.M)
        assert count == 1
    return text


def assumed(text):
    return dict(sheet_from_text(text, "x.toml").assumed)


def test_resistors_that_nobody_wrote_are_not_fitted():
    sheet = sheet_from_text(without("pull-up", "resistors"), "x.toml")
    assert sheet.pull_up.value is None
    assert sheet.resistors.latch_to_supply is sheet.resistors.clock_to_supply is None
    failed = {f.id: f for f in judge_wiring(sheet) if f.verdict == "fail"}
    assert failed["wiring.pull-up"].place.key == "pull-up.value"
    keys = ("pull-up.value", "resistors.latch-to-supply", "resistors.clock-to-supply")
    assert {key: value for key, value in sheet.assumed if key in keys} == dict.fromkeys(
        keys, "absent"
    )
    # What one that is not there may turn into heat is beside the point.
    assert not {"pull-up.rating", "resistors.rating"} & set(dict(sheet.assumed))


def test_one_resistor_of_two_is_one():
    sheet = sheet_from_text(STARTER.replace('clock-to-supply = "3.6k ± 5 %"\n', ""), "x.toml")
    assert sheet.resistors.latch_to_supply is not None
    assert sheet.resistors.clock_to_supply is None


def test_a_missing_serial_input_is_refused_in_one_line():
    with pytest.raises(SheetError) as caught:
        sheet_from_text(re.sub(r"^serial-input.*\n", "", STARTER, flags=re.M), "x.toml")
    assert str(caught.value).count("\n") == 0
    assert 'register.serial-input: is missing; write for example serial-input = "ground"' in str(
        caught.value
    )


def test_the_starter_leaves_little_open():
    assert assumed(STARTER) == {"policy.debounce": "0 s", "poll.console": "60hz"}


def test_what_is_left_out_is_listed_with_what_is_taken_for_it():
    listed = assumed(without("contacts", "cable", "policy"))
    assert listed["cable.length"] == "2.5 m"
    assert listed["cable.capacitance"] == "100 pF/m"
    assert listed["contacts.worn"] == "10k"
    assert listed["policy.opposite-directions"] == "both"
    short = STARTER.replace('temperature = "0 °C to 40 °C"', "").replace("stages = 8", "")
    assert assumed(short)["pad.temperature"] == "0 °C to 40 °C"
    assert assumed(short)["register.stages"] == "8"


def test_borrowed_figures_are_listed_with_their_lender():
    text = STARTER.replace('part = "CD4021B"', 'part = "HEF4021B"')
    assert re.fullmatch(
        r"\d+ figures of the HEF4021B as of the CD4021B", assumed(text)["register.part"]
    )


def test_a_program_needs_no_serial_input_but_says_what_is_taken():
    text = STARTER.replace(
        'part = "CD4021B"',
        'kind = "firmware"\nfirst-bit = "2 us"\nnext-bit = "2 us"\nshortest-pulse = "200 ns"',
    )
    text = re.sub(r"^serial-input.*\n", "", text, flags=re.M)
    assert assumed(text)["register.serial-input"] == "ground"


@pytest.fixture(scope="module")
def result():
    text = without("cable").replace('part = "CD4021B"', 'part = "HEF4021B"')
    return padbench.verify(text, ["idle"])


def test_every_output_lists_it(result):
    words = "cable.length 2.5 m; cable.capacitance 100 pF/m"
    text = " ".join(as_text(result).split())
    assert (
        text.index("Assumed, as the sheet does not say") < text.index(words) < text.index("Passes.")
    )
    assert "its own; what is borrowed was also held to the worst of its family" in text
    page, tests, out = io.StringIO(), io.StringIO(), io.StringIO()
    write_page(result, page)
    assert words in page.getvalue().replace("\N{NO-BREAK SPACE}", " ").partition("<main")[2]
    write_junit([result], tests)
    assert '<property name="assumed cable.length" value="2.5 m" />' in tests.getvalue()
    write_json(result, out)
    assert {"key": "cable.length", "value": "2.5 m"} in json.loads(out.getvalue())["assumed"]


def test_every_command_on_a_sheet_lists_it():
    text = without("cable")
    for made in (padbench.play(text, "idle"), plan_wiring(text)):
        assert ("cable.length", "2.5 m") in made.assumed


def test_what_an_hdl_design_leaves_open_is_assumed_too():
    hdl = '\n[hdl]\nsources = ["my_pad.v"]\ntop = "my_pad"\nlanguage = "verilog"\n'
    names = {"hdl.latch": "latch", "hdl.clock": "clock", "hdl.data": "data"}
    pad = {"hdl.buttons": "buttons", "hdl.role": "pad", "hdl.simulator": "icarus"}
    pad["hdl.open-drain"] = "false"
    open_ = {key: said for key, said in assumed(STARTER + hdl).items() if key.startswith("hdl.")}
    assert open_ == names | pad
    said = assumed(f'{STARTER}{hdl}latch = "le"\nsystem-clock = "clk"\nfrequency = "12 MHz"\n')
    assert "hdl.latch" not in said
    assert said["hdl.synchroniser"] == "2"
    reader = assumed(f'{STARTER}{hdl}role = "reader"\nsystem-clock = "clk"\nfrequency = "12 MHz"\n')
    assert (reader["hdl.held"], reader["hdl.keeps"]) == ("held", "false")
    assert not {"hdl.buttons", "hdl.role"} & set(reader)
    assert not [key for key in assumed(STARTER) if key.startswith("hdl.")]


def test_the_starter_says_what_a_supply_means_on_an_adapter():
    assert "3.3 V adapter a pad for 5 V runs on the adapter's 3.3 V" in STARTER


@pytest.mark.parametrize(
    ("written", "low", "told"),
    [
        ("47k", 44_650.0, "47k ± 5 %"),  # nobody sells an exact one
        ("47k ± 1 %", 46_530.0, None),
        ("47k +/- 0 %", 47_000.0, None),
        ("absent", None, None),
    ],
)
def test_a_resistor_without_a_tolerance_has_that_of_its_series(written, low, told):
    text = re.sub(r'^value = ".*?"', f'value = "{written}"', STARTER, flags=re.MULTILINE)
    sheet = sheet_from_text(text, "x.toml")
    value = sheet.pull_up.value
    assert (value and value.low) == (low and pytest.approx(low))
    assert dict(sheet.assumed).get("pull-up.value") == told
