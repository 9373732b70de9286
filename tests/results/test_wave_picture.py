"""The figure of a read: what is drawn is the timeline, and no label runs into another."""

import re
import warnings
from dataclasses import replace
from functools import cache
from itertools import combinations
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg

from padbench.cli import main
from padbench.core.levels import FLOATING, HIGH, LOW, UNKNOWN
from padbench.results.pictures import new_figure, save_figure
from padbench.results.wave_data import ROWS, wave_of
from padbench.results.wave_picture import LABELS, shown_read, wave_figure
from padbench.scenarios import SCENARIOS
from padbench.sheet import load_sheet
from padbench.trials.trial import run_scenario

SHEETS = Path(__file__).parents[2] / "sim" / "sheets"
SVG = Path("figure.svg")
SVG_SPACE = "http://www.w3.org/2000/svg"


@pytest.fixture(scope="module")
def figures(page_of):
    """By sheet: each run, the number of the read shown, and the figure, drawn once for all."""

    @cache
    def of(name):
        runs = page_of(name)[1].runs
        return [
            (run, shown_read(run), wave_figure(run, shown_read(run), SVG, pad="A pad"))
            for run in runs
        ]

    return of


def test_every_edge_in_the_figure_is_one_of_the_timeline_and_none_is_missing(figures):
    checked = 0
    for name in ("harbour-a", "harbour-b"):
        for run, number, figure in figures(name):
            (axes,) = figure.axes
            start = run.reads[number].read.start_ps
            left, right = (start + round(at * 1e6) for at in axes.get_xlim())
            lines = {line.get_gid(): line for line in axes.lines}
            for key, _ in ROWS:
                wire, line = run.timeline.wires[key], lines[key]
                assert line.get_drawstyle() == "steps-post"
                times = np.rint(np.asarray(line.get_xdata()) * 1e6).astype(np.int64) + start
                heights = np.asarray(line.get_ydata())
                inside = (wire.times > left) & (wire.times < right)
                assert np.array_equal(times[1:-1], wire.times[inside])
                assert (times[0], times[-1]) == (left, right)
                checked += int(inside.sum())
                # Low is lowest, high is highest, neither is half-way; a constant one has one.
                levels = wire.at(times[:-1])
                by_level = {level: set(heights[:-1][levels == level]) for level in range(4)}
                unsure = by_level[UNKNOWN] | by_level[FLOATING]
                assert all(len(found) <= 1 for found in (by_level[0], by_level[1], unsure))
                for low, high in ((LOW, HIGH), (LOW, UNKNOWN), (UNKNOWN, HIGH)):
                    if by_level[low] and by_level[high]:
                        assert max(by_level[low]) < min(by_level[high])
    assert checked > 500


def test_samples_are_where_the_console_sampled_and_say_what_it_saw(figures):
    for run, number, figure in figures("harbour-a"):
        read = run.reads[number].read
        marks = [line for line in figure.axes[0].lines if line.get_gid() == "sample"]
        got = [round(float(mark.get_xdata()[0]) * 1e6) + read.start_ps for mark in marks]
        assert got == list(read.samples)
        filled = [mark.get_markerfacecolor() != "white" for mark in marks]
        assert filled == [bool(bit) for bit in read.bits]


def overlapping(figure) -> list[tuple[str, str]]:
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    texts = [
        text for text in figure.findobj(lambda one: one.get_gid() == LABELS) if text.get_visible()
    ]
    boxes = [(text.get_text(), text.get_window_extent(canvas.get_renderer())) for text in texts]
    width, height = canvas.get_width_height()
    assert len(boxes) > 10
    for said, box in boxes:
        assert min(box.x0, box.y0, width - box.x1, height - box.y1) >= 0, said
    return [(a, b) for (a, one), (b, other) in combinations(boxes, 2) if one.overlaps(other)]


@pytest.mark.parametrize("name", ["harbour-a", "harbour-b"])
def test_no_label_runs_into_another(figures, name):
    for run, _, figure in figures(name):
        assert overlapping(figure) == [], run.name
        # None had to be left out for it.
        assert all(t.get_visible() for t in figure.findobj(lambda one: one.get_gid() == LABELS))


def test_what_happens_is_written_where_it_does_and_whole(figures):
    """Not a word is cut off, however many there are; each stands at its own line."""
    for name in ("harbour-a", "harbour-b"):
        for run, number, figure in figures(name):
            (axes,) = figure.axes
            start = run.reads[number].read.start_ps
            texts: dict[int, str] = {}
            for text in sorted(axes.texts, key=lambda one: -one.get_position()[1]):
                at = round(text.get_position()[0] * 1e6) + start
                texts[at] = f"{texts.get(at, '')} {text.get_text().strip()}"
            assert not any("…" in words for words in texts.values())
            left, right = (start + at * 1e6 for at in axes.get_xlim())
            wave = wave_of(run)
            told = [*wave.marks, *wave.notes]
            assert not told or any(left <= at <= right for at, _ in told), run.name
            for at in [at for at, _ in told if left <= at <= right][:1]:
                assert any(says in texts[at] for moment, says in told if moment == at)


@pytest.mark.parametrize("clocks", [8, 24, 64])
def test_many_clocks_turn_or_thin_out_the_names(clocks):
    sheet = load_sheet(SHEETS / "harbour-b.toml")
    poll = sheet.poll.model_copy(update={"clocks": clocks})
    sheet = sheet.model_copy(update={"poll": poll})
    run = run_scenario(sheet, SCENARIOS["each-button"], "push-pull", "slow")
    assert overlapping(wave_figure(run, 0, SVG, pad="A pad")) == []


