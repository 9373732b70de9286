"""What was pressed beside what another says, aligned by what was read and not by when.

    here, there = states(reads), states(others)
    judge_beside(AGAINST, here, there, source)     # findings, and a row a button

Nobody holds a button for equally many polls twice, nor presses eight buttons without letting go: a
state that lasts longer in one of the two is no difference, nor is a rest between two that differ,
nor a short step on the way to a chord. What is left is a press that the other has not.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from difflib import SequenceMatcher
from functools import reduce
from itertools import combinations, zip_longest
from operator import and_, or_

from padbench.capture.reads import SeenRead
from padbench.core.buttons import BUTTONS, byte_of, pressed_in, spelled
from padbench.core.findings import Fact, Finding, Met, Rule, Source, Verdict

_MOST = 2000
"""States; the time to align them grows with the square of their number."""
_TRIED = 10_000
"""Pairs of states; the time to try all exchanges grows with them."""
_ON_THE_WAY = 3
"""Reads; two buttons of a chord come so close together (assumed: 50 ms)."""

_BESIDE = " (difference {number} of {count} beside {source})"
_SAYS = {
    "too-long": "more than {most} states; compare shorter captures",
    "missing": "the other has {there}, which is missing here" + _BESIDE,
    "added": "here is {here}, which the other has not" + _BESIDE,
    "let-go": "here all is let go within a press, which it is not there" + _BESIDE,
    "held-on": "there all is let go between two presses, which it is not here" + _BESIDE,
    "fail": "{here} here, {there} there" + _BESIDE,
    "held": "{what} is pressed all the time here, which it is not in {source}: it is stuck, or "
    "what it switches stays low",
    "exchanged": "{what} are exchanged here: changed over, all presses are those of {source}",
}
AGAINST = Rule(
    "against.reads",
    "reads",
    _SAYS | {"pass": "{presses} presses here, the same as those of {source}"},
)
ORDER = Rule(
    "expect.order",
    "reads",
    _SAYS | {"pass": "{presses} presses came in the order of {source}"},
)


@dataclass(frozen=True, slots=True)
class State:
    """So many reads in a row of one ``byte``, the first of them ``read``, None where none is known.

    ``undecided`` has every bit that was so in one of them.
    """

    byte: int
    read: SeenRead | None = None
    count: int = 1
    undecided: int = 0


@dataclass(frozen=True, slots=True)
class Beside:
    """Presses of one button: how many of the other's were ``seen`` here and how many ``missed``;
    ``extra`` ones the other has not. ``weak`` are seen with a bit undecided, or in pieces.
    """

    button: str
    seen: int = 0
    missed: int = 0
    extra: int = 0
    weak: int = 0


def states(reads: Iterable[SeenRead]) -> list[State]:
    """One after the other, without rests but those between equal ones, nor steps on the way.

    A read that was not recorded to its end says nothing and is left out.
    """
    found: list[State] = []
    for read in reads:
        if read.open_ended or read.in_gap:
            continue
        if found and found[-1].byte == read.byte:
            last = found[-1]
            undecided = last.undecided | read.undecided
            found[-1] = replace(last, count=last.count + 1, undecided=undecided)
        else:
            found.append(State(read.byte, read, 1, read.undecided))
    return _pressed(
        [
            state
            for before, state, after in _neighbours(found)
            if before is None or after is None or not _on_the_way(before, state, after)
        ]
    )


def in_turn(order: Iterable[int]) -> list[State]:
    """Presses (bytes) one after the other as states, whether or not somebody wrote the rests."""
    found: list[State] = []
    for byte in filter(None, order):
        again = found and found[-1].byte == byte
        found += [State(0), State(byte)] if again else [State(byte)]
    return found


def _pressed(found: Sequence[State]) -> list[State]:
    """Without rests but those between equal ones."""
    return [
        state
        for before, state, after in _neighbours(found)
        if state.byte or (before and after and before.byte == after.byte)
    ]


def _without(some: Sequence[State], bits: int) -> list[State]:
    """The same, had these buttons not been looked at."""
    found: list[State] = []
    for state in some:
        one = replace(state, byte=state.byte & ~bits, undecided=state.undecided & ~bits)
        if found and found[-1].byte == one.byte:
            last = found.pop()
            undecided = last.undecided | one.undecided
            one = replace(last, count=last.count + one.count, undecided=undecided)
        found.append(one)
    return _pressed(found)


def _changed_over(some: Sequence[State], one: int, other: int) -> list[State]:
    def over(byte: int) -> int:
        return byte & ~(one | other) | (byte & one and other) | (byte & other and one)

    return [replace(s, byte=over(s.byte), undecided=over(s.undecided)) for s in some]


def _exchanged(here: Sequence[State], there: Sequence[State]) -> tuple[str, ...]:
    """The two buttons that only have to change places for both to be the same."""
    if len(here) * len(there) > _TRIED:
        return ()
    pressed = pressed_in(reduce(or_, (state.byte for state in there), 0))
    for pair in combinations(pressed, 2):
        if not compare(_changed_over(here, *(byte_of([button]) for button in pair)), there):
            return pair
    return ()


def _neighbours(some: Sequence[State]) -> Iterator[tuple[State | None, State, State | None]]:
    return zip([None, *some], some, [*some[1:], None], strict=False)


def _on_the_way(before: State, state: State, after: State) -> bool:
    either, both = before.byte | after.byte, before.byte & after.byte
    between = not state.byte & ~either and not both & ~state.byte
    return between and before.byte != after.byte and state.count <= _ON_THE_WAY


Difference = tuple[State | None, State | None]
"""What is here and what is there; None where the state has no partner."""
_Steps = Sequence[tuple[str, int, int, int, int]]


def _aligned(here: Sequence[State], there: Sequence[State]) -> _Steps:
    """As `difflib.SequenceMatcher.get_opcodes`, by the bytes."""
    one, other = ([state.byte for state in some] for some in (here, there))
    return SequenceMatcher(None, one, other, autojunk=False).get_opcodes()


def compare(here: Sequence[State], there: Sequence[State]) -> tuple[Difference, ...]:
    """States that differ or have no partner."""
    found: list[Difference] = []
    for kind, i, stop, j, end in _aligned(here, there):
        if kind == "equal":
            continue
        # What goes on after a state that has no partner is no press of its own.
        ends = {state.byte for state in (*here[i - 1 : i], *here[stop : stop + 1])}
        one, other = (
            [state for state in some if state.byte not in ends]
            for some in (here[i:stop], there[j:end])
        )
        # A rest within a press is not what stands in place of another press.
        held = ([state for state in some if state.byte] for some in (one, other))
        found.extend((a, b) for a, b in zip_longest(*held))
        found.extend((state, None) for state in one if not state.byte)
        found.extend((None, state) for state in other if not state.byte)
    return tuple(found)


def judge_beside(
    rule: Rule, here: Sequence[State], there: Sequence[State], source: Source, held: int = 0
) -> tuple[tuple[Finding, ...], tuple[Beside, ...]]:
    """`AGAINST` or `ORDER`: a finding for each difference up to ten, or one that there is none.

    ``source`` says what the other is, "the capture bench.vcd". The rows of buttons are those that
    either has. ``held`` are the buttons that nearly every read here has: of one that the other
    lets go only this is said, and the others are compared without it.
    """
    if max(len(here), len(there)) > _MOST:
        return (_finding(rule, "fail", None, source, case="too-long", most=_MOST),), ()
    held &= ~reduce(and_, (state.byte for state in there), 0xFF if there else 0)
    if held:
        what = " and ".join(pressed_in(held))
        stuck = _finding(rule, "fail", 1, source, case="held", what=what)
        rows = _apart(here, there, pressed_in(held))
        more, table = judge_beside(rule, _without(here, held), _without(there, held), source)
        more = tuple(one for one in more if one.verdict == "fail")
        return (stuck, *more), _in_order([*rows, *table])
    differences = compare(here, there)
    table = tuple(_buttons(here, there))
    pair = _exchanged(here, there) if differences else ()
    if pair:
        others = [row for row in table if row.button not in pair]
        says = _finding(rule, "fail", 1, source, case="exchanged", what=" and ".join(pair))
        return (says,), _in_order([*others, *_apart(here, there, pair)])
    if not differences:
        pressed = sum(state.byte > 0 for state in there)
        return (_finding(rule, "pass", 0, source, presses=pressed),), table
    count = len(differences)
    return tuple(
        _different(rule, difference, number, count, source)
        for number, difference in enumerate(differences[:10], 1)
    ), table


def _apart(
    here: Sequence[State], there: Sequence[State], buttons: Iterable[str]
) -> Iterator[Beside]:
    """Of buttons whose presses here are none of the other's."""
    for button in buttons:
        own, others = (len({*_presses(s, byte_of([button])).values()}) for s in (here, there))
        yield Beside(button, 0, others, own)


