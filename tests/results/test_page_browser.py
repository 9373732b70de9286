"""The page in a real browser: it draws every wave, answers keys and mouse, and asks nobody."""

import json
import re
import time
from dataclasses import replace
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
from selenium.webdriver import ActionChains, Keys
from selenium.webdriver.common.actions.wheel_input import ScrollOrigin
from selenium.webdriver.common.by import By
from selenium.webdriver.support.ui import WebDriverWait

from padbench.core.buttons import BUTTONS
from padbench.jobs.loading import design_of
from padbench.jobs.verify import verify_result
from padbench.results.html_page import write_page
from padbench.results.wave_data import ROWS

ROOT = Path(__file__).parents[2]
SHEETS = ("harbour-a", "harbour-b")


def wave(browser, name: str):
    place = browser.find_element(By.CSS_SELECTOR, f".wave[data-label='Wave of {name}']")
    browser.execute_script("const d = arguments[0].closest('details'); d && (d.open = true)", place)
    browser.execute_script("arguments[0].scrollIntoView({block: 'center'})", place)
    WebDriverWait(browser, 20, 0.02).until(lambda _: place.get_attribute("data-from"))
    return place


def seen(place) -> tuple[float, float]:
    return float(place.get_attribute("data-from")), float(place.get_attribute("data-to"))


def said(place) -> str:
    return place.find_element(By.TAG_NAME, "output").text


def in_time(number: str) -> float:
    """Microseconds of a text such as ``12.5 ms``."""
    value, unit = number.replace("−", "-").split()
    return float(value) * {"ns": 1e-3, "µs": 1, "ms": 1e3, "s": 1e6}[unit]


def asked_for(browser) -> set[str]:
    """Every address that the browser was asked to fetch."""
    found = set()
    for entry in browser.get_log("performance"):
        message = json.loads(entry["message"])["message"]
        if message["method"] in ("Network.requestWillBeSent", "Network.webSocketCreated"):
            params = message["params"]
            found.add(params["request"]["url"] if "request" in params else params["url"])
    return {address for address in found if not address.startswith("data:")}


def drawn_pixels(browser, place) -> int:
    """How many different colours stand on the canvas; a blank one has one."""
    return browser.execute_script(
        "const c = arguments[0].querySelector('canvas');"
        "const d = new Uint32Array(c.getContext('2d').getImageData(c.width >> 1, 0, 99, c.height)"
        ".data.buffer); return new Set(d).size;",
        place,
    )


@pytest.mark.parametrize("name", SHEETS)
def test_opens_without_error_or_request_and_draws_every_wave(browser, page_of, name):
    path, result = page_of(name)
    browser.opened(path)
    browser.all_drawn()
    places = browser.find_elements(By.CSS_SELECTOR, ".wave[data-drawn]")
    assert len(places) == len(result.runs) + 1  # the telling one stands above as well
    assert all(drawn_pixels(browser, place) > 3 for place in places[:4])
    assert browser.errors() == []
    assert asked_for(browser) <= {path.as_uri()}
    verdict = browser.find_element(By.ID, "verdict").text
    assert ("Passes." if name == "harbour-b" else "FAILS.") in verdict


@pytest.mark.parametrize("name", SHEETS)
def test_what_the_page_draws_is_the_timeline(browser, page_of, name):
    """Read back from the script in the browser, edge by edge."""
    path, result = page_of(name)
    browser.opened(path)
    browser.all_drawn()
    got = browser.execute_script(
        "return [...document.querySelectorAll('article .wave')].map(({dataset, wave: {wave}}) => ({"
        " name: dataset.label.slice(8), unit: wave.unit, samples: wave.samples.map((s) => s.at),"
        " rows: wave.rows.map((r) => [r.name, r.times, [...r.levels]]),"
        " reads: wave.reads.map((r) => [r.start, r.byte, r.right]) }))"
    )
    assert len(got) == len(result.runs)
    runs = {run.name: run for run in result.runs}
    for page in got:
        run = runs.pop(page["name"])
        unit = page["unit"]
        assert [row[0] for row in page["rows"]] == [label for _, label in ROWS]
        for (key, _), (_, times, levels) in zip(ROWS, page["rows"], strict=True):
            wire = run.timeline.wires[key]
            assert np.array_equal(np.array(times) * unit, wire.times)
            assert np.array_equal(levels, wire.levels)
        sampled = [at for pair in run.reads for at in pair.read.samples]
        assert [at * unit for at in page["samples"]] == sampled
        assert [[start * unit, byte, right] for start, byte, right in page["reads"]] == [
            [pair.read.start_ps, pair.byte, pair.as_expected] for pair in run.reads
        ]


