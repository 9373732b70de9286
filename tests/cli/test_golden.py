"""The text of every command as a person reads it, in golden/*.txt, and never more than 24 lines.

`pytest tests/cli/test_golden.py --write-golden` writes them anew; read the difference before you
keep it.
"""

import re
import shutil
from functools import cache
from pathlib import Path
from typing import NamedTuple

import pytest
from rich.cells import cell_len

from padbench.cli import main
from padbench.jobs.verify import verify_each
from padbench.scenarios import SCENARIOS

ROOT = Path(__file__).parents[2]
GOLDEN = Path(__file__).parent / "golden"
HEIGHT, WIDTH = 24, 80
TO_COPY = re.compile(r"[A-Z]\w+: \S+$")
"""A command line or a path is not broken, so that it can be copied."""


class Case(NamedTuple):
    """A command line in a folder with sheets, captures and designs, and its exit code."""

    words: str
    code: int


CASES = {
    "verify-a": Case("verify harbour-a.toml", 1),
    "verify-b": Case("verify harbour-b.toml --report b.html --junit b.xml", 0),
    "verify-b-all": Case("verify harbour-b.toml --all", 0),
    "verify-both": Case("verify harbour-a.toml harbour-b.toml", 1),
    "play-a-all-states": Case("play harbour-a.toml --scenario all-states", 1),
    "play-b-stopped-last-bit": Case("play harbour-b.toml --scenario stopped-last-bit", 0),
    "play-routine": Case("play --routine read-once --period 432 --case held=0 phase=18 pad=1", 1),
    "wiring-a": Case("wiring harbour-a.toml", 1),
    "wiring-b": Case("wiring harbour-b.toml", 0),
    "diagnose-b": Case("diagnose harbour-b.toml idle=none A=A,none B=B", 1),
    "diagnose-b-2": Case("diagnose harbour-b.toml --file harbour-b-2.symptoms", 1),
    "inspect-each-button": Case("inspect each-button.vcd", 0),
    "inspect-exposed": Case("inspect exposed-read-twice.vcd", 1),
    "inspect-noise": Case("inspect noise.csv", 1),
    "routine-read-once": Case("routine read-once", 1),
    "routine-read-twice": Case("routine read-twice", 0),
    "routine-exposed": Case("routine read-twice-36.asm --result buttons", 1),
    "sweep-read-once": Case("sweep --routine read-once --period 432 --period 576 --map", 1),
    "sweep-a": Case("sweep --sheet harbour-a.toml", 1),
    "sweep-b": Case("sweep --sheet harbour-b.toml", 0),
    "latency": Case("latency --routine read-twice --bounce 5_ms", 0),
    "regress-b": Case(
        "regress harbour-hdl.toml --no-waves --scenario each-button --scenario cut-short", 0
    ),
    "regress-inverted": Case("regress inverted.toml --no-waves", 1),
}


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """Everything that the command lines name, without a path that is only of this machine."""
    here = tmp_path_factory.mktemp("golden") / "sim" / "sheets"
    shutil.copytree(ROOT / "sim" / "sheets", here)
    shutil.copytree(ROOT / "hdl", here / ".." / ".." / "hdl")
    for name in WAVES:
        shutil.copy(ROOT / "waves" / name, here)
    shutil.copy(ROOT / "tests" / "routines" / "sources" / "read-twice-36.asm", here)
    _write_noise(here / "noise.csv")
    _write_inverted(here)
    return here


def _write_noise(path: Path) -> None:
    """Three reads in volts: the clock rings at every edge, the data stands half-way."""
    rows = [(0, 0, 5)]
    for start in (100, 20_100, 40_100):
        rows += [(start, 5, 5), (start + 12, 0, 5)]
        for bit in range(8):
            fall = start + 30 + 10 * bit
            rows += [(fall, 0, 0), (fall + 1, 0, 5), (fall + 1.101, 0, 0), (fall + 1.2, 0, 5)]
    rows.append((60_000, 0, 5))
    lines = [f"{at},{latch},{clock},2.4" for at, latch, clock in rows]
    path.write_text("\n".join(["time (us),latch,clock,data", *lines]) + "\n")


def _write_inverted(here: Path) -> None:
    """The reference register with its output upside down."""
    sound = (here / ".." / ".." / "hdl" / "verilog" / "shift_register.v").read_text()
    end = "assign data = stages[STAGES-1];"
    assert end in sound
    (here / "inverted.v").write_text(sound.replace(end, end.replace("stages", "~stages")))
    sheet = (here / "harbour-hdl.toml").read_text().split("\n[hdl]")[0]
    hdl = (
        'sources = ["inverted.v"]\ntop = "shift_register"\nlanguage = "verilog"\n'
        'simulator = "icarus"\nrole = "pad"\nlatch = "load"\nbuttons = "inputs"\n'
        'serial = "serial"\nparameters = { STAGES = 8 }\n'
    )
    (here / "inverted.toml").write_text(f"{sheet}\n[hdl]\n{hdl}")


