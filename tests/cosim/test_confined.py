"""A design is simulated: it has no program run, and writes nothing outside of its build folder."""

import subprocess
import sys
from pathlib import Path

import pytest
from designs import HDL, sheet_text

from padbench.cli import main
from padbench.cosim.proof import proof_of
from padbench.sheet import load_sheet

pytestmark = pytest.mark.usefixtures("simulators")

END = "assign data = stages[STAGES-1];"
FOREIGN = """
    function run(words : string) return integer is begin return 0; end;
    attribute -- by name
      Foreign of run : function is "VHPIDIRECT libc.so.6 system";
begin
"""
ACTS = ("> outside", "> new", "> /dev/shm/padbench", "rm outside", "mv inside/a b", "mkdir d")
NO_SYSTEM = """
import ctypes
class CDLL(ctypes.CDLL):
    def __init__(self, name, *more, **named):
        if name is None:
            raise OSError
        super().__init__(name, *more, **named)
ctypes.CDLL = CDLL
"""
ONE = ["--scenario", "idle", "--no-waves", "--no-cache"]


def judged(tmp_path: Path, capfd, engine: str, text: str, ending: str = "sv") -> tuple[int, str]:
    source = tmp_path / f"pad.{ending}"
    source.write_text(text)
    sheet = tmp_path / "pad.toml"
    sheet.write_text(sheet_text("shift_register", engine, source=source))
    code = main(["regress", str(sheet), *ONE])
    said = capfd.readouterr()
    return code, said.err if code == 2 else said.out


@pytest.mark.parametrize(
    ("engine", "code", "says"),
    [
        ("icarus", 'initial $system("touch {ran}");', "has $system"),
        ("verilator", 'initial $system("touch {ran}");', "has $system"),
        ("icarus", '`define RUN $system\ninitial `RUN("touch {ran}");', "has $system"),
        ("verilator", '`define RUN $system\ninitial `RUN("touch {ran}");', "has $system"),
        ("verilator", 'initial $c("system(\\"touch {ran}\\");");', "has C++"),
        ("verilator", 'import "DPI-C" function int system(string words);', "has functions from"),
        ("verilator", 'import // by name\n"DPI-C" function int f();', "has functions from"),
        ("verilator", 'string s = """ " """; initial $system("x");', "has $system"),
        ("verilator", "`systemc_header\n#include <cstdlib>\n`verilog", "has C++"),
        (
            "verilator",
            '`ifdef VERILATOR_TIMING\ninitial $system("touch {ran}");\n`endif',
            "has $sys",
        ),
        (
            "verilator",
            'import """DPI-C""" function int system(string words);',
            "has functions from",
        ),
        ("icarus", 'initial \\$system ("touch {ran}");', "has $system"),
    ],
)
def test_a_program_in_verilog_is_refused_with_its_place(tmp_path, capfd, engine, code, says):
    ran = tmp_path / "ran"
    sound = (HDL / "verilog" / "shift_register.v").read_text()
    text = sound.replace(END, END + "\n" + code.format(ran=ran))
    exit_code, err = judged(tmp_path, capfd, engine, text)
    assert (exit_code, err.count("\n")) == (2, 1), err
    assert "hdl.sources: " in err
    assert says in err
    first = text[: text.index(code.format(ran=ran))].count("\n") + 1
    # Behind a directive or an import, the line of what it is for.
    assert any(f"pad.sv:{line} {says}" in err for line in (first, first + 1)), err
    assert not ran.exists()


@pytest.mark.parametrize("name", ["evil.sv", "evil"])
def test_a_module_beside_the_headers_is_looked_at_too(tmp_path, capfd, name):
    """Verilator finds it by its name, though no source names it."""
    ran = tmp_path / "ran"
    folder = tmp_path / "more"
    folder.mkdir()
    (folder / name).write_text(f'module evil;\ninitial $system("touch {ran}");\nendmodule\n')
    sound = (HDL / "verilog" / "shift_register.v").read_text()
    source, sheet = tmp_path / "pad.sv", tmp_path / "pad.toml"
    source.write_text(sound.replace(END, f"{END}\nevil one();"))
    text = sheet_text("shift_register", "verilator", source=source)
    sheet.write_text(text.replace("\n[hdl]\n", "\n[hdl]\ninclude = ['more']\n"))
    assert main(["regress", str(sheet), *ONE]) == 2
    err = capfd.readouterr().err
    assert (err.count("\n"), "hdl.include: " in err) == (1, True), err
    assert f"{name}:2 has $system" in err
    assert not ran.exists()


def test_words_that_only_look_like_it_are_hardware(tmp_path, capfd):
    sound = (HDL / "verilog" / "shift_register.v").read_text()
    more = 'localparam N = $clog2(9); initial $display("the system costs %d", $ceil(1.5));'
    assert judged(tmp_path, capfd, "icarus", sound.replace(END, f"{END}\n{more}"))[0] == 0


def test_foreign_code_in_vhdl_is_refused_with_its_place(tmp_path, capfd):
    sound = (HDL / "vhdl" / "shift_register.vhd").read_text()
    head, body = sound.split("\nbegin\n", 1)
    code, err = judged(tmp_path, capfd, "ghdl", head + FOREIGN + body, "vhd")
    assert (code, err.count("\n")) == (2, 1)
    assert f'pad.vhd:{head.count(chr(10)) + 4} has "foreign"' in err


