"""Proof that a pad in Verilog or VHDL is the register, for all times and all that a port may do.

    proof = proof_of(sheet, path.parent, seconds=120)
    proof.result                # "proved", "refuted" or "undecided"
    proof.counterexample        # a scenario that shows what is wrong

Yosys joins the design to a console that is free in all that the protocol allows
(`proving/console.v`), and the engines of its ABC look for a run that goes wrong, and for an
argument that there is none.
"""

import json
import re
import sys
import time
from collections.abc import Mapping, Sequence
from contextlib import closing
from dataclasses import dataclass, replace
from functools import partial
from itertools import accumulate, pairwise
from pathlib import Path
from shutil import which
from typing import Any, Literal

from padbench.core import timing
from padbench.core.stimulus import DrivenLines, ScriptedRead, Stimulus
from padbench.core.units import show, to_ps
from padbench.cosim.aiger import Aiger
from padbench.cosim.build_folder import as_written, build_folder, within_reach
from padbench.cosim.job import Job, on_grid
from padbench.cosim.port_list import port_of
from padbench.cosim.process import Programs
from padbench.cosim.records import ENTITY, with_fields
from padbench.cosim.setting import (
    hdl_setting,
    job_of,
    slowest_pad,
    still_open,
    system_period,
)
from padbench.scenarios import Expected, Scenario, Script, Setting
from padbench.scenarios.expect import expected_bits, held_state
from padbench.scenarios.timetable import Timetable
from padbench.sheet import Sheet

LIMIT, _SHORT, _LONGER = 120.0, 4, 3
"""Seconds for a design, and for a first look with each build of the register; the next is longer
by this factor."""

_MOST_POLLS = 40
"""Of a run of a reader that is played: the last ones."""

_FILES = Path(__file__).with_name("proving")
_RESET, _RESET_CYCLES = 2, 8
"""Steps of a reset without a clock, and periods with one."""
_POLICIES = ("both", "neither", "newer", "older")
_ONE_CLOCK = "async2sync\nformalff -clk2ff"
_ANY_CLOCK = "clk2fflogic"
_FOUND = re.compile(r'Property proved|"design\d+" was asserted in frame (\d+)')
"""What an engine says at its end; of a design whose counters are cut only a proof counts."""
_TO_END = 10
"""Seconds that an engine may need beside its own limit."""
_SMALLER = "dc2; scorr -F 4; dc2; scorr -F 4"
"""Commands of ABC that find what is always alike in design and register, before the engine."""
_NO_TIME = "neither a proof nor a wrong run was found in time"
_DELAY = re.compile(
    r"(?:[;)=]|\b(?:assign|begin|else|always|initial|fork|wire)\b)\s*#(?!\s*1\b)|#\s*(?!1\b)[\d.]"
)
"""A delay in Verilog, which no synthesis heeds; that of one unit is a habit, and no delay."""


def _file(name: str) -> str:
    return (_FILES / name).read_text()


@dataclass(frozen=True)
class Proof:
    """``says`` tells why it is undecided, or what is proved; ``seconds`` what it took.

    ``slowed``: the counterexample is slower than the run that was found, so that it refutes the
    design only if it goes wrong in a simulator.
    """

    result: Literal["proved", "refuted", "undecided"]
    says: str
    seconds: float = 0.0
    counterexample: Scenario | None = None
    slowed: bool = False


class _Undecided(Exception):
    """Nothing can be said, and why."""


def proof_of(sheet: Sheet, sources: Path, seconds: float = LIMIT) -> Proof:
    """Prove or refute the sheet's design; its source paths are relative to ``sources``.

    Raises ``HdlError`` for a source that is no file, ``OSError`` without a place for the build.
    """
    began = time.monotonic()
    assert sheet.hdl is not None
    job = job_of(sheet, sheet.hdl, sources, seconds)
    try:
        with build_folder() as folder, closing(Programs(folder)) as programs:
            for program in ("yosys", "yosys-abc", *(("ghdl",) if job.vhdl else ())):
                if which(program) is None:
                    raise _Undecided(f"{program} is not installed")
            design = _Design(job, programs, began + seconds)
            proof = _try(sheet, design, _bench(sheet, design), programs, began + seconds)
    except _Undecided as why:
        proof = Proof("undecided", str(why))
    return replace(proof, seconds=time.monotonic() - began)