def _in_order(rows: Iterable[Beside]) -> tuple[Beside, ...]:
    return tuple(sorted(rows, key=lambda row: BUTTONS.index(row.button)))


def _buttons(here: Sequence[State], there: Sequence[State]) -> Iterator[Beside]:
    """Each press of the other is seen where one of its states is, or one in its place has it."""
    same = [
        pair
        for _, i, stop, j, end in _aligned(here, there)
        for pair in zip(range(i, stop), range(j, end), strict=False)
    ]
    for place, button in enumerate(BUTTONS):
        bit = 128 >> place
        own, others = _presses(here, bit), _presses(there, bit)
        pairs = {(own[i], others[j]) for i, j in same if i in own and j in others}
        seen = {press for _, press in pairs}
        extra = set(own.values()) - {press for press, _ in pairs}
        pieces = {press for press in extra if _close(here, own, press, pairs)}
        weak = {other for one, other in pairs if _doubtful(here, own, one, bit)}
        row = Beside(
            button,
            len(seen),
            len(set(others.values()) - seen),
            len(extra - pieces),
            min(len(seen), len(weak) + len(pieces)),
        )
        if any([row.seen, row.missed, row.extra]):
            yield row


def _presses(some: Sequence[State], bit: int) -> dict[int, int]:
    """By the place of a state with that button, the place at which its press begins."""
    begins: dict[int, int] = {}
    for place, state in enumerate(some):
        if state.byte & bit:
            begins[place] = begins.get(place - 1, place)
    return begins


