"""Mutants of the rules and of the circuit's arithmetic: does a test notice?

    .venv/bin/python tests/bench/core_mutants.py [--count N] [--seed S] [--wider] [MODULE ...]

Changes one thing at a time in a copy of the tree: a comparison, a sign or an operator, a constant,
the end of a slice, a condition, a level, a side of a search. Then runs the tests that concern the
module, the nearest first, up to the first that fails or a time limit. MODULE is as ``core/timing``;
without one all of `core` that judges. N draws so many at random, else all are made. ``--wider``
gives what the near tests leave alive to `WIDER` as well. Each mutant has its place, the change, and
what killed it. What lives is a missing test, or stands in `EQUIVALENT` with the reason why no test
can tell; anything else ends in exit code 1. Takes one process and about two seconds a mutant.
"""

import argparse
import ast
import compileall
import contextlib
import copy
import io
import os
import random
import shutil
import signal
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import hypothesis
import pytest

ROOT = Path(__file__).parents[2]
PACKAGE = Path("sim") / "padbench"

MATRIX = "tests/core/test_rule_matrix.py"
NEAR: dict[str, tuple[str, ...]] = {
    "core/timeline": ("tests/core/test_timeline.py", "tests/core/test_decode.py", MATRIX),
    "core/decode": ("tests/core/test_decode.py", MATRIX),
    "core/timing": (MATRIX, "tests/core/test_timing.py", "tests/core/test_findings.py"),
    "core/quality": ("tests/core/test_quality.py", MATRIX, "tests/core/test_findings.py"),
    "core/answering": ("tests/core/test_answering.py", MATRIX, "tests/core/test_findings.py"),
    "core/findings": ("tests/core/test_findings.py",),
    "core/sentences": ("tests/core/test_sentences.py", "tests/core/test_findings.py"),
    "core/stimulus": ("tests/core/test_stimulus.py",),
    "core/limits": (MATRIX, "tests/core/test_timing.py"),
    "circuit/forecast": ("tests/circuit/test_forecast.py",),
    "circuit/laws": (
        "tests/circuit/test_laws.py",
        "tests/circuit/test_worst_case.py",
        "tests/outside/test_ngspice.py",
    ),
    "circuit/mending": ("tests/circuit/test_mending.py", "tests/circuit/test_remedies.py"),
    "circuit": ("tests/circuit", "tests/outside/test_ngspice.py"),
}
"""What concerns a module or a folder, the quickest to tell first."""

WIDER = (
    "tests/model/test_simulation.py",
    "tests/trials",
    "tests/outside/test_common_practice.py",
    "tests/outside/test_console_timing.py",
)

