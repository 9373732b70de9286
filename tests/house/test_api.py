"""The package face: its names, and that nothing is imported before it is used."""

import ast
import inspect
import subprocess
import sys
from pathlib import Path

import pytest

import padbench

PACKAGE = Path(padbench.__file__).parent

PUBLIC = {
    "Finding", "Read", "Refusal", "Result", "Scenario", "Sheet", "SheetError", "Timeline", "Wire",
    "cosim", "decode", "diagnose", "inspect", "json_schema", "latency", "load_sheet", "model",
    "parts", "plan_wiring", "play", "read_wave", "regress", "routine", "sweep", "verify",
    "write_wave",
}  # fmt: skip


def test_these_are_the_public_names():
    assert set(padbench.__all__) == PUBLIC
    assert set(dir(padbench)) >= PUBLIC


@pytest.mark.parametrize("name", sorted(PUBLIC))
def test_every_public_name_is_there_and_says_how_it_is_used(name):
    value = getattr(padbench, name)
    assert len(inspect.getdoc(value) or "") > 40


def test_an_unknown_name_is_an_attribute_error():
    with pytest.raises(AttributeError, match="no attribute 'verfy'"):
        padbench.verfy  # noqa: B018


def test_no_module_of_the_package_hides_a_public_function():
    """``padbench.verify`` has to stay the function, whatever is imported."""
    functions = PUBLIC - {"cosim", "model", "parts"}
    taken = {path.stem for path in PACKAGE.iterdir()} & functions
    assert not taken


def test_the_import_is_lazy():
    code = "import padbench, sys; print(*sorted(m for m in sys.modules if '.' in m or m in HEAVY))"
    heavy = "HEAVY = {'numpy', 'pydantic', 'myhdl', 'rich', 'cocotb', 'typing', 'dataclasses'};"
    done = subprocess.run(
        [sys.executable, "-S", "-c", heavy + f"sys = __import__('sys'); sys.path.insert(0, "
         f"{str(PACKAGE.parent)!r});" + code],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    loaded = set(done.stdout.split())
    assert not {name for name in loaded if name.startswith("padbench.")}
    assert not loaded & {"numpy", "pydantic", "myhdl", "rich", "cocotb", "typing", "dataclasses"}


def test_the_types_see_every_lazy_name():
    """What is imported for type checkers is what is imported for real."""
    tree = ast.parse((PACKAGE / "__init__.py").read_text())
    typed = {
        alias.name: node.module
        for node in ast.walk(tree)
        if isinstance(node, ast.ImportFrom) and node.module != "importlib"
        for alias in node.names
    }
    homes = {name: f"padbench.{home}" for name, home in padbench._HOMES.items()}
    packages = dict.fromkeys(("cosim", "model", "parts"), "padbench")
    assert typed == homes | packages
