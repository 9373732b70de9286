"""Many cores on many simulators: several at once, from a cache, beside what came out before.

    result = regress_all([(Path("cores/a.toml"), "icarus"), ...], workers=2)

What is kept of a run goes by the content of all that it depends on: sheet and sources, the bench
itself, options, and the programs that simulate. A design that reads files which no key can know is
run each time; so is one whose result hung on the clock.
"""

import json
import os
import pickle
import re
import sys
import time
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, closing, suppress
from dataclasses import dataclass, replace
from functools import cache
from hashlib import sha256
from importlib.metadata import version
from itertools import chain, islice
from pathlib import Path
from shutil import which
from typing import Any

from padbench import __version__
from padbench.core.findings import Finding, Rule
from padbench.cosim.build_folder import swept
from padbench.cosim.outcome import Coverage, RegressResult
from padbench.files import was_read
from padbench.jobs.loading import FileLike, Progress, Refusal, design_of, unwatched
from padbench.jobs.regress import Asked, asked_of, hdl_of, named, regress
from padbench.jobs.verify import plan_waves
from padbench.results.blocks import Cell, Lines, Prose, Table
from padbench.results.result import Result, Section, combined
from padbench.sheet import Hdl, SheetError
from padbench.sheet.simulators import SIMULATORS
from padbench.workers import NoWorkers, parts_done

_MOST_WORKERS = 64
_KEPT_DAYS = 30
_SHOWN = 3
"""Failing runs that the short answer shows beside the table."""
_MOST_INCLUDED = 2000
"""Files in the folders of headers; a design with more is run each time."""
_READS_FILES = re.compile(
    rb"\$(?:c\b|f[a-z]+|readmem|sdf|system)|plusargs|\bimport\s*\"|\btextio\b|\bforeign\b"
    rb"|`include\s*(?:[^\s\"<]|[\"<](?:/|[^\">]*\.\.))|``|\$\w*`",
    re.IGNORECASE,
)
"""What may bring something into a simulation that is no source and in no folder of headers.

A text macro that pastes may make any of it.
"""
_READS_FILES_VHDL = re.compile(
    rb"^(?![ \t]*--(?!.*(?:\*/|[\r\v\f].))).*\bfile(?:_open)?\b", re.IGNORECASE | re.MULTILINE
)
"""In VHDL any file object, wherever its name and colon stand; a line of comment alone is none."""
_HANGS_ON_TIME = ("hdl.time", "hdl.ended")
_UNUSABLE = Rule("hdl.usable", "", {"fail": "it cannot be run: {words}"})

Case = tuple[Path, str]
"""A sheet and a simulator."""


@dataclass(frozen=True)
class _Done:
    """How one case came out."""

    core: str
    engine: str
    result: Result
    cached: bool

    @property
    def case(self) -> str:
        return f"{self.core} on {self.engine}"

    @property
    def fails(self) -> bool:
        return self.result.outcome != "pass"

    @property
    def word(self) -> str:
        causes = [cause.id for cause in self.result.data.causes]
        why = f" ({(causes or self.failing)[0]})" if self.fails else ""
        return f"{'FAILS' if self.fails else 'passes'}{why}{', cached' if self.cached else ''}"

    @property
    def failing(self) -> list[str]:
        """Scenarios and findings that fail, by name."""
        runs = [run.name for run in self.result.runs if run.verdict == "fail"]
        return runs + [one.id for one in self.result.findings if one.verdict == "fail"]


