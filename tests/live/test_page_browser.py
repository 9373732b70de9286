"""The page in a real browser: switches, dials, events, scope, tour, and the page without server."""

import json
import re
from urllib.parse import quote

import numpy as np
import pytest
from selenium.webdriver import ActionChains, Keys
from selenium.webdriver.common.by import By
from selenium.webdriver.support.ui import Select, WebDriverWait

import padbench as pb
from padbench.circuit.waves import line_waves
from padbench.cli import main
from padbench.core.buttons import BUTTONS, spelled
from padbench.live.dials import STUCK, WORN
from padbench.live.page import TOUR
from padbench.live.state import OWN_EVENTS, State
from padbench.scenarios import ROUTINE_SCENARIOS, SCENARIOS
from padbench.scenarios.expect import expected_bits
from padbench.scenarios.user import scenarios_from_text

WAIT = 30


def until(browser, true):
    return WebDriverWait(browser, WAIT, 0.05).until(lambda _: true())


def switch(browser, name):
    return browser.find_element(By.CSS_SELECTOR, f"[role=switch][data-bit='{bit_of(name)}']")


def bit_of(name):
    return 128 >> BUTTONS.index(name)


def by(browser, name):
    return browser.find_element(By.ID, name)


def closed(browser):
    return browser.execute_script(
        "return [...document.querySelectorAll('[role=switch]:checked')]"
        ".reduce((sum, one) => sum + Number(one.dataset.bit), 0)"
    )


def byte_on(browser):
    return by(browser, "reading").get_attribute("data-byte")


def click(browser, element):
    """Wherever it stands, also under the head of the page that stays in view."""
    browser.execute_script("arguments[0].click()", element)


def set_to(browser, element, value):
    """As if someone had typed or chosen it; scrolling to each of them would take long."""
    browser.execute_script(
        "arguments[0].value = arguments[1];"
        "for (const kind of ['input', 'change']) arguments[0].dispatchEvent(new Event(kind));",
        element,
        value,
    )


def trouble(browser):
    return by(browser, "trouble").text


@pytest.fixture
def all_scenarios():
    """For a test that looks at the verdict; for others they are not played, which takes long."""


@pytest.fixture
def page(browser, server, monkeypatch, request):
    if "all_scenarios" not in request.fixturenames:
        none = {"verdict": "pass", "scenarios": [], "routine": ()}
        monkeypatch.setattr(server.verdicts, "of", lambda *_: {**none})
    browser.painted("light")
    browser.resized(1200)
    browser.get(server.address)
    browser.get_log("browser")
    until(browser, lambda: byte_on(browser) == "0")
    yield browser
    # A call that is overtaken is given up; nothing else may go wrong in the console.
    assert browser.errors() == []


def test_each_switch_shows_the_byte_that_play_has(page, server):
    held = 0
    for name in BUTTONS:
        click(page, switch(page, name))
        held |= bit_of(name)
        until(page, lambda held=held: byte_on(page) == str(held))
        says = by(page, "byte").text
        assert f"{held:08b}" in says
        assert spelled(held) in says
    text = server.bench.scenario(State(held=held), "again", server.bench.pad(State()))
    run = pb.play(server.bench.sheet, scenarios_from_text(text, "x")["again"]).runs[0]
    assert run.reads[0].byte == held
    assert by(page, "byte").get_attribute("aria-live") == "polite"
    click(page, by(page, "none"))
    until(page, lambda: byte_on(page) == "0")
    assert not any(
        one.is_selected() for one in page.find_elements(By.CSS_SELECTOR, "[role=switch]")
    )


def test_the_wave_is_drawn_anew_after_each_flip_and_event(page):
    """What the canvas has, not only the numbers behind it: as much ink as the first time."""
    ink = (
        "const canvas = document.querySelector('#digital canvas'), { width, height } = canvas;"
        "if (!width || !height) return 0;"
        "const copy = new OffscreenCanvas(width, height).getContext('2d');"
        "copy.drawImage(canvas, 0, 0);"
        "const { data } = copy.getImageData(0, 0, width, height);"
        "return data.reduce((sum, one, place) => sum + (place % 4 === 3 && one > 0), 0)"
    )
    first = until(page, lambda: page.execute_script(ink))
    click(page, switch(page, "A"))
    until(page, lambda: byte_on(page) == "128")
    # A closed contact is a filled band; a mark has its line and its words.
    until(page, lambda: page.execute_script(ink) > 1.05 * first)
    for width in (390, 1200):
        page.resized(width)
        set_to(page, by(page, "what"), "press-in-latch")
        until(page, lambda: byte_on(page) == "16")
        assert page.execute_script(ink) > 0.2 * first
        set_to(page, by(page, "what"), "read")
        until(page, lambda: byte_on(page) == "128")


