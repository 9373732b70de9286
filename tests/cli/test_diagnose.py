"""``padbench diagnose`` on the sheet of revision B."""

import io
import json
import re
from functools import cache
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator

import padbench
import padbench.jobs.diagnose as job
from padbench.cli import main
from padbench.core.buttons import BUTTONS
from padbench.results.html_page import write_page
from padbench.sheet import load_sheet

SHEETS = Path(__file__).parents[2] / "sim" / "sheets"
B = str(SHEETS / "harbour-b.toml")
SOUND = ["idle=none", *(f"{name}={name}" for name in BUTTONS)]
FAULT = '\n[[fault]]\nkind = "{}"\n'


@pytest.fixture(scope="module")
def benches():
    """What one sheet and port need, made once."""
    return cache(job.bench_of)


@pytest.fixture(autouse=True)
def _one_dictionary(monkeypatch, benches):
    monkeypatch.setattr(job, "bench_of", benches)


def test_a_sound_pad_is_0_and_anything_else_is_1(capsys):
    assert main(["diagnose", B, *SOUND]) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert "No fault shows. Nothing here speaks against it, on push-pull. 32 faults would" in out
    assert "the supply core of the cable is broken" in out
    assert "do ohms from core to core at the plug: latch to clock." in out
    assert main(["diagnose", B, "idle=none"]) == 1
    assert "NOT DECIDED." in capsys.readouterr().out
    assert main(["diagnose", B, "idle=00000000", "A=00000000", "B=01000000"]) == 1
    out = capsys.readouterr().out
    assert "the contact of A never closes" in out
    assert "Unplug first." in out
    assert len(out.splitlines()) <= 24


def test_json_is_as_its_schema_says(capsys):
    schema = Draft202012Validator(padbench.json_schema("diagnose"))
    main(["diagnose", B, "idle=none", "A=A,none", "pin 9=0.1V", "--json"])
    found = json.loads(capsys.readouterr().out)
    schema.validate(found)
    assert found["reads"]["A"] == {"10000000": 1, "00000000": 1}
    assert found["unsteady"] == ["A"]
    assert (found["verdict"], found["explained"]) == ("fail", True)
    assert found["candidates"][0]["faults"][0]["mend"].startswith("Unplug first.")
    assert found["next"][0]["outcomes"]


@pytest.mark.parametrize("number", [1, 2, 3])
def test_the_symptoms_of_the_toy_library_are_explained(number, capsys):
    file = SHEETS / f"harbour-b-{number}.symptoms"
    assert main(["diagnose", B, "--file", str(file), "--json"]) == 1
    found = json.loads(capsys.readouterr().out)
    best = found["candidates"][0]
    assert best["explains"] == best["reads"]
    kinds = {(fault["kind"], fault["at"]) for fault in best["faults"] + best["beside"]}
    assert {1: ("contact-dead", "A"), 2: ("core-open", "clock"), 3: ("contact-dead", "Left")}[
        number
    ] in kinds


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ([], "nothing was observed"),
        (["A=1010"], 'observation 1: "1010" is no byte'),
        (["C=A"], "is no button"),
        (["A=A", "--pressed", "A, B"], "--pressed: it goes with a capture"),
        (["A=A", "--port", "nine-pin"], "--port: the sheet has no port 'nine-pin'"),
        (["pin 40=1V"], "--meter: pin 40: the CD4021B has pins 1 to 16"),
        (["pin 40=1V", "--ask"], "--meter: pin 40: the CD4021B has pins 1 to 16"),
        (["--meter", "pin 9=1 A"], "--meter 1: "),
        (["--file", "no-such.txt"], "--file: no-such.txt: there is no such file"),
        (["--capture", "no-such.vcd"], "no-such.vcd"),
    ],
)
def test_bad_input_is_one_line_and_2(words, said, capsys):
    assert main(["diagnose", B, *words]) == 2
    out, err = capsys.readouterr()
    assert (out, len(err.splitlines())) == ("", 1)
    assert said in err


def test_a_line_of_a_file_is_named(tmp_path, capsys):
    file = tmp_path / "pad.symptoms"
    file.write_text("idle=none\n\nAA=A\n")
    assert main(["diagnose", B, "--file", str(file)]) == 2
    assert f"{file}:3: " in capsys.readouterr().err
    file.write_bytes(b"\xff\xfe\x00")
    assert main(["diagnose", B, "--file", str(file)]) == 2
    assert f"{file}:1: holds a NUL byte" in capsys.readouterr().err


