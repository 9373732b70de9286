"""Findings in words, and where their limits come from."""

from math import isfinite

from padbench.core.sentences import cited
from padbench.core.units import show
from padbench.parts import Figure, PortKind, RegisterPart

__all__ = ["said", "source_of"]

_WHAT = {
    "levels.pressed": "a pressed button's input stands at {m}; {l} and less reads low",
    "levels.contact": "a contact of up to {m} still reads as pressed; a worn one has up to {l}",
    "levels.released": "a released button's input stands at {m}; {l} and more reads high",
    "edges.press": "an input takes {m} to fall after a press; the next poll comes in {l}",
    "edges.release": "an input takes {m} to rise after a release; the next poll comes in {l}",
    "latch.high": "the latch line gets to {m} on {p}; {l} and more reads high",
    "clock.high": "the clock line gets to {m} on {p}; {l} and more reads high",
    "latch.low": "the latch line gets down to {m}; {l} and less reads low",
    "clock.low": "the clock line gets down to {m}; {l} and less reads low",
    "latch.rise": "the latch rises in {m} at the {f}, {l} is allowed",
    "latch.fall": "the latch falls in {m} at the {f}, {l} is allowed",
    "clock.rise": "the clock rises in {m} at the register, {l} is allowed",
    "clock.fall": "the clock falls in {m} at the register, {l} is allowed",
    "latch.pulse": "the register sees {m} of the latch pulse and needs {l}",
    "clock.low-pulse": "the register sees {m} of the clock's low part and needs {l}",
    "clock.high-pulse": "the register sees {m} of the clock's high part and needs {l}",
    "data.low": "data gets down to {m} at the console; {l} and less reads low",
    "data.high": "data gets up to {m} at the console; {l} and more reads high",
    "data.rise": "data takes {m} to rise at the console, from a clock to its sample are {l}",
    "data.fall": "data takes {m} to fall at the console, from a clock to its sample are {l}",
    "data.first-bit": "the first bit stands {m} after the latch; it is sampled after {l}",
    "data.later-bits": "a later bit stands {m} after its clock; it is sampled after {l}",
    "supply.idle": "the pad takes {m} with nothing pressed; the port spares {l}",
    "supply.all-held": "the pad takes {m} with everything pressed; the port spares {l}",
    "power.pull-up": "a pull-up turns {m} into heat; it may {l}",
    "power.latch-resistor": "the latch resistor turns {m} into heat; it may {l}",
    "power.clock-resistor": "the clock resistor turns {m} into heat; it may {l}",
}
"""{m} is what was measured, {l} the limit, {p} the port, {f} the far end of the latch line."""

_NEVER = {
    "edges.press": "a pressed button's input never gets low",
    "edges.release": "a released button's input never gets high",
    "latch.rise": "the latch line never gets high",
    "latch.fall": "the latch line never gets low",
    "clock.rise": "the clock line never gets high",
    "clock.fall": "the clock line never gets low",
    "latch.pulse": "the register never sees the latch",
    "clock.low-pulse": "the register never sees the clock go low",
    "clock.high-pulse": "the register never sees the clock go high",
    "data.rise": "data never gets high at the console",
    "data.fall": "data never gets low at the console",
    "data.first-bit": "the first bit never stands: latch or data never gets to its level",
    "data.later-bits": "later bits never stand: clock or data never gets to its level",
}


def said(
    id_: str,
    measured: float,
    limit: float,
    unit: str,
    holds: bool,
    port: PortKind,
    *,
    inverted: bool = False,
) -> str:
    """One sentence about a finding; the line of an ``inverted`` latch ends at the inverter."""
    if not isfinite(measured):
        return _NEVER[id_]
    short = show(limit, unit) if isfinite(limit) else "any time"
    # A level of a millionth of a volt is no news to anybody.
    value = 0.0 if abs(measured) < 1e-15 else measured
    far = "inverter" if inverted else "register"
    text = _WHAT[id_].format(m=show(value, unit), l=short, p=f"a {port.name} port", f=far)
    if id_ in ("latch.high", "clock.high") and not holds and not port.drives_high:
        line = id_.partition(".")[0]
        return (
            f"the {line} line never gets high: a {port.name} port cannot lift it, and what the pad"
            f" has between supply and {line} leaves it at {show(value, unit)}; {short} is high"
        )
    return text


def source_of(id_: str, part: RegisterPart, port: PortKind) -> str:
    """Where the limit comes from, and what of the measured side was not looked up."""
    group, name = id_.split(".")
    if group == "levels":
        figure = part.input_high if name == "released" else part.input_low
        return cited((figure.cited,))
    if group == "edges":
        return "the sheet's poll; first-order RC"
    if group == "power":
        return "the sheet's rating"
    if group == "supply":
        return cited((port.supply_current.cited,))
    if group == "data":
        return {
            "low": cited((port.input_low.cited,)),
            "high": cited((port.input_high.cited,)),
        }.get(name, f"{cited((part.clock_to_output.cited,))}; cable: first-order RC")
    figure = _line_figure(name, part)
    return cited((figure.cited, port.output_low_resistance.cited))


def _line_figure(name: str, part: RegisterPart) -> Figure:
    return {
        "high": part.input_high,
        "low": part.input_low,
        "rise": part.clock_edge_max,
        "fall": part.clock_edge_max,
        "pulse": part.load_width,
        "low-pulse": part.clock_width,
        "high-pulse": part.clock_width,
    }[name]