def _doubtful(some: Sequence[State], own: dict[int, int], press: int, bit: int) -> bool:
    return any(some[place].undecided & bit for place, begin in own.items() if begin == press)


def _close(
    some: Sequence[State], own: dict[int, int], press: int, pairs: set[tuple[int, int]]
) -> bool:
    """Whether only a few reads part a press from one that was seen: a hold in pieces."""
    ends = max(place for place, begin in own.items() if begin == press)
    near = [place for place in (press - 2, ends + 2) if own.get(place) in {one for one, _ in pairs}]
    return any(some[(place + (press if place < press else ends)) // 2].count <= 3 for place in near)


def _finding(
    rule: Rule,
    verdict: Verdict,
    count: int | None,
    source: Source,
    met: Met | None = None,
    case: str = "",
    **facts: Fact,
) -> Finding:
    facts |= {"count": count, "source": source.title}
    measured, limit, margin = (None,) * 3 if count is None else (float(count), 0.0, -float(count))
    sources = (source,)
    return Finding(rule, verdict, measured, limit, margin, met or Met(), sources, case, facts)


def _different(
    rule: Rule, difference: Difference, number: int, count: int, source: Source
) -> Finding:
    here, there = difference
    case = "missing" if here is None else "added" if there is None else ""
    if not (here or there or State(0)).byte:
        case = {"missing": "held-on", "added": "let-go"}.get(case, case)
    one, other = (None if state is None else state.read for state in (here, there))
    return _finding(
        rule,
        "fail",
        count,
        source,
        Met(
            read=None if one is None else one.number,
            at_ps=None if one is None else one.start_ps,
            other="" if other is None else f"read {other.number} of the other",
        ),
        case,
        number=number,
        here=None if here is None else _spelled(here),
        there=None if there is None else _spelled(there),
        there_read=None if other is None else other.number,
        there_ps=None if other is None else other.start_ps,
    )


def _spelled(state: State) -> str:
    unsure = f" ({spelled(state.undecided)} undecided)" if state.undecided else ""
    return spelled(state.byte) + unsure
