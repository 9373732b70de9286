"""What the page costs, as ratios measured in one run: ``.venv/bin/python tests/bench/report.py``.

Both commands in a process of their own, in turn, and the median of the pairwise ratios. The page of
the example sheet is to cost at most as much again as the verification (ratio 2).
"""

import statistics
import subprocess
import sys
import time
from pathlib import Path
from tempfile import TemporaryDirectory

SHEETS = Path(__file__).parents[2] / "sim" / "sheets"
ROUNDS = 5


def seconds(sheet: Path, *more: str) -> float:
    command = [sys.executable, "-m", "padbench", "verify", str(sheet), "--no-waves", *more]
    start = time.perf_counter()
    subprocess.run(command, capture_output=True, check=False)
    return time.perf_counter() - start


def main() -> None:
    with TemporaryDirectory() as folder:
        for name in ("harbour-a", "harbour-b"):
            sheet, page = SHEETS / f"{name}.toml", Path(folder) / f"{name}.html"
            ratios = []
            for _ in range(ROUNDS):
                plain = seconds(sheet)
                ratios.append(seconds(sheet, "--report", str(page)) / plain)
            size = page.stat().st_size / 1e6
            print(f"{name}: with page / without {statistics.median(ratios):.2f}, {size:.2f} MB")


if __name__ == "__main__":
    main()
