"""Spoilt files of every kind: no traceback, no exit code 3, no hang, no hunger for memory.

    python tests/bench/fuzz.py [--count 1000] [--seed 4021] [--kind sheets ...]

Each input is a good file with some of its pieces changed. What goes wrong is kept, by its seed.
"""

import argparse
import contextlib
import io
import os
import random
import re
import resource
import signal
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

from padbench.cli import main
from padbench.core.timeline import Timeline, Wire
from padbench.parts.figure import read_table
from padbench.sheet import STARTER
from padbench.waveio import write_wave

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT / "tests" / "capture"))
from test_dialects import SAMPLES, TEXTS, numpy_file, sound  # noqa: E402 - the same dialects

FEW = SAMPLES[:, 33_000:34_500]
PLACES = {"channels": {"latch": 1, "clock": 2, "data": 3}}
SMALL = {
    "npz": (numpy_file(np.savez, fs=4e6, **dict(zip(PLACES["channels"], FEW, strict=True))), {}),
    "npz, packed": (numpy_file(np.savez_compressed, fs=4e6, lines=FEW.T > 2), PLACES),
    "npy": (numpy_file(np.save, np.column_stack([np.arange(FEW.shape[1]) / 4e6, *FEW])), PLACES),
    **{f"sound, {bits}": (sound(1, bits, samples=FEW), PLACES) for bits in (8, 16, 24, 32)},
    "sound, floats": (sound(3, 32, samples=FEW), PLACES),
}
LONGEST, MOST = 20, 500 << 20
"""Seconds of work, since a busy machine is no hang; six times as long asleep is one."""
TOKENS = (
    *("0", "-1", "1e308", "5e-324", "999999999999", "nan", "inf", "true", '"absent"', '"47k"'),
    *('"5 V ± 5 %"', '"-999 °C"', "[]", "{}", '""', '"\\u0000"', "[[x]]", "\x1b[8m", "\u202e", "="),
    *("64", "10000", '"1 s"', '"1 ps"', '"0 Ω"', '"1 GΩ"', "#", '"a/b"', '"`x`"', "\t", "\r", ","),
)
NUMBERS = read_table("registers.toml")["CD4021B"]["pins"]["numbers"]
PINS = ", ".join(f"{name} = {pin}" for name, pin in NUMBERS.items())
PARTS = f"""
[register.mine]
family = "4021"
load = "transparent"
load-level = "high"
schmitt-clock = false
stages = 8
timing-of = "CD4021B"
source = "the drawer"
class = "C"
pins = {{ numbers = {{ {PINS} }}, source = "the drawer", class = "C" }}
[register.mine.figures]
clock-to-output = {{ max = 500, unit = "ns", at = "5 V", source = "the drawer", class = "C" }}
input-low = {{ max = 0.8, unit = "V", at = "4.5 V to 5.5 V", source = "the drawer", class = "C" }}
"""
SCENARIOS = (ROOT / "sim" / "sheets" / "harbour-scenarios.toml").read_text(encoding="utf-8")
ROUTINE = (ROOT / "sim/padbench/routines/shipped/read-twice.asm").read_text(encoding="utf-8")
PIECES = re.compile(r'"[^"\n]*"|[\w.$#-]+|[^\w\s]|\s+')


def spoilt(text: str, chance: random.Random) -> str:
    """The text with some pieces changed, doubled, swapped or gone."""
    pieces = PIECES.findall(text)
    for _ in range(chance.choice((1, 1, 2, 3, 8))):
        place, other = chance.randrange(len(pieces)), chance.randrange(len(pieces))
        what = chance.randrange(5)
        if what == 0:
            pieces[place] = chance.choice(TOKENS)
        elif what == 1:
            pieces[place] = pieces[other]
        elif what == 2:
            del pieces[place : place + chance.choice((1, 1, 5))]
        elif what == 3:
            pieces[place] *= chance.choice((2, 3, 50))
        else:
            pieces[place] = "".join(chance.sample(pieces[place], len(pieces[place])))
        pieces = pieces or [" "]
    return "".join(pieces)


