"""Which of a capture's names is the latch, the clock, the data line.

Looks at the last part of a path only, and takes what is obvious: one name that means one thing.
Where a bench has several places to look at (`console.latch`, `cable.latch`), the console's own
side of latch and clock is taken and the cable's side of data, as everywhere else.
"""

import re
from collections.abc import Sequence
from difflib import get_close_matches

ROLES = ("latch", "clock", "data", "supply", "sync", "time", "sample")

# Common practice, no source: what people write on their probes and in their sources.
_MEANT = {
    "latch": ("latch", "lat", "ltch", "strobe", "stb", "load", "pl", "out0", "ps", "p_s"),
    "clock": ("clock", "clk", "ck", "cp", "sclk", "clock_n"),
    "data": ("data", "dat", "serial_data", "ser_out", "data_out", "dout", "q8", "d0", "q", "so"),
    "supply": ("supply", "vcc", "vdd", "5v"),
    "sync": ("sync", "csync", "video_sync", "video", "vsync", "vblank"),
    "time": ("time", "t", "timestamp", "x", "x-axis", "second", "seconds"),
    "sample": ("sample",),
}
_SCOPES = {
    "latch": ("console", "cable"),
    "clock": ("console", "cable"),
    "data": ("cable", "console"),
    "sample": ("console",),
}


class ChannelError(ValueError):
    """A channel that cannot be told: what is wrong and what would be right."""


def choose(names: Sequence[str], wanted: str, *, numbered: bool) -> int:
    """The place of a name given by the user: the whole name, its last part, or a number from 1.

    Numbers count only where things are ``numbered``, as columns are and variables are not.

    Raises `ChannelError` if there is none or more than one.
    """
    whole = [place for place, name in enumerate(names) if name == wanted]
    if not whole:
        folded = wanted.casefold()
        whole = [place for place, name in enumerate(names) if name.casefold() == folded]
    if not whole:
        end = "." + wanted.casefold()
        whole = [place for place, name in enumerate(names) if name.casefold().endswith(end)]
        # One signal is seen from outside and again inside what it goes into: the outer one.
        depth = min((names[place].count(".") for place in whole), default=0)
        whole = [place for place in whole if names[place].count(".") == depth]
    if not whole and numbered and re.fullmatch(r"[1-9][0-9]{0,5}", wanted):
        if int(wanted) <= len(names):
            return int(wanted) - 1
        raise ChannelError(f"there are {len(names)} columns; count from 1")
    if not whole:
        near = get_close_matches(wanted[:80], [n[:80] for n in names[:2000] if n], 3, 0.3)
        known = ", ".join(near or [name for name in names if name][:8])
        hint = f"; try {known}" if known else "; the file gives no names, use a number from 1"
        raise ChannelError(f"no channel is named {wanted[:60]!r}{hint}")
    if len(whole) > 1:
        raise ChannelError(f"{wanted[:60]!r} may be {names[whole[0]]} or {names[whole[1]]}")
    return whole[0]


def guess(names: Sequence[str], role: str) -> int | None:
    """The place of the one name that means this role, None if there is none or no telling."""
    for meaning in _MEANT[role]:
        fit = [place for place, name in enumerate(names) if _last(name) == meaning]
        for scope in _SCOPES.get(role, ()):
            inside = [p for p in fit if scope in names[p].casefold().split(".")[:-1]]
            if len(inside) == 1:
                return inside[0]
        if len(fit) > 1:
            # One signal seen from the outside and again from inside: the outer one.
            depth = [names[place].count(".") for place in fit]
            fit = [place for place, deep in zip(fit, depth, strict=True) if deep == min(depth)]
        if len(fit) == 1:
            return fit[0]
        if fit:
            return None
    return None


def _last(name: str) -> str:
    last = name.rsplit(".", 1)[-1].casefold().strip()
    last = re.sub(r"\s*(\[\d+(:\d+)?\]|\(.*\))$", "", last).strip(" #+")
    # "Channel 1 latch", "D0: latch", "latch CH1"; by itself such a label stays.
    label = r"(?:channel|chan|ch|dio|din|d|probe|input|pin|analog|digital)[\s_-]*\d{1,3}"
    last = re.sub(rf"^{label}\s*[\s:_=./-]\s*(?=[^\W\d_])", "", last)
    last = re.sub(rf"(?<=[^\W\d_])\s*[\s:_=./-]\s*{label}$", "", last)
    last = re.sub(r"^(?:pad|port|console|cable|i|o|w|r|s|sig|tb|dut|u)_(?=\w)", "", last)
    last = re.sub(r"_(?:i|o|in|s|w|r|q|sig)$", "", last)
    return last.replace(" ", "_").replace("-", "_") if last != "x-axis" else last