def regress_all(
    cases: Sequence[Case],
    options: Mapping[str, Any],
    *,
    workers: int = 1,
    cluster: str | None = None,
    kept: bool = True,
    baselines: Sequence[FileLike] = (),
    waves: Callable[[Path, str], AbstractContextManager[Path | None]],
    progress: Progress = unwatched,
) -> tuple[Result, list[Result], list[str]]:
    """Run each case with the ``options`` of `regress`; all as one, each by itself, and refusals.

    ``workers`` are processes here, ``cluster`` is a Dask scheduler whose workers see the same
    files; ``kept``: what was run before, and of which nothing has changed, is not run again.
    ``baselines`` are what ``--json`` wrote before, the oldest first: the result shows each case in
    all of them, and says what is different from the last. ``waves`` opens the folder of a case. A
    design that does not compile or fit is a finding of its case, and its message is among the
    refusals; all else raises as `regress` does, before anything is run.
    """
    if not 1 <= workers <= _MOST_WORKERS:
        raise Refusal("workers", f"{workers} is not between 1 and {_MOST_WORKERS}")
    before = {str(baseline): _read(Path(baseline)) for baseline in baselines}
    asked, refused = list[Asked](), dict[int, tuple[str, ...]]()
    for number, (sheet, simulator) in enumerate(cases):
        try:
            asked.append(asked_of(sheet, simulator, options))
        except Refusal as error:
            of_sheet = "." in error.option
            if (not of_sheet and error.option != "simulator") or len(refused) == len(cases) - 1:
                raise Refusal("", f"{sheet}: {error}") if of_sheet else error  # noqa: B904
            refused[number] = (f"{sheet}: {error}; it is left out",)
            design = design_of(sheet)
            hdl = hdl_of(design).model_copy(update={"simulator": simulator})
            asked.append(Asked(design, hdl, (), design.inputs()))
    _plan_waves(cases, asked, waves)
    keys = [_key_of(one, options) for one in asked]
    found = map(_from_cache, keys) if kept else ()
    blobs = {number: blob for number, blob in enumerate(found) if blob is not None}
    cached = {*blobs}
    left = [number for number in range(len(cases)) if number not in {*blobs, *refused}]
    left.sort(key=lambda number: _length(asked[number].hdl), reverse=True)
    work = [(number, *cases[number]) for number in left]
    if cluster is not None:
        work = [(number, sheet.resolve(), simulator) for number, sheet, simulator in work]
    progress(len(cached), len(cases))
    try:
        many = parts_done(_made, dict(options), work, workers=workers, cluster=cluster)
        with swept(), closing(many):  # a worker that is ended leaves its build
            for number, key, blob, says in many:
                if says:
                    refused[number] = says
                elif cluster is not None and key != keys[number]:
                    raise Refusal("cluster", "a worker sees other files or tools than are here")
                else:
                    blobs[number] = blob
                    if kept and key == keys[number]:  # else a file was changed meanwhile
                        _to_cache(key, blob)
                progress(len(blobs) + len(refused), len(cases))
    except NoWorkers as error:
        raise Refusal("cluster" if cluster else "workers", str(error)) from None
    done = []
    for number, ((sheet, engine), one) in enumerate(zip(cases, asked, strict=True)):
        with waves(sheet, engine) as folder:
            data = _unusable(refused[number]) if number in refused else _loaded(blobs[number])
            result = named(one, data, folder, several=len(cases) > 1)
        done.append(_Done(str(sheet), engine, result, number in cached))
    says = [line for number in sorted(refused) for line in refused[number]]
    return _together(done, before), [one.result for one in done], says


def _plan_waves(
    cases: Sequence[Case],
    asked: Sequence[Asked],
    waves: Callable[[Path, str], AbstractContextManager[Path | None]],
) -> None:
    """Two waves under one name are told before anything is built."""
    planned = set[Path]()
    for (sheet, engine), one in zip(cases, asked, strict=True):
        with waves(sheet, engine) as folder:
            # A second sheet of a name gets another folder as soon as the first one has this.
            if folder is not None and folder not in planned:
                plan_waves(one.scenarios, folder)
                planned.add(folder)


def _length(hdl: Hdl) -> tuple[bool, bool, float]:
    """What a run takes, longer beside shorter: a C++ compiler, a reader's own pace, a clock."""
    frequency = 0.0 if hdl.frequency is None else hdl.frequency.nominal
    return SIMULATORS[hdl.engine].wheel != "", hdl.role == "reader", frequency


def _made(options: Mapping[str, Any], work: tuple[int, Path, str]) -> tuple[Any, ...]:
    """One case in a worker: its number, the key as it is after it, and what came out."""
    number, sheet, simulator = work
    try:
        result = regress(sheet, simulator=simulator, **options)
    except SheetError as error:
        return number, "", b"", tuple(map(str, error.problems))
    key = _key_of(asked_of(sheet, simulator, options), options)
    return number, key, _dumped(result.data), ()


def _dumped(data: RegressResult) -> bytes:
    """A regression but for the counterexample as a scenario, of which the run is there."""
    proof = data.proof and replace(data.proof, counterexample=None)
    return pickle.dumps(replace(data, proof=proof))