def test_it_asks_until_it_knows(monkeypatch, capsys):
    """Somebody answers for a pad whose Down is bridged to Select, and has no meter."""

    class Repairer(io.StringIO):
        def readline(self, *_):
            question = capsys.readouterr().err.splitlines()[-1]
            if not question.startswith("hold "):
                return "skip\n"
            held = {name for name in BUTTONS if name in question}
            return (
                "+".join(held | ({"Down", "Select"} if held & {"Down", "Select"} else set())) + "\n"
            )

    monkeypatch.setattr("sys.stdin", Repairer())
    assert main(["diagnose", B, "--ask", "--json"]) == 1
    found = json.loads(capsys.readouterr().out)
    named = [(one["kind"], one["at"], one["to"]) for one in found["candidates"][0]["faults"]]
    assert named == [("inputs-shorted", "Select", "Down")]


def test_a_wrong_answer_is_asked_for_again_and_the_end_ends(monkeypatch, capsys):
    monkeypatch.setattr("sys.stdin", io.StringIO("what\nskip\n"))
    assert main(["diagnose", B, "idle=none", "--ask"]) == 1
    out, err = capsys.readouterr()
    assert "is no button" in err
    assert "NOT DECIDED." in out


def test_a_card_has_every_step_with_what_must_show(tmp_path, capsys):
    card = tmp_path / "card.txt"
    assert main(["diagnose", B, "--card", str(card)]) == 0
    assert len(capsys.readouterr().out.splitlines()) <= 24
    text = card.read_text()
    assert "must show" in text
    assert "Unplug first." in text
    assert main(["diagnose", B, "--card", str(tmp_path / "card.html")]) == 0
    assert "must show" in (tmp_path / "card.html").read_text()
    shipped = (SHEETS / "harbour-b-card.txt").read_text()
    assert [line.rstrip() for line in text.splitlines()] == shipped.splitlines()


@pytest.fixture(scope="module")
def capture(tmp_path_factory):
    """A wave of a pad whose Start is dead: each button alone, one after the other."""
    folder = tmp_path_factory.mktemp("waves")
    text = Path(B).read_text() + FAULT.format("contact-dead") + 'at = "Start"\n'
    padbench.play(text, "each-button", waves=folder, port="push-pull", corner="slow")
    return folder / "each-button.vcd"


def test_a_capture_and_the_order_of_the_presses_are_enough(capture, capsys):
    words = ["--capture", str(capture), "--pressed", ",".join(BUTTONS), "--json"]
    assert main(["diagnose", B, *words]) == 1
    best = json.loads(capsys.readouterr().out)["candidates"][0]
    assert ("contact-dead", "Start") in {(one["kind"], one["at"]) for one in best["faults"]}


def test_a_capture_without_the_presses_calls_no_pad_sound(tmp_path, capsys):
    """Up and Down swapped read, to somebody who does not know which was held, as a sound pad."""
    text = Path(B).read_text() + FAULT.format("inputs-swapped") + 'at = "Up"\nto = "Down"\n'
    padbench.play(text, "each-button", waves=tmp_path, port="push-pull", corner="slow")
    words = ["--capture", str(tmp_path / "each-button.vcd")]
    assert main(["diagnose", B, *words]) == 1
    said = " ".join(capsys.readouterr().out.split())
    assert "NOT DECIDED. Nothing wrong shows, but nobody said what was held" in said
    assert main(["diagnose", B, *words, "--pressed", ",".join(BUTTONS), "--json"]) == 1
    (best,) = json.loads(capsys.readouterr().out)["candidates"][0]["faults"]
    assert (best["kind"], best["at"], best["to"]) == ("inputs-swapped", "Up", "Down")


def test_what_a_register_powers_up_with_is_no_evidence(tmp_path):
    """The first read of a wave of a register that never loads is what it powered up with."""
    text = Path(B).read_text() + FAULT.format("part-synchronous")
    padbench.play(text, "each-button", waves=tmp_path, port="push-pull", corner="slow")
    wave = tmp_path / "each-button.vcd"
    found = padbench.diagnose(B, capture=wave, pressed=",".join(BUTTONS)).data.found.candidates[0]
    assert "part-synchronous" in {fault.kind for fault in found.faults}
    assert found.explains == found.reads