def test_where_names_have_no_room_those_of_wrong_bits_are_kept_and_undecided_is_no_byte(page_of):
    run = next(run for run in page_of("harbour-a")[1].runs if run.name == "idle")
    pair = run.reads[0]
    figure = wave_figure(run, 0, SVG, pad="A pad")
    texts = [text.get_text() for text in figure.findobj(lambda one: one.get_gid() == LABELS)]
    assert "  ✗ ???????? = undecided, expected nothing" in texts
    assert "? Right" in texts
    marks = [line for line in figure.axes[0].lines if line.get_gid() == "sample"]
    assert {mark.get_marker() for mark in marks} == {"s"}
    # The same eight samples in a read that has 160.
    read = pair.read
    step = read.samples[1] - read.samples[0]
    samples = tuple(read.samples[0] + step * place // 20 for place in range(160))
    bits = (False, None, *[False] * 5, None, *[False] * 152)
    many = replace(pair, read=replace(read, samples=samples, bits=bits))
    played = replace(run.played, reads=(many,))
    figure = wave_figure(replace(run, play=lambda: played), 0, SVG, pad="A pad")
    assert overlapping(figure) == []
    kept = [
        text.get_text()
        for text in figure.findobj(lambda one: one.get_gid() == LABELS)
        if text.get_visible()
    ]
    assert {"? B", "? Right"} <= set(kept)
    assert "9" not in kept


def test_a_text_is_no_formula_and_a_sign_without_a_glyph_no_noise(tmp_path, page_of):
    _, result = page_of("harbour-b")
    run = replace(result.runs[1], says=r"costs $5, or $\frac{1}{2} 🎮")
    path = tmp_path / "a.png"
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        save_figure(wave_figure(run, 0, path, pad="$x_1$ 🎮" * 50), path)
    assert path.read_bytes().startswith(b"\x89PNG")


@pytest.mark.parametrize(
    ("kind", "magic"), [("svg", b"<?xml"), ("pdf", b"%PDF"), ("png", b"\x89P")]
)
def test_play_writes_the_picture_and_the_same_bytes_each_time(tmp_path, capsys, kind, magic):
    path = tmp_path / "new" / f"a.{kind}"
    sheet = str(SHEETS / "harbour-b.toml")
    command = ["play", sheet, "--scenario", "idle", "--no-waves", "--picture", str(path)]
    assert main(command) == 0
    assert f"Picture: {path}" in capsys.readouterr().out
    first = path.read_bytes()
    assert first.startswith(magic)
    assert main(command) == 0
    assert path.read_bytes() == first
    assert [one.name for one in path.parent.iterdir()] == [path.name]


@pytest.mark.parametrize(
    ("more", "says"),
    [
        (["--picture", "wave.gif"], r"--picture: wave\.gif is no kind of picture"),
        (["--picture", "a.svg", "--read", "0"], "--read: 0 is not between 1 and 8"),
        (["--picture", "a.svg", "--read", "9"], "--read: 9 is not between 1 and 8"),
    ],
)
def test_what_cannot_be_drawn_is_said_in_one_line(tmp_path, monkeypatch, capsys, more, says):
    monkeypatch.chdir(tmp_path)
    sheet = str(SHEETS / "harbour-b.toml")
    assert main(["play", sheet, "--scenario", "each-button", "--no-waves", *more]) == 2
    error = capsys.readouterr().err
    assert re.search(says, error)
    assert error.count("\n") == 1
    assert list(tmp_path.iterdir()) == []


def test_a_chosen_read_is_the_one_that_is_drawn(page_of):
    _, result = page_of("harbour-b")
    run = next(run for run in result.runs if run.name == "each-button")
    texts = [
        t.get_text()
        for t in wave_figure(run, 6, SVG, pad="A pad").findobj()
        if hasattr(t, "get_text")
    ]
    assert any("00000010 = Left" in text for text in texts)
    assert any("read 7 of 8" in text for text in texts)


def test_an_ending_in_capitals_will_do():
    assert new_figure(Path("A.SVG"), 1, 1) is not None


def test_the_pictures_of_the_readme_are_what_their_script_draws(tmp_path, page_of):
    """Edge by edge; the bytes depend on the version of matplotlib."""
    root = SHEETS.parents[1]
    script = (root / "waves" / "pictures" / "draw").read_text(encoding="utf-8")
    readme = (root / "README.md").read_text(encoding="utf-8")
    drawn = re.findall(r"^draw (\S+) (\S+)$", script, re.MULTILINE)
    assert len(drawn) == 2
    for name, scenario in drawn:
        assert f"(waves/pictures/{name}-{scenario}.svg)" in readme
        run = next(one for one in page_of(name)[1].runs if one.name == scenario)
        path = tmp_path / f"{name}.svg"
        pad = load_sheet(SHEETS / f"{name}.toml").pad.name
        save_figure(wave_figure(run, shown_read(run), path, pad=pad), path)
        now, kept = (
            {
                group.get("id"): [one.get("d") for one in group.iter(f"{{{SVG_SPACE}}}path")]
                for group in ElementTree.parse(file).iter(f"{{{SVG_SPACE}}}g")
                if group.get("id") in dict(ROWS)
            }
            for file in (path, root / "waves" / "pictures" / f"{name}-{scenario}.svg")
        )
        assert set(now) == set(dict(ROWS))
        assert now == kept
