import errno
import os
import re
from pathlib import Path

import pytest

from padbench.core.buttons import BUTTONS
from padbench.core.units import Value
from padbench.sheet import STARTER, Poll, Sheet, SheetError, load_sheet, sheet_from_text

SHEETS = Path(__file__).parents[2] / "sim" / "sheets"
CANONICAL = {name: 8 - place for place, name in enumerate(BUTTONS)}


def without_tables(text: str, *names: str) -> str:
    """The text without the lines of these tables; comments stay."""
    kept, table = [], ""
    for line in text.splitlines(keepends=True):
        if header := re.match(r"\[(.*)\]", line):
            table = header[1]
        if table not in names or line.startswith("#"):
            kept.append(line)
    return "".join(kept)


def only_problem(path: Path) -> str:
    with pytest.raises(SheetError) as caught:
        load_sheet(path)
    (problem,) = caught.value.problems
    line = str(problem)
    assert line.startswith(f"{path}")
    assert len(line.splitlines()) == 1
    return line


def test_the_starter_reads_as_it_says() -> None:
    sheet = sheet_from_text(STARTER, "starter.toml")
    assert sheet.pad.name == "My pad"
    assert sheet.pad.supply == Value(5.0, 4.75, 5.25)
    assert (sheet.chip.part, sheet.chip.stages) == ("CD4021B", 8)
    assert (sheet.chip.serial_input, sheet.chip.latch_inverted) == ("ground", False)
    assert sheet.buttons == CANONICAL
    assert sheet.pull_up.value is not None
    assert sheet.pull_up.value.nominal == 39e3
    assert sheet.contacts.closed.nominal == 300
    assert sheet.contacts.worn.nominal == 10e3
    assert sheet.contacts.open.nominal == 10e6
    assert sheet.contacts.bounce.nominal == 5e-3
    assert sheet.contacts.stuck == ()
    assert (sheet.cable.length.nominal, sheet.cable.capacitance.nominal) == (2.5, 100e-12)
    assert sheet.resistors.latch_to_supply is not None
    assert sheet.resistors.clock_to_supply is not None
    assert sheet.resistors.latch_to_supply.nominal == 3600
    assert sheet.policy.opposite_directions == "both"
    assert sheet.works_with.ports == ("push-pull", "pull-down-only")
    assert sheet.poll.use == "plain-loop"
    assert (sheet.poll.clocks, sheet.poll.passes) == (8, 1)
    assert sheet.poll.read_time == pytest.approx(63.5e-6)


def test_every_default_is_the_starters() -> None:
    tables = ("contacts", "cable", "policy")
    short = without_tables(STARTER, *tables)
    for name in tables:
        assert f"[{name}]" not in short
    for key in ("stages", "latch-inverted", "rating"):
        short = re.sub(rf"^{key} = .*$", "", short, flags=re.M)
    assert sheet_from_text(short, "short.toml") == sheet_from_text(STARTER, "starter.toml")


def test_a_sheet_cannot_be_changed() -> None:
    sheet = sheet_from_text(STARTER, "starter.toml")
    with pytest.raises(ValueError, match="frozen"):
        sheet.chip.stages = 4


def test_own_timings_override_the_named_poll() -> None:
    sheet = sheet_from_text(STARTER + 'clock-low = "1 us"\npasses = 2\n', "x.toml")
    assert sheet.poll.clock_low.nominal == 1e-6
    assert sheet.poll.passes == 2
    assert sheet.poll.clock_high.nominal == pytest.approx(5.59e-6)


def test_a_poll_of_its_own_needs_no_name() -> None:
    own = """
latch-width = "12 us"
latch-to-clock = "6 us"
clock-low = "6 us"
clock-high = "6 us"
sample = "3 us"
period = "20 ms"
clocks = 8
"""
    sheet = sheet_from_text(STARTER.replace('use = "plain-loop"', own), "x.toml")
    assert sheet.poll.use is None
    assert sheet.poll.passes == 1
    assert sheet.poll.read_time == pytest.approx(114e-6)