def test_the_page_marks_the_place_and_shows_both_waves():
    result = padbench.diagnose(B, {"idle": "none", "A": "A+B", "B": "A+B", "Up": "Up"})
    page = io.StringIO()
    write_page(result, page)
    assert [section.id for section in result.sections][-2:] == ["drawing", "waves"]
    drawing, waves = (section.blocks[0] for section in result.sections[-2:])
    says, first = drawing.drawn[0]  # the one that is printed
    assert says.startswith("Package")
    assert first.count("stroke:#b00020") == 2  # a ring each
    broken, sound = waves.articles
    assert (broken.verdict, sound.verdict) == ("fail", "pass")
    assert "bridged" in page.getvalue()
    # A script finds the data of the waves by its id: no section has the same.
    ids = re.findall(r'\bid="([^"]+)"', page.getvalue())
    assert len(ids) == len(set(ids))


def test_a_sheet_with_a_fault_fails_and_is_refused_where_nothing_would_show():
    broken = load_sheet(Path(B).read_text() + FAULT.format("register-no-load"))
    result = padbench.verify(broken, "idle")
    assert result.verdict == "fail"
    brief = next(one for one in result.sections if one.id == "brief")
    rows = [row for block in brief.blocks for row in block.rows]
    says = "the register does not load, though the latch reaches pin 9 ([[fault]])"
    assert any(label == "1" and f"What is broken: {says}" in text for label, text in rows)
    with pytest.raises(padbench.Refusal, match="regress judges a core's HDL"):
        padbench.regress(broken)


def test_a_sweep_plays_the_fault_of_a_sheet():
    """Without its resistor a latch still comes from a port that drives it high."""
    gone = Path(B).read_text() + FAULT.format("resistor-missing") + 'at = "latch"\n'
    result = padbench.sweep(sheet=gone)
    assert (result.verdict, "of the broken pad" in result.lead) == ("fail", True)
    wrong = {tuple(one.ports): one.whole.wrong > 0 for one in result.data}
    assert wrong == {("push-pull",): False, ("pull-down-only",): True}
    swapped = Path(B).read_text() + FAULT.format("cores-swapped") + 'at = "latch"\nto = "clock"\n'
    with pytest.raises(padbench.Refusal, match="takes the other's place"):
        padbench.sweep(sheet=swapped)


@pytest.mark.parametrize("number", [1, 2, 3])
def test_the_short_answer_has_test_and_repair_whole(number, capsys):
    file = str(SHEETS / f"harbour-b-{number}.symptoms")
    main(["diagnose", B, "--file", file])
    out = capsys.readouterr().out
    assert len(out.splitlines()) <= 24
    it = padbench.diagnose(Path(B), file=file).data
    best, test = it.found.candidates[0], it.tests[0]
    mends = [it.words.mend(one) for one in (best.faults[0], *best.beside[:1])]
    for said in (
        *mends,
        it.words.do(test),
        it.words.caution(test),
        f"{it.words.typed(test)}=FOUND",
    ):
        assert said in " ".join(out.split())


@pytest.mark.parametrize(
    ("fault", "said"),
    [
        ('kind = "contact-ded"\nat = "A"', 'the nearest known is "contact-dead"'),
        ('kind = "contact-dead"', "at: is missing; name one of A, B"),
        ('kind = "contact-dead"\nat = "X"', "is no button of this pad"),
        ('kind = "core-open"\nat = "A"', "is no core of this pad"),
        ('kind = "stage-stuck"\nat = 9\nlevel = "low"', "is no stage of this pad"),
        ('kind = "stage-stuck"\nat = 3', "level: is missing"),
        ('kind = "inputs-shorted"\nat = "A"\nto = "A"', "is the same as at"),
        ('kind = "clock-noisy"\nat = "A"', "is nothing that clock-noisy has"),
        ('kind = "pull-up-wrong"\nat = "A"', "ohms: is missing"),
        ('kind = "contact-dead"\nat = "A"\nohms = "1k"', "is nothing that contact-dead has"),
        ('kind = "link-open"\nat = "2"', "needs a chain of registers"),
        ('kind = "data-stage-before"', "needs an output Q7; the 74HC165 has none"),
        ('kind = "serial-wrong"', "needs a serial input that is tied"),
        ('kind = "resistor-missing"\nat = "clock"', "needs a resistor from clock to supply"),
        ('kind = "part-synchronous"', "needs another part than a MC14014B"),
    ],
)
def test_what_cannot_be_broken_is_refused_with_its_line(fault, said):
    text = Path(B).read_text()
    for kind, one, other in (
        ("data-stage-before", "CD4021B", "74HC165"),
        ("part-synchronous", "CD4021B", "MC14014B"),
        ("serial-wrong", 'serial-input = "ground"', 'serial-input = "open"'),
        ("resistor-missing", 'clock-to-supply = "3.6k ± 5 %"', 'clock-to-supply = "absent"'),
    ):
        text = text.replace(one, other) if kind in fault else text
    with pytest.raises(padbench.SheetError) as caught:
        load_sheet(text + "\n[[fault]]\n" + fault + "\n")
    assert said in str(caught.value)
    assert len(str(caught.value).splitlines()) == 1
    assert "<text>:" in str(caught.value)


