"""The pytest plugin: the example passes, and fails when the design is swapped for a mutant."""

from pathlib import Path

from designs import PAD_MUTANTS, sheet_text

pytest_plugins = ["pytester"]

PLUGIN = "padbench.pytest_plugin"  # named, so that it need not be installed yet
EXAMPLE = Path(__file__).parents[2] / "sim" / "examples" / "test_my_pad.py"


def run_example(pytester, sheet):
    (pytester.path / "pad.toml").write_text(sheet)
    text = EXAMPLE.read_text().replace("../sheets/harbour-hdl.toml", "pad.toml")
    pytester.makepyfile(text)
    return pytester.runpytest("-p", PLUGIN, "-p", "no:cacheprovider", "--strict-markers")


def test_example_passes(pytester):
    run_example(pytester, sheet_text("fpga_pad")).assert_outcomes(passed=1)


def test_example_fails_on_a_mutant_and_says_why(pytester):
    mutant = next(one for one in PAD_MUTANTS if one.name == "falling")
    result = run_example(pytester, sheet_text("shift_register", source=mutant.write(pytester.path)))
    result.assert_outcomes(failed=1)
    result.stdout.fnmatch_lines(["*likely cause: it shifts on the falling clock edge*"])


def test_a_design_that_does_not_compile_fails_the_test(pytester):
    broken = pytester.path / "broken.v"
    broken.write_text("module fpga_pad(input clk;\nendmodule\n")
    result = run_example(pytester, sheet_text("fpga_pad", source=broken))
    result.assert_outcomes(errors=1)
    result.stdout.fnmatch_lines(["*pad.toml: *broken.v:1: error: *"])


def test_without_the_marker_it_says_what_is_missing(pytester):
    pytester.makepyfile("def test_it(padbench_result):\n    pass\n")
    result = pytester.runpytest("-p", PLUGIN, "-p", "no:cacheprovider")
    result.assert_outcomes(errors=1)
    result.stdout.fnmatch_lines(["*needs @pytest.mark.padbench(SHEET)*"])


def marked(pytester, marker, body="padbench_result.check()"):
    source = "import pytest\n\n@pytest.mark.padbench({})\ndef test_it(padbench_result):\n    {}\n"
    pytester.makepyfile(source.format(marker, body))
    return pytester.runpytest("-p", PLUGIN, "-p", "no:cacheprovider")


def test_a_word_that_the_marker_does_not_know(pytester):
    (pytester.path / "pad.toml").write_text(sheet_text("fpga_pad"))
    result = marked(pytester, '"pad.toml", scenario="idle"')
    result.assert_outcomes(errors=1)
    result.stdout.fnmatch_lines(["*marker does not know scenario=; it knows a sheet, scenarios,*"])
    result = marked(pytester, '"pad.toml", simulator="tango"')
    result.stdout.fnmatch_lines(["*'tango' is no known simulator; known are icarus, ghdl, veri*"])


def test_who_never_looks_fails_and_waves_of_failures_are_named(pytester):
    mutant = next(one for one in PAD_MUTANTS if one.name == "falling")
    sheet = sheet_text("shift_register", source=mutant.write(pytester.path))
    (pytester.path / "pad.toml").write_text(sheet)
    result = marked(pytester, '"pad.toml", scenarios=["each-button", "idle"]', "pass")
    result.assert_outcomes(passed=1, errors=1)
    result.stdout.fnmatch_lines(["*never looked at what came out; call padbench_result.check()*"])
    result = marked(pytester, '"pad.toml", scenarios=["each-button", "idle"]')
    result.stdout.fnmatch_lines(["wave: */waves/each-button.vcd"])


def test_who_is_marked_and_takes_no_fixture_fails(pytester):
    mark = '@pytest.mark.padbench("no.toml")\n'
    pytester.makepyfile(
        f"import pytest\n\n{mark}def test_it():\n    pass\n\n"
        f"{mark}class TestAll:\n    def test_too(self):\n        pass\n\n"
        "def test_other():\n    pass\n"
    )
    result = pytester.runpytest("-p", PLUGIN, "-p", "no:cacheprovider")
    result.assert_outcomes(passed=1, errors=2)
    result.stdout.fnmatch_lines(
        ["test_it is marked padbench, but it does not take padbench_result*"]
    )


BAD_VALUES = {
    'limit="x"': "time-limit: 'x' is no number of seconds",
    'prove="no"': "prove: 'no' is neither True nor False",
    "scenarios=[]": "*hdl.top: nothing is played on fpga_pad: no scenario was asked for",
    "scenarios=5": "scenario: 5 is neither a name nor a list of names",
    "scenarios=[5]": "scenario: [[]5] is neither a name nor a list of names",
}


def test_a_value_that_the_marker_cannot_use_is_told_in_a_line(pytester):
    (pytester.path / "pad.toml").write_text(sheet_text("fpga_pad"))
    markers = [*(f'"pad.toml", {value}' for value in BAD_VALUES), "5"]
    tests = [
        f"@pytest.mark.padbench({marker})\ndef test_{n}(padbench_result):\n    pass\n"
        for n, marker in enumerate(markers)
    ]
    pytester.makepyfile("\n".join(["import pytest", *tests]))
    result = pytester.runpytest("-p", PLUGIN, "-p", "no:cacheprovider")
    result.assert_outcomes(errors=6)
    for line in (*BAD_VALUES.values(), "the padbench marker wants the name of a sheet, not 5"):
        result.stdout.fnmatch_lines([line])
    assert "TypeError" not in result.stdout.str()