def written(browser, name):
    """What a wave has on its canvas: text, and its box in pixels (left, top, right, bottom)."""
    found = browser.execute_async_script(
        "const done = arguments[1], plot = arguments[0].wave.plot, ctx = plot.ctx, found = [];"
        "ctx.fillText = function (text, x, y) {"
        "  const wide = this.measureText(text).width;"
        "  const left = x - wide * { left: 0, center: 0.5, right: 1 }[this.textAlign];"
        "  found.push([text, [left, y - 6, left + wide, y + 6]]); };"
        "plot.redraw(false);"
        "requestAnimationFrame(() => { delete ctx.fillText; done(found); });",
        wave(browser, name),
    )
    return [(text, box) for text, box in found]


def test_data_at_no_level_is_undecided_and_has_its_own_mark(browser, page_of):
    path, _ = page_of("harbour-a")
    browser.opened(path, width=1200)
    texts = dict(written(browser, "idle"))
    assert "✗ read 1: ???????? = undecided, expected nothing" in texts
    assert {"?A", "?Right"} <= set(texts)
    assert not [text for text in texts if "all eight" in text or "1111" in text]
    assert "read 1 (wrong: undecided)" in said(wave(browser, "idle"))
    # A fault stands in a lane above the read, in no button's.
    assert texts["✗"][3] < texts["reads"][1]
    assert texts["faults"][1] == texts["✗"][1]


def test_on_a_narrow_page_the_names_of_wrong_bits_come_first(browser, page_of):
    path, _ = page_of("harbour-a")
    browser.opened(path, width=360)
    labels = [
        (text, box)
        for text, box in written(browser, "each-button")
        if text.strip("✗?") in BUTTONS and box[0] > 100  # names of lanes stand left of that
    ]
    named = [text for text, _ in labels]
    assert {"✗Up", "✗Down", "A"} <= set(named)
    assert len(named) < 8  # not all have room
    for (a, one), (b, other) in combinations(labels, 2):
        apart = one[2] <= other[0] or other[2] <= one[0] or one[3] <= other[1] or other[3] <= one[1]
        assert apart, (a, b)


def test_keys_zoom_move_and_measure(browser, page_of):
    path, result = page_of("harbour-b")
    browser.opened(path)
    place = wave(browser, "each-button")
    face = place.find_element(By.CSS_SELECTOR, ".face")
    run = next(run for run in result.runs if run.name == "each-button")
    first = run.reads[0].read

    start, end = seen(place)
    assert "0 ns into read 1 (A)" in said(place)  # it opens at the first press
    face.send_keys("+")
    closer = seen(place)
    assert closer[1] - closer[0] == pytest.approx((end - start) / 2)
    face.send_keys("-")
    assert seen(place) == pytest.approx((start, end))
    face.send_keys(Keys.SHIFT + Keys.ARROW_RIGHT + Keys.NULL)
    assert seen(place)[0] == pytest.approx(start + (end - start) / 4)
    face.send_keys("n")
    assert "into read 2 (B)" in said(place)
    face.send_keys("p", "m")
    # From the rise of the latch to its fall at the console, edge by edge.
    while "latch sent high" in said(place):
        face.send_keys("e")
    difference = re.search(r"from mark (\S+ \S+)", said(place))
    assert difference is not None
    assert in_time(difference[1]) == pytest.approx((first.latch_end_ps - first.start_ps) / 1e6)
    before = said(place)
    face.send_keys(Keys.ARROW_RIGHT)
    assert said(place) != before
    face.send_keys(Keys.ESCAPE)
    assert "from mark" not in said(place)
    face.send_keys("0")
    whole = browser.execute_script("return arguments[0].wave.wave.end", place)
    assert seen(place) == pytest.approx((0, whole))
    assert browser.errors() == []