class _Design:
    """The design by itself: its ports, and whether one clock is enough for all of it."""

    def __init__(self, job: Job, programs: Programs, ends: float) -> None:
        folder = programs.folder
        used = with_fields(within_reach(job, folder), folder)
        self.job = job = replace(job, fields=used.fields)
        top = ENTITY if job.fields else job.top
        (folder / "pulled.v").write_text(_file("pulled.v").format(level="x1"[job.pulled_up]))
        beside = "console.v" if job.role == "pad" else "pad.v"
        (folder / "console.v").write_text(_file(beside))
        (folder / "design.ys").write_text(_reading(used, programs, ends) + _file("design.ys"))
        says = _run(["yosys", "-q", "design.ys"], programs, ends)
        if not (folder / "design.json").exists():
            raise _Undecided(f"yosys cannot read the design: {as_written(says, job, used)}")
        modules = json.loads((folder / "design.json").read_text())["modules"]
        self.name = next(name for name in modules if name.lower() == top.lower())
        self.ports: dict[str, Any] = modules[self.name]["ports"]
        self.cells: dict[str, Any] = modules[self.name]["cells"]
        self.one_clock = self._one_clock()

    def _one_clock(self) -> bool:
        """Whether all that remembers does so at the same edge of the system clock."""
        clock, reset = (self._bit(role) for role in ("system-clock", "reset"))
        edges = set()
        for cell in self.cells.values():
            kind, wires = cell["type"], cell["connections"]
            if not re.fullmatch(r"\$(s?dffe?|sdffce|adffe?)", kind):
                if re.search(r"dff|latch|\$sr|\$ff|mem", kind):
                    return False
                continue
            asynchronous = [wires[pin] for pin in ("ARST",) if pin in wires]
            if wires["CLK"] != [clock] or any(pin != [reset] for pin in asynchronous):
                return False
            edges.add(cell["parameters"]["CLK_POLARITY"])
        return clock is not None and len(edges) == 1

    def counters(self, most: int) -> list[str]:
        """Registers that something is added to or taken from, and that reach beyond ``most``."""
        sums = [cell for cell in self.cells.values() if cell["type"] in ("$add", "$sub")]
        counted = [pins[pin] for pins in (cell["connections"] for cell in sums) for pin in "AB"]
        return [
            name
            for name, cell in self.cells.items()
            if self.one_clock
            and "dff" in cell["type"]
            and len(own := cell["connections"]["Q"]) > most.bit_length()
            and any(bits[: len(own)] == own for bits in counted)
        ]

    def _bit(self, role: str) -> Any:
        name = self.job.ports.get(role)
        return None if name is None else self.place(name)[2]

    def place(self, name: str) -> tuple[str, int, Any]:
        """A port of one bit by its base name, place in it, and the net there."""
        base, steps = port_of(self.job, name)
        port = self.ports.get(base)
        if port is None or len(steps) > 1 or any(isinstance(step, str) for step in steps):
            raise _Undecided(f"after synthesis the design has no port {name}")
        bits, first = port["bits"], port.get("offset", 0)
        place = steps[0] - first if steps else 0
        place = len(bits) - 1 - place if port.get("upto") and steps else place
        if not 0 <= place < len(bits) or (not steps and len(bits) > 1):
            raise _Undecided(f"{name} is no port of one bit")
        return base, place, bits[place]


def _reading(job: Job, programs: Programs, ends: float) -> str:
    """The commands of Yosys that read the sources."""
    if job.vhdl:
        generics = [f"-g{name}={value}" for name, value in job.parameters.items()]
        command = ["ghdl", "--synth", "--std=08", "-frelaxed", "--out=verilog", *generics]
        around = [f"{ENTITY}.vhd"] if job.fields else []
        top = ENTITY if around else job.top
        files = [*job.sources, *around]
        says = _run([*command, *files, "-e", top], programs, ends, "synthesised.v")
        text = programs.words("synthesised.v")
        if "endmodule" not in text:
            raise _Undecided(f"ghdl does not synthesise it: {says}")
        # Names as the sheet's are looked up, which may be spelled in another case. GHDL writes down
        # all that a case can be, and no default: it remembers nothing.
        full = re.sub(r"^ +\S+:(.*\n +endcase)", r"default:\1", text.lower(), flags=re.M)
        (programs.folder / "synthesised.v").write_text(full)
        return f"read_verilog synthesised.v\nhierarchy -check -top {top.lower()}\n"
    for source in job.sources:
        text = re.sub(r"//.*|/\*.*?\*/|\"[^\"\n]*\"", " ", Path(source).read_text(errors="replace"))
        for number, line in enumerate(text.splitlines(), 1):
            if _DELAY.search(line):
                place = f"{Path(source).name}:{number}"
                raise _Undecided(f"{place} has a delay, and a circuit has none such")
    system = "" if all(source.lower().endswith(".v") for source in job.sources) else " -sv"
    given = [f"-D{name}={value}" for name, value in job.defines.items()]
    folders = [f"-I{folder}" for folder in job.includes]
    undefine = "verilog_defines -USYNTHESIS -UYOSYS\n"
    # A function from elsewhere would be called while the design is read.
    read = " ".join(["read_verilog -nodpi" + system, *given, *folders, *job.sources])
    values = [f"-chparam {name} {value}" for name, value in job.parameters.items()]
    return f"{undefine}{read}\nhierarchy -check -top {job.top} {' '.join(values)}\n"


