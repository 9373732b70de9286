"""A real browser without a window, and the pages of the example sheets."""

import re
import shutil
from base64 import b64decode
from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest
from axe_core_python.selenium import Axe
from selenium import webdriver
from selenium.webdriver.chrome.service import Service

from padbench.jobs.verify import verify
from padbench.results.html_page import write_page
from padbench.results.result import Result

ROOT = Path(__file__).parents[2]
HINT = "apt-get install chromium chromium-driver (tests/run does it)"


class Browser(webdriver.Chrome):
    """Chromium with what the tests of the page need of it."""

    def opened(self, path: Path, *, width: int = 1200, mode: str = "light") -> None:
        """Open a page afresh in a window of that width, in light or dark."""
        self.painted(mode)
        self.resized(width)
        self.get_log("browser")
        self.get_log("performance")
        self.get(path.as_uri())

    def painted(self, mode: str) -> None:
        """Light or dark, as the system of whoever looks has it."""
        features = [{"name": "prefers-color-scheme", "value": mode}]
        self.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": features})

    def resized(self, width: int) -> None:
        """A window of that width; waves follow at the next frame."""
        self.execute_cdp_cmd(
            "Emulation.setDeviceMetricsOverride",
            {"width": width, "height": 900, "deviceScaleFactor": 1, "mobile": False},
        )

    def overflowing(self) -> list[str]:
        """What reaches beyond the right edge of the window, unless it scrolls by itself.

        Findings, which are sentences, must not even scroll.
        """
        return self.execute_async_script(
            "const done = arguments[0], e = document.documentElement;"
            "requestAnimationFrame(() => requestAnimationFrame(() => done(["
            " ...(e.scrollWidth > e.clientWidth ? ['the page'] : []),"
            " ...[...document.querySelectorAll('.scroll:has(.findings)')].filter("
            " (one) => one.scrollWidth > one.clientWidth).map(() => 'a table of findings'),"
            " ...[...document.querySelectorAll('header *, main *')].filter("
            " (one) => !one.closest('.scroll, svg') &&"
            " one.getBoundingClientRect().right > innerWidth + 1"
            ").map((one) => one.outerHTML.slice(0, 90))])))"
        )

    def broken_words(self) -> list[str]:
        """Words of tables that go on in the next line, but those too long for a column."""
        return self.execute_script(
            "const found = [], range = document.createRange();"
            "for (const cell of document.querySelectorAll('th, td')) {"
            " if (!cell.offsetWidth) continue;"
            " const walk = document.createTreeWalker(cell, NodeFilter.SHOW_TEXT);"
            " while (walk.nextNode()) {"
            "  for (const { 0: word, index } of walk.currentNode.data.matchAll(/[^\\s+-]+/g)) {"
            "   if (word.length > 24) continue;"
            "   range.setStart(walk.currentNode, index);"
            "   range.setEnd(walk.currentNode, index + word.length);"
            "   const tops = [...range.getClientRects()].map((one) => Math.round(one.top));"
            "   if (new Set(tops).size > 1) found.push(word);"
            "  }"
            " }"
            "}"
            "return found;"
        )

    def violations(self, **options: object) -> list[tuple[str, str, list[str]]]:
        """What axe-core calls serious or critical, by its rules for WCAG."""
        found = Axe().run(self, options=options or None)
        assert found["passes"]  # it looked at something
        return [
            (rule["id"], rule["impact"], [node["html"][:120] for node in rule["nodes"][:3]])
            for rule in found["violations"]
            if rule["impact"] in ("serious", "critical")
        ]

    def trimmed(self) -> None:
        """Unfold all, and leave some of what is alike: two articles, four rows of a long table."""
        self.execute_script(
            "document.querySelectorAll('article.scenario').forEach((a, n) => n > 1 && a.remove());"
            "document.querySelectorAll('.findings tbody tr, article tbody tr').forEach((one) =>"
            " one.rowIndex > 4 && one.remove());"
            "document.querySelectorAll('details').forEach((one) => (one.open = true));"
        )

    def all_drawn(self) -> None:
        """Unfold and scroll past every wave, as a reader does, until each is drawn."""
        self.execute_async_script(
            "document.querySelectorAll('details.group').forEach((one) => (one.open = true));"
            "const done = arguments[0], frame = () => new Promise(requestAnimationFrame);"
            "(async () => { for (const place of document.querySelectorAll('.wave')) {"
            " place.scrollIntoView({block: 'center'});"
            " while (!place.dataset.from) await frame(); } })().then(done)"
        )

    def sheets(self) -> int:
        """On how many sheets of A4 (210 by 297 mm, ISO 216) the page is printed."""
        paper = {"printBackground": True, "paperWidth": 210 / 25.4, "paperHeight": 297 / 25.4}
        pdf = b64decode(self.execute_cdp_cmd("Page.printToPDF", paper)["data"])
        return len(re.findall(rb"/Type\s*/Page\b", pdf))

    def errors(self) -> list[str]:
        """What the console has said since it was last asked."""
        return [entry["message"] for entry in self.get_log("browser")]


@pytest.fixture(scope="session")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Browser]:
    chromium, driver = shutil.which("chromium"), shutil.which("chromedriver")
    assert chromium is not None, f"chromium is missing: {HINT}"
    assert driver is not None, f"chromedriver is missing: {HINT}"
    options = webdriver.ChromeOptions()
    options.binary_location = chromium
    for argument in (
        "headless=new",
        "no-sandbox",  # the tests may run as root, as which it has no sandbox
        "disable-gpu",
        "disable-dev-shm-usage",
        "disable-background-networking",
        "disable-component-update",
        "disable-sync",
        "no-first-run",
        f"user-data-dir={tmp_path_factory.mktemp('profile')}",
    ):
        options.add_argument(f"--{argument}")
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    made = Browser(options=options, service=Service(driver))
    made.set_script_timeout(60)
    made.set_page_load_timeout(60)
    try:
        yield made
    finally:
        made.quit()


Made = tuple[Path, Result]


@pytest.fixture(scope="session")
def page_of(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Made]:
    """The page of an example sheet and the result that it was made from."""
    folder = tmp_path_factory.mktemp("pages")

    @cache
    def made(name: str) -> Made:
        file = ROOT / "sim" / "sheets" / f"{name}.toml"
        result = replace(verify(file), again=f"padbench verify {file.name}")
        path = folder / f"{name}.html"
        with path.open("w", encoding="utf-8") as out:
            write_page(result, out)
        return path, result

    return made