def test_a_contact_can_be_held_for_a_moment_by_mouse_and_keys(page):
    tap = page.find_element(By.CSS_SELECTOR, ".tap[data-bit='64']")
    ActionChains(page).click_and_hold(tap).perform()
    until(page, lambda: byte_on(page) == "64")
    ActionChains(page).release().perform()
    until(page, lambda: byte_on(page) == "0")
    ActionChains(page).key_down("1").perform()
    until(page, lambda: byte_on(page) == "128")
    ActionChains(page).key_up("1").perform()
    until(page, lambda: byte_on(page) == "0")
    switch(page, "Up").send_keys(Keys.SPACE)
    until(page, lambda: byte_on(page) == "8")


def test_opposite_directions_go_by_the_policy(page):
    for name in ("Up", "Down"):
        click(page, switch(page, name))
    until(page, lambda: byte_on(page) == "12")
    set_to(page, dial(page, "policy.opposite-directions"), "neither")
    until(page, lambda: byte_on(page) == "0")
    # Down closed after Up; opened and closed again, Up is the newer one.
    set_to(page, dial(page, "policy.opposite-directions"), "newer")
    until(page, lambda: byte_on(page) == "4")
    set_to(page, dial(page, "policy.opposite-directions"), "older")
    until(page, lambda: byte_on(page) == "8")
    for _ in range(2):
        click(page, switch(page, "Up"))
    until(page, lambda: byte_on(page) == "4")


def dial(browser, key):
    return browser.find_element(
        By.CSS_SELECTOR, f".dial[data-key='{key}'] :is(select, input[type=text], input)"
    )


TURNED = {
    "works-with.ports": "pull-down-only",
    "poll.use": "brisk",
    "poll.console": "50hz",
    "register.part": "74HC165",
    "register.serial-input": "supply",
    "policy.opposite-directions": "newer",
    "pad.supply": "3.3 V ± 5 %",
    "pull-up.value": "absent",
    "resistors.latch-to-supply": "absent",
    "resistors.clock-to-supply": "10 kΩ ± 5 %",
    "cable.length": "20 m",
    "cable.capacitance": "300 pF/m",
    "contacts.worn": "47 kΩ",
    "contacts.bounce": "20 ms",
}


def test_each_dial_shows_its_findings(page, server):
    assert {one.key for one in server.bench.dials} == {*TURNED, STUCK, WORN}
    click(page, by(page, "every"))
    for key, words in TURNED.items():
        set_to(page, dial(page, key), words)
        state = State(held=255, dials={key: words})
        found = server.bench.judged(state)
        worst = "fail" if any(one.verdict == "fail" for one in found) else "pass"
        was = {one.id: one.verdict for one in server.bench.judged(State())}
        changed = sum(was.get(one.id) != one.verdict for one in found)
        until(
            page,
            lambda key=key, changed=changed: (
                page.execute_script("return document.querySelectorAll('.turned').length") == 1
                and len(page.find_elements(By.CSS_SELECTOR, "#changed li")) == changed
            ),
        )
        assert by(page, "findings").get_attribute("data-verdict") == worst
        assert trouble(page) == ""
        shown = server.bench.read(state)
        byte = str(shown.run.reads[0].byte) if shown.run.reads else ""
        until(page, lambda byte=byte: byte_on(page) == byte)
        click(page, by(page, "reset"))
    until(page, lambda: not page.find_elements(By.CSS_SELECTOR, ".turned"))