@dataclass(frozen=True)
class _Bench:
    """Numbers of the console; how long a step is, and the pause after a move in a wrong run (ps).

    ``says`` is what a proof with it holds for. A design that promises no answer gets the ``pause``,
    so that what goes wrong goes wrong at the sheet's own pace as well; 0 for none.
    """

    values: dict[str, int]
    step: int
    says: str
    pause: int
    reader: bool = False

    @property
    def registers(self) -> list[dict[str, int]]:
        """The ways to build the register here that the design may be like, the likeliest first."""
        if self.reader:
            return [{}]
        latest = self.values["ANSWER"] - 1
        delays = dict.fromkeys((min(self.values["NOT_BEFORE"], latest), latest))
        return [{"DELAY": delay, "COUNTS": counts} for delay in delays for counts in (0, 1)]


def _bench(sheet: Sheet, design: _Design) -> _Bench:
    """As the sheet promises; without a promise the answer that flip-flops and register take."""
    hdl, setting, period = sheet.hdl, hdl_setting(sheet), system_period(sheet)
    assert hdl is not None
    if hdl.role == "reader":
        return _beside_a_reader(sheet, design, setting.passes)
    pad, poll = setting.pad, setting.timing
    fixed = {
        "STAGES": pad.stages,
        "POLICY": _POLICIES.index(pad.policy),
        "RELEASED": int(hdl.after_reset == "released" and hdl.reset is not None),
        "OPEN": int(hdl.serial is None and pad.serial is None),
    }
    if period is None:
        levels = dict.fromkeys(("LATCH_HIGH", "LATCH_LOW", "CLOCK_LOW", "CLOCK_HIGH", "REMOVAL"), 2)
        times = {"SETUP": 1, "HOLD": 1, "ANSWER": 1, "SEEN": 1}
        times |= {"RESET": _RESET, "IDLE": 2 * _RESET, "NOT_BEFORE": 0}
        return _Bench(fixed | levels | times, 1_000_000, "in any order of events", 0)
    step = period if design.one_clock else period // 2
    edge = period // step
    usual = (hdl.synchroniser + 2) * period
    answer = usual if hdl.answer is None else to_ps(hdl.answer.nominal)
    least = max(usual, answer)
    room = {
        "LATCH_HIGH": poll.latch_width,
        "LATCH_LOW": least,
        "CLOCK_LOW": poll.clock_low,
        "CLOCK_HIGH": poll.clock_high,
        "REMOVAL": poll.latch_to_clock + poll.clock_low,
    }
    levels = {name: max(1, min(width, least) // step) for name, width in room.items()}
    times = {
        "SETUP": pad.limits.setup_parallel.ps // step,
        "HOLD": (0 if hdl.setup is not None else still_open(sheet)) // step,
        "ANSWER": answer // step,
        "SEEN": (answer + setting.settles) // step,
        "NOT_BEFORE": hdl.synchroniser * edge,
        "RESET": _RESET_CYCLES * edge,
        "IDLE": 2 * _RESET_CYCLES * edge,
    }
    if min(times["SETUP"], times["ANSWER"]) < 1:
        raise _Undecided("it promises times shorter than a step of its system clock")
    shown = (show(ps * 1e-12, "s", 3) for ps in (answer, min(levels.values()) * step))
    says = "answer within {}, any levels of latch and clock from {} on".format(*shown)
    slow = poll.latch_width + poll.clock_high if hdl.answer is None else 0
    return _Bench(fixed | levels | times, step, says, slow)


def _beside_a_reader(sheet: Sheet, design: _Design, passes: int) -> _Bench:
    """The slowest pad of the sheet, whose line moves when it likes within its answer."""
    period, pad = system_period(sheet), slowest_pad(sheet)
    if period is None:
        raise _Undecided("a reader without a system clock is not proved")
    step = period if design.one_clock else period // 2
    reset = _RESET_CYCLES * (period // step)
    values = {"RESET": reset, "IDLE": 2 * reset, "PASSES": passes}
    values |= {"ANSWER": -(-pad.answer // step), "SERIAL": pad.serial or 0}
    says = "each byte offered is what the pad had loaded, which answers within {}"
    return _Bench(values, step, says.format(show(pad.answer * 1e-12, "s", 3)), 1, reader=True)


def _try(sheet: Sheet, design: _Design, one: _Bench, programs: Programs, ends: float) -> Proof:
    """Look for a wrong run, and beside it for a proof with one build of the register or another.

    Each gets a short time, then all of them a longer one. Long counters are cut at first: what is
    proved so is proved; if something goes wrong so, it need not in the design itself.
    """
    folder, joined = programs.folder, dict[str, None]()
    most = 1 << (one.values["ANSWER"] + 3).bit_length()
    counters = " ".join(f"c:{name}" for name in design.counters(most))
    if counters:
        (folder / "cut.v").write_text(_file("cut.v").replace("{most}", str(most)))
        (folder / "cut.ys").write_text(_file("cut.ys").format(counters=counters))
        _run(["yosys", "-q", "cut.ys"], programs, ends)
    cut = (folder / "cut.il").exists()
    seconds = float(_SHORT) if len(one.registers) > 1 else ends - time.monotonic()

    def join(number: int, source: str) -> str:
        name = f"{source}{number}"
        if name in joined:
            return name
        joined[name] = None
        (folder / f"{name}.v").write_text(_top(sheet, design, one.values | one.registers[number]))
        clocks = _ONE_CLOCK if design.one_clock else _ANY_CLOCK
        text = _file("joined.ys").format(name=name, clocks=clocks, source=source)
        (folder / f"{name}.ys").write_text(text)
        says = _run(["yosys", "-q", f"{name}.ys"], programs, ends)
        if not (folder / f"{name}.aag").exists():
            if time.monotonic() > ends:
                raise _Undecided(_NO_TIME)
            raise _Undecided(f"yosys cannot join the design to the bench: {says}")
        return name

    _at_random(programs, "search", join(0, "design"), "wrong")
    while time.monotonic() < ends:
        for number in range(len(one.registers)):
            name = join(number, "cut" if cut else "design")
            _engine(programs, "pdr", name, f"{_SMALLER}; pdr -T {seconds:.0f}")
            left = ends - time.monotonic()
            proof = _found(one, programs, min(seconds + _TO_END, left), "pdr")
            if proof is not None:
                return proof
            if cut and "asserted" in programs.words("pdr"):
                cut = False
                break
        else:
            seconds *= _LONGER
        if "bmc" not in programs.running:
            _engine(programs, "bmc", "design0", "bmc3")
    raise _Undecided(_NO_TIME)


def _at_random(programs: Programs, name: str, joined: str, output: str) -> None:
    """Start to play at random until an output gets high."""
    (programs.folder / f"{name}.of").write_text(joined)
    words = ["-m", "padbench.cosim.aiger", f"{joined}.aag", f"{name}.run", output]
    programs.start(name, [sys.executable, *words])


def _engine(programs: Programs, name: str, joined: str, command: str) -> None:
    """Start an engine of ABC; ``name`` is its file of words, and of the run that it finds."""
    aiger = Aiger((programs.folder / f"{joined}.aag").read_text())
    output = aiger.names.index("wrong")
    (programs.folder / f"{name}.of").write_text(joined)
    script = f"read_aiger {joined}.aig; cone -s -O {output}; strash; {command}"
    programs.start(name, ["yosys-abc", "-q", f"{script}; write_cex -s {name}.run"])


def _found(one: _Bench, programs: Programs, seconds: float, until: str) -> Proof | None:
    """What an engine finds first; a proof counts only where the console can make a whole read."""
    found = programs.said(_FOUND, seconds, until=until)
    if found is None:
        return None
    folder = programs.folder
    joined = (folder / f"{found}.of").read_text()
    frame = _FOUND.search(programs.words(found))
    if frame is None or frame[1] is None:
        programs.close()
        # Whatever is cut, it is the design itself that has to make a whole read.
        _at_random(programs, "cover", "design0", "whole")
        if programs.said(_FOUND, max(_SHORT, seconds)) is None:
            raise _Undecided("no whole read was found that keeps the protocol")
        return Proof("proved", one.says)
    aiger = Aiger((folder / f"{joined}.aag").read_text())
    witness = (folder / f"{found}.run").read_text()
    trace = [_Step.of(levels) for levels in aiger.run(witness, int(frame[1]) + 1)]
    says = "Found by proof: a run that keeps the port's protocol and goes wrong."
    make = _asked_of_a_reader if one.reader else _script
    scenario = Scenario("counterexample", says, partial(make, trace, one))
    return Proof("refuted", "a run that goes wrong was found", 0.0, scenario, slowed=one.pause > 0)


def _run(command: Sequence[str], programs: Programs, ends: float, name: str = "log") -> str:
    """Run one program; its first error, or its last line.

    GHDL opens the files of a design while it makes a circuit of it.
    """
    confined = [sys.executable, "-m", "padbench.cosim.confined", str(programs.folder)]
    programs.start(name, [*confined, *command])
    programs.said(re.compile(r"(?!)"), ends - time.monotonic(), until=name)
    words = programs.words(name)
    programs.end(name)
    lines = [line.strip() for line in words.splitlines() if line.strip()]
    wrong = [line for line in lines if "error" in line.lower()]
    return next(iter([*wrong, *reversed(lines)]), "it said nothing")[:300]


_NETS = {"system-clock": "clk", "buttons": "pressed"}


def _top(sheet: Sheet, design: _Design, values: Mapping[str, int]) -> str:
    """The design and its console in one module."""
    job, pad = design.job, hdl_setting(sheet).pad
    nets: dict[tuple[str, int], str] = {}
    for role, port in job.ports.items():
        # Pressed is low; the data line is turned where it is looked at.
        wire = _NETS.get(role, role)
        if of_reader := job.role == "reader" and role in ("latch", "clock", "held", "valid"):
            wire = f"{role}_port"
        if role == "held":
            base, _ = port_of(job, port)
            nets |= {(base, bit): f"held_port[{bit}]" for bit in range(8)}
            continue
        if (role in job.inverted) != (role == "buttons") and role != "data" and not of_reader:
            wire = f"~{wire}"
        if role != "buttons":
            base, bit, _ = design.place(port)
            nets[base, bit] = wire
        elif isinstance(port, str):
            base, _ = port_of(job, port)
            nets |= {(base, stage): f"{wire}[{stage}]" for stage in range(pad.stages)}
        else:
            for stage, name in enumerate(port):
                if name is not None:
                    base, bit, _ = design.place(name)
                    nets[base, bit] = f"{wire}[{stage}]"
    for name, level in job.ties.items():
        base, steps = port_of(job, name)
        many = 1 if steps else len(design.ports.get(base, {"bits": ()})["bits"])
        first = design.place(name)[1] if steps else 0
        nets |= {(base, first + bit): f"1'b{level >> bit & 1}" for bit in range(many)}
    values = {**values, "SERIAL": pad.serial or 0, "BITS": max(values.values()).bit_length()}
    rest = (f"wire [{len(p['bits']) - 1}:0] rest_{name};" for name, p in design.ports.items())
    connected = (_connection(name, port, nets) for name, port in design.ports.items())
    if job.role == "reader":
        return _file("reader.v").format(
            **{role: "~" if role in job.inverted else "" for role in ("latch", "clock", "valid")},
            held="~" if "held" in job.inverted else "",
            given=", ".join(f".{name}({value})" for name, value in values.items()),
            rest="\n    ".join(rest),
            name=design.name,
            connected=",\n        ".join(connected),
        )
    return _file("top.v").format(
        most=pad.stages - 1,
        pressed=_word(pad.stage_of, pad.stages, "held"),
        passed_on=_word(pad.stage_of, pad.stages, "passed"),
        given=", ".join(f".{name}({value})" for name, value in values.items()),
        serial="want_serial" if "serial" in job.ports else f"1'b{pad.serial or 0}",
        data="~" if "data" in job.inverted else "",
        rest="\n    ".join(rest),
        name=design.name,
        connected=",\n        ".join(connected),
    )


def _word(stage_of: Sequence[tuple[int, int]], stages: int, held: str) -> str:
    """A word of the register's inputs, 1 is pressed; two buttons on one stage pull the same."""
    bits = []
    for stage in range(stages, 0, -1):
        buttons = [bit.bit_length() - 1 for bit, at in stage_of if at == stage]
        bits.append(" | ".join(f"{held}[{bit}]" for bit in buttons) or "1'b0")
    return "{" + ", ".join(bits) + "}"


def _connection(name: str, port: Mapping[str, Any], nets: Mapping[tuple[str, int], str]) -> str:
    """A port with what its bits are joined to; what nothing drives may have any level."""
    places = reversed(range(len(port["bits"])))
    wires = [nets.get((name, place), f"rest_{name}[{place}]") for place in places]
    return f".\\{name} ({{{', '.join(wires)}}})"


@dataclass(frozen=True, slots=True)
class _Step:
    """What a run did in one step."""

    compared: int
    latch: int
    clock: int
    serial: int
    held: int

    @classmethod
    def of(cls, levels: Mapping[str, int]) -> "_Step":
        held = sum(levels[f"held[{place}]"] << place for place in range(8))
        return cls(levels["compared"], levels["latch"], levels["clock"], levels["serial"], held)


def _asked_of_a_reader(trace: Sequence[_Step], one: _Bench, setting: Setting) -> Script:
    """The bytes that a pad loaded in a run, poll by poll: it is the reader that makes the edges."""
    falls = [a.held for a, b in pairwise(trace) if a.latch and not b.latch]
    timetable = Timetable(setting)
    for held in [*falls[:: one.values["PASSES"]][-_MOST_POLLS:], trace[-1].held]:
        timetable.hold(held)
        timetable.poll()
    return timetable.script()


def _script(trace: Sequence[_Step], one: _Bench, setting: Setting) -> Script:
    """A run as a script: a sample wherever the data line was compared, and reads between latches.

    After the last step, where it went wrong, the latch falls and nothing more happens.
    """
    pad = setting.pad
    steps = [*trace[one.values["IDLE"] - 1 :]]
    # A step in which latch, clock or contacts moved is longer by the pause.
    moves = (replace(a, compared=0) != replace(b, compared=0) for a, b in pairwise(steps))
    times = [4 * one.step, *(one.step + one.pause * moved for moved in moves)]
    starts = [*accumulate(times)]

    def at(place: int) -> int:
        return on_grid(starts[place])

    half = one.step // 2
    latch, clock = list[int](), list[int]()
    contacts, samples, serials = [(0, steps[0].held)], list[int](), list[int]()
    rises, sure = list[int](), dict[int, bool]()
    for place, (before, now) in enumerate(pairwise(steps)):
        if now.latch != before.latch:
            latch.append(at(place))
            if now.latch:
                rises.append(at(place))
                serials.append(now.serial)
        if now.clock != before.clock:
            clock.append(at(place))
        if now.held != before.held:
            contacts.append((at(place), now.held))
        shifts = now.clock > before.clock and not now.latch
        if shifts or now.latch > before.latch:
            samples.append(0)
        if samples and (now.compared or not sure.get(len(samples))):
            samples[-1] = on_grid(starts[place + 1] - half)
            sure[len(samples)] = bool(now.compared)
    end = at(len(steps) - 1)
    if len(latch) % 2:
        latch.append(end)
    end += 8 * one.step + one.pause
    expected = []
    for number, start in enumerate(rises):
        until = rises[number + 1] if number + 1 < len(rises) else end
        fall = latch[2 * number + 1]
        own = [n for n, sample in enumerate(samples, 1) if start < sample < until]
        held = held_state(contacts, fall - 1, "both")
        passed = held_state(contacts, fall - 1, pad.policy)
        bits = expected_bits(passed, clocks=len(own), stages=pad.stages, serial=serials[number])
        known = tuple(bit if sure[n] else None for n, bit in zip(own, bits, strict=True))
        many = sum(start < rise < until for rise in clock[1::2])
        expected.append(Expected(known, many, held, passed))
    stimulus = Stimulus(
        contacts=tuple(contacts),
        reads=tuple(
            # What no port drives is as built, or the run would not be for this design.
            ScriptedRead(start, setting.timing, serial="as built" if one.values["OPEN"] else level)
            for start, level in zip(rises, serials, strict=True)
        ),
        end=on_grid(end),
        driven=DrivenLines(tuple(latch), tuple(clock), tuple(samples)),
    )
    return Script(stimulus, tuple(expected), tolerates=frozenset(timing.RULES))