_MASKED = "where the place is -1 another value is taken, whatever stands here"
_NEVER_ONE = "edges of one wire never stand at one moment, nor do those of a read at its start"
_LIMIT = "the logarithm of nothing is just as infinite, and that of one just as nothing"
_SETTLED = "the steps get smaller by squares: the last one is far below either"
_ROUNDING = "rounding leaves some 1e-16 of a number, a picosecond far more: both lie well apart"
EQUIVALENT: dict[tuple[str, str, str], str] = {
    ("core/quality", "apart", "before = np.maximum(after - 1, -1)"): (
        "the last edge instead of the first one, which is the nearer"
    ),
    ("core/quality", "data_delays", "last = settled[np.maximum(place, -1)]"): _MASKED,
    ("core/timing", "_removals", "own = edges <= following"): (
        "an edge at the rise of a load is none that shifts, so it is not among them"
    ),
    (
        "core/timing",
        "_overtaken",
        "late = (source > 0) & (source <= fall) & (fall <= end)",
    ): "no edge stands at 0, where a wire begins",
    (
        "core/timing",
        "_overtaken",
        "late = (source >= 1) & (source <= fall) & (fall <= end)",
    ): "no edge stands at 0, where a wire begins",
    (
        "core/timing",
        "_last_until",
        "return np.append(times, -2)[np.searchsorted(times, moments, side='right') - 1]",
    ): "below 0 is below 0",
    (
        "core/timing",
        "_setup",
        "begun = np.append(-1, load_starts)[np.searchsorted(load_starts, ends)]",
    ): "no change stands at 0, where a word begins",
    ("core/timing", "_setup", "changes = np.asarray(inputs.times[:], np.int64)"): (
        "what stands at 0, where a word begins, came with no load or before it"
    ),
    ("core/timing", "_arrivals", "later = rise >= starts"): _NEVER_ONE,
    ("core/answering", "_last_input", "return Wire.of([(-1, UNKNOWN)])"): (
        "before its first moment a wire is at no level either"
    ),
    (
        "core/decode",
        "read_arrays",
        "ends = np.append(starts[1:], timeline.end_ps + 1)[:]",
    ): "only without any read is it longer, and then no end is asked for",
    (
        "core/timeline",
        "Wire._pick",
        "return np.where(place < 0, np.uint8(UNKNOWN), self.levels[np.maximum(place, -1)])",
    ): _MASKED,
    ("circuit/laws", "rc_times", "reached = np.where(up, to <= final, to > final)"): _LIMIT,
    ("circuit/laws", "rc_times", "reached = np.where(up, to < final, to >= final)"): _LIMIT,
    ("circuit/laws", "rc_times", "behind = np.where(up, to <= start, to > start)"): _LIMIT,
    ("circuit/laws", "rc_times", "behind = np.where(up, to < start, to >= start)"): _LIMIT,
    **{
        (
            "circuit/laws",
            "diode_current",
            f"if np.all(np.abs(step) {sign} {part} * ({one} + np.abs(u))):",
        ): _SETTLED
        for sign, part, one in (
            ("<=", "1e-12", "1"),
            ("<", "2e-12", "1"),
            ("<", "5e-13", "1"),
            ("<", "1e-12", "2"),
            ("<", "1e-12", "0"),
        )
    },
    **{
        ("circuit/laws", function, line): "what stands where the answer is known already"
        for function, line in (
            (
                "stretch",
                "beyond = np.where(supply > threshold, supply - threshold, 2.0)",
            ),
            (
                "stretch",
                "beyond = np.where(supply > threshold, supply - threshold, 0.5)",
            ),
            ("diode_saturation", "n = np.where(emission > 0, emission, 0.5)"),
            ("_through_a_diode", "fine = reached & ~behind & (last > -1)"),
        )
    },
    (
        "circuit/laws",
        "diode_current",
        "step = (n * np.log1p(grown) + r * grown - v) / (n * grown / (2 + grown) + r * grown)",
    ): "a slope that is a little off needs some more steps",
    (
        "circuit/laws",
        "diode_current",
        "if np.all(np.abs(step) < 1e-12 / (1 + np.abs(u))):",
    ): _SETTLED,
    **{
        ("circuit/laws", "mos_time", line): "at the very border both are alike"
        for line in (
            "reached = (left > 0) & (~bends | (pinched >= 0) & (end > low))",
            "time = farads * (np.where(start >= overdrive, flat, 0.0)"
            " + np.where(bends, bent, 0.0))",
            "return np.asarray(np.where(to > start, 0.0, np.where(reached, time, np.inf)),"
            " np.float64)",
        )
    },
    ("circuit/laws", "diode_fall", "falls = (to < start) | (final < to)"): (
        "either alone is told by what follows: nothing to wait for, or never"
    ),
    ("circuit/laws", "diode_fall", "on = slope > -1"): (
        "without a diode the points give what the closed form gives"
    ),
    (
        "circuit/laws",
        "mos_level",
        "return np.asarray(np.where(pinched >= 0, low, saturated), np.float64)",
    ): "at the pinch-off both are the overdrive",
    **{
        (
            "core/findings",
            "Finding.thin",
            f"less = self.margin {sign} enough and (not math.isclose(self.margin, enough,"
            f" rel_tol={part}))",
        ): why
        for sign, part, why in (
            ("<=", "1e-12", "what is equal is close"),
            ("<", "2e-12", _ROUNDING),
            ("<", "5e-13", _ROUNDING),
        )
    },
}
"""(module, function, the changed line) of mutants that do what the original does, and why."""

