"""The pages of the other commands in a real browser, with hostile names and texts in them."""

import json
import re
from dataclasses import replace
from pathlib import Path

import pytest
from junitparser import JUnitXml
from selenium.webdriver.common.by import By
from xmlschema import XMLSchema

from padbench.cli import main
from padbench.cosim.causes import Cause
from padbench.cosim.outcome import Coverage, RegressResult, failures_in
from padbench.jobs.diagnose import diagnose
from padbench.jobs.regress import regress_result
from padbench.jobs.wiring import plan_wiring
from padbench.results.html_page import write_page
from padbench.results.inputs import Input
from padbench.sheet import load_sheet

ROOT = Path(__file__).parents[2]
SHEETS = ROOT / "sim" / "sheets"
SCHEMA = ROOT / "tests" / "outside" / "schemas" / "junit-10.xsd"
EVIL = "<script>window.hit=1<script><img src=x onerror='window.hit=2'>&amp;\"\u202eשלום🎮"
NAME = EVIL.replace("/", "") + "w" * 100
"""A name that a file may have."""

PAGES = ("inspect", "routine", "sweep", "sweep-sheet", "regress")


@pytest.fixture(scope="module")
def pages(tmp_path_factory, page_of) -> dict[str, Path]:
    """Made by the commands, so that files, options and exit codes are those that people meet."""
    folder = tmp_path_factory.mktemp("pages")
    capture = folder / f"{NAME}.vcd"
    capture.write_bytes((ROOT / "waves" / "stopped-last-bit.vcd").read_bytes())
    source = (ROOT / "tests" / "routines" / "sources" / "read-twice-36.asm").read_text("utf-8")
    routine = folder / f"{NAME}.asm"
    routine.write_text(f"; {EVIL}\n{source}", encoding="utf-8")
    made = {name: folder / f"{name}.html" for name in PAGES}

    def run(name: str, *arguments: object) -> None:
        files = ["--report", str(made[name]), "--junit", str(folder / f"{name}.xml")]
        assert main([*map(str, arguments), *files]) == 1

    sheet = SHEETS / "harbour-b.toml"
    run("inspect", "inspect", capture, "--sheet", sheet)
    run("routine", "routine", routine, "--line", 250)
    run("sweep", "sweep", "--routine", routine, "--period", 432, "--period", 672, "--map")
    run("sweep-sheet", "sweep", "--sheet", SHEETS / "harbour-a.toml")
    with made["regress"].open("w", encoding="utf-8") as out:
        write_page(regressed(page_of), out)
    return made


def regressed(page_of):
    """Of a result as the simulators give it; `tests/cosim` runs the command itself."""
    sheet, (_, judged) = load_sheet(SHEETS / "harbour-hdl.toml"), page_of("harbour-a")
    causes = (Cause("pad", "order-swapped", 0.75, {"names": ("Up", f"Down {EVIL}")}),)
    runs = judged.runs[:3]
    regression = RegressResult(
        judged.findings[-4:], runs, tuple(failures_in(runs, causes)), causes,
        (("reader-only", EVIL),), Coverage({0, 128}, {(0, 128)}, {(1, 1)}), 12, 0.5,
    )  # fmt: skip
    files = (Input.of(NAME, EVIL.encode()), Input.of("core.bin", bytes(range(256))))
    result = regress_result(regression, sheet.pad.name, sheet.hdl)
    return replace(result, inputs=files, again=f"padbench regress {NAME}")


def test_a_core_without_a_wrong_read_has_no_causes_to_show():
    sheet = load_sheet(SHEETS / "harbour-hdl.toml")
    sound = RegressResult((), (), (), (), (), Coverage(), 12, 0.5)
    ids = [one.id for one in regress_result(sound, sheet.pad.name, sheet.hdl).sections]
    assert "scenarios" in ids
    assert "all-causes" not in ids


