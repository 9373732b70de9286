"""Which designs are proved and which refuted, and in what time.

    .venv/bin/python tests/bench/proofs.py [SECONDS] [NAME ...]

All designs of `hdl/`, in Verilog and VHDL, and all styles of `tests/cosim/styles.py`, correct and
faulty, each for SECONDS (default 120). No correct one may be refuted and no faulty one proved; what
is undecided is for the plain scenarios and `--true-time`. About twenty minutes on two cores.
"""

import sys
import tempfile
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "cosim"))

from designs import DESIGNS, HDL, sheet_for, sheet_text
from styles import BAD, BAD_READERS, GOOD, GOOD_READERS

from padbench.cosim.proof import LIMIT, proof_of
from padbench.sheet import sheet_from_text


def main() -> int:
    arguments = sys.argv[1:]
    seconds = float(arguments.pop(0)) if arguments and arguments[0].isdigit() else LIMIT
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        pads = [design for design in DESIGNS if design != "port_reader"]
        cases = {
            f"{d} ({s})": (sheet_for(d, s), HDL, True) for d in pads for s in ("icarus", "ghdl")
        }
        # A reader with few steps in each part of a read; the usual counts are too long a way.
        text = sheet_text("port_reader").replace("12 MHz", "3 MHz")
        few = "LATCH_CYCLES = 4, LATCH_TO_CLOCK = 3, CLOCK_LOW = 4, CLOCK_HIGH = 4"
        quick = sheet_from_text(f"{text}parameters = {{ {few} }}\n", "sheet")
        cases["port_reader (quick)"] = (quick, HDL, True)
        for style in (*GOOD, *GOOD_READERS, *BAD, *BAD_READERS):
            sheet = sheet_from_text(style.write(folder), "sheet")
            cases[style.name] = (sheet, folder, style in (*GOOD, *GOOD_READERS))
        counts: Counter[str] = Counter()
        for case, (sheet, sources, good) in cases.items():
            if arguments and case not in arguments:
                continue
            proof = proof_of(sheet, sources, seconds)
            kind = "correct" if good else "faulty"
            false = proof.result == ("refuted" if good else "proved")
            counts[f"{kind}, {proof.result}{': FALSE' if false else ''}"] += 1
            print(f"{case:24} {kind:8} {proof.result:10} {proof.seconds:6.1f} s  {proof.says}")
            sys.stdout.flush()
        for kind, many in sorted(counts.items()):
            print(f"{many:4} {kind}")
    return any("FALSE" in kind for kind in counts)


if __name__ == "__main__":
    sys.exit(main())