def _loaded(blob: bytes) -> RegressResult:
    data: RegressResult = pickle.loads(blob)
    return data


def _unusable(lines: Sequence[str]) -> RegressResult:
    finding = Finding(_UNUSABLE, "fail", facts={"words": "; ".join(lines)})
    return RegressResult((finding,), (), (), (), (), Coverage(), 0, 0.0)


@cache
def _of_the_bench() -> bytes:
    """Digest of all files of this package, and of what it runs on."""
    root = Path(__file__).parents[1]
    files = sorted(path for path in root.rglob("*") if path.is_file() and path.suffix != ".pyc")
    digest = sha256(repr([__version__, sys.version, version("cocotb"), version("numpy")]).encode())
    for path in files:
        digest.update(
            str(path.relative_to(root)).encode() + b"\0" + sha256(path.read_bytes()).digest()
        )
    return digest.digest()


def _key_of(asked: Asked, options: Mapping[str, Any]) -> str:
    """Digest of all that a run depends on, behind a mark where there may be more than is known."""
    tool, folder = SIMULATORS[asked.hdl.engine], asked.folder.resolve()
    walks = (os.walk(folder / name, followlinks=True) for name in asked.hdl.include)
    # Links may lead round and round: a walk has an end.
    places = [*islice(chain.from_iterable(walks), _MOST_INCLUDED + 1)]
    headers = sorted(Path(at) / name for at, _, names in places for name in names)
    unknown = max(len(headers), len(places)) > _MOST_INCLUDED
    vhdl = asked.hdl.language == "vhdl"
    files = [folder / name for name in asked.hdl.sources] + (headers if not unknown else [])
    programs = map(which, (*tool.programs, "g++", "ghdl", "yosys", "yosys-abc"))
    found = [Path(program) for program in programs if program]
    about = [
        *(sorted(options.items()), asked.hdl.engine, str(folder), tool),
        [(file.name, file.digest) for file in asked.inputs],
        [(str(file), file.stat().st_size, file.stat().st_mtime_ns) for file in found],
        version(tool.wheel) if tool.wheel else "",
    ]
    digest = sha256(_of_the_bench() + repr(about).encode())
    for path in files:
        try:
            text = path.read_bytes() if path.is_file() else None
        except OSError:
            text = None
        if text is None:
            # A pipe or a link to nothing: the run says so if the design needs it.
            unknown = True
            continue
        unknown = unknown or _READS_FILES.search(text) is not None
        unknown = unknown or (vhdl and _READS_FILES_VHDL.search(text) is not None)
        digest.update(repr((str(path), sha256(text).digest())).encode())
    return f"{'unknown-' if unknown else ''}{digest.hexdigest()}"


def _cache() -> Path:
    base = os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache"
    return Path(base) / "padbench" / "regress"


def _from_cache(key: str) -> bytes | None:
    """What is kept under a key; None if nothing is, if it was damaged, or if it is not ours."""
    with suppress(OSError):
        status, raw = _cache().stat(), (_cache() / key).read_bytes()
        ours = status.st_uid == os.getuid() and not status.st_mode & 0o022
        if ours and raw[:32] == sha256(raw[32:]).digest():
            return raw[32:]
    return None


def _to_cache(key: str, blob: bytes) -> None:
    """Keep it, unless it hung on the clock; what is old goes. A full disk is no matter here."""
    data = _loaded(blob)
    late = any(f.id in _HANGS_ON_TIME and f.verdict == "fail" for f in data.findings)
    undecided = data.proof is not None and data.proof.result == "undecided"
    if late or undecided or key.startswith("unknown"):
        return
    with suppress(OSError):
        folder = _cache()
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        part = folder / f"{key}.{os.getpid()}"
        part.write_bytes(sha256(blob).digest() + blob)
        part.replace(folder / key)
        for old in folder.iterdir():
            if time.time() - old.stat().st_mtime > _KEPT_DAYS * 86_400:
                old.unlink()


_Before = dict[str, tuple[list[str], str]]
"""Of an earlier run by case: scenarios and findings that failed, and the proof."""


