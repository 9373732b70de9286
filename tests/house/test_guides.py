"""What README.md and the guides of the folders tell people to type is taken by the programs."""

import argparse
import re
import shlex
from importlib import import_module
from pathlib import Path

import pytest

from padbench.cli import COMMANDS
from padbench.cli.options import Parser
from padbench.sheet import STARTER

ROOT = Path(__file__).parents[2]
GUIDES = sorted(
    guide
    for guide in (ROOT / "README.md", ROOT / "DEVELOPERS.md", *ROOT.glob("*/**/README.md"))
    if not any(part.startswith(".") for part in guide.relative_to(ROOT).parts)
)
NAMES = [guide.relative_to(ROOT).as_posix() for guide in GUIDES]
COMMAND_LINE = re.compile(r"^ {4}(?:\$ )?(?:\S*/)?padbench (.*)$", re.MULTILINE)
LINK = re.compile(r"\]\(([^)#:]+)(?:#([^)]+))?\)")


def command_lines():
    for guide, name in zip(GUIDES, NAMES, strict=True):
        for line in COMMAND_LINE.findall(guide.read_text(encoding="utf-8")):
            words = shlex.split(line, comments=True)
            if words[-1] != "...":
                yield pytest.param(words, id=f"{name}: {' '.join(words)[:60]}")


@pytest.mark.parametrize("words", list(command_lines()))
def test_each_command_line_is_taken(words, monkeypatch):
    class Taken(Exception):
        pass

    def parse(self, arguments, *, intermixed=False):
        if intermixed:
            argparse.ArgumentParser.parse_intermixed_args(self, arguments)
        else:
            argparse.ArgumentParser.parse_args(self, arguments)
        raise Taken

    assert words[0] in COMMANDS
    monkeypatch.setattr(Parser, "parse_args", parse)
    with pytest.raises(Taken):
        import_module(f"padbench.cli.{words[0]}").run(words[1:])
    for word in words[1:]:
        if word.startswith(("sim/", "tests/", "hdl/")):
            assert (ROOT / word).exists()


@pytest.mark.parametrize("name", NAMES)
def test_each_link_leads_somewhere(name):
    guide = ROOT / name
    for file, heading in LINK.findall(guide.read_text(encoding="utf-8")):
        target = guide.parent / file
        assert target.exists(), file
        if heading:
            titles = re.findall(r"^#+ (.*)$", target.read_text(encoding="utf-8"), re.MULTILINE)
            assert heading in {title.lower().replace(" ", "-") for title in titles}


def test_the_readme_is_short():
    assert len((ROOT / "README.md").read_text(encoding="utf-8")) <= 9000


def test_the_python_lines_of_the_readme_run(tmp_path, monkeypatch):
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    block = re.search(r"^## From Python\n\n((?: {4}.*\n|\n)+)", text, re.MULTILINE)
    assert block
    monkeypatch.chdir(tmp_path)
    Path("my-pad.toml").write_text(STARTER, encoding="utf-8")
    lines = [line[4:] for line in block[1].splitlines()]
    assert len(lines) <= 8
    names: dict[str, object] = {}
    exec("\n".join(lines), names)
    assert names["result"].verdict == "pass"
