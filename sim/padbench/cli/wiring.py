"""``padbench wiring SHEET``."""

import json
from pathlib import Path

from padbench.cli.errors import UsageError
from padbench.cli.options import Parser, read_sheet
from padbench.files import whole_file

__all__ = ["run"]


def run(arguments: list[str]) -> int:
    """Say what to solder; 1 if the sheet cannot work, which is said first."""
    parser = Parser(
        "wiring",
        "What to solder, pin by pin: nets, parts, cable, checks in order, voltages to find.",
        "padbench wiring sim/sheets/harbour-b.toml --drawing pad.svg",
    )
    parser.add_argument("sheet", metavar="SHEET", type=Path)
    parser.add_argument("--csv", metavar="FILE", type=Path, help="the pins with their voltages")
    parser.add_argument("--drawing", metavar="FILE", type=Path, help="the package as SVG")
    options = parser.parse_args(arguments)
    sheet = read_sheet(options.sheet)
    if sheet.chip.kind == "firmware":
        raise UsageError(
            f"{options.sheet}: register.kind: a firmware has no package of its own to wire;"
            ' give a register, for example part = "CD4021B"'
        )

    from padbench.circuit.findings import judge_electric
    from padbench.results.as_json import finding_object
    from padbench.wiring.export import plan_object, write_drawing, write_plan_csv
    from padbench.wiring.faults import judge_wiring
    from padbench.wiring.plan import wiring_plan

    found = (*judge_wiring(sheet), *judge_electric(sheet).findings)
    faults = tuple(one for one in found if one.verdict == "fail")
    plan = wiring_plan(sheet)
    if options.csv is not None:
        with whole_file(options.csv) as out:
            write_plan_csv(plan, out)
    if options.drawing is not None:
        with whole_file(options.drawing) as out:
            write_drawing(plan, out, title=sheet.pad.name)
    if options.json:
        judged = {
            "verdict": "fail" if faults else "pass",
            "findings": [finding_object(fault) for fault in faults],
        }
        print(json.dumps(judged | plan_object(plan), ensure_ascii=False))
    else:
        from padbench.cli.plan_tables import print_plan

        print_plan(sheet.pad.name, plan, faults)
    return 1 if faults else 0
