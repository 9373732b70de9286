"""What can be turned on the page, and the sheet with it turned.

    for dial in dials_of(sheet): dial.key, dial.now, dial.choices
    text = turned(sheet, {"cable.length": "10 m"})

A dial writes words into the sheet, as a person would; what they may be is the sheet's own affair.
Nothing but the keys that stand here can be turned, so that no page names a file.
"""

import tomllib
from collections.abc import Mapping, Sequence
from copy import deepcopy
from dataclasses import dataclass
from json import dumps
from pathlib import Path
from typing import Any, get_args

from padbench.core.units import UnitError, read_value
from padbench.jobs.loading import Refusal
from padbench.parts import console_names, console_timing, named_poll, poll_names, register_names
from padbench.results.change import TITLES
from padbench.routines.source import SHIPPED
from padbench.sheet import Sheet
from padbench.sheet.fields import ABSENT
from padbench.sheet.model import Policy

ROUTINE = "routine "
"""Before the name of a read routine, where a poll is chosen."""

STUCK, WORN = "contacts.stuck", "fault.contact-worn"
"""Buttons by name: no dials, but what each switch of the page may be besides sound."""
_WORN = "contact-worn"

_FREE = tomllib.loads(Path(__file__).with_name("dials.toml").read_text(encoding="utf-8"))


@dataclass(frozen=True, slots=True)
class Dial:
    """A key of the sheet: its name for people, what the sheet says now, and what to choose from.

    ``free``: the choices are only steps, and any value of its kind can be typed.
    """

    key: str
    name: str
    now: str
    choices: Sequence[str]
    free: bool = False


def dials_of(sheet: Sheet) -> list[Dial]:
    """Every dial of a sheet, in the order in which they stand on the page."""
    data, assumed = sheet.document.data, dict(sheet.assumed)

    def now(key: str) -> str:
        table, name = key.split(".")
        value = data.get(table, {}).get(name, assumed.get(key, ""))
        return ", ".join(value) if isinstance(value, list) else str(value)

    poll, parts = data["poll"], [*register_names()]
    polled = f"{ROUTINE}{poll['routine']}" if "routine" in poll else poll.get("use", "")
    part, ports = sheet.chip.part, now("works-with.ports")
    chosen = [
        ("works-with.ports", ports, [ports, *sheet.known_ports]),
        ("poll.use", polled, [polled, *poll_names(), *(ROUTINE + one for one in SHIPPED)]),
        ("poll.console", sheet.poll.console, console_names()),
    ]
    if sheet.chip.kind == "register":
        chosen += [
            ("register.part", part, [part, *parts]),
            ("register.serial-input", sheet.chip.serial_input,
             ["ground", "supply", "open"]),
        ]  # fmt: skip
    policies = get_args(Policy.model_fields["opposite_directions"].annotation)
    key = "policy.opposite-directions"
    chosen.append((key, sheet.policy.opposite_directions, policies))
    chosen.append((STUCK, now(STUCK), ()))
    if sheet.chip.kind == "register":
        worn = [fault.at for fault in sheet.fault if fault.kind == _WORN and fault.at]
        chosen.append((WORN, ", ".join(worn), ()))
    return [
        *(
            Dial(key, TITLES.get(key, key), value, [*dict.fromkeys(some)])
            for key, value, some in chosen
        ),
        *(
            Dial(key, TITLES[key], now(key), _with(now(key), row["steps"], row["unit"]), free=True)
            for key, row in _FREE.items()
        ),
    ]


def _with(now: str, steps: Sequence[str], unit: str) -> list[str]:
    """The steps with the sheet's own words among them, by their size."""

    def size(text: str) -> float:
        try:
            return -1.0 if text == ABSENT else read_value(text, unit, example=text).nominal
        except UnitError:
            return -1.0

    own = size(now)
    kept = [step for step in steps if size(step) != own]
    return sorted([now, *kept] if now else kept, key=size)


def turned(sheet: Sheet, dials: Mapping[str, str]) -> str:
    """The text of the sheet with these keys at these words.

    Raises `Refusal` for a key that is no dial, or words that are none of its choices.
    """
    data = deepcopy(dict(sheet.document.data))
    known = {dial.key: dial for dial in dials_of(sheet)}
    # Last what goes by another: a console by the poll, a worn contact by how worn it may be.
    for key in sorted(dials, key=("poll.console", WORN).__contains__):
        if key not in known:
            raise Refusal("dial", f"there is no dial {key[:60]!r}; try {', '.join(known)}")
        dial, words = known[key], dials[key].strip()
        if not dial.free and dial.choices and words not in dial.choices:
            raise Refusal(key, f"{words!r} cannot be chosen; try {', '.join(dial.choices)}")
        if words == dial.now:
            continue
        table, name = key.split(".")
        if key == "poll.use":
            data["poll"] = _poll(words, data["poll"])
        elif key == WORN:
            others = [one for one in data.get("fault", ()) if one["kind"] != _WORN]
            ohms = data.get("contacts", {}).get("worn") or dict(sheet.assumed)["contacts.worn"]
            worn = [{"kind": _WORN, "at": at, "ohms": ohms} for at in _listed(words)]
            data["fault"] = [*others, *worn]
        elif key in (STUCK, "works-with.ports"):
            data.setdefault(table, {})[name] = _listed(words)
        else:
            data.setdefault(table, {})[name] = words
        if key == "poll.console":
            _framed(data["poll"], words)
    return sheet_text(data)


def _listed(words: str) -> list[str]:
    return [part.strip() for part in words.split(",") if part.strip()]


def _poll(words: str, now: Mapping[str, Any]) -> dict[str, Any]:
    """Another poll brings its own times; the console stays."""
    chosen = (
        {"routine": words.removeprefix(ROUTINE)} if words.startswith(ROUTINE) else {"use": words}
    )
    return chosen | {key: now[key] for key in ("console", "line") if key in now}


def _framed(poll: dict[str, Any], console: str) -> None:
    """A typed poll that comes once a frame of some console comes once a frame of this one."""
    if "routine" in poll:
        return
    named = named_poll(poll["use"]).timings.get("period", "") if "use" in poll else ""
    period = read_value(poll.get("period", named), "s", example="16.639 ms").nominal
    frames = [1 / float(console_timing(name).frame_rate) for name in console_names()]
    if any(abs(period / frame - 1) < 0.01 for frame in frames):
        poll["period"] = f"{1e3 / float(console_timing(console).frame_rate):.3f} ms"


def sheet_text(data: Mapping[str, Any]) -> str:
    """TOML of what a sheet holds: tables of plain values, and lists of them, without comments."""
    tables = []
    for table, rows in data.items():
        head = f"[[{_key(table)}]]" if isinstance(rows, list) else f"[{_key(table)}]"
        for keys in rows if isinstance(rows, list) else [rows]:
            lines = [f"{_key(key)} = {_value(value)}" for key, value in keys.items()]
            tables.append("\n".join([head, *lines]) + "\n")
    return "\n".join(tables)


def _key(name: str) -> str:
    plain = name.isascii() and name.replace("-", "").replace("_", "").isalnum()
    return name if plain else _value(name)


def _value(value: object) -> str:
    if isinstance(value, list):
        return f"[{', '.join(map(_value, value))}]"
    if isinstance(value, dict):
        inside = ", ".join(f"{_key(key)} = {_value(one)}" for key, one in value.items())
        return f"{{ {inside} }}"
    if isinstance(value, str):
        return dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    return dumps(value) if isinstance(value, bool | int | float) else str(value)