def test_each_switch_may_be_stuck_or_worn(page, server):
    kinds = page.find_elements(By.CSS_SELECTOR, ".kind")
    assert [one.accessible_name for one in kinds] == [f"the contact of {name}" for name in BUTTONS]
    set_to(page, kinds[BUTTONS.index("B")], "stuck")
    until(page, lambda: byte_on(page) == "64")
    set_to(page, kinds[0], "worn")
    click(page, switch(page, "A"))
    until(page, lambda: byte_on(page) == str(0xC0))  # a worn contact of the sheet's own reads yet
    set_to(page, dial(page, "contacts.worn"), "47 kΩ")
    until(page, lambda: "A undecided" in by(page, "byte").text)
    dials = {STUCK: "B", WORN: "A", "contacts.worn": "47 kΩ"}
    shown = server.bench.read(State(held=0x80, dials=dials))
    assert shown.run.reads[shown.number].read.undecided == 0x80
    # The wrong bit is marked at its sample.
    at, says = page.execute_script(
        "const { wave } = document.getElementById('digital').wave;"
        "return [wave.marks[0][0] * wave.unit, wave.marks[0][1]]"
    )
    assert at == shown.run.reads[shown.number].read.samples[0]
    assert "A undecided" in says
    set_to(page, kinds[0], "sound")
    until(page, lambda: byte_on(page) == str(0xC0))
    set_to(page, kinds[1], "sound")
    until(page, lambda: byte_on(page) == str(0x80))


def test_a_slider_steps_a_dial_and_bars_show_the_margins(all_scenarios, page):
    slider = page.find_element(By.CSS_SELECTOR, ".dial[data-key='cable.length'] [type=range]")
    slider.send_keys(Keys.END)
    until(page, lambda: dial(page, "cable.length").get_attribute("value") == "50 m")
    until(page, lambda: page.find_elements(By.CSS_SELECTOR, "#changed li.fail"))
    assert page.find_elements(By.CSS_SELECTOR, "#findings svg.bar.bad")
    # What broke is marked in the wave.
    marks = page.execute_script("return document.getElementById('digital').wave.wave.marks")
    assert marks
    until(page, lambda: "FAILS" in by(page, "verdict").text)
    click(page, by(page, "reset"))
    until(page, lambda: "Passes" in by(page, "verdict").text)


def test_margins_that_hold_stay_in_view_while_a_dial_is_turned(page):
    fold = "return document.querySelector('#findings .folded').open"
    click(page, page.find_element(By.CSS_SELECTOR, "#findings .folded > summary"))
    set_to(page, dial(page, "cable.length"), "3 m")
    until(page, lambda: page.execute_script("return document.querySelectorAll('.turned').length"))
    until(page, lambda: "running" not in by(page, "verdict").get_attribute("class"))
    assert page.execute_script(fold)


def test_a_value_that_cannot_be_is_said_and_the_page_goes_on(page):
    set_to(page, dial(page, "cable.length"), "long")
    until(page, lambda: "cable.length" in trouble(page))
    page.get_log("browser")  # the refusal itself stands there
    until(page, lambda: "This is old" in by(page, "byte").text)
    set_to(page, dial(page, "cable.length"), "3 m")
    until(page, lambda: trouble(page) == "")
    assert "old" not in by(page, "byte").text


def test_findings_that_fail_stand_beside_a_byte_that_is_right(page):
    until(page, lambda: "Passes" in by(page, "verdict").text)
    assert by(page, "failing").text == ""
    set_to(page, dial(page, "pull-up.value"), "0 Ω")
    until(page, lambda: by(page, "failing").text)
    assert re.search(r"fails?(, first)?: \w+\.[\w-]+\.$", by(page, "failing").text)


