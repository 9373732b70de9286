"""Judge what a scope or a logic probe has recorded, and list what was read.

    python sim/examples/judge_a_capture.py [CAPTURE [SHEET]]

Without a file it records one first: a wave of the simulated pad does as well as any.
"""

import sys
import tempfile
from pathlib import Path

import padbench as pb

SHEET = Path(__file__).parents[1] / "sheets" / "harbour-b.toml"


def main(capture: Path, sheet: Path) -> None:
    """Print the verdict, what fails, and the first reads."""
    result = pb.inspect(capture, sheet=sheet)
    print(result.name, result.verdict)
    for finding in result.findings:
        if finding.verdict == "fail":
            print(f"  {finding.id}: {finding.says} ({finding.where})")
    for read in pb.decode(pb.read_wave(capture))[:5]:
        print(f"  {read.start_ps / 1e9:8.3f} ms  {read.byte:08b}")


if __name__ == "__main__":
    given = [Path(argument) for argument in sys.argv[1:]]
    with tempfile.TemporaryDirectory() as folder:
        if not given:
            given = [Path(folder, "each-button.vcd")]
            pb.write_wave(pb.play(SHEET, "each-button").runs[0].timeline, given[0])
        main(given[0], given[1] if len(given) > 1 else SHEET)