def sheets(chance: random.Random) -> list[str]:
    Path("pad.toml").write_text(spoilt(STARTER, chance), encoding="utf-8")
    return ["play", "pad.toml", "--scenario", "idle", "--no-waves"]


def parts(chance: random.Random) -> list[str]:
    Path("parts.toml").write_text(spoilt(PARTS, chance), encoding="utf-8")
    sheet = STARTER.replace('part = "CD4021B"', 'part = "mine"') + '[parts]\nfile = "parts.toml"\n'
    Path("pad.toml").write_text(sheet, encoding="utf-8")
    return ["wiring", "pad.toml"]


def scenarios(chance: random.Random) -> list[str]:
    Path("own.toml").write_text(spoilt(SCENARIOS, chance), encoding="utf-8")
    Path("pad.toml").write_text(STARTER, encoding="utf-8")
    port = ["--port", "push-pull", "--corner", "fast", "--no-waves"]
    return ["play", "pad.toml", "--scenarios", "own.toml", "--scenario", "run-and-jump", *port]


def captures(chance: random.Random) -> list[str]:
    times = sorted(chance.sample(range(1000, 300_000), 40))
    wire = Wire(np.array([0, *times]), np.array([0, *([1, 0] * 20)], np.uint8))
    wires = dict.fromkeys(("latch", "clock", "data"), wire)
    if chance.random() < 0.1:
        rows = "".join(f"{t}e-9,{5 * (t & 1)},{t % 6},5.{t % 9},{4 + t % 2}\n" for t in times)
        text, name = f"time,latch,clock,data,CH4\n{rows}", "wave.csv"
    elif chance.random() < 0.5:
        rows = "".join(f"{t}e-9,{t & 1},{t >> 1 & 1},{t >> 2 & 1}\n" for t in times)
        text, name = f"time,latch,clock,data\n{rows}", "wave.csv"
    else:
        write_wave(Timeline(300_000, wires), "wave.vcd")
        text, name = Path("wave.vcd").read_text(encoding="utf-8"), "wave.vcd"
    Path(name).write_text(spoilt(text, chance), encoding="utf-8")
    return ["inspect", name]


def dialects(chance: random.Random) -> list[str]:
    """Any byte of any dialect may be another, gone or there twice."""
    name = chance.choice([*TEXTS, *SMALL])
    whole, options = TEXTS[name] if name in TEXTS else SMALL[name]
    data = bytearray(whole)
    for _ in range(chance.choice((0, 1, 1, 2, 5, 40))):
        place = chance.randrange(len(data)) if chance.random() < 0.7 else chance.randrange(99)
        what = chance.randrange(4)
        if what == 0:
            data[place % len(data)] = chance.choice(
                (0, 10, 13, 32, 34, 44, 255, chance.randrange(256))
            )
        elif what == 1:
            del data[place : place + chance.choice((1, 2, 9, 3000))]
        elif what == 2:
            data[place:place] = chance.choice(
                (
                    b"text\n",
                    b"\n\n",
                    b"1e308,",
                    b"\r",
                    b'"',
                    b"High",
                    b"0xZZ",
                    b"99:99:99,",
                    b"\0\0",
                )
            )
        else:
            data[place:place] = data[: place + chance.randrange(2000)]
        data = data or bytearray(b" ")
    Path("capture").write_bytes(data)
    channels = options.get("channels", {}).items()
    given = [word for role, own in channels for word in (f"--{role}", str(own))]
    more = (["--rate", "4M"], ["--invert", "data"], ["--clocks", "16"], ["--scale", "2"], [])
    more += (["--input", "A=4"], ["--input", "B=supply", "--time", "1"])
    return ["inspect", "capture", *given, *chance.choice(more)]


def routines(chance: random.Random) -> list[str]:
    Path("read.asm").write_text(spoilt(ROUTINE, chance), encoding="utf-8")
    return ["routine", "read.asm", "--period", "432", "--limit", "3000"]


