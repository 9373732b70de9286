"""How fast captures are read, as ratios in one run: ``.venv/bin/python tests/bench/captures.py``.

Makes its files in a folder that is removed again; ``--megabytes N`` sets their size (100). Each
pair is timed in turn, A B A B ..., and the median of the pairwise ratios is told. The two slow
readers of VCD get a tenth of the file and their time is taken ten times: both are linear. Seconds
on the wall tell what a person waits, seconds of the processors what it costs; others at work on the
machine disturb the first. pyarrow's streamed read bounds its memory, as ours does; its reads of the
whole file into memory use both cores. The first and the last are given the types of the columns and
the names of no value, which is what ours has to know.
"""

import argparse
import io
import random
import signal
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
from pyarrow import csv, float64
from vcd.reader import tokenize

import padbench
from padbench.capture.inspect import inspect, usual_settings
from padbench.results.documents import json_texts
from padbench.results.text import as_text
from padbench.waveio import Columns, CsvScan, Pick, VcdScan, open_capture

ROLES = ("latch", "clock", "data")


def make_vcd(path: Path, size: int) -> None:
    """Reads of random buttons, 60 a second."""
    random.seed(1)
    now = written = 0
    with path.open("w") as out:
        out.write("$timescale 1 ns $end\n$scope module bench $end\n")
        out.writelines(f"$var wire 1 {c} {n} $end\n" for c, n in zip("!#%", ROLES, strict=True))
        out.write("$upscope $end\n$enddefinitions $end\n#0\n$dumpvars\n0!\n1#\n1%\n$end\n")
        while written < size:
            held = random.randrange(256)
            text = [f"#{now + 9}\n1!\n#{now + 100}\n{1 - (held >> 7)}%\n#{now + 8900}\n0!\n"]
            now += 14_300
            for place in range(8):
                level = 1 - (held >> 6 - place & 1) if place < 7 else 0
                text.append(f"#{now}\n0#\n#{now + 560}\n1#\n#{now + 900}\n{level}%\n")
                now += 6150
            now += 16_500_000
            written += out.write("".join(text))
        out.write(f"#{now}\n")


def make_csv(path: Path, size: int) -> None:
    """Volts of three channels, ten million samples a second, a read every 2 ms."""
    noise = np.random.default_rng(1)
    rows = 20_000
    at = np.arange(rows)
    latch = np.where(at < 90, 5.0, 0.0)
    clock = np.where((at > 140) & (at < 640) & ((at - 140) % 62 < 6), 0.0, 5.0)
    data = np.where((at > 200) & (at < 260), 0.0, 5.0)
    with path.open("w") as out:
        out.write("Time (s),latch,clock,data\n")
        block = 0
        while out.tell() < size:
            volts = np.stack([latch, clock, data]) + noise.normal(0, 0.05, (3, rows))
            times = (at + block * rows) * 1e-7
            lines = zip(times.tolist(), *volts.tolist(), strict=True)
            out.writelines(f"{t:.7f},{a:.4f},{c:.4f},{d:.4f}\n" for t, a, c, d in lines)
            block += 1


def pieces(path: Path) -> None:
    with open_capture(path) as scan:
        for _ in stream(scan):
            pass


def stream(scan: VcdScan | CsvScan):
    if isinstance(scan, CsvScan):
        return scan.pieces(Columns(0, None, {role: n for n, role in enumerate(ROLES, 1)}))
    chosen = {v.name.rpartition(".")[2]: Pick(v) for v in scan.variables}
    return scan.pieces({role: chosen[role] for role in ROLES})


def whole(path: Path) -> None:
    with open_capture(path) as scan:
        inspect(stream(scan), usual_settings())


def judged(path: Path, *, as_json: bool = False) -> None:
    """All that ``padbench inspect`` does."""
    result = padbench.inspect(path)
    if as_json:
        sum(map(len, json_texts(result)))
    else:
        as_text(result)