def test_each_event_shows_what_the_simulation_has(page, server):
    choice = by(page, "what")
    keys = [one.get_attribute("value") for one in choice.find_elements(By.TAG_NAME, "option")]
    assert keys == [*OWN_EVENTS, *SCENARIOS, *ROUTINE_SCENARIOS]
    # Without a read routine as the poll there is no sweep to show cases of.
    assert not choice.find_element(By.CSS_SELECTOR, "[value=fetch-cases]").is_enabled()
    keys = [key for key in keys if key not in ROUTINE_SCENARIOS]
    for name in ("A", "Left"):
        click(page, switch(page, name))
    until(page, lambda: byte_on(page) == str(0x82))
    for key in keys:
        set_to(page, choice, key)
        held = 0x82 if key in OWN_EVENTS else None
        shown = server.bench.read(State(held=0x82, event=key))
        reads = [[pair.read.start_ps, pair.byte] for pair in shown.run.reads]
        until(
            page,
            lambda reads=reads: (
                page.execute_script(
                    "const { wave } = document.getElementById('digital').wave;"
                    "return wave.reads.map((read) => [read.start * wave.unit, read.byte])"
                )
                == reads
            ),
        )
        pair = shown.run.reads[shown.number]
        assert byte_on(page) == str(pair.byte), key
        # What it is about is in view (but of a latch much longer than its clocks, of which the end
        # is), and the line of the cursor where its words say.
        events, place, said = page.execute_script(
            "const one = document.getElementById('digital').wave, { from, to, at, wave } = one;"
            "return [[...wave.marks, ...wave.notes].map(([when]) => from <= when && when <= to),"
            " one.plot.posToVal(one.plot.cursor.left, 'x') - at, (to - from) / 500]"
        )
        assert not events or any(events) or key == "long-latch", key
        assert abs(place) <= said, key
        # A shipped scenario has contacts of its own, and the switches show them.
        assert closed(page) == (pair.expected.held if held is None else held), key
        # A bit that is right either way, or never read, is no wrong one; a stopped read's are.
        says = by(page, "byte").text
        assert ("either is right" in says) == (key == "press-before-latch-ends"), key
        assert ("cut short." in says or "cut short (" in says) == (key == "cut-short"), key
        stopped = ("fetch", "stopped-last-bit", "stopped-any-bit", "read-twice-rejects")
        assert (", not " in says) == (key in stopped), key
    set_to(page, choice, "read")
    until(page, lambda: byte_on(page) == str(0x82))
    assert closed(page) == 0x82


def test_a_fetch_at_each_bit_and_reading_twice_beside_it(page):
    set_to(page, by(page, "what"), "fetch")
    until(page, lambda: byte_on(page) == "1")
    marks = "return document.getElementById('digital').wave.wave.marks.map((one) => one[1])"
    assert page.execute_script(marks) == ["wrong bit: Right reads pressed"]
    for extra in (1, 2, 3):
        set_to(page, by(page, "extra"), extra)
        for bit in (1, 4, 8):
            set_to(page, by(page, "bit"), bit)
            bits = expected_bits(0, stopped_bit=bit, extra_clocks=extra)
            byte = str(sum(128 >> place for place, one in enumerate(bits) if one))
            until(page, lambda byte=byte: byte_on(page) == byte)
    until(page, lambda: "they differ" in by(page, "twice-says").text)
    assert "acts on nothing" in by(page, "twice-says").text
    assert "not nothing (read 2 of 2)." in by(page, "byte").text
    assert "which is held" not in by(page, "byte").text


def test_the_scope_has_the_voltages_of_the_circuit(page, server):
    click(page, switch(page, "A"))
    until(page, lambda: byte_on(page) == "128")
    click(page, page.find_element(By.CSS_SELECTOR, "[value=analogue]"))
    until(page, lambda: by(page, "measured").text)
    shown = server.bench.read(State(held=0x80))
    waves = line_waves(shown.pad.sheet, shown.run.port, shown.run.timeline)
    start = shown.run.reads[0].read.start_ps
    for step, cursor in (("10000000", 333), ("1000000", 80), ("10000000000", 700)):
        Select(by(page, "time")).select_by_value(step)
        set_to(page, by(page, "c1"), cursor)
        begin = float(by(page, "from").get_attribute("value")) / 100 * float(step)
        at = start + begin + cursor / 1000 * 10 * float(step)
        said = re.findall(r"(latch|clock|data) (-?[\d.]+) V", by(page, "measured").text)[:3]
        for name, volts in said:
            times, levels = waves[f"analogue.{name}"]
            assert float(volts) == pytest.approx(np.interp(at, times, levels), abs=0.02)
    steps = [one.get_attribute("value") for one in Select(by(page, "time")).options]
    assert all(re.fullmatch("[125]0*", step) for step in steps)


@pytest.fixture
def written(page):
    """What a canvas was told to write since it was last asked: words and their colour."""
    page.execute_script(
        "const pen = CanvasRenderingContext2D.prototype, write = pen.fillText;"
        "window.written = [];"
        "pen.fillText = function (text, ...at) {"
        " window.written.push([String(text), this.fillStyle]); write.call(this, text, ...at); };"
    )

    def since(act):
        page.execute_script("window.written = []")
        act()
        return until(page, lambda: page.execute_script("return window.written"))

    return since


