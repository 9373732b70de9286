"""How often `padbench diagnose` names the true fault, and how many tests it takes.

    .venv/bin/python tests/bench/diagnose.py            # some minutes
    .venv/bin/python tests/bench/diagnose.py --small    # a part of it

Averages are uniform over the faults of the dictionary; a fault shows as one of its variants, drawn
by its weight. What is read comes from the dictionary, which tests hold to the simulator. In a test
of presses a byte is noted wrongly with probability 0.05, and is then any of the 256.

A test is a press that is held and watched for five seconds, what a meter or the scope reads in one
go (several pins with the probe in hand are one test), or a swap. A look while nothing is held
costs as much as a press; it is left out of one figure and counted in the other. A reading lies
anywhere in what the circuit leaves open. Presses go on until none tells as much as is open where
one of two is nineteen times as likely as the other (0.3 bits), and so do all tests.

Measured with the toy library's revision B (211 faults):

    port             still rows
                     in top group
    push-pull        239 of 239
    pull-down-only   238 of 238

With noise, push-pull, every second fault once: 99.1 % in the top three. Pairs, push-pull, 80 of
them: 97.5 % in the top five.

Adaptive, push-pull:

                                 mean, looks  most, looks  in top
                                 out    in    out    in
    presses, every fourth fault  2.17   2.23  4      4     100 %
    all tests, every fault       2.91   2.97  8      8     100 %

No group was larger than what reads alike. With all tests the count goes down to the last pull-up of
a pad that reads as a sound one. On a busy machine a rank took 0.08 s, a dictionary 0.9 s.
"""

import random
import sys
from pathlib import Path
from time import perf_counter

import numpy as np

from padbench.core.buttons import BUTTONS, byte_of
from padbench.core.pad import Defect
from padbench.repair.dictionary import Dictionary, coded, predicted
from padbench.repair.metering import MeterBench
from padbench.repair.observed import WORDS, Meter, Observed, each_place, kind_of
from padbench.repair.ranking import next_tests, rank
from padbench.sheet import load_sheet

SHEET = Path(__file__).parents[2] / "sim" / "sheets" / "harbour-b.toml"
SINGLES = (0, *(byte_of([name]) for name in BUTTONS))
WRONG = 0.05
WATCHED = 300
"""Reads while one press is held and watched: five seconds at 60 a second."""
MOST = 40


def drawn_row(known, fault, rng):
    rows = [row for row in range(len(known.rows)) if known.rows[row].fault == fault]
    return rng.choices(rows, [known.weight[row] for row in rows])[0]


def read(known, row, held, rng, wrong=0.0):
    """One read of a row."""
    if rng.random() < wrong:
        return rng.randrange(256)
    parts = np.flatnonzero(known.row_of == row)
    part = rng.choices(parts.tolist(), known.share[parts].tolist())[0]
    return int(known.fixed[part, held]) | rng.randrange(256) & int(known.random[part, held])


def seen_of(known, row, states, times, rng, wrong=0.0):
    seen = Observed()
    for held in states:
        for _ in range(times):
            seen.add(held, read(known, row, held, rng, wrong))
    return seen


def same(true, named):
    """A wrong pull-up is named with the ohms that were measured."""
    ohms = {"ohms": None}
    return true and named and true.model_copy(update=ohms) == named.model_copy(update=ohms)


def place_of(known, found, fault):
    """The place of the group that has the fault, from 1."""
    true = known.faults[fault]
    for place, candidate in enumerate(found.candidates, 1):
        if not candidate.beside and (
            true in candidate.faults or any(same(true, one) for one in candidate.faults)
        ):
            return place
    return len(found.candidates) + 1


def steady_reads(known, row, held, rng):
    """Bytes of a press that is watched, each as often as the row has it (systematic sampling)."""
    often = {}
    for part in np.flatnonzero(known.row_of == row).tolist():
        loose = int(known.random[part, held])
        some = [byte for byte in range(256) if not byte & ~loose]
        for byte in some:
            whole = int(known.fixed[part, held]) | byte
            often[whole] = often.get(whole, 0) + known.share[part] / len(some)
    ends = np.cumsum([*often.values()]) * WATCHED + rng.random()
    return dict(zip(often, np.diff(np.floor(ends), prepend=0).astype(int).tolist(), strict=True))


def noise_free(known, bench):
    """Every row that keeps still, read in every state: is it in the top group, and how large is
    that beside the faults that physics leaves?"""
    # Few states part the rows as all 256 do; more would only take longer.
    states = [held for held in range(256) if held.bit_count() in (0, 1, 2, 8)]
    wholes = [len(np.unique(known.labels[:, some], axis=0)) for some in (states, range(256))]
    assert wholes[0] == wholes[1]
    top = larger = rows = 0
    for row, entry in enumerate(known.rows):
        parts = np.flatnonzero(known.row_of == row)
        if len(parts) > 1 or known.random[parts[0]].any():
            continue
        seen = Observed()
        for held in states:
            seen.add(held, int(known.fixed[parts[0], held]))
        best = rank(known, bench, seen).candidates[0]
        rows += 1
        top += known.faults[entry.fault] in best.faults
        alike = {
            known.fault_of[r] for r in np.flatnonzero((known.labels == known.labels[row]).all(1))
        }
        larger += len(best.faults) > len(alike)
    return rows, top, larger