@pytest.mark.parametrize("change", [("CD4021B", "74HC165"), ("stages = 8", "stages = 16")])
def test_other_pads_have_dictionaries_too(change):
    text = Path(B).read_text().replace(*change)
    result = padbench.diagnose(text, ["idle=none", "A=none"])
    assert result.data.found.candidates
    assert result.document["next"]
    assert result.sections


def test_a_pad_whose_sound_state_is_chance_is_refused():
    text = Path(B).read_text().replace('"39k ± 5 %"', '"absent"')
    with pytest.raises(padbench.Refusal, match="without pull-ups"):
        padbench.diagnose(text, ["idle=none"])


def wave_of(reads):
    """A VCD of reads; ``x`` stands for a bit at no level, ``0`` is released as in a byte."""
    lines = ["$timescale 1us $end"]
    lines += [f"$var wire 1 {name[0]} {name} $end" for name in ("latch", "clock", "data")]
    lines += ["$enddefinitions $end", "#0", "0l", "1c", "1d"]
    for number, bits in enumerate(reads):
        levels = [*bits.translate(str.maketrans("01", "10")), "0"]
        at = 100 + 16_667 * number
        lines += [f"#{at}", "1l", f"{levels[0]}d", f"#{at + 12}", "0l"]
        for n in range(8):
            lines += [f"#{at + 18 + 12 * n}", "0c", f"#{at + 24 + 12 * n}", "1c"]
            lines.append(f"{levels[n + 1]}d")
    return "\n".join([*lines, f"#{100 + 16_667 * len(reads)}"]) + "\n"


def test_a_bit_that_nobody_can_tell_keeps_its_place(tmp_path, capsys):
    """A's bit is at no level in each read of the first press; the others stay whole."""
    reads = ["00000000"] * 5
    for number in range(8):
        held = "x0000000" if number == 0 else f"{0x80 >> number:08b}"
        reads += [held] * 6 + ["00000000"] * 5
    (tmp_path / "weak.vcd").write_text(wave_of(reads))
    words = ["--capture", str(tmp_path / "weak.vcd"), "--pressed", ",".join(BUTTONS), "--json"]
    assert main(["diagnose", B, *words]) == 1
    found = json.loads(capsys.readouterr().out)
    assert found["reads"]["A"].keys() == {"00000000", "10000000"}
    assert found["reads"]["B"].keys() == {"01000000"}
    best = found["candidates"][0]["faults"]
    assert ("contact-worn", "A") in {(one["kind"], one["at"]) for one in best}


def test_a_file_of_symptoms_is_bounded(tmp_path, capsys):
    file = tmp_path / "long.symptoms"
    with file.open("wb") as out:
        out.truncate(1 << 32)  # a line that takes no room on the disk
    assert main(["diagnose", str(SHEETS / "harbour-b.toml"), "--file", str(file)]) == 2
    said = "is larger than 1 MiB; a few kilobytes are enough"
    assert capsys.readouterr().err.rstrip().endswith(said)


@pytest.mark.skipif(not Path("/proc/self").exists(), reason="a file system that makes no files")
@pytest.mark.parametrize("words", [["--card", "/proc/x"], ["--report", "/proc/x.html"]])
def test_an_output_where_no_file_can_be_made_is_one_that_cannot_be_written(words, capsys):
    assert main(["diagnose", B, "idle=none", *words]) == 4
    assert words[1] in capsys.readouterr().err