_SWAPPED: dict[type[ast.AST], type[ast.AST]] = {
    ast.Lt: ast.LtE,
    ast.LtE: ast.Lt,
    ast.Gt: ast.GtE,
    ast.GtE: ast.Gt,
    ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq,
    ast.Is: ast.IsNot,
    ast.IsNot: ast.Is,
    ast.In: ast.NotIn,
    ast.NotIn: ast.In,
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
    ast.FloorDiv: ast.Mult,
    ast.Mod: ast.Mult,
    ast.Pow: ast.Mult,
    ast.LShift: ast.RShift,
    ast.RShift: ast.LShift,
    ast.BitAnd: ast.BitOr,
    ast.BitOr: ast.BitAnd,
    ast.BitXor: ast.BitAnd,
    ast.And: ast.Or,
    ast.Or: ast.And,
}
_ATTRIBUTES = {
    **{"rises": "falls", "falls": "rises", "at": "before", "before": "at"},
    **{"argmin": "argmax", "argmax": "argmin", "minimum": "maximum", "maximum": "minimum"},
    **{"min": "max", "max": "min", "any": "all", "all": "any"},
}
_NAMES = {"HIGH": "LOW", "LOW": "HIGH", "min": "max", "max": "min", "any": "all", "all": "any"}
_SIDES = {"left": "right", "right": "left"}
_SLICE_ENDS = ("lower", "upper")


@dataclass(frozen=True)
class Mutant:
    """One change: where it is, the line it makes, and the whole module with it."""

    module: str
    function: str
    line: int
    before: str
    after: str
    source: str

    @property
    def key(self) -> tuple[str, str, str]:
        return self.module, self.function, self.after


def mutants_of(module: str, text: str) -> list[Mutant]:
    """Every mutant of a module's source, in the order of its lines."""
    tree = ast.parse(text)
    made = []
    for site in _sites(tree, "", tree):
        before = _headline(site.statement)
        for changed in _changes(site.node):
            site.put(changed)
            after = _headline(site.statement)
            if after != before:
                source = ast.unparse(ast.fix_missing_locations(tree))
                line = getattr(site.node, "lineno", site.statement.lineno)
                made.append(Mutant(module, site.function, line, before, after, source))
            site.put(site.node)
    return sorted(made, key=lambda mutant: mutant.line)


@dataclass(frozen=True)
class _Site:
    """A node that may be changed, in its place: a field of its parent, or an item of one."""

    node: ast.AST
    parent: ast.AST
    field: str
    item: int | None
    statement: Any
    function: str

    def put(self, node: ast.AST | None) -> None:
        if self.item is None:
            setattr(self.parent, self.field, node)
        else:
            getattr(self.parent, self.field)[self.item] = node


_NO_CODE = {"annotation", "returns", "decorator_list", "type_params", "ctx"}


def _sites(node: ast.AST, function: str, statement: Any) -> Iterator[_Site]:
    for field, value in ast.iter_fields(node):
        if field in _NO_CODE or (isinstance(node, ast.keyword) and node.arg == "strict"):
            continue
        children = value if isinstance(value, list) else [value]
        for item, child in enumerate(children):
            if not isinstance(child, ast.AST) or _is_no_code(child, isinstance(node, ast.Module)):
                continue
            inside = child if isinstance(child, ast.stmt) else statement
            name = function
            if isinstance(child, ast.FunctionDef | ast.ClassDef):
                name = f"{function}.{child.name}".lstrip(".")
            number = item if isinstance(value, list) else None
            yield _Site(child, node, field, number, inside, name)
            yield from _sites(child, name, inside)


def _is_no_code(node: ast.AST, top: bool) -> bool:
    """Imports, docstrings, ``__all__`` and names of types."""
    if isinstance(node, ast.Import | ast.ImportFrom):
        return True
    if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
        return True
    if isinstance(node, ast.Assign) and top:
        (target,) = node.targets
        union = isinstance(node.value, ast.BinOp) and isinstance(node.value.op, ast.BitOr)
        names = isinstance(target, ast.Name) and target.id == "__all__"
        return names or union or isinstance(node.value, ast.Subscript)
    return False