def test_a_poll_can_be_made_in_code() -> None:
    poll = Poll.model_validate({"use": "brisk", "clock_low": Value.exact(2e-6), "passes": 2})
    assert poll.clock_low == Value.exact(2e-6)
    assert poll.clock_high.nominal == pytest.approx(700e-9)
    assert poll.passes == 2


def test_absent_resistors_are_none() -> None:
    text = STARTER.replace('"39k ± 5 %"', '"absent"', 1).replace('"3.6k ± 5 %"', '"absent"')
    sheet = sheet_from_text(text, "x.toml")
    assert sheet.pull_up.value is None
    assert sheet.resistors.latch_to_supply is None
    assert sheet.resistors.clock_to_supply is None


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("Right = 1\n", ""),  # a button left out is for the rules to find, not for the loader
        ("Right = 1\n", "Right = 2\n"),
        ('"39k ± 5 %"', '"0 Ω"'),
        ('"2.5 m"', '"0 m"'),
        ("stuck = []", 'stuck = ["A", "Right"]'),
        ('"5 V ± 5 %"', '"3 V"'),
        ('"5 V ± 5 %"', '"18 V"'),
        ('name = "My pad"', 'name = "' + "é" * 200 + '"'),
        ("stages = 8", "stages = 24"),
    ],
)
def test_odd_but_usable_sheets_are_read(old: str, new: str) -> None:
    assert old in STARTER
    assert isinstance(sheet_from_text(STARTER.replace(old, new, 1), "x.toml"), Sheet)


def test_harbour_sheets() -> None:
    a, b = (load_sheet(SHEETS / f"harbour-{revision}.toml") for revision in "ab")
    assert b.buttons == CANONICAL
    assert a.buttons == {**CANONICAL, "Up": 3, "Down": 4}
    assert a.chip.serial_input == "open"
    assert a.resistors.latch_to_supply is a.resistors.clock_to_supply is None
    assert a.pull_up.value is not None
    assert a.pull_up.value.nominal == a.contacts.worn.nominal == b.contacts.worn.nominal == 10e3
    assert b.pull_up.value is not None
    assert b.pull_up.value.nominal == 39e3
    assert "pull-down-only" in a.works_with.ports


def test_a_byte_order_mark_and_windows_lines_do_no_harm(tmp_path: Path) -> None:
    path = tmp_path / "s.toml"
    path.write_bytes(b"\xef\xbb\xbf" + STARTER.replace("\n", "\r\n").encode())
    assert load_sheet(path) == sheet_from_text(STARTER, "s")


def test_a_missing_file(tmp_path: Path) -> None:
    assert "no such file; write a sheet" in only_problem(tmp_path / "none.toml")


def test_a_directory(tmp_path: Path) -> None:
    assert "is a directory" in only_problem(tmp_path)


def test_a_pipe_is_refused_without_waiting(tmp_path: Path) -> None:
    path = tmp_path / "pipe"
    os.mkfifo(path)
    assert "is not a file" in only_problem(path)


def test_a_device() -> None:
    assert "is not a file" in only_problem(Path("/dev/zero"))


def test_an_empty_file(tmp_path: Path) -> None:
    path = tmp_path / "s.toml"
    path.write_bytes(b"")
    assert "is empty" in only_problem(path)
    path.write_bytes(b" \n\t\n")
    assert "is empty" in only_problem(path)


def test_a_file_of_50_megabytes_is_not_read(tmp_path: Path) -> None:
    path = tmp_path / "s.toml"
    with path.open("wb") as file:
        file.truncate(50_000_000)
    assert "is larger than 1 MiB" in only_problem(path)


def test_a_file_that_hides_its_size(monkeypatch: pytest.MonkeyPatch) -> None:
    # Files of the process table say that they have no bytes.
    path = Path("/proc/self/maps")
    if not path.exists():
        pytest.skip("no process table here")
    monkeypatch.setattr("padbench.toml.document.LARGEST_FILE", 100)
    assert "is larger than" in only_problem(path)


