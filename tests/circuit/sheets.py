"""Sheets written out of a table of values, so that any one of them can be changed."""

from padbench.sheet import Sheet, sheet_from_text

VALUES = {
    "pad.name": "Spoilt",
    "pad.supply": "5 V ± 5 %",
    "pad.temperature": "0 °C to 40 °C",
    "register.part": "CD4021B",
    "register.serial-input": "ground",
    "pull-up.value": "39k ± 5 %",
    "pull-up.rating": "100 mW",
    "contacts.closed": "300 Ω",
    "contacts.worn": "10k",
    "contacts.open": "10 MΩ",
    "contacts.bounce": "5 ms",
    "cable.length": "2.5 m",
    "cable.capacitance": "100 pF/m",
    "cable.coupling": "15 %",
    "resistors.latch-to-supply": "3.6k ± 5 %",
    "resistors.clock-to-supply": "3.6k ± 5 %",
    "resistors.rating": "100 mW",
    "policy.debounce": "0 s",
    "poll.latch-width": "8.9 us",
    "poll.latch-to-clock": "5.4 us",
    "poll.clock-low": "0.56 us",
    "poll.clock-high": "5.59 us",
    "poll.sample": "0.56 us",
    "poll.period": "16.639 ms",
    "poll.clocks": 8,
}
FIRMWARE = {
    "register.part": None,
    "register.kind": "firmware",
    "register.first-bit": "2 us to 5 us",
    "register.next-bit": "1 us to 3 us",
    "register.shortest-pulse": "300 ns",
}
BUTTONS = ["A", "B", "Select", "Start", "Up", "Down", "Left", "Right"]


def written(*changes: dict, ports=("push-pull", "pull-down-only")) -> Sheet:
    """The good sheet with other values; None takes a key out."""
    values = dict(VALUES)
    for change in changes:
        values |= change
    tables: dict[str, list[str]] = {}
    for key, value in values.items():
        table, name = key.split(".")
        if value is not None:
            text = str(value).lower() if isinstance(value, int) else f'"{value}"'
            tables.setdefault(table, []).append(f"{name} = {text}")
    tables["buttons"] = [f"{name} = {8 - place}" for place, name in enumerate(BUTTONS)]
    tables["works-with"] = [f"ports = {list(ports)}"]
    text = "".join(f"[{name}]\n" + "\n".join(lines) + "\n" for name, lines in tables.items())
    return sheet_from_text(text, "spoilt")


def put_back(change: dict, key: str, number: float, unit: str) -> dict:
    """The number as the value of a key, with the spread, or at the end, that the sheet had."""
    before = str((VALUES | change)[key])
    if key == "pad.temperature":
        low, _ = before.replace(" °C", "").split(" to ")
        return {key: f"{low} °C to {number:.6f} °C"}
    if " to " in before:
        return {key: f"{before.split(' to ', maxsplit=1)[0]} to {number!r} s"}
    spread = " ± " + before.split("±")[1].strip() if "±" in before else ""
    if before in ("absent", "0 Ω"):
        spread = " ± 5 %"  # as is usual of what is still to be fitted
    return {key: f"{number!r} {unit}{spread}"}