def with_noise(known, bench, rounds, rng, every=1):
    hits = total = 0
    for _ in range(rounds):
        for fault in range(1, len(known.faults), every):
            row = drawn_row(known, fault, rng)
            found = rank(known, bench, seen_of(known, row, SINGLES, 3, rng, WRONG))
            hits += place_of(known, found, fault) <= 3
            total += 1
    return hits / total, total


def pairs(known, bench, count, rng):
    hits = 0
    for _ in range(count):
        one, other = rng.sample(range(1, len(known.faults)), 2)
        rows = [drawn_row(known, fault, rng) for fault in (one, other)]
        both = Defect()
        for row in rows:
            parts = np.flatnonzero(known.row_of == row)
            mix = known.rows[row].variant.mix
            both |= mix[rng.choices(range(len(parts)), known.share[parts].tolist())[0]][1]
        fixed, loose, *_ = predicted(known.pad, coded([both], known.pad), np.array(SINGLES))
        seen = Observed()
        for place, held in enumerate(SINGLES):
            for _ in range(3):
                seen.add(held, int(fixed[0, place]) | rng.randrange(256) & int(loose[0, place]))
        true = {known.faults[one], known.faults[other]}
        top = rank(known, bench, seen).candidates[:5]
        hits += any(true & {*candidate.faults, *candidate.beside} for candidate in top)
    return hits / count


def measured(bench, row, where, held, rng):
    """A reading somewhere in the span of a row; of chance, a volt of the pad or anything. What is
    loose reads as a sound pad half of the time."""
    kind = kind_of(where)
    spans = bench.expected(where, held)
    least, most = spans[row]
    loose = kind == "ohms" and len(bench.known.rows[row].variant.mix) > 1 and least <= spans[0, 0]
    if loose and most >= spans[0, 1] and rng.random() < 0.5:
        least, most = spans[0]
    if np.isnan(least):
        chance = {"volts": rng.uniform(0, bench.supply[1]), "ohms": 10 ** rng.uniform(-1, 7)}
        value = chance[kind] if kind in chance else rng.randrange(len(WORDS[kind]))
    else:
        value = least * 10 ** rng.random() if np.isinf(most) else rng.uniform(least, most)
    return Meter(where, held, value)


def adaptive(known, bench, rng, every=1, meter=False):
    """Presses, measurements and swaps until none tells any more: (on average, at most) without
    the looks while nothing is held and with them, and how often the top group has the fault."""
    counts, found_it = [], 0
    for fault in range(0, len(known.faults), every):
        row, seen, count, looks = drawn_row(known, fault, rng), Observed(), 0, 0
        for _ in range(MOST):
            found = rank(known, bench, seen)
            tests = next_tests(known, bench, found, seen, meter=meter)
            if not tests:
                break
            look = tests[0].press and not tests[0].held
            count, looks = count + (not look), looks + look
            if tests[0].where:
                for where, held in each_place(tests[0].where):
                    seen.meter.append(measured(bench, row, where, held or tests[0].held, rng))
                continue
            for byte, times in steady_reads(known, row, tests[0].held, rng).items():
                if times:
                    seen.add(tests[0].held, byte, times)
        counts.append((count, count + looks))
        found_it += place_of(known, found, fault) == 1
    plain, looked = zip(*counts, strict=True)
    told = [(float(np.mean(some)), max(some)) for some in (plain, looked)]
    return *told, found_it / len(counts)


def main(small=False):
    rng = random.Random(1)
    sheet = load_sheet(SHEET)
    for port in sheet.works_with.ports[: 1 if small else None]:
        began = perf_counter()
        known = Dictionary.of(sheet, port)
        bench = MeterBench(known)
        print(
            f"{port}: {len(known.faults) - 1} faults, {len(known.rows)} rows, "
            f"dictionary {perf_counter() - began:.2f} s"
        )
        rows, top, larger = noise_free(known, bench)
        print(f"  without noise: {rows} rows, {top} in the top group, {larger} groups too large")
        began = perf_counter()
        share, total = with_noise(known, bench, 1 if small else 2, rng)
        print(
            f"  with noise: top three {share:.1%} of {total}, "
            f"{(perf_counter() - began) / total:.3f} s each"
        )
        began = perf_counter()
        share = pairs(known, bench, 30 if small else 150, rng)
        print(f"  pairs: top five {share:.1%}")
        for meter, what in ((False, "presses"), (True, "tests with meter and scope too")):
            every = (1 + meter) * (1 + small)
            (mean, most), looked, share = adaptive(known, bench, rng, every, meter)
            print(
                f"  adaptive: {mean:.2f} {what}, at most {most}; with looks at nothing held"
                f" {looked[0]:.2f}, at most {looked[1]}; top group {share:.1%}"
            )


if __name__ == "__main__":
    main("--small" in sys.argv)
