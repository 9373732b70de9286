"""How to add: the recipes of DEVELOPERS.md, each followed literally on a copy of the tables.

What was added must be known to the sheet, to the command line and to the lists that people read.
"""

import re
import shutil
import sys
from pathlib import Path
from types import ModuleType

import pytest

from padbench import parts
from padbench.cli import main, options, outputs
from padbench.parts import consoles, figure, port_kinds, registers
from padbench.scenarios import SCENARIOS, Scenario
from padbench.scenarios.timetable import Timetable, scenario
from padbench.sheet import SheetError, load_sheet, starter
from padbench.sheet.simulators import SIMULATORS, Simulator

CACHES = (registers._registers, port_kinds._ports, consoles._consoles, consoles._polls, starter)


@pytest.fixture
def add(tmp_path, monkeypatch):
    """``add("ports.toml", text)`` writes an entry to a copy of that table."""
    folder = tmp_path / "tables"
    folder.mkdir()
    for table in Path(parts.__file__).parent.glob("*.toml"):
        shutil.copy(table, folder)
    monkeypatch.setattr(figure, "FOLDER", folder)

    def write(name, text):
        with (folder / name).open("a", encoding="utf-8") as table:
            table.write(text)
        for cache in CACHES:
            cache.cache_clear()

    yield write
    for cache in CACHES:
        cache.cache_clear()


def copied(table: str, old: str, new: str) -> str:
    """A shipped entry under another name."""
    text = (Path(parts.__file__).parent / table).read_text(encoding="utf-8")
    start = text.index(f"[{old}]")
    following = re.compile(rf"^\[(?!{re.escape(old)}[\].])", re.M).search(text, start)
    entry = text[start : following.start() if following else None]
    return "\n" + re.sub(rf"^\[{re.escape(old)}", f"[{new}", entry, flags=re.M)


def on_disk(tmp_path, text):
    path = tmp_path / "pad.toml"
    path.write_text(text, encoding="utf-8")
    return str(path)


def refused(text):
    with pytest.raises(SheetError) as caught:
        load_sheet(text)
    return str(caught.value)


def test_a_part(add, tmp_path):
    add("registers.toml", copied("registers.toml", "HEF4021B", "NEW4021"))
    assert "NEW4021" in parts.register_names()
    assert "NEW4021" in starter()
    sheet = load_sheet(starter().replace('part = "CD4021B"', 'part = "NEW4021"'))
    assert sheet.part.name == "NEW4021"
    assert sheet.part.removal.cited.title == "taken from the CD4021B"
    assert "NEW4021" in refused(starter().replace('part = "CD4021B"', 'part = "?"'))
    text = starter().replace('part = "CD4021B"', 'part = "NEW4021"')
    assert main(["play", on_disk(tmp_path, text), "--scenario", "held", "--no-waves"]) == 0


def test_a_kind_of_port(add, tmp_path, capsys):
    add("ports.toml", copied("ports.toml", "push-pull", "shelf"))
    assert "#   shelf: drives latch and clock both ways" in starter()
    text = starter().replace('"push-pull", "pull-down-only"]', '"push-pull", "shelf"]')
    assert load_sheet(text).port("shelf").drives_high
    assert "shelf" in refused(starter().replace('["push-pull", ', '["?", '))
    assert main(["verify", on_disk(tmp_path, text), "--no-waves", "--json"]) == 0
    assert "port.shelf." in capsys.readouterr().out


def test_a_named_poll(add, tmp_path):
    add("polls.toml", copied("polls.toml", "slow-loop", "slower"))
    assert "#   slower: a loop with bookkeeping" in starter()
    text = starter().replace('use = "plain-loop"', 'use = "slower"')
    assert load_sheet(text).poll.clock_high.nominal == pytest.approx(16.8e-6)
    assert "slower" in refused(starter().replace('use = "plain-loop"', 'use = "?"'))
    assert main(["play", on_disk(tmp_path, text), "--scenario", "held", "--no-waves"]) == 0


def test_a_console(add, tmp_path, capsys):
    add("consoles.toml", copied("consoles.toml", "50hz", "odd"))
    assert '"60hz", "50hz", "odd"' in starter()
    text = starter().replace('use = "plain-loop"', 'routine = "read-twice"\nconsole = "odd"')
    assert load_sheet(text).poll.console == "odd"
    assert "odd" in refused(text.replace('"odd"\n', '"?"\n', 1))
    for command in (
        ["routine", "read-twice"],
        ["sweep", "--routine", "read-twice"],
        ["latency", "--routine", "read-twice"],
    ):
        assert main([*command, "--console", "odd"]) == 0
        capsys.readouterr()
        with pytest.raises(SystemExit):
            main([command[0], "--help"])
        assert "{60hz,50hz,odd}" in capsys.readouterr().out
    assert main(["play", on_disk(tmp_path, text), "--scenario", "idle", "--no-waves"]) == 0