def seconds(job: Callable[[], object]) -> np.ndarray:
    """On the wall, and of the processors."""
    start = np.array([time.perf_counter(), time.process_time()])
    job()
    return np.array([time.perf_counter(), time.process_time()]) - start


def show(what: str, ratios: list[np.ndarray], goal: str) -> None:
    for clock, some in zip(("wall", "processors"), zip(*ratios, strict=True), strict=True):
        spread = f"{min(some):.2f} to {max(some):.2f}"
        label = f"{what}, {clock}"
        print(f"{label:66} {statistics.median(some):6.2f}   ({spread}; goal {goal})", flush=True)


def main(megabytes: int) -> None:
    kept = signal.getsignal(signal.SIGPIPE)
    from vcdvcd import VCDVCD  # noqa: PLC0415 - its import changes what a broken pipe does

    signal.signal(signal.SIGPIPE, kept)
    with tempfile.TemporaryDirectory() as name:
        vcd, tenth, table = (Path(name, n) for n in ("a.vcd", "tenth.vcd", "a.csv"))
        make_vcd(vcd, megabytes * 10**6)
        make_vcd(tenth, megabytes * 10**5)
        make_csv(table, megabytes * 10**6)
        data = tenth.read_bytes()

        def tokens() -> None:
            for _ in tokenize(io.BytesIO(data)):
                pass

        types = dict.fromkeys(["Time (s)", *ROLES], float64())
        convert = csv.ConvertOptions(column_types=types, null_values=["x", "X", "z", "Z"])

        def same_columns() -> None:
            csv.read_csv(table, convert_options=convert)

        def streamed() -> None:
            """As ours: block by block, in memory that does not grow with the file."""
            with csv.open_csv(table, convert_options=convert) as batches:
                for _ in batches:
                    pass

        pieces(vcd), csv.read_csv(table), pieces(table)
        ratios = [10 * seconds(tokens) / seconds(lambda: pieces(vcd)) for _ in range(3)]
        show(f"VCD, {megabytes} MB: pyvcd's tokeniser / ours", ratios, ">= 5")
        ratios = [
            10 * seconds(lambda: VCDVCD(str(tenth))) / seconds(lambda: pieces(vcd))
            for _ in range(5)
        ]
        show(f"VCD, {megabytes} MB: vcdvcd / ours", ratios, ">= 10")
        ratios = [seconds(lambda: pieces(vcd)) / seconds(lambda: pieces(tenth)) for _ in range(5)]
        show("VCD: time for the file / time for a tenth of it", ratios, "about 10")
        ratios = [seconds(streamed) / seconds(lambda: pieces(table)) for _ in range(9)]
        show(f"CSV, {megabytes} MB: pyarrow's streamed read / ours", ratios, ">= 1")
        ratios = [
            seconds(lambda: csv.read_csv(table)) / seconds(lambda: pieces(table)) for _ in range(9)
        ]
        show(f"CSV, {megabytes} MB: pyarrow's read into memory / ours", ratios, ">= 1")
        ratios = [seconds(same_columns) / seconds(lambda: pieces(table)) for _ in range(9)]
        show(f"CSV, {megabytes} MB: pyarrow's of the same types into memory / ours", ratios, ">= 1")
        ratios = [seconds(lambda: whole(vcd)) / seconds(lambda: whole(tenth)) for _ in range(2)]
        show("inspection of VCD: the file / a tenth of it", ratios, "about 10")
        ratios = [
            seconds(lambda: judged(vcd, as_json=True)) / seconds(lambda: judged(vcd))
            for _ in range(5)
        ]
        show("inspection of VCD: as JSON / as text", ratios, "<= 1.3")
        wall, processors = seconds(lambda: whole(vcd))
        rates = (
            f"{megabytes / wall:.0f} on the wall, {megabytes / processors:.0f} of the processors"
        )
        print(f"inspection of VCD, megabytes a second: {rates}")


if __name__ == "__main__":
    parser = argparse.ArgumentParser()
    parser.add_argument("--megabytes", type=int, default=100)
    sys.exit(main(parser.parse_args().megabytes))