@pytest.mark.parametrize("name", PAGES)
def test_it_opens_draws_and_runs_nothing_of_what_it_shows(browser, pages, name):
    browser.opened(pages[name], width=1600)
    browser.all_drawn()
    assert browser.errors() == []
    assert browser.execute_script("return window.hit === undefined")
    waves = name != "sweep-sheet"
    # Data, library, waves.
    assert len(browser.find_elements(By.TAG_NAME, "script")) == 3 * waves
    assert browser.find_elements(By.TAG_NAME, "img") == []
    words = {"inspect": "Fails.", "routine": "Exposed.", "sweep": "Exposed."}
    verdict = browser.find_element(By.ID, "verdict").text
    assert words.get(name, "Fails.").casefold() in verdict.casefold()
    assert bool(browser.find_elements(By.CSS_SELECTOR, ".wave[data-drawn]")) == waves
    # What would repeat the run stands there, letter for letter.
    texts = browser.execute_script(
        "return [...document.querySelectorAll('pre.file')].map((one) => one.textContent)"
    )
    assert texts
    if name in ("routine", "sweep"):
        assert texts[0].startswith(f"; {EVIL}\n")
        assert f"{NAME}.asm" in browser.find_element(By.ID, "again").find_element(
            By.XPATH, ".."
        ).get_attribute("textContent")
        assert browser.find_elements(By.CSS_SELECTOR, "svg.strips rect.k4")
    for width in (1600, 800, 360):
        browser.resized(width)
        assert browser.overflowing() == [], f"{width} px wide"
        assert browser.broken_words() == [], f"{width} px wide"
    # On a telephone too every table has its numbers.
    hidden = browser.execute_script(
        "return [...document.querySelectorAll('td.number')].filter("
        "(one) => !one.closest('details') && !one.offsetWidth).length"
    )
    assert hidden == 0
    browser.trimmed()
    assert browser.violations() == []
    browser.painted("dark")
    assert browser.violations(runOnly=["color-contrast"]) == []


PRINTED = {
    "wiring-fails": lambda: plan_wiring(SHEETS / "harbour-a.toml"),
    "wiring-chain": lambda: plan_wiring(SHEETS / "harbour-adapter.toml", pad="Player 2"),
    "diagnose": lambda: diagnose(SHEETS / "harbour-b.toml", {"idle": "all"}),
    "diagnose-sound": lambda: diagnose(SHEETS / "harbour-b.toml", {"idle": "none", "A": "A"}),
}


@pytest.mark.parametrize("name", PRINTED)
def test_what_goes_to_the_bench_prints_on_two_sheets(browser, tmp_path, name):
    path = tmp_path / "page.html"
    with path.open("w", encoding="utf-8") as out:
        write_page(PRINTED[name](), out)
    browser.opened(path)
    assert browser.sheets() <= 2


def test_the_wave_of_a_capture_is_the_capture(browser, pages):
    """Read 2 of the golden wave: its edges, moved by where the stretch begins."""
    browser.opened(pages["inspect"])
    short = browser.find_element(By.CSS_SELECTOR, "header dl.short")
    assert short.find_element(By.TAG_NAME, "dt").text == "read"  # what was read comes first
    browser.all_drawn()
    waves = browser.execute_script(
        "return [...document.querySelectorAll('.wave')].map(({wave: {wave}}) => ({unit: wave.unit,"
        " first: wave.first, offset: wave.offset, rows: wave.rows.map((r) => [r.name, r.times]),"
        " reads: wave.reads.map((r) => [r.byte, r.expected, r.right, r.samples.length]),"
        " marks: wave.marks.length, notes: wave.notes.map(([, says]) => says) }))"
    )
    stopped = next(one for one in waves if one["first"] == 2)
    assert stopped["reads"] == [[1, 0, False, 8]]
    assert stopped["marks"] == 1
    clock = dict(map(tuple, stopped["rows"]))["clock"]
    assert len(clock) == 1 + 2 * 9  # its level at the start, and nine clocks
    at = [(time + stopped["offset"]) * stopped["unit"] for time in clock[1:]]
    assert 24_958_500_000 < at[0] < at[-1] < 25_018_000_000
    place = browser.find_elements(By.CSS_SELECTOR, ".wave")[waves.index(stopped)]
    said = place.find_element(By.TAG_NAME, "output").get_attribute("textContent")
    # It opens at the eighth fall of the clock, which is the one too many.
    assert f"cursor {at[14] / 1e9:.4f}".rstrip("0") in said
    assert f" · {(at[14] - 24_958_500_000) / 1e6:.4f}".rstrip("0") in said
    assert "into read 2 (wrong: Right)" in said
    assert stopped["notes"] == ["extra clock", "wrong bit: Right"]
    assert [one["first"] for one in waves] == sorted(one["first"] for one in waves)
    assert "in order of time" in browser.find_element(By.TAG_NAME, "main").text


