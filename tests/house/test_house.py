"""The top level, and what a wheel carries."""

import subprocess
import sys
import tomllib
import zipfile
from pathlib import Path

ROOT = Path(__file__).parents[2]
TOP = {
    "README.md",
    "DEVELOPERS.md",
    "LICENSE",
    "pyproject.toml",
    "hdl",
    "sim",
    "tests",
    "waves",
}


def tracked() -> list[str]:
    listed = subprocess.run(
        ["git", "ls-files", "-co", "--exclude-standard"],
        cwd=ROOT,
        check=True,
        capture_output=True,
        text=True,
    )
    return listed.stdout.split("\n")[:-1]


def test_nothing_else_stands_at_the_top():
    visible = {name.split("/")[0] for name in tracked() if not name.startswith(".")}
    assert visible <= TOP
    assert visible >= TOP - {"hdl"}


def test_every_dependency_has_its_reason():
    """DEVELOPERS.md says of each dependency what it is for."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    extras = project["optional-dependencies"]
    wanted = [*project["dependencies"], *(need for needs in extras.values() for need in needs)]
    names = {need.split(">")[0].split("[")[0] for need in wanted} - {"padbench"}
    text = (ROOT / "DEVELOPERS.md").read_text()
    assert {name for name in names if f"`{name}`" not in text} == set()


def test_the_wheel_carries_package_tables_and_sheets(tmp_path):
    command = [sys.executable, "-m", "pip", "wheel", "--quiet", "--no-deps", "-w", str(tmp_path)]
    subprocess.run([*command, str(ROOT)], check=True, capture_output=True)
    (wheel,) = tmp_path.glob("*.whl")
    names = set(zipfile.ZipFile(wheel).namelist())
    assert names >= {
        "padbench/__main__.py",
        "padbench/py.typed",
        "padbench/routines/shipped/read-twice.asm",
        "padbench/parts/consoles.toml",
        "padbench/parts/registers.toml",
        "padbench/results/page/page.html.j2",
        "padbench/results/page/blocks/articles.html.j2",
        "padbench/results/page/uplot.js",
        "padbench/results/page/uplot-licence.txt",
        "padbench/sheet/starter.toml",
        "padbench/sheets/harbour-a.toml",
        "padbench/sheets/harbour-b.toml",
        "padbench/sheets/harbour-hdl.toml",
        "padbench/hdl/verilog/fpga_pad.v",
        "padbench/hdl/vhdl/port_reader.vhd",
    }
    package = ROOT / "sim" / "padbench"
    assert names >= {
        f"padbench/{path.relative_to(package).as_posix()}"
        for path in package.rglob("*")
        if path.suffix in (".py", ".toml", ".j2", ".js", ".css", ".v", ".ys", ".asm", ".html")
    }
    assert not [name for name in names if name.startswith("tests")]
    (entries,) = [name for name in names if name.endswith("entry_points.txt")]
    assert "padbench.pytest_plugin" in zipfile.ZipFile(wheel).read(entries).decode()