def test_binary_files(tmp_path: Path) -> None:
    path = tmp_path / "s.toml"
    path.write_bytes(b"# fine\n\x00\x01\x02")
    assert only_problem(path).startswith(f"{path}:2: holds a NUL byte")
    path.write_bytes("[pad]\n".encode("utf-16"))
    assert "save the file as UTF-8" in only_problem(path)
    path.write_bytes(b'# fine\n# fine\nname = "\xe9"\n')
    assert only_problem(path).startswith(f"{path}:3: byte 0xE9 is not UTF-8")


def test_an_unreadable_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "s.toml"
    path.write_text(STARTER)

    def refuse(*_: object, **__: object) -> None:
        # Whoever runs the tests may be allowed to read everything, so the refusal is played.
        raise PermissionError(errno.EACCES, os.strerror(errno.EACCES), str(path))

    monkeypatch.setattr(Path, "open", refuse)
    assert "cannot be read (Permission denied)" in only_problem(path)


def test_names_that_are_none(tmp_path: Path) -> None:
    assert "name" in only_problem(tmp_path / ("x" * 5000))
    loop = tmp_path / "loop"
    loop.symlink_to(loop)
    assert "cannot be read" in only_problem(loop)
    with pytest.raises(SheetError) as caught:
        load_sheet(Path("a\0b\nc"))
    assert len(str(caught.value).splitlines()) == 1


@pytest.mark.parametrize(
    "text",
    [
        "a = " + "[" * 400 + "\n" + "[" * 400,
        "a = " + "{a=" * 160,
        "a = " + "{a=" * 120 + "1" + "}" * 120,
        "a" + ".a" * 240 + " = 1",
        "\n".join(f"k{n} = 1" for n in range(2000)),
        STARTER.replace("stuck = []", "stuck = [" + '"A",\n' * 5000 + "]"),
        "a = 1979-13-45",
        "a = " + "9" * 450,
        'a = "\ud800"',
    ],
)
def test_monstrous_texts_are_refused(text: str) -> None:
    with pytest.raises(SheetError) as caught:
        sheet_from_text(text, "x.toml")
    assert 1 <= len(caught.value.problems) <= 51
    for problem in caught.value.problems:
        assert str(problem).isprintable()
        assert len(str(problem)) < 400


def test_all_problems_come_at_once_in_order_of_lines() -> None:
    text = STARTER.replace('"39k ± 5 %"', '"47 kF"').replace('"2.5 m"', '"2.5"')
    text = text.replace('"CD4021B" ', '"CD4021X" ').replace("Up = 4", "Up = 9")
    with pytest.raises(SheetError) as caught:
        sheet_from_text(text, "x.toml")
    keys = [problem.key for problem in caught.value.problems]
    assert keys == ["register.part", "pull-up.value", "cable.length"]
    # With the part readable, what the tables are to each other is judged as well.
    with pytest.raises(SheetError) as caught:
        sheet_from_text(text.replace("CD4021X", "CD4021B"), "x.toml")
    keys = [problem.key for problem in caught.value.problems]
    assert keys == ["buttons.Up", "pull-up.value", "cable.length"]
    lines = [problem.line for problem in caught.value.problems]
    assert lines == sorted(line for line in lines if line is not None)


def test_the_rest_is_counted() -> None:
    text = STARTER + "".join(f"k{n} = 1\n" for n in range(60))
    with pytest.raises(SheetError) as caught:
        sheet_from_text(text, "x.toml")
    assert len(caught.value.problems) == 12  # two lines each: a screen
    assert str(caught.value.problems[-1]).startswith("x.toml: has 49 more problems; ")


def test_the_issues_own_example() -> None:
    text = STARTER.replace('"39k ± 5 %"', '"47 kF"')
    line = STARTER[: STARTER.index('"39k ± 5 %"')].count("\n") + 1
    with pytest.raises(SheetError) as caught:
        sheet_from_text(text, "harbour.toml")
    assert str(caught.value) == (
        f'harbour.toml:{line}: pull-up.value: "47 kF" is in farads (F), not ohms; '
        'write for example "39k ± 5 %"'
    )