def _read(path: Path) -> _Before:
    try:
        was_read(path)
        document = json.loads(path.read_text(encoding="utf-8"))
        found = {}
        for one in document.get("results", [document]):
            each = [(run["name"], run["verdict"]) for run in one["scenarios"]]
            each += [(finding["id"], finding["verdict"]) for finding in one["findings"]]
            failing = [name for name, verdict in each if verdict == "fail"]
            found[one["case"]] = (failing, (one["proof"] or {"result": ""})["result"])
        return found
    except (ValueError, TypeError, KeyError, AttributeError):
        says = f"{path} is nothing that padbench regress --json wrote"
        raise Refusal("baseline", says) from None
    except OSError as error:
        raise Refusal("baseline", f"{path}: {error.strerror}") from None


def _history(before: Mapping[str, _Before], done: Sequence[_Done]) -> Table:
    """Each case in each earlier run, and now."""
    runs = [*before.values(), {one.case: (one.failing, "") for one in done}]

    def cell(failing: Sequence[str]) -> Cell:
        return Cell(f"FAILS ({failing[0]})" if failing else "passes", bad=bool(failing))

    cases = dict.fromkeys(chain.from_iterable(reversed(runs)))
    rows = [[case, *(cell(run[case][0]) if case in run else "–" for run in runs)] for case in cases]
    return Table("Each core in the runs before, and now", ("core", *before, "now"), rows)


def _changes(before: _Before, done: Iterable[_Done]) -> Iterator[tuple[str, str]]:
    """(case, what is different now)."""
    left = dict(before)
    for one in done:
        if one.case not in left:
            yield one.case, f"is new: {one.result.word}"
            continue
        (was, old), now = left.pop(one.case), one.failing
        proof = one.result.data.proof
        new = "" if proof is None else proof.result
        ways = (
            ("fails now", [name for name in now if name not in was]),
            ("is mended", [name for name in was if name not in now]),
            ("proof", [f"{old or 'none'} before, {new or 'none'} now"] if old != new else []),
        )
        if says := [f"{what}: {', '.join(dict.fromkeys(names))}" for what, names in ways if names]:
            yield one.case, "; ".join(says)
    yield from ((name, "was there before, and is not now") for name in left)


def _together(done: Sequence[_Done], before: Mapping[str, _Before]) -> Result:
    """All as one: a table of cores and simulators, and what changed."""
    whole = combined([one.result for one in done])
    changes = [*_changes([*before.values()][-1], done)] if before else []
    bad, cached = sum(one.fails for one in done), sum(one.cached for one in done)
    lead = f"{bad} of {len(done)} fail" if bad else f"All {len(done)} pass"
    lead += f"; {cached} cached." if cached else "."
    table: dict[str, list[_Done]] = {}
    for one in done:
        table.setdefault(one.core, []).append(one)

    def sections() -> Iterator[Section]:
        brief, *parts = sorted(whole.sections, key=lambda part: "brief" not in part.media)
        said = "What changed since the baseline"
        blocks = [] if not before else [Lines(said, changes or [("", "nothing")])]
        if len(done) > 1:
            rows = [
                (core, "; ".join(f"{one.engine} {one.word}" for one in row))
                for core, row in table.items()
            ]
            blocks.append(Lines("", sorted(rows, key=lambda row: "FAILS" not in row[1])))
            failing = [n for n, one in enumerate(done) if one.fails]
            yield replace(brief, blocks=[*blocks, *(brief.blocks[n] for n in failing[:_SHOWN])])
        else:
            yield replace(brief, blocks=[*blocks, *brief.blocks])
        engines = [name for name in SIMULATORS if any(one.engine == name for one in done)]
        cells = [
            (core, *({one.engine: Cell(one.word, bad=one.fails) for one in row}.get(engine, "–")
                     for engine in engines))
            for core, row in table.items()
        ]  # fmt: skip
        grid = Table("Each core on each simulator", ("core", *engines), cells)
        yield Section("matrix", "Cores and simulators", [grid])
        if before:
            lines = [f"{case}: {says}" for case, says in changes] or ["Nothing."]
            yield Section("changes", said, [Prose(lines, listed=True), _history(before, done)])
        yield from (part for part in parts if part.id != "each")

    def document() -> Mapping[str, Any]:
        listed = [{"case": case, "says": says} for case, says in changes]
        return {**whole.make_document(), **({"changes": listed} if before else {})}

    together = replace(whole, make_sections=sections, make_document=document)
    return replace(together, name=f"{len(done)} runs", lead=lead) if len(done) > 1 else together