def netlists(chance: random.Random) -> list[str]:
    """A netlist of the three formats, alone or named by a sheet."""
    name = chance.choice(("harbour-a.net", "harbour-b.cir", "harbour-b.ipc", "harbour-adapter.net"))
    text = (ROOT / "sim" / "sheets" / name).read_text(encoding="utf-8")
    cut = chance.randrange(1, len(text)) if chance.random() < 0.1 else len(text)
    Path(name).write_text(spoilt(text[:cut], chance), encoding="utf-8")
    values = '[board.parts]\nU1 = "CD4021B"\n"R*" = "39k"\n' if name.endswith("ipc") else ""
    sheet = f'{STARTER}[board]\nnetlist = "{name}"\n{values}'
    if name == "harbour-adapter.net":
        # Some of its resistors as a network, some contacts as jumpers.
        text = text.replace('"R101"', '"RN1"').replace('"SW102"', '"JP1"')
        used = STARTER.replace("[register]", "[register]\nstages = 16", 1)
        used = used.replace("\nstages = 8 ", "\n# ").split("[buttons]")
        rest = "[pull-up]" + used[1].split("[pull-up]", 1)[1]
        pads = "".join(f'[[pads]]\nname = "{n}"\nregister = "U{n}"\n' for n in (1, 2))
        sheet = f'{used[0]}{rest}[board]\nnetlist = "{name}"\n{spoilt(pads, chance)}'
    Path("pad.toml").write_text(sheet, encoding="utf-8")
    port = ["--scenario", "idle", "--port", "push-pull", "--corner", "fast", "--no-waves"]
    made = ["new", f"{chance.random()}.toml", "--from", name]
    return chance.choice(
        (made, ["wiring", "pad.toml", "--pad", "1"], ["wiring", "pad.toml"], ["play", name, *port])
    )


KINDS: dict[str, Callable[[random.Random], list[str]]] = {
    one.__name__: one for one in (sheets, parts, scenarios, captures, dialects, routines, netlists)
}


class Late(BaseException):
    """It hangs."""


def late(*_: object) -> None:
    raise Late


def tried(kind: str, seed: int) -> str:
    """What is wrong with how one input was taken; empty if nothing is."""
    arguments = KINDS[kind](random.Random(f"{kind} {seed}"))
    if seed % 3 == 0:
        arguments.append("--json")
    out, err = io.StringIO(), io.StringIO()
    signal.setitimer(signal.ITIMER_PROF, LONGEST)
    signal.alarm(6 * LONGEST)
    try:
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            code = main(arguments)
    except Late:
        return f"takes more than {LONGEST} s"
    except BaseException as error:
        return f"{type(error).__name__}: {error}"[:300]
    finally:
        signal.alarm(0)
        signal.setitimer(signal.ITIMER_PROF, 0)
    if code not in (0, 1, 2):
        return f"exit code {code}: {err.getvalue()[:300]}"
    if (code == 2) == (not err.getvalue()):
        return f"exit code {code} and {err.getvalue()[:300]!r}"
    if not all(sign.isprintable() or sign == "\n" for sign in out.getvalue() + err.getvalue()):
        return "control characters reach the terminal"
    return ""


def run() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=4021)
    parser.add_argument("--kind", choices=KINDS, action="append")
    options = parser.parse_args()
    for sign in (signal.SIGALRM, signal.SIGPROF):
        signal.signal(sign, late)
    worst = 0
    for kind in options.kind or KINDS:
        began, bad = time.monotonic(), 0
        with tempfile.TemporaryDirectory() as folder:
            os.chdir(folder)
            for seed in range(options.seed, options.seed + options.count):
                says = tried(kind, seed)
                if says:
                    bad += 1
                    print(f"{kind}, seed {seed}: {says}", flush=True)
            os.chdir(ROOT)
        most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss << 10
        print(
            f"{kind}: {options.count} inputs from seed {options.seed}, {bad} bad, "
            f"{time.monotonic() - began:.0f} s, at most {most >> 20} MiB",
            flush=True,
        )
        worst |= bad > 0 or most > MOST
    return int(worst)


if __name__ == "__main__":
    sys.exit(run())
