"""What the page of a sheet says, before any template: what to buy, and where things went wrong."""

import io
from dataclasses import replace
from pathlib import Path

from selenium.webdriver.common.by import By

from padbench.core.findings import COUNTED
from padbench.jobs.loading import design_of
from padbench.jobs.verify import verify_result
from padbench.results.blocks import Articles, Prose, Table
from padbench.results.html_page import write_page
from padbench.results.inputs import Input
from padbench.results.result import Section, combined
from padbench.results.wave_data import event_of

SHEETS = Path(__file__).parents[2] / "sim" / "sheets"


def made(result):
    return result, {section.id: section for section in result.sections}


def test_revision_a_says_what_to_buy_and_b_nothing(page_of):
    page, sections = made(page_of("harbour-a")[1])
    assert list(sections)[1:4] == ["change", "buy", "drawing"]
    assert (page.verdict, page.word) == ("fail", "FAILS.")
    (table,) = sections["buy"].blocks
    assert isinstance(table, Table)
    # IEC 60062: 150 kΩ is brown green yellow, gold for 5 %.
    assert table.rows[0] == (
        "8 ×",
        "The pull-up resistors",
        "150 kΩ ± 5 %",
        "brown green yellow gold",
    )
    assert [row[1] for row in table.rows[1:]] == [
        "The resistor from latch to supply", "The resistor from clock to supply",
    ]  # fmt: skip
    page, sections = made(page_of("harbour-b")[1])
    assert (page.verdict, page.word) == ("pass", "Passes.")
    assert "buy" not in sections
    # Those that hold are folded, and so are all findings that do, by their margins.
    assert [caption for caption, _ in sections["scenarios"].blocks[0].groups if caption] == [
        f"Those that hold: {len(page.runs)}"
    ]
    holding = next(one for one in sections["findings"].blocks if getattr(one, "folded", False))
    shares = [
        found.margin / abs(found.limit)
        for found, _ in holding.rows
        if found.margin is not None and found.limit and found.unit not in COUNTED
    ]
    assert shares == sorted(shares)
    assert len(shares) > 20
    assert {found.verdict for found, _ in holding.rows} == {"pass"}
    assert [found for found, _ in sections["thinnest"].blocks[0].rows] == [*page.answer.thinnest]
    assert "change" not in sections


def test_what_the_sheet_says_now_is_in_words(page_of):
    block, checked, *_ = made(page_of("harbour-a")[1])[1]["change"].blocks
    assert "everything holds: calculated and played again" in checked.lines[0]
    now = {change.key: said for change, said in block.items}
    assert now["buttons"] == "Up on 3, Down on 4"
    assert now["pull-up.value"] == "10k ± 5 %"
    for change, said in block.items:
        assert "." not in change.title
        assert not set("{}[]'") & set(said)
        assert len(change.others) <= 6


def test_what_a_poll_got_wrong_is_marked_at_its_last_pass(page_of):
    result = page_of("harbour-a")[1]
    run = next(run for run in result.runs if run.name == "read-twice-rejects")
    polls = [problem for problem in run.problems if problem.says.startswith("poll ")]
    assert polls
    for problem in polls:
        number = int(problem.says.split()[1].rstrip(":"))
        assert problem.at == run.reads[2 * number - 1].read.start_ps
    events = {event_of(run.reads[problem.read - 1])[0] for problem in polls}
    design = design_of(SHEETS / "harbour-a.toml")
    _, sections = made(verify_result(design, replace(result.data, runs=(run,)), (), {}))
    (block,) = sections["scenarios"].blocks
    assert isinstance(block, Articles)
    (article,) = block.articles
    assert events <= {at for at, _ in article.wave().marks}


def test_what_the_sheet_says_is_broken_is_named_and_marked(page_of, tmp_path):
    fault = '\n[[fault]]\nkind = "input-at-output"\nat = "Up"\n'
    path = tmp_path / "broken.toml"
    path.write_text((SHEETS / "harbour-b.toml").read_text() + fault)
    trial = replace(page_of("harbour-b")[1].data, runs=())
    _, sections = made(verify_result(design_of(path), trial, (), {}))
    says, drawn, _ = sections["drawing"].blocks
    assert "pin 4, the input of Up, is bridged to pin 3 beside it" in says.lines[0]
    assert drawn.drawn[0][1].count("stroke:#b00020") == 2  # a ring each
    sound = made(page_of("harbour-b")[1])[1]["drawing"].blocks[0]
    assert "#b00020" not in sound.drawn[0][1]


def page_text(result):
    out = io.StringIO()
    write_page(result, out)
    return out.getvalue()


def test_names_and_commands_on_a_page_are_those_to_be_copied(page_of):
    """A number and its unit are kept on one line by another blank, which no file name has."""
    _, result = page_of("harbour-a")
    name, text = "rev 5 V.toml", "only a line of 3 V"
    play = Prose(["To see it: padbench play 'rev 5 V.toml' --scenario idle", "It is 5 V."])
    changed = replace(
        result, make_sections=lambda: [Section("one", "One", [play])],
        inputs=(Input.of(name, text.encode()),), again=f"padbench verify '{name}'",
    )  # fmt: skip
    page = page_text(changed)
    assert "It is 5\N{NO-BREAK SPACE}V." in page
    assert "padbench play &#39;rev 5 V.toml&#39;" in page
    assert "padbench verify &#39;rev 5 V.toml&#39;" in page
    assert f"<h3><bdi>{name}</bdi></h3>" in page
    assert text in page


def test_a_page_of_several_begins_with_what_each_does(browser, page_of, tmp_path):
    """Not with the ports of the first alone, as if they were all."""
    pads = [replace(page_of(name)[1], again="") for name in ("harbour-b", "harbour-a")]
    path = tmp_path / "both.html"
    path.write_text(page_text(combined(pads, "files")), encoding="utf-8")
    browser.opened(path, width=390)
    head = browser.find_element(By.TAG_NAME, "header").text
    places = [
        head.index(says)
        for says in (
            "revision B: Passes.", "works", "revision A: FAILS.", "Up and Down are swapped",
            "nothing reads", "The resistor from clock to supply",
        )
    ]  # fmt: skip
    assert places == sorted(places)
    skip = browser.find_element(By.CLASS_NAME, "skip")
    assert skip.rect["x"] + skip.rect["width"] < 0
    assert browser.overflowing() == []