def bad_ink(browser):
    return browser.execute_script(
        "const pen = document.createElement('canvas').getContext('2d');"
        "pen.fillStyle = window.padbench.colours().bad; return pen.fillStyle"
    )


def test_the_scope_says_each_bit_and_marks_what_broke(page, written):
    """In the voltages as in the digital wave."""
    click(page, page.find_element(By.CSS_SELECTOR, "[value=analogue]"))
    until(page, lambda: by(page, "measured").text)
    set_to(page, by(page, "what"), "fetch")
    until(page, lambda: byte_on(page) == "1")
    said = written(lambda: set_to(page, by(page, "c1"), 200))
    assert ["1", bad_ink(page)] in said
    assert ["✗", bad_ink(page)] in said
    assert sum(one[0] == "0" for one in said) == 7


def test_a_fault_is_marked_where_an_event_leaves_no_room_beside_it(page, written):
    page.resized(390)
    set_to(page, by(page, "what"), "fetch")
    until(page, lambda: byte_on(page) == "1")
    said = written(lambda: page.execute_script("document.getElementById('fit').click()"))
    assert ["✗", bad_ink(page)] in said


def test_single_holds_the_picture_and_running_lets_it_go(page):
    edges = "return document.getElementById('digital').wave.wave.rows.length && " \
            "document.getElementById('digital').wave.wave.reads[0].byte"  # fmt: skip
    click(page, by(page, "running"))
    click(page, switch(page, "A"))
    until(page, lambda: byte_on(page) == "128")
    assert page.execute_script(edges) == 0
    click(page, by(page, "single"))
    assert page.execute_script(edges) == 128
    click(page, switch(page, "B"))
    until(page, lambda: byte_on(page) == "192")
    assert page.execute_script(edges) == 128
    # The voltages are those of the picture, also when they are asked for after it.
    click(page, page.find_element(By.CSS_SELECTOR, "[value=analogue]"))
    until(page, lambda: by(page, "measured").text)
    set_to(page, by(page, "c2"), 600)
    frozen = by(page, "measured").text
    click(page, by(page, "every"))
    until(page, lambda: byte_on(page) == "255")
    for place in (601, 600):
        set_to(page, by(page, "c2"), place)
    assert by(page, "measured").text == frozen
    click(page, by(page, "running"))
    until(page, lambda: by(page, "measured").text != frozen)
    assert page.execute_script(edges) == 255


def test_keep_this_writes_files_and_says_how_to_play_them_again(page, folder):
    click(page, switch(page, "Start"))
    until(page, lambda: byte_on(page) == "16")
    by(page, "name").send_keys("from-the-page")
    click(page, page.find_element(By.CSS_SELECTOR, "#keep button"))
    until(page, lambda: "padbench play" in by(page, "kept").text)
    for ending in (".toml", "-scenario.toml", ".vcd", ".svg"):
        assert (folder / f"from-the-page{ending}").is_file()


def test_the_tour_shows_six_states_and_can_be_printed(page, server):
    click(page, switch(page, "Up"))
    page.execute_script("window.print = () => (window.printed = true)")
    click(page, by(page, "print"))
    until(page, lambda: page.execute_script("return window.printed"))
    steps = page.find_elements(By.CSS_SELECTOR, "#tour .step")
    assert len(steps) == len(TOUR) == 6
    for step, element in zip(TOUR, steps, strict=True):
        shown = server.bench.read(State(**step["state"]))
        pair = shown.run.reads[shown.number]
        if not pair.read.undecided:
            assert f"{pair.byte:08b}" in element.find_element(By.CLASS_NAME, "came").text
        assert element.find_element(By.CSS_SELECTOR, ".wave[data-drawn] canvas")
    page.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print"})
    assert not switch(page, "A").is_displayed()
    assert all(step.is_displayed() for step in steps)
    page.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": ""})
    page.execute_script("document.querySelectorAll('.go')[4].click()")
    until(page, lambda: byte_on(page) == str(0x81))
    assert closed(page) == 0x80
    # What was set before the tour is there again.
    click(page, by(page, "mine"))
    until(page, lambda: byte_on(page) == "8")
    assert closed(page) == 8


