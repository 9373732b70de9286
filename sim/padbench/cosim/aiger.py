"""And-inverter graphs: a run that an engine found is played, or one is looked for at random.

    for levels in Aiger(text).run(witness, steps): ...     # {"data": 1, "held[0]": 0, ...}

The format is that of AIGER 1.9, in ASCII ("AIGER 1.9 And Beyond", Biere, Heljanko, Wieringa 2011).
As a program, ``python -m padbench.cosim.aiger GRAPH.aag WITNESS OUTPUT``, this plays runs at random
until the output gets high in one: far longer ones than a search by logic gets to, and a thousand
side by side, each in a bit of the same integers.
"""

import random
import sys
from collections.abc import Iterable, Iterator
from pathlib import Path

_RATES = (
    # latch, clock, contacts: each moves in one of 2**rate steps, in so many runs side by side.
    (512, 6, 0, 5),
    (256, 4, 1, 5),
    (128, 11, 0, 9),
    (128, 16, 3, 12),
)
_STEPS = 1 << 17
"""Of one run: more than a frame at 5 MHz."""


class Aiger:
    """A graph; ``ValueError`` for a text that is none."""

    def __init__(self, text: str) -> None:
        lines = iter(text.splitlines())
        kind, _, inputs, latches, outputs, gates, *_ = next(lines, "").split() + [""] * 6
        if kind != "aag":
            raise ValueError("it does not begin with aag")
        self.inputs = [int(next(lines)) for _ in range(int(inputs))]
        self.latches = [tuple(map(int, next(lines).split()[:2])) for _ in range(int(latches))]
        self.outputs = [int(next(lines)) for _ in range(int(outputs))]
        self.gates = [tuple(map(int, next(lines).split())) for _ in range(int(gates))]
        symbols = dict(line.split(maxsplit=1) for line in lines if line[:1] in ("i", "o"))
        self.given = [symbols.get(f"i{place}", "") for place in range(len(self.inputs))]
        self.names = [symbols.get(f"o{place}", "") for place in range(len(self.outputs))]
        """Names of the inputs, and of the outputs, in order; empty where one has none."""

    def run(self, witness: str, steps: int) -> Iterator[dict[str, int]]:
        """The outputs by name, step by step; ``witness`` ends with all inputs in each of them.

        What remembers is 0 at first, and what the witness says of it before is not needed.
        """
        bits = [int(bit) for bit in witness if bit in "01"]
        many = len(self.inputs)
        places = range(len(bits) - steps * many, len(bits), many)
        for levels in self._play((bits[first : first + many] for first in places), 1):
            yield {n: levels[place] for n, place in zip(self.names, self.outputs, strict=True)}

    def _play(self, given: Iterable[list[int]], full: int) -> Iterator[list[int]]:
        """The levels of all literals in each step, a bit for each of the runs side by side."""
        level = [0] * (2 * len(self.inputs + self.latches + self.gates) + 2)
        level[1] = full
        state = [0] * len(self.latches)
        latches = [name for name, _ in self.latches]
        for inputs in given:
            for name, value in zip(self.inputs + latches, inputs + state, strict=True):
                level[name], level[name ^ 1] = value, value ^ full
            for name, one, other in self.gates:
                level[name] = value = level[one] & level[other]
                level[name ^ 1] = value ^ full
            yield level
            state = [level[then] for _, then in self.latches]

    def search(self, wanted: str, seed: int) -> list[list[int]] | None:
        """The inputs of a run at random in which the output gets high; None if none does."""
        runs = sum(many for many, *_ in _RATES)
        output = self.outputs[self.names.index(wanted)]
        levels = self._play(self._at_random(seed), (1 << runs) - 1)
        for step, level in enumerate(levels, 1):
            if level[output]:
                run = level[output].bit_length() - 1
                again = zip(range(step), self._at_random(seed), strict=False)
                return [[word >> run & 1 for word in inputs] for _, inputs in again]
        return None

    def _at_random(self, seed: int) -> Iterator[list[int]]:
        draw = random.Random(seed).getrandbits
        kinds = {"want_latch": 1, "want_clock": 2, "want_held": 3}
        rates = [kinds.get(name.partition("[")[0], 0) for name in self.given]
        for _ in range(_STEPS):
            words = []
            for kind in rates:
                word = 0
                for row in _RATES:
                    part = (1 << row[0]) - 1
                    for _ in range(row[kind] if kind else 1):
                        part &= draw(row[0])
                    word = word << row[0] | part
                words.append(word)
            yield words


def main(graph: str, witness: str, output: str) -> None:
    """Look for a run in which the output gets high until there is one; says so as ABC does."""
    aiger = Aiger(Path(graph).read_text())
    found, seed = None, 0
    while found is None:
        found, seed = aiger.search(output, seed), seed + 1
    lines = ("".join(map(str, inputs)) + "\n" for inputs in found)
    Path(witness).write_text("".join(lines))
    print(f'"{Path(graph).stem}" was asserted in frame {len(found) - 1}')


if __name__ == "__main__":
    main(*sys.argv[1:])
