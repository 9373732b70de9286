"""And-inverter graphs, as far as it takes to play a run that an engine found.

    for levels in Aiger(text).run(witness, steps): ...     # {"data": 1, "held[0]": 0, ...}

The format is that of AIGER 1.9, in ASCII ("AIGER 1.9 And Beyond", Biere, Heljanko, Wieringa 2011).
"""

from collections.abc import Iterator

__all__ = ["Aiger"]


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
        symbols = (line.split(maxsplit=1) for line in lines if line.startswith("o"))
        named = {int(place[1:]): name for place, name in symbols}
        self.names = [named.get(place, "") for place in range(len(self.outputs))]
        """Those of the outputs, in order; empty where one has none."""

    def run(self, witness: str, steps: int) -> Iterator[dict[str, int]]:
        """The outputs by name, step by step; ``witness`` ends with all inputs in each of them.

        What remembers is 0 at first, and what the witness says of it before is not needed.
        """
        bits = [int(bit) for bit in witness if bit in "01"]
        state = [0] * len(self.latches)
        for step in range(-steps, 0):
            first = len(bits) + step * len(self.inputs)
            # Of each variable its level, and beside it the other one.
            level = {0: 0, 1: 1}
            here = zip(self.inputs, bits[first:], strict=False)
            for name, value in (*here, *zip((n for n, _ in self.latches), state, strict=True)):
                level[name], level[name + 1] = value, 1 - value
            for name, one, other in self.gates:
                value = level[one] & level[other]
                level[name], level[name + 1] = value, 1 - value
            yield {n: level[place] for n, place in zip(self.names, self.outputs, strict=True)}
            state = [level[then] for _, then in self.latches]