@pytest.mark.parametrize(
    ("line", "code"),
    [
        (
            'constant c : character := \'"\'; attribute foreign of c : constant is "VHPIDIRECT x";',
            2,
        ),
        ('attribute -- x\vforeign of c : constant is "VHPIDIRECT x";', 2),
        ('attribute -- x\fforeign of c : constant is "VHPIDIRECT x";', 2),
        ('constant c : string := "--"; alias a is std.standard.foreign;', 2),
        ("-- of a foreign clock", 0),
        ("signal spare : bit; -- foreign to the pad", 0),
    ],
)
def test_vhdl_whose_word_for_foreign_code_is_no_comment_is_refused(tmp_path, capfd, line, code):
    """GHDL ends a comment at a vertical tab and a form feed too."""
    sound = (HDL / "vhdl" / "shift_register.vhd").read_text()
    head, body = sound.split("\nbegin\n", 1)
    got, said = judged(tmp_path, capfd, "ghdl", f"{head}\n{line}\nbegin\n{body}", "vhd")
    assert (got, 'has "foreign"' in said) == (code, code == 2), said


def test_the_name_of_a_header_is_no_command(tmp_path, capfd, monkeypatch):
    """Verilator lists what it has read in a file for make, which runs what a name holds."""
    folder, name = tmp_path / "more", "h$(shell touch ${RAN})"
    folder.mkdir()
    (folder / name).write_text("wire spare;\n")
    text = (HDL / "verilog" / "shift_register.v").read_text()
    source, sheet, ran = tmp_path / "pad.sv", tmp_path / "pad.toml", tmp_path / "ran"
    source.write_text(text.replace(END, f'{END}\n`include "{name}"'))
    written = sheet_text("shift_register", "verilator", source=source)
    sheet.write_text(written.replace("\n[hdl]\n", "\n[hdl]\ninclude = ['more']\n"))
    monkeypatch.setenv("RAN", str(ran))
    monkeypatch.setenv("OBJCACHE", "false")  # make fails at the first file of C++
    code = main(["regress", str(sheet), *ONE])
    assert (code, ran.exists()) == (2, False)
    assert "make" in capfd.readouterr().err


def test_a_function_from_elsewhere_is_not_called_for_a_proof(tmp_path):
    """Yosys calls it while it reads the design."""
    text = (HDL / "verilog" / "shift_register.v").read_text()
    more = 'import "DPI-C" function integer abs(integer);\nlocalparam N = abs(-3);'
    source, sheet = tmp_path / "pad.sv", tmp_path / "pad.toml"
    source.write_text(text.replace(END, f"{END}\n{more}"))
    sheet.write_text(sheet_text("shift_register", "icarus", source=source))
    proof = proof_of(load_sheet(sheet), tmp_path)
    assert (proof.result, "yosys cannot read the design" in proof.says) == ("undecided", True)


def test_a_file_elsewhere_is_not_emptied_for_a_proof(tmp_path):
    """GHDL opens it while it synthesises the design."""
    kept, source, sheet = tmp_path / "kept", tmp_path / "pad.vhd", tmp_path / "pad.toml"
    kept.write_text("before")
    head, body = (HDL / "vhdl" / "shift_register.vhd").read_text().split("\nbegin\n", 1)
    opens = f"""
    impure function opened return integer is
        type bytes is file of character;
        file emptied : bytes open write_mode is "{kept}";
    begin return 3; end;
    constant three : integer := opened;
    signal more : bit_vector(three downto 0);
begin
"""
    source.write_text(head + opens + body)
    sheet.write_text(sheet_text("shift_register", "ghdl", source=source))
    assert proof_of(load_sheet(sheet), tmp_path, 5).result != "refuted"
    assert kept.read_text() == "before"


def test_a_file_elsewhere_is_not_written(tmp_path, capfd):
    out = tmp_path / "elsewhere.txt"
    more = f'integer f; initial begin f = $fopen("{out}"); $fwrite(f, "x"); end'
    sound = (HDL / "verilog" / "shift_register.v").read_text()
    assert judged(tmp_path, capfd, "icarus", sound.replace(END, f"{END}\n{more}"))[0] in (0, 1)
    assert not out.exists()


def test_what_is_confined_writes_in_its_folder_alone_and_so_does_what_it_starts(tmp_path):
    inside, outside = tmp_path / "inside", tmp_path / "outside"
    inside.mkdir()
    outside.write_text("before")
    program = f"""
import subprocess, sys
from pathlib import Path
from padbench.cosim.confined import write_only_below
print(write_only_below(Path({str(inside)!r})))
Path({str(inside)!r}, "a").write_text("kept")
Path("/dev/null").write_text("gone")
for act in {ACTS}:
    print(act, subprocess.run(act, shell=True, cwd={str(tmp_path)!r}, stderr=-3).returncode != 0)
print(Path({str(outside)!r}).read_text())
"""
    got = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True
    )
    assert got.stdout.splitlines() == ["True", *(f"{act} True" for act in ACTS), "before"]
    assert (inside / "a").read_text() == "kept"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["inside", "outside"]


def test_a_system_that_confines_nothing_is_told_of(tmp_path, capfd, monkeypatch):
    """Where the kernel has no Landlock, as on a system before Linux 5.13."""
    (tmp_path / "sitecustomize.py").write_text(NO_SYSTEM)
    monkeypatch.syspath_prepend(tmp_path)
    text = (HDL / "verilog" / "shift_register.v").read_text()
    code, out = judged(tmp_path, capfd, "icarus", text)
    assert code == 0
    assert "But this system cannot keep a simulation from writing" in " ".join(out.split())
