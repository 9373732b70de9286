"""Judge a design sheet, and say what fails and what would mend it.

python sim/examples/judge_a_sheet.py [SHEET]
"""

import sys
from pathlib import Path

import padbench as pb

SHEETS = Path(__file__).parents[1] / "sheets"


def main(sheet: str) -> None:
    """Print the verdict, and each finding that fails with its margin."""
    result = pb.verify(sheet)
    print(result.name, result.verdict)
    for finding in result.findings:
        if finding.verdict == "fail":
            print(f"  {finding.id}: {finding.says}")
            if finding.remedy is not None:
                print(f"    change {finding.remedy.whole}")


if __name__ == "__main__":
    main(sys.argv[1] if len(sys.argv) > 1 else str(SHEETS / "harbour-a.toml"))
