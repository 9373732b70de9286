"""Turn one resistor, and plot the margin of a finding: where does it begin to work?

    python sim/examples/plot_a_margin.py [PICTURE]

Needs the extra ``pictures`` for the plot; without a file name it prints the numbers.
"""

import sys
import tomllib
from pathlib import Path

import padbench as pb

SHEET = Path(__file__).parents[1] / "sheets" / "harbour-b.toml"
KILOHMS = (2, 5, 10, 22, 39, 68, 100)


def margins(finding_id: str) -> list[float]:
    """Margin (SI) of one finding for each pull-up; no scenario is played, so it is quick."""
    design = tomllib.loads(SHEET.read_text(encoding="utf-8"))
    found = []
    for kilohms in KILOHMS:
        design["pull-up"]["value"] = f"{kilohms}k"
        result = pb.verify(design, scenarios=[])
        found.append(next(f.margin for f in result.findings if f.id == finding_id) or 0.0)
    return found


def main(picture: str | None) -> None:
    """Print or plot how far a pressed button's input stays below its limit."""
    volts = margins("levels.pressed")
    for kilohms, margin in zip(KILOHMS, volts, strict=True):
        print(f"{kilohms:4} kΩ  {margin:+.2f} V")
    if picture is not None:
        from matplotlib.figure import Figure  # noqa: PLC0415 - an extra

        figure = Figure()
        axes = figure.subplots()
        axes.plot(KILOHMS, volts, marker="o")
        axes.axhline(0, color="black")
        axes.set_xlabel("pull-up, kΩ")
        axes.set_ylabel("margin of levels.pressed, V")
        figure.savefig(picture)


if __name__ == "__main__":
    main(sys.argv[1] if len(sys.argv) > 1 else None)