def on_screen(lines: list[str], columns: int) -> int:
    """How many lines a screen makes of them."""
    return sum(max(1, -(-cell_len(line) // columns)) for line in lines)


def assert_screenful(text: str) -> None:
    """24 lines of 80 columns, but for the table of pins, and nothing cut."""
    lines = text.splitlines()
    pins = [at for at, line in enumerate(lines) if line.startswith("Pins: ")]
    if pins:
        del lines[pins[0] : max(at for at, line in enumerate(lines) if not line.strip()) + 1]
    assert 0 < on_screen(lines, WIDTH) <= HEIGHT
    assert [line for line in lines if cell_len(line) > WIDTH and not TO_COPY.match(line)] == []
    assert "…" not in text


def _words(text: str) -> list[str]:
    """Words of a command line; what follows --case is one of them, and _ stands for a blank."""
    before, case, after = text.partition(" --case ")
    words = [word.replace("_", " ") for word in before.split()]
    return [*words, "--case", after] if case else words


def _shipped(pattern: str, folder: str = "sim/sheets") -> list[str]:
    return sorted(path.name for path in (ROOT / folder).glob(pattern))


SHEETS = [name for name in _shipped("*.toml") if name != "harbour-scenarios.toml"]
PADS = [name for name in SHEETS if name != "harbour-adapter.toml"]
BOARDS = ["harbour-b.net", "harbour-c.cir"]
ROUTINES = [Path(name).stem for name in _shipped("*.asm", "sim/padbench/routines/shipped")]
WAVES = _shipped("*.vcd", "waves")
TWO_RATES = "--period 432 --period 3424"
EVERYTHING = [
    *(f"verify {name}" for name in [*SHEETS, "harbour-c.cir"]),
    f"verify {' '.join(SHEETS)}",
    *(f"wiring {name}" for name in [*PADS[2:], *BOARDS, "harbour-adapter.toml --pad Player_2"]),
    *(f"diagnose harbour-b.toml --file {name}" for name in _shipped("*.symptoms")),
    *(f"diagnose {name} idle=none A=none B=B" for name in PADS),
    *(f"play {pad} --scenario {name}" for pad in PADS[:1] for name in SCENARIOS),
    *(f"routine {name} {TWO_RATES}" for name in ROUTINES),
    *(f"sweep --sheet {name}" for name in PADS[2:]),
    *(f"latency --routine {name} --line 3 --line 200" for name in ROUTINES),
    *(f"inspect {name}" for name in WAVES),
    f"inspect {' '.join(WAVES)}",
    *(f"new from-{name[8]}.toml --from {name}" for name in BOARDS),
]
"""Every command that plays or reads, over all that is shipped and has no text in golden/."""


@pytest.fixture(scope="module")
def judged():
    """Each sheet is judged once, however many of these texts show it."""
    return cache(lambda sheet: verify_each(sheet, waves=Path("waves")))


@pytest.fixture
def in_folder(folder, judged, monkeypatch):
    """Where command lines are run."""
    monkeypatch.setattr("padbench.cli.verify.verify_each", lambda sheet, **_: judged(str(sheet)))
    monkeypatch.chdir(folder)
    monkeypatch.delenv("COLUMNS", raising=False)


@pytest.mark.parametrize("words", EVERYTHING)
def test_it_is_a_screenful_and_nothing_is_cut(words, in_folder, capfd):
    assert main(_words(words)) in {0, 1}
    assert_screenful(capfd.readouterr().out)


@pytest.mark.parametrize("name", CASES)
def test_the_text_of_a_command(name, in_folder, capfd, request):
    case = CASES[name]
    code = main(_words(case.words))
    out = capfd.readouterr().out
    file = GOLDEN / f"{name}.txt"
    shown = f"$ padbench {case.words}\n{out}"
    # Blanks at the end of a line are no text, and nobody sees them.
    shown = "\n".join(line.rstrip() for line in shown.splitlines()) + "\n"
    if request.config.getoption("--write-golden"):
        file.write_text(shown)
    assert code == case.code
    if "--all" not in case.words:
        assert_screenful(out)
    assert shown == file.read_text()


@pytest.mark.parametrize("columns", [40, 60, 100, 200])
def test_a_screen_of_another_width_has_24_lines_too(columns, folder, capfd, monkeypatch):
    monkeypatch.chdir(folder)
    monkeypatch.setenv("COLUMNS", str(columns))
    main(["inspect", "exposed-read-twice.vcd"])
    lines = capfd.readouterr().out.splitlines()
    assert on_screen(lines, columns) <= HEIGHT
    assert max(map(cell_len, lines)) <= columns
    assert max(map(cell_len, lines)) > columns * 0.8
