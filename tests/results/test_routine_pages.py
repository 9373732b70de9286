"""The pages of a routine, of the delay of a poll, and of one case, in a real browser."""

from pathlib import Path

import pytest
from selenium.webdriver.common.by import By

from padbench.jobs.latency import latency
from padbench.jobs.routine import routine
from padbench.jobs.routine_case import play_case
from padbench.jobs.sweep import sweep
from padbench.results.html_page import write_page

MAKE = {
    "latency": lambda: latency("read-twice", line=[250, 100]),
    "case": lambda: play_case("read-once", "held=0 phase=18", period=[432]),
}


@pytest.mark.parametrize("name", MAKE)
def test_it_opens_and_says_what_the_result_says(browser, tmp_path, name):
    result = MAKE[name]()
    path = tmp_path / "page.html"
    with path.open("w", encoding="utf-8") as out:
        write_page(result, out)
    for width in (1200, 360):
        browser.opened(path, width=width)
        assert browser.errors() == []
        assert browser.overflowing() == []
        assert browser.broken_words() == []
    assert browser.violations() == []
    said = browser.find_element(By.ID, "verdict").text
    assert result.word in said
    assert result.lead in said
    text = browser.find_element(By.TAG_NAME, "main").text
    if name == "latency":
        assert f"{result.document['milliseconds']['p99']:.1f}" in text
        assert browser.find_elements(By.CSS_SELECTOR, "svg.frame rect.poll")
    else:
        assert "Stopped in cycle 18" in text


EXPOSED = Path(__file__).parents[1] / "routines" / "sources" / "read-twice-36.asm"


def test_a_routine_prints_on_two_sheets(browser, tmp_path):
    """All rates, where it falls in the frame, the worst case."""
    path = tmp_path / "page.html"
    with path.open("w", encoding="utf-8") as out:
        write_page(routine(EXPOSED, line=250), out)
    browser.opened(path, width=1200)
    assert browser.sheets() <= 2


def test_a_map_prints_on_two_sheets_too(browser, tmp_path):
    path = tmp_path / "page.html"
    with path.open("w", encoding="utf-8") as out:
        write_page(sweep(routine="read-twice", chart=True), out)
    browser.opened(path, width=1200)
    assert browser.sheets() <= 2
