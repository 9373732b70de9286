"""A real browser without a window, and the pages of the example sheets."""

import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from selenium import webdriver
from selenium.webdriver.chrome.service import Service

ROOT = Path(__file__).parents[2]
HINT = "apt-get install chromium chromium-driver (tests/run does it)"


@pytest.fixture(scope="session")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[webdriver.Chrome]:
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
    made = webdriver.Chrome(options=options, service=Service(driver))
    made.set_script_timeout(60)
    made.set_page_load_timeout(60)
    try:
        yield made
    finally:
        made.quit()


@pytest.fixture(scope="session")
def page_of(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Path]:
    """The page of an example sheet, made once by the command itself."""
    folder = tmp_path_factory.mktemp("pages")

    def made(name: str) -> Path:
        path = folder / f"{name}.html"
        if not path.exists():
            sheet = ROOT / "sim" / "sheets" / f"{name}.toml"
            command = [sys.executable, "-m", "padbench", "verify", str(sheet), "--no-waves"]
            done = subprocess.run([*command, "--report", str(path)], capture_output=True, text=True)
            assert done.returncode in (0, 1), done.stderr
        return path

    return made