@pytest.mark.parametrize("mode", ["light", "dark"])
def test_everyone_can_use_it_at_every_width(page, mode):
    page.painted(mode)
    # Of dark paint only the colours are another matter.
    rules = {} if mode == "light" else {"runOnly": ["color-contrast"]}
    set_to(page, by(page, "what"), "fetch")
    until(page, lambda: byte_on(page) == "1")
    for width in (390, 760, 1200, 1600) if mode == "light" else (1200,):
        page.resized(width)
        assert page.overflowing() == [], width
    assert page.violations(**rules) == []
    names = [one.accessible_name for one in page.find_elements(By.CSS_SELECTOR, "[role=switch]")]
    assert names == [*BUTTONS]
    click(page, page.find_element(By.CSS_SELECTOR, "[value=analogue]"))
    page.resized(390)
    assert page.overflowing() == []
    assert page.violations(**rules) == []


def test_it_asks_nobody_but_its_own_server(page, server):
    page.get_log("performance")
    page.get(server.address)
    until(page, lambda: byte_on(page) == "0")
    asked = set()
    for entry in page.get_log("performance"):
        message = json.loads(entry["message"])["message"]
        if message["method"] == "Network.requestWillBeSent":
            asked.add(message["params"]["request"]["url"].split("?")[0])
    here = f"http://127.0.0.1:{server.server_port}/"
    assert all(url.startswith((here, "data:")) for url in asked)


@pytest.fixture(scope="module")
def exported(folder, tmp_path_factory):
    path = tmp_path_factory.mktemp("export") / "class.html"
    assert main(["live", str(folder / "harbour-b.toml"), "--export", str(path)]) == 0
    return path


def test_the_page_without_server_has_every_state_and_every_stop(exported):
    assert exported.stat().st_size < 2_000_000
    text = exported.read_text(encoding="utf-8")
    config = json.loads(re.search(r'id="config">(.*?)</script>', text, re.DOTALL)[1])
    groups = config["baked"]["groups"]
    assert len(groups) == 25
    for key, group in groups.items():
        bit, extra = map(int, key.split(",")) if key else (0, 0)
        for held, place in enumerate(group["reads"]):
            bits = expected_bits(held, stopped_bit=bit, extra_clocks=extra)
            byte = sum(128 >> n for n, one in enumerate(bits) if one)
            assert group["kinds"][place][2] == byte, (key, held)


def test_the_page_without_server_works_alone(browser, exported, server):
    browser.opened(exported)
    until(browser, lambda: byte_on(browser) == "0")
    for name in ("B", "Right"):
        click(browser, switch(browser, name))
    until(browser, lambda: byte_on(browser) == str(0x41))
    set_to(browser, by(browser, "what"), "fetch")
    set_to(browser, by(browser, "bit"), 2)
    stopped = server.bench.read(State(held=0x41, event="fetch", bit=2))
    pair = stopped.run.reads[stopped.number]
    until(browser, lambda: byte_on(browser) == str(pair.byte))
    got = browser.execute_script(
        "const { wave } = document.getElementById('digital').wave;"
        "return wave.rows.map((row) => [row.name, row.times.map((t) =>"
        " (t - wave.reads[0].start) * wave.unit), [...row.levels]])"
    )
    start = pair.read.start_ps
    rows = {name: (times, levels) for name, times, levels in got}
    for name, key in (("clock at pad", "cable.clock"), ("data", "cable.data")):
        wire = stopped.run.timeline.wires[key]
        times, levels = rows[name]
        inside = np.array(times[1:]) + start
        assert set(inside) <= set(wire.times.tolist())
        assert wire.at(inside).tolist() == levels[1:]
    assert rows["B"][1] == [1]
    assert rows["A"][1] == [0]
    by(browser, "print")
    browser.execute_script("document.querySelectorAll('.go')[3].click()")
    until(browser, lambda: byte_on(browser) == str(0x0F))
    assert switch(browser, "Up").is_selected()
    assert not switch(browser, "B").is_selected()
    assert browser.errors() == []
    assert browser.violations() == []
    asked = [json.loads(entry["message"])["message"] for entry in browser.get_log("performance")]
    urls = {one["params"]["request"]["url"] for one in asked
            if one["method"] == "Network.requestWillBeSent"}  # fmt: skip
    assert {url for url in urls if not url.startswith("data:")} <= {
        "file://" + quote(str(exported))
    }
