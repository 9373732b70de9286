"""The live bench: one pad on one console as a page with switches, on the loopback interface.

    bench = Bench(Path("my-pad.toml"))
    bench.read(State(held=0x80)).run.reads          # what the page shows, without a page

It is the simulation, the decoder, the rules and the judging of every other command; the page only
says what to play, and draws what came of it.
"""

from padbench.live.bench import Bench, Shown
from padbench.live.state import State

__all__ = ["Bench", "Shown", "State"]