def _changes(node: Any) -> Iterator[Any]:
    """Other nodes to put in the place of this one."""
    if type(node) in _SWAPPED:
        yield _SWAPPED[type(node)]()
    elif isinstance(node, ast.Constant):
        yield from map(ast.Constant, _other_constants(node.value))
    elif isinstance(node, ast.UnaryOp):
        yield node.operand
    elif isinstance(node, ast.Attribute) and node.attr in _ATTRIBUTES:
        yield _with(node, attr=_ATTRIBUTES[node.attr])
    elif isinstance(node, ast.Name) and node.id in _NAMES:
        yield _with(node, id=_NAMES[node.id])
    elif isinstance(node, ast.Slice):
        for end in _SLICE_ENDS:
            if getattr(node, end) is not None:
                yield _with(node, **{end: None})
    elif isinstance(node, ast.If | ast.While | ast.IfExp):
        yield _with(node, test=ast.UnaryOp(ast.Not(), node.test))
    elif isinstance(node, ast.comprehension):
        for n in range(len(node.ifs)):
            yield _with(node, ifs=node.ifs[:n] + node.ifs[n + 1 :])
    elif isinstance(node, ast.Expr):
        yield ast.Pass()


def _with(node: ast.AST, **fields: Any) -> ast.AST:
    other = copy.copy(node)
    for name, value in fields.items():
        setattr(other, name, value)
    return other


def _other_constants(value: object) -> Sequence[object]:
    if isinstance(value, bool):
        return [not value]
    if isinstance(value, int):
        return [value + 1, value - 1]
    if isinstance(value, float):
        return [value * 2, value / 2]
    return [_SIDES[value]] if isinstance(value, str) and value in _SIDES else []


def _clipped(before: str, after: str) -> tuple[str, str]:
    """Both lines with what they differ in and a little around it."""
    head = _alike(before, after)
    tail = _alike(before[head:][::-1], after[head:][::-1])
    begin = max(0, head - 30)
    return before[begin : len(before) - tail + 20], after[begin : len(after) - tail + 20]


def _alike(one: str, other: str) -> int:
    """How many signs two texts have in common from their begin on."""
    pairs = zip(one, other, strict=False)
    return next((n for n, (a, b) in enumerate(pairs) if a != b), min(len(one), len(other)))


def _headline(statement: ast.AST) -> str:
    return "" if isinstance(statement, ast.Module) else ast.unparse(statement).splitlines()[0]


class _FirstFailure:
    """Remembers which test failed first."""

    def __init__(self) -> None:
        self.name = ""

    def pytest_runtest_logreport(self, report: Any) -> None:
        if report.failed and not self.name:
            self.name = report.nodeid.rsplit("/", 1)[-1]

    def pytest_collectreport(self, report: Any) -> None:
        if report.failed and not self.name:
            self.name = "it cannot be imported"


HOLDS = "-"


def run_tests(tests: Sequence[str], limit: float) -> str:
    """The first test that fails, ``"time limit"``, or `HOLDS`; in a process of its own."""
    answer, told = os.pipe()
    child = os.fork()
    if not child:
        os.setsid()
        null = os.open(os.devnull, os.O_RDWR)
        for stream in (0, 1, 2):
            os.dup2(null, stream)
        os.write(told, _first_failing(tests).encode())
        os._exit(0)
    os.close(told)
    until = time.monotonic() + limit
    while not os.waitpid(child, os.WNOHANG)[0]:
        if time.monotonic() > until:
            os.killpg(child, signal.SIGKILL)
            os.waitpid(child, 0)
            os.close(answer)
            return "time limit"
        time.sleep(0.01)
    with os.fdopen(answer) as said:
        return said.read() or "it ends the process"


def _first_failing(tests: Sequence[str]) -> str:
    first = _FirstFailure()
    # What was loaded before the fork cannot be rewritten, and need not be.
    quiet = ["-W", "ignore::pytest.PytestAssertRewriteWarning", "-p", "no:cacheprovider"]
    try:
        code = pytest.main(["-x", "-q", *quiet, *tests], plugins=[first])
    except BaseException as error:  # whatever it is, it was noticed
        return type(error).__name__
    return HOLDS if code == pytest.ExitCode.OK else first.name or f"pytest ends with {code}"


def enter(tree: Path) -> None:
    """Take modules from this tree from now on, and the same examples for every mutant."""
    os.chdir(tree)
    os.environ["PYTHONPATH"] = str(tree / "sim")
    sys.path.insert(0, str(tree / "sim"))
    same = {"derandomize": True, "deadline": None, "database": None, "max_examples": 40}
    hypothesis.settings.register_profile("same", **same)
    hypothesis.settings.load_profile("same")


