"""Whatever a sheet or a result says is text on the page, never markup and never a script."""

from dataclasses import replace
from pathlib import Path

import pytest
from selenium.webdriver.common.by import By

from padbench.core.findings import Finding, Met, Rule, Source
from padbench.core.remedies import Remedy
from padbench.jobs.loading import Design
from padbench.jobs.verify import verify_result
from padbench.results.html_page import write_page
from padbench.results.inputs import Input
from padbench.sheet import sheet_from_text
from padbench.trials.scenario_run import Problem
from padbench.trials.trial import Trial

EVIL = (
    "</script><script>window.hit = 1</script><img src=x onerror='window.hit = 2'>"
    '<svg/onload="window.hit=3">{{ 7 * 7 }}{% raw %}<!--<script>--></pre></textarea></title>'
    "'\"`&amp;&#60; \u202eשלום\u202c مرحبا 🎮🏳\u200d🌈 \u2028\u2029 javascript:hit(4)"
)
LONG = "W" * 10_000


@pytest.fixture(scope="module")
def hostile(page_of, tmp_path_factory) -> tuple[Path, str]:
    sheets = Path(__file__).parents[2] / "sim" / "sheets"
    text = (sheets / "harbour-a.toml").read_text(encoding="utf-8")
    text = f"# {EVIL}\n{text}"
    sheet = sheet_from_text(text, "evil.toml")
    bad = sheet.model_copy(update={"pad": sheet.pad.model_copy(update={"name": EVIL + LONG})})
    trial = page_of("harbour-a")[1].data
    remedy = Remedy(EVIL, 1.0, None, EVIL, name=EVIL)
    rule = Rule(EVIL, "V", dict.fromkeys(("pass", "fail"), lambda _: EVIL + LONG))
    finding = Finding(
        rule, "fail", 1.0, 2.0, -1.0, Met(other=EVIL), (Source(EVIL, "published"),), name=EVIL
    )
    first = trial.runs[1]
    run = replace(
        first,
        name=EVIL + LONG,
        says=EVIL,
        port=EVIL,
        problems=(
            Problem("{evil}", {"evil": EVIL}, first.reads[0].read.start_ps),
            Problem("nowhere {evil}", {"evil": EVIL}),
        ),
    )
    trial = Trial(
        (finding, replace(finding, name=LONG, verdict="pass", margin=1.0, remedy=remedy),
         replace(finding, name="z", remedy=remedy)),
        (run, replace(run, name=LONG)),
        tuple(replace(row, variant=EVIL, port=EVIL) for row in trial.ports[:1]),
    )  # fmt: skip
    path = tmp_path_factory.mktemp("evil") / "page.html"
    files = (Input.of(EVIL, text.encode()), Input.of(LONG, EVIL.encode()))
    result = replace(verify_result(Design(bad), trial, files, {}), again=EVIL + LONG)
    with path.open("w", encoding="utf-8") as out:
        write_page(result, out)
    return path, text


@pytest.mark.parametrize("width", [360, 1600])
def test_it_renders_as_text_and_runs_nothing(browser, hostile, width):
    path, text = hostile
    browser.opened(path, width=width)
    browser.all_drawn()
    assert browser.execute_script("return window.hit === undefined")
    assert browser.errors() == []
    counts = browser.execute_script(
        "return ['script', 'img', 'iframe', 'object', 'form'].map("
        "(tag) => document.querySelectorAll(tag).length)"
    )
    assert counts == [3, 2, 0, 0, 0]  # data, library, waves; schematic and package
    name = browser.execute_script("return document.querySelector('h1').textContent")
    assert name == EVIL + LONG
    shown = browser.execute_script("return document.querySelector('pre.file').textContent")
    assert shown == text
    # What has no one place in the wave stands above it.
    whole = browser.find_elements(By.CSS_SELECTOR, ".whole + .wave")
    said = browser.execute_script("return document.querySelector('.whole').textContent")
    assert len(whole) == 2
    assert f"whole run: nowhere {EVIL} (no one place in the wave)" in said
    assert "49" not in browser.find_element(By.TAG_NAME, "h1").text  # {{ 7 * 7 }} is only text
    wide, room = browser.execute_script(
        "const e = document.documentElement; return [e.scrollWidth, e.clientWidth]"
    )
    assert wide <= room


def test_the_page_forbids_scripts_that_are_not_its_own(browser, hostile):
    """Even if something slipped through the escaping, the policy would stop it."""
    browser.opened(hostile[0])
    browser.execute_script(
        "const s = document.createElement('script'); s.textContent = 'window.hit = 5';"
        "document.body.append(s);"
        "document.body.insertAdjacentHTML('beforeend', '<img src=x onerror=\"window.hit = 6\">');"
    )
    assert browser.execute_script("return window.hit === undefined")
    assert any("Content Security Policy" in message for message in browser.errors())
