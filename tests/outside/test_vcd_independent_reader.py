"""VCD files against two readers that share no code with the package.

One is `vcdvcd`, a published reader. The other stands below, strict and small, and was written
from IEEE Std 1364-2005, clause 18.2 (the format of four-state files), which every viewer follows.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from vcdvcd import VCDVCD

from padbench.core.timeline import Timeline, Wire, Word
from padbench.waveio import write_wave

Changes = list[tuple[int, str]]

WIRES = ("contacts.A", "contacts.Down", "pad.clock", "cable.data", "console.latch", "tb.core.clk")
WORDS = ("contacts.closed", "pad.stages", "tb.core.state")
SECTIONS = (
    *("$comment", "$date", "$enddefinitions", "$scope", "$timescale", "$upscope", "$var"),
    *("$version", "$dumpvars", "$dumpall", "$dumpon", "$dumpoff"),
)
EVENTS = ("console.sample", "console.vblank")


@st.composite
def timelines(draw: st.DrawFn) -> Timeline:
    """Many changes at few times, so that much happens at once."""
    seed, changes = draw(st.tuples(st.integers(0, 2**32 - 1), st.integers(0, 40)))
    random = np.random.default_rng(seed)
    moments = np.unique(random.integers(1, 10 ** random.integers(1, 12), 20, endpoint=True))

    def when() -> list[int]:
        return [0, *sorted(random.choice(moments, changes).tolist())]

    def value(width: int) -> int | None:
        return None if random.random() < 0.2 else int(random.integers(0, 2**width))

    widths = dict(zip(WORDS, random.integers(1, 33, len(WORDS)).tolist(), strict=True))
    return Timeline(
        int(moments[-1] + random.integers(0, 2)),
        {name: Wire.of([(t, int(random.integers(0, 4))) for t in when()]) for name in WIRES},
        {n: Word.of(w, [(t, value(w)) for t in when()]) for n, w in widths.items()},
        {name: np.unique(when()[random.integers(0, 2) :]).astype(np.int64) for name in EVENTS},
        tuple((t, f"note {t % 3}") for t in when()[:8]),
    )


def _expected(timeline: Timeline) -> dict[str, Changes]:
    """What any reader must find, by name; vectors at full width."""
    found: dict[str, Changes] = {}
    for name, wire in timeline.wires.items():
        found[name] = [(t, "01xz"[v]) for t, v in zip(wire.times, wire.levels, strict=True)]
    for name, word in timeline.words.items():
        texts = ["x" * word.width if v is None else f"{v:0{word.width}b}" for v in word.values]
        found[name] = list(zip(word.times, texts, strict=True))
    for name, moments in timeline.events.items():
        found[name] = [(t, "1") for t in moments]
    return found


def _text(changes: Changes) -> list[tuple[int, str]]:
    """Notes: what the bits of the known values spell."""
    known = [(t, int(bits, 2)) for t, bits in changes if "x" not in bits]
    return [(t, v.to_bytes((v.bit_length() + 7) // 8).decode()) for t, v in known]


def _extended(value: str, width: int) -> str:
    """A vector at full width: 0 and 1 are extended with 0, x with x, z with z (18.2)."""
    return ("0" if value[0] == "1" else value[0].lower()) * (width - len(value)) + value.lower()


@given(timelines())
def test_a_published_reader_finds_the_same(
    tmp_path_factory: pytest.TempPathFactory, timeline: Timeline
) -> None:
    path = tmp_path_factory.getbasetemp() / "independent.vcd"
    write_wave(timeline, path, comment="for another reader")
    read = VCDVCD(str(path))
    found = {}
    for reference in read.signals:
        signal_ = read[reference]
        name = re.sub(r"\[\d+:0\]$", "", reference)
        found[name] = [(t, _extended(value, int(signal_.size))) for t, value in signal_.tv]
    assert _text(found.pop("console.note")) == list(timeline.notes)
    assert found == _expected(timeline)
    assert read.endtime == timeline.end_ps
    assert float(read.timescale["timescale"]) == 1e-12


@dataclass
class _Strict:
    """Reads a file by the letter of the standard; anything else is an ``AssertionError``."""

    names: dict[str, str] = field(default_factory=dict)
    kinds: dict[str, tuple[str, int]] = field(default_factory=dict)
    found: dict[str, Changes] = field(default_factory=dict)
    end: int = -1

    def read(self, text: str) -> "_Strict":
        assert text.isascii()
        assert text.endswith("\n")
        words = iter(text.partition("$enddefinitions $end\n")[0].split())
        self._declarations(words)
        self._changes(text.partition("$enddefinitions $end\n")[2].splitlines())
        return self

    def _declarations(self, words: Iterator[str]) -> None:
        # 18.2, declaration_keyword: each opens a section that $end closes.
        scopes: list[str] = []
        seen: list[str] = []
        for keyword in words:
            body: list[str] = []
            for word in words:
                if word == "$end":
                    break
                # No keyword may stand inside a section, or the section was not closed.
                assert word not in SECTIONS
                body.append(word)
            else:
                pytest.fail(f"{keyword} is not closed")
            seen.append(keyword)
            if keyword == "$timescale":
                # time_number is 1, 10 or 100.
                assert re.fullmatch(r"1(0|00)? ?(s|ms|us|ns|ps|fs)", " ".join(body))
            elif keyword == "$scope":
                kind, scope = body
                assert kind in {"module", "task", "function", "begin", "fork"}
                scopes.append(scope)
            elif keyword == "$upscope":
                assert not body
                scopes.pop()
            elif keyword == "$var":
                self._variable(scopes, *body)
            else:
                assert keyword in {"$comment", "$date", "$version"}
        assert not scopes
        assert seen.count("$timescale") == 1
        assert seen.count("$version") == 1

    def _variable(self, scopes: list[str], kind: str, size: str, code: str, reference: str) -> None:
        # var_type; `string` and others that viewers have invented are not among them.
        assert kind in {
            *("event", "integer", "parameter", "real", "realtime", "reg", "supply0", "supply1"),
            *("time", "tri", "triand", "trior", "trireg", "tri0", "tri1", "wand", "wire", "wor"),
        }
        # identifier_code: printable ASCII from ! to ~.
        assert re.fullmatch(r"[!-~]+", code)
        assert code not in self.names
        # reference: an identifier, then perhaps [index] or [msb:lsb].
        name, high, low = re.fullmatch(r"([A-Za-z_]\w*)(?:\[(\d+):(\d+)\])?", reference).groups()  # type: ignore[union-attr]
        assert int(size) == (1 if high is None else int(high) - int(low) + 1)
        self.names[code] = ".".join([*scopes, name])
        self.kinds[code] = kind, int(size)
        self.found[code] = []

    def _changes(self, lines: list[str]) -> None:
        # $dumpvars comes at the first time and holds every variable that has a value.
        assert lines[0] == "#0"
        first = lines.index("$end") if self.names else 0
        now = 0
        for place, line in enumerate(lines):
            if line.startswith("#"):
                # simulation_time: # and a decimal number, which never falls.
                assert re.fullmatch(r"#(0|[1-9][0-9]*)", line)
                assert int(line[1:]) >= now
                now = int(line[1:])
            elif line in {"$dumpvars", "$end"}:
                assert place == (1 if line == "$dumpvars" else first)
            else:
                self._value(now, line)
            if place == first:
                valued = {code for code, (kind, _) in self.kinds.items() if kind != "event"}
                assert {c: len(v) for c, v in self.found.items() if v} == dict.fromkeys(valued, 1)
        assert lines[-1] == f"#{now}"
        self.end = now

    def _value(self, now: int, line: str) -> None:
        # scalar_value_change: no white space between value and code.
        # vector_value_change: none between base and digits, one space before the code.
        scalar = re.fullmatch(r"([01xXzZ])([!-~]+)", line)
        vector = re.fullmatch(r"[bB]([01xXzZ]+) ([!-~]+)", line)
        match = scalar or vector
        assert match, line
        value, code = match.groups()
        kind, size = self.kinds[code]
        assert (size == 1) == (match is scalar)
        # Vectors stand in their shortest form: no digit that extension to the left would give.
        assert len(value) <= size
        assert len(value) == 1 or _extended(value[1:], len(value)) != value
        assert kind != "event" or value == "1"
        self.found[code].append((now, _extended(value, size)))

    def by_name(self) -> dict[str, Changes]:
        return {self.names[code]: changes for code, changes in self.found.items()}


@given(timelines())
def test_the_standard_is_kept_to_the_letter(
    tmp_path_factory: pytest.TempPathFactory, timeline: Timeline
) -> None:
    path = tmp_path_factory.getbasetemp() / "strict.vcd"
    write_wave(timeline, path, comment="two\nlines, $end $var and #5")
    strict = _Strict().read(path.read_bytes().decode("ascii"))
    found = strict.by_name()
    assert _text(found.pop("console.note")) == list(timeline.notes)
    assert found == _expected(timeline)
    assert strict.end == timeline.end_ps


def test_codes_stay_printable_for_many_variables(tmp_path: Path) -> None:
    wires = {f"pad.w{i}": Wire.of([(0, i & 1)]) for i in range(20_000)}
    write_wave(Timeline(1, wires), tmp_path / "many.vcd")
    strict = _Strict().read((tmp_path / "many.vcd").read_text())
    assert strict.by_name() == {f"pad.w{i}": [(0, str(i & 1))] for i in range(20_000)}