def test_the_mouse_zooms_moves_and_measures(browser, page_of):
    path, _ = page_of("harbour-a")
    browser.opened(path)
    place = wave(browser, "each-button")
    over = place.find_element(By.CSS_SELECTOR, ".u-over")
    start, end = seen(place)
    wide = over.size["width"]

    def settled(was):
        WebDriverWait(browser, 10, 0.02).until(lambda _: seen(place) != was)
        return seen(place)

    # A drag over the middle half shows the middle half.
    drag = ActionChains(browser, 20).move_to_element_with_offset(over, -wide // 4, 0)
    drag.click_and_hold().move_by_offset(wide // 2, 0).release().perform()
    inner = settled((start, end))
    assert inner[1] - inner[0] == pytest.approx((end - start) / 2, rel=0.02)
    # With Shift the same drag moves the view by half its width.
    drag = ActionChains(browser, 20).move_to_element(over).key_down(Keys.SHIFT).click_and_hold()
    drag.move_by_offset(wide // 4, 0).release().key_up(Keys.SHIFT).perform()
    moved = settled(inner)
    assert moved[0] == pytest.approx(inner[0] - (inner[1] - inner[0]) / 4, rel=0.02)
    assert moved[1] - moved[0] == pytest.approx(inner[1] - inner[0])
    # The cursor follows the mouse, and says when it is.
    ActionChains(browser, 20).move_to_element_with_offset(over, -wide // 3, 0).perform()
    here = said(place)
    ActionChains(browser, 20).move_to_element_with_offset(over, wide // 3, 0).perform()
    assert said(place) != here
    # Two clicks show the whole run.
    ActionChains(browser, 20).double_click(over).perform()
    whole = settled(moved)
    assert whole[0] == 0
    assert whole[1] > 10 * (end - start)
    # The wheel zooms a wave that has the focus, and leaves the page to scroll without.
    place.find_element(By.CSS_SELECTOR, ".face").send_keys("n")
    before = seen(place)
    origin = ScrollOrigin.from_element(over)
    ActionChains(browser, 20).scroll_from_origin(origin, 0, -120).perform()
    settled(before)
    assert seen(place)[1] - seen(place)[0] < before[1] - before[0]
    # Buttons do what keys do.
    buttons = {b.get_attribute("aria-label"): b for b in place.find_elements(By.TAG_NAME, "button")}
    buttons["whole run: whole run"].click()
    assert seen(place) == pytest.approx(whole)
    assert browser.errors() == []


@pytest.mark.parametrize("name", SHEETS)
def test_no_serious_accessibility_violation_and_nothing_overflows(browser, page_of, name):
    """Widths from a small telephone to a large screen; WCAG rules as axe-core has them."""
    path, _ = page_of(name)
    browser.opened(path, width=1600)
    browser.trimmed()
    browser.all_drawn()
    for width in (1600, 1280, 800, 390) if name == "harbour-a" else (460, 360):
        browser.resized(width)
        assert browser.overflowing() == [], f"{width} px wide"
        assert browser.broken_words() == [], f"{width} px wide"
    assert browser.violations() == []
    # In dark the page differs in colours only.
    browser.painted("dark")
    paper = browser.execute_script("return getComputedStyle(document.body).backgroundColor")
    assert sum(map(int, re.findall(r"\d+", paper))) < 200
    assert browser.violations(runOnly=["color-contrast"]) == []


def test_fingers_move_and_zoom(browser, page_of):
    path, _ = page_of("harbour-b")
    browser.opened(path, width=360)
    browser.execute_cdp_cmd(
        "Emulation.setTouchEmulationEnabled", {"enabled": True, "maxTouchPoints": 2}
    )
    try:
        place = wave(browser, "each-button")
        box = browser.execute_script(
            "const b = arguments[0].querySelector('.u-over').getBoundingClientRect();"
            "return [b.left, b.top + b.height / 2, b.width]",
            place,
        )
        left, middle, wide = box
        start, end = seen(place)

        def fingers(kind: str, *shares: float) -> None:
            points = [
                {"x": left + share * wide, "y": middle, "id": number}
                for number, share in enumerate(shares)
            ]
            kind = f"touch{kind}"
            browser.execute_cdp_cmd(
                "Input.dispatchTouchEvent", {"type": kind, "touchPoints": points}
            )

        # Two fingers drawn apart to twice their distance: half as much, the same about the middle.
        fingers("Start", 0.4, 0.6)
        for apart in (0.12, 0.15, 0.2):
            fingers("Move", 0.5 - apart, 0.5 + apart)
        fingers("End")
        closer = seen(place)
        assert closer[1] - closer[0] == pytest.approx((end - start) / 2, rel=0.01)
        assert sum(closer) / 2 == pytest.approx((start + end) / 2, rel=0.01)
        # One finger to the left by a quarter of the width moves the view on by as much.
        fingers("Start", 0.75)
        for share in (0.7, 0.6, 0.5):
            fingers("Move", share)
        fingers("End")
        moved = seen(place)
        span = closer[1] - closer[0]
        assert moved[0] == pytest.approx(closer[0] + span / 4, rel=0.02)
        assert moved[1] - moved[0] == pytest.approx(span)
        # Up and down is the page's: the wave stays as it is.
        assert (
            browser.execute_script(
                "return getComputedStyle(arguments[0].querySelector('.face')).touchAction", place
            )
            == "pan-y"
        )
        assert browser.errors() == []
    finally:
        browser.execute_cdp_cmd("Emulation.setTouchEmulationEnabled", {"enabled": False})


@pytest.mark.parametrize("name", SHEETS)
def test_it_prints_on_two_sheets_in_light_with_the_telling_wave(browser, page_of, name):
    """The window is far wider than the paper."""
    path, _ = page_of(name)
    browser.opened(path, mode="dark", width=1900)
    browser.execute_script(
        "addEventListener('beforeprint', () => queueMicrotask(() => queueMicrotask(() => {"
        " window.wide = document.querySelector('.telling canvas').clientWidth; })));"
    )
    assert browser.sheets() == 2
    assert 500 < browser.execute_script("return window.wide") < (210 - 2 * 11) / 25.4 * 96
    # What is printed, and what is not.
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print"})
    shown = browser.execute_script(
        "return [...document.querySelectorAll('h2')].filter((one) => one.offsetHeight)"
        ".map((one) => one.id)"
    )
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": ""})
    assert shown[:3] == ["by-port", "causes", "telling"]
    assert shown[-3:] == ["drawing", "thinnest", "cautions"]
    assert browser.errors() == []
    browser.opened(path)  # a window as wide as the others have it


def test_it_opens_at_the_event_with_its_cause_written_there(browser, page_of):
    path, result = page_of("harbour-b")
    browser.opened(path)
    # The clocks that no read asked for, found anew: more falls than one before a sample.
    run = next(run for run in result.runs if run.name == "stopped-last-bit")
    read = next(pair.read for pair in run.reads if len(pair.read.clock_falls) > 8)
    extra = read.clock_falls[7]
    assert read.samples[6] < extra < read.clock_falls[8] <= read.samples[7]
    place = wave(browser, "stopped-last-bit")
    unit = browser.execute_script("return arguments[0].wave.wave.unit", place)
    assert seen(place)[0] < extra / unit < seen(place)[1]
    assert dict(written(browser, "stopped-last-bit"))["extra clock"]
    texts = dict(written(browser, "bounce"))
    assert {"▾", "Start bounces"} <= set(texts)
    assert "a new latch cuts the read short" in dict(written(browser, "cut-short"))


def test_on_a_telephone_the_cause_stands_in_full_below_its_sign(browser, page_of):
    path, _ = page_of("harbour-b")
    browser.opened(path, width=390)
    says = "a new latch cuts the read short"
    texts = written(browser, "cut-short")
    parts = [(text, box) for text, box in texts if text in says and len(text) > 3]
    assert " ".join(text for text, _ in parts) == says
    (sign,) = [box for text, box in texts if text == "▾"]
    names = [box for text, box in texts if text in BUTTONS and box[0] > 100]
    for _, (left, top, right, foot) in parts:
        assert top >= sign[3] - 3
        assert 0 <= left < right <= 390
        assert all(foot <= box[1] for box in names)  # it covers no name of a bit


def test_the_first_screen_has_ports_changes_and_the_telling_read(browser, page_of):
    path, result = page_of("harbour-a")
    browser.opened(path, width=1280)
    table = browser.find_element(By.CSS_SELECTOR, "table.buttons")
    rows = [
        [cell.text for cell in row.find_elements(By.CSS_SELECTOR, "th, td")]
        for row in table.find_elements(By.TAG_NAME, "tr")
    ]
    assert rows[0] == ["button", *(port.port for port in result.answer.ports)]
    assert [row[0] for row in rows[2:]] == list(BUTTONS)
    for place, port in enumerate(result.answer.ports, 1):
        assert port.says in rows[1][place]
        assert all(port.buttons[row[0]] in row[place] for row in rows[2:])
    causes = [one.text for one in browser.find_elements(By.CSS_SELECTOR, "ol.causes li")]
    assert len(causes) == len(result.answer.causes)
    assert all(c.title in said for c, said in zip(result.answer.causes, causes, strict=True))
    telling = browser.find_element(By.CSS_SELECTOR, ".telling .wave")
    assert telling.rect["y"] < 700  # in a window 900 high
    assert telling.get_attribute("data-from")
    # On a telephone all of what to change stands there.
    browser.resized(390)
    changes = browser.find_element(By.CSS_SELECTOR, "ol.causes").rect
    assert changes["y"] + changes["height"] < 800
    browser.resized(1280)
    # Links of the contents lead to sections, and unfold what they lead into.
    folded = browser.find_element(By.CSS_SELECTOR, "details.group article h3").get_attribute("id")
    browser.execute_script("location.hash = arguments[0]", folded)
    WebDriverWait(browser, 5, 0.02).until(
        lambda _: browser.find_element(By.CSS_SELECTOR, "details.group").get_attribute("open")
    )
    assert len(browser.find_elements(By.ID, "keys")) == 1


def test_a_hundred_scenarios_stay_small_and_quick(browser, page_of, tmp_path):
    _, result = page_of("harbour-a")
    trial = replace(result.data, runs=(result.runs * 6)[:100])
    path = tmp_path / "many.html"
    sheet = ROOT / "sim" / "sheets" / "harbour-a.toml"
    with path.open("w", encoding="utf-8") as out:
        write_page(verify_result(design_of(sheet), trial, result.inputs, {}), out)
    assert path.stat().st_size < 5_000_000
    begin = time.perf_counter()
    browser.opened(path)
    browser.find_element(By.ID, "verdict")
    # A fifth of a second where nothing else runs; waves are made when they come near.
    assert time.perf_counter() - begin < 10
    assert len(browser.find_elements(By.CSS_SELECTOR, "article .wave")) == 100
    assert len(browser.find_elements(By.CSS_SELECTOR, ".wave[data-drawn]")) < 20
    assert browser.errors() == []
