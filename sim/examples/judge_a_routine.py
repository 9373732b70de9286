"""A 6502 read routine in every phase of the sample fetch, at every rate.

python sim/examples/judge_a_routine.py [ROUTINE]
"""

import sys

import padbench as pb


def main(what: str) -> None:
    """Print the verdict, and for each rate how often a wrong byte is handed on."""
    result = pb.sweep(routine=what)
    print(result.name, result.verdict, "-", result.lead)
    for sweep in result.document["sweeps"]:
        print(f"  every {sweep['period']:4} cycles: {sweep['accepted_wrong']} of {sweep['cases']}")


if __name__ == "__main__":
    main(sys.argv[1] if len(sys.argv) > 1 else "read-twice")