def test_a_simulator(monkeypatch, tmp_path, capsys):
    monkeypatch.setitem(SIMULATORS, "third", Simulator("vhdl", ("third",), "third-simulator"))
    hdl = '[hdl]\nsources = ["a.vhd"]\ntop = "a"\nlanguage = "vhdl"\nsimulator = "third"\n'
    sheet = load_sheet(starter() + hdl)
    assert sheet.hdl.engine == "third"
    assert sheet.hdl.fitting == ("ghdl", "third")
    assert "third" in refused(starter() + hdl.replace('"third"', '"?"'))
    wrong = starter() + hdl.replace('"vhdl"', '"verilog"').replace(".vhd", ".v")
    assert "use icarus or verilator" in refused(wrong)
    with pytest.raises(SystemExit):
        main(["regress", "--help"])
    assert "{icarus,ghdl,verilator,third}" in capsys.readouterr().out


@scenario("tap")
def tap(timetable: Timetable) -> None:
    """A tapped B.

    More for those who read the code.
    """
    timetable.hold(["B"])
    timetable.poll()
    timetable.hold([])
    timetable.poll()


def test_a_scenario(monkeypatch, tmp_path, capsys):
    added: Scenario = tap
    monkeypatch.setitem(SCENARIOS, added.name, added)
    assert added.says == "A tapped B."
    path = on_disk(tmp_path, starter())
    assert main(["play", path, "--scenario", "tap", "--no-waves"]) == 0
    assert main(["play", path, "--scenario", "?", "--no-waves"]) == 2
    assert "tap" in capsys.readouterr().err


RENDERER = """
def write_rows(result, out):
    for found in result.findings:
        out.write(f"{found.id} {found.verdict} {found.margin}\\n")
"""
ARGUMENT = '    parser.add_argument("--rows", metavar="FILE", type=Path, help="a row a finding")\n'
LINES = """    if options.rows is not None:
        from padbench.results.rows import write_rows

        with whole_file(options.rows) as out:
            write_rows(result, out)
        wrote["Rows"] = options.rows
"""
COMMANDS = {
    "wiring": ([], "wiring.order pass"),
    "play": (["--scenario", "idle", "--no-waves"], "timing."),
}


@pytest.fixture
def with_rows(monkeypatch):
    """A module in `results`, an argument, some lines of `emit`, a name in `OUTPUTS`."""
    module = ModuleType("padbench.results.rows")
    exec(RENDERER.replace("\\\\", "\\"), vars(module))
    monkeypatch.setitem(sys.modules, module.__name__, module)
    monkeypatch.setattr(options, "OUTPUTS", (*options.OUTPUTS, "rows"))
    text = Path(outputs.__file__).read_text(encoding="utf-8")
    for before, more in (("    for name, says in", ARGUMENT), ("    for name in options.", LINES)):
        assert text.count(before) == 1
        text = text.replace(before, more + before)
    changed = ModuleType(outputs.__name__)
    exec(text, vars(changed))
    monkeypatch.setitem(sys.modules, outputs.__name__, changed)
    for command in COMMANDS:
        # Those take what they need of `outputs` when they are imported.
        monkeypatch.delitem(sys.modules, f"padbench.cli.{command}", raising=False)
    yield
    for command in COMMANDS:
        sys.modules.pop(f"padbench.cli.{command}", None)


@pytest.mark.usefixtures("with_rows")
def test_a_renderer(tmp_path, capsys):
    path = on_disk(tmp_path, starter())
    for command, (more, row) in COMMANDS.items():
        target, page = tmp_path / f"{command}.rows", tmp_path / f"{command}.html"
        asked = [command, path, *more, "--rows", str(target)]
        assert main([*asked, "--report", str(page)]) == 0
        assert "Rows" in capsys.readouterr().out
        assert row in target.read_text(encoding="utf-8")
        assert "--rows" not in page.read_text(encoding="utf-8")  # whoever repeats it names his own
        assert main([*asked[:-1], str(tmp_path)]) == 2  # tried before the work
        assert capsys.readouterr().err.count("\n") == 1