def time_limit(tree: Path, tests: Sequence[str]) -> float:
    """Five times what the tests take on the code as it is, which they must hold for.

    They run in this process first, so that everything but the tree's own modules is loaded when a
    mutant's process is forked: most of the time of a short test run is starting.
    """
    sys.dont_write_bytecode = False
    with contextlib.redirect_stdout(io.StringIO()):
        failing = _first_failing(tests)
    if failing != HOLDS:
        sys.exit(f"{failing} fails on the code as it is; mend that first")
    for name, module in [*sys.modules.items()]:
        if str(getattr(module, "__file__", None)).startswith(str(tree)):
            del sys.modules[name]
    sys.dont_write_bytecode = True
    began = time.monotonic()
    run_tests(tests, 600)
    return 10 + 5 * (time.monotonic() - began)


def near(module: str) -> tuple[str, ...]:
    """The tests that concern a module."""
    return NEAR.get(module) or NEAR[module.split("/", 1)[0]]


def copied(folder: Path) -> Path:
    """A copy of the tree with the byte code of the package."""
    tree = folder / "tree"
    skipped = shutil.ignore_patterns(".*", "__pycache__", "out")
    shutil.copytree(ROOT, tree, ignore=skipped)
    compileall.compile_dir(tree / "sim", quiet=2)
    return tree


def chosen(modules: Sequence[str], count: int | None, seed: int) -> list[Mutant]:
    """All mutants of these modules, or so many of them at random."""
    every = []
    for module in modules:
        path = ROOT / PACKAGE / module
        files = sorted(path.glob("*.py")) if path.is_dir() else [path.with_suffix(".py")]
        for file in files:
            name = file.relative_to(ROOT / PACKAGE).with_suffix("").as_posix()
            every += mutants_of(name, file.read_text())
    if count is None or count >= len(every):
        return every
    picked = sorted(random.Random(seed).sample(range(len(every)), count))
    return [every[n] for n in picked]


def judged(tree: Path, mutant: Mutant, tests: Sequence[str], limit: float) -> str:
    """What kills a mutant; empty where it lives."""
    file = (tree / PACKAGE / mutant.module).with_suffix(".py")
    text = file.read_text()
    for stale in (file.parent / "__pycache__").glob(f"{file.stem}.*"):
        stale.unlink()
    file.write_text(mutant.source)
    try:
        killer = run_tests(tests, limit)
    finally:
        file.write_text(text)
    return "" if killer == HOLDS else killer


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--count", type=int, help="so many at random; default: all")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--wider", action="store_true", help="survivors meet more tests")
    core = [module for module in NEAR if module.startswith("core/")]
    parser.add_argument("modules", nargs="*", metavar="MODULE", default=core)
    options = parser.parse_args()
    mutants = chosen(options.modules, options.count, options.seed)
    began = time.monotonic()
    outcomes: Counter[tuple[str, str]] = Counter()
    with tempfile.TemporaryDirectory() as folder:
        tree = copied(Path(folder))
        enter(tree)
        limits: dict[tuple[str, ...], float] = {}
        for mutant in mutants:
            stages = [near(mutant.module), *([WIDER] if options.wider else [])]
            killer = ""
            for tests in stages:
                if tests not in limits:
                    limits[tests] = time_limit(tree, tests)
                killer = killer or judged(tree, mutant, tests, limits[tests])
            reason = EQUIVALENT.get(mutant.key, "")
            word = "killed" if killer else "equivalent" if reason else "SURVIVED"
            outcomes[mutant.module, word] += 1
            place = f"{mutant.module}.py:{mutant.line}"
            change = "  ->  ".join(_clipped(mutant.before, mutant.after))
            print(f"{word:10} {place:24} {change}")
            print(f"{'':10} {killer[:89] or reason or mutant.key}", flush=True)
    for module in dict.fromkeys(mutant.module for mutant in mutants):
        counts = {word: outcomes[module, word] for word in ("killed", "equivalent", "SURVIVED")}
        print(f"{module:20}", ", ".join(f"{count} {word}" for word, count in counts.items()))
    seconds = time.monotonic() - began
    print(f"{len(mutants)} mutants in {seconds:.0f} s")
    return 1 if any(word == "SURVIVED" for _, word in outcomes) else 0


if __name__ == "__main__":
    sys.exit(main())
