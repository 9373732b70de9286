"""What a page shows of the files behind it is enough to make them again."""

import hashlib
import re
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from padbench.cli.outputs import repeated
from padbench.jobs.loading import design_of
from padbench.results.inputs import LONGEST, Input, input_of
from padbench.routines.source import load_routine


def from_dump(text: str) -> bytes:
    """As ``xxd -r`` reads it: an offset, a colon, hex digits up to two blanks."""
    made = bytearray()
    for line in text.splitlines():
        offset, rest = line.split(": ", 1)
        assert int(offset, 16) == len(made)
        made += bytes.fromhex(rest.split("  ", 1)[0])
    return bytes(made)


@given(st.binary(max_size=300))
@settings(deadline=None)
def test_machine_code_comes_back_from_its_dump(raw):
    made = Input.of("x.bin", raw)
    assert from_dump(made.text) == raw
    assert made.digest == hashlib.sha256(raw).hexdigest()
    assert "xxd -r" in made.about


def test_text_stays_text_and_what_is_too_long_leaves_its_digest(tmp_path):
    raw = "\ufeff# ä🎮\r\n".encode()
    made = Input.of("a.toml", raw)
    assert (made.text, made.about, made.digest) == (
        "# ä🎮\r\n",
        "",
        hashlib.sha256(raw).hexdigest(),
    )
    assert from_dump(Input.of("a.gz", b"\x1f\x8b\x00").text) == b"\x1f\x8b\x00"
    path = tmp_path / "long.csv"
    raw = b"1,2,3\n" * (LONGEST // 6 + 1)
    path.write_bytes(raw)
    made = input_of(path)
    assert (made.text, made.digest) == ("", hashlib.sha256(raw).hexdigest())
    assert re.match(rf"{len(raw)} bytes, too many", made.about)
    assert input_of(tmp_path) is None
    assert input_of(tmp_path / "none") is None


def test_the_command_has_file_names_and_no_outputs(tmp_path):
    sheet = tmp_path / "my pad.toml"
    sheet.write_text("")
    arguments = ["--junit=x.xml", str(sheet), "--report", "r.html", "--json", "--no-waves"]
    assert repeated("verify", arguments) == "padbench verify 'my pad.toml'"
    assert repeated("inspect", ["w.vcd", f"--sheet={sheet}", "--waves", "d", "--passes", "2"]) == (
        "padbench inspect w.vcd '--sheet=my pad.toml' --passes 2"
    )
    assert repeated("routine", ["x" * 5000, "\0"]).startswith("padbench routine xxx")


def test_a_poll_that_is_machine_code_is_on_the_page_of_a_sheet(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    code = b"".join(code for _, code in load_routine("read-once").segments)
    Path("mine.bin").write_bytes(code)
    text = (Path(__file__).parents[2] / "sim" / "sheets" / "harbour-b.toml").read_text("utf-8")
    text = re.sub(r"\[poll\][^\[]*", '[poll]\nroutine = "mine.bin"\nline = 250\n\n', text)
    Path("pad.toml").write_text(text, encoding="utf-8")
    design = design_of(Path("pad.toml"))
    names = {file.name: file for file in design.inputs()}
    assert from_dump(names["mine.bin"].text) == code
    assert design.sheet.poll.line == 250