def test_a_routine_opens_at_its_stop_and_says_pass_and_time_of_each(browser, pages):
    browser.opened(pages["routine"])
    browser.all_drawn()
    place = browser.find_element(By.CSS_SELECTOR, ".wave")
    start, end, mark, first, last = browser.execute_script(
        "const { wave } = arguments[0].wave, [read] = wave.reads;"
        "return [...['from', 'to'].map((key) => +arguments[0].dataset[key]), wave.marks[0][0],"
        " read.start, read.end]",
        place,
    )
    assert start < mark < end
    assert end - start < (last - first) / 2
    article = place.find_element(By.XPATH, "ancestor::article")
    said = [one.text for one in article.find_elements(By.CSS_SELECTOR, "ul.wrong li")]
    assert [one.split(",")[0] for one in said] == ["pass 1", "pass 2"]
    assert all("µs after the start of the poll: read of the port stopped" in one for one in said)
    main = browser.find_element(By.TAG_NAME, "main").text
    assert "the CPU cycle, counted from the start of the poll" in main


def test_a_swept_pad_calls_no_fault_good_and_counts_in_per_cent(browser, pages):
    browser.opened(pages["sweep-sheet"])
    main_text = browser.find_element(By.TAG_NAME, "main").text
    assert "A stopped read shows a button that is not held: held" in main_text
    assert "To see it: padbench play" in main_text
    assert "That a stopped read loses bits is the console's fault" in main_text
    cells = browser.execute_script(
        "return [...document.querySelectorAll('td')].map((one) => one.textContent.trim())"
    )
    assert any(re.fullmatch(r"\d[\d\s]* \(\d.*\s%\)", one) for one in cells)
    assert not any("e+" in one for one in cells)
    empty = browser.execute_script(
        "return [...document.querySelectorAll('thead th')].filter((one) => !one.textContent).length"
    )
    assert empty == 0


def test_junit_of_each_is_valid_and_says_what_failed(pages):
    schema = XMLSchema(str(SCHEMA))
    wanted = {
        "inspect": ("findings", "reads.extra-clock"),
        "routine": ("sweeps", "period 432"),
        "sweep": ("sweeps", "period 432"),
        "sweep-sheet": ("sweeps", "push-pull"),
    }
    for name, (suite, case) in wanted.items():
        text = pages[name].with_suffix(".xml").read_text(encoding="utf-8")
        schema.validate(text)
        suites = {one.name: one for one in JUnitXml.fromstring(text.encode())}
        failed = [one.name for one in suites[suite] if one.result]
        assert case in failed
        assert suites[suite].failures == sum(
            any(type(r).__name__ == "Failure" for r in one.result) for one in suites[suite]
        )


def test_json_stays_alone_beside_a_page(pages, tmp_path, capsys):
    path = tmp_path / "r.html"
    assert main(["routine", "read-once", "--json", "--report", str(path)]) == 1
    assert json.loads(capsys.readouterr().out)["verdict"] == "exposed"
    text = path.read_text(encoding="utf-8")
    assert "padbench routine read-once" in text
    assert "read-once.asm" in text
