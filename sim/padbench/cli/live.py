"""``padbench live SHEET``."""

import json
import webbrowser
from pathlib import Path

from padbench.cli.errors import UsageError
from padbench.cli.options import Parser, usable
from padbench.cli.progress import progress
from padbench.core.units import printable
from padbench.files import one_run, whole_file
from padbench.results.documents import SCHEMA


def run(arguments: list[str]) -> int:
    """Serve the page until Ctrl-C, or write one that needs no server."""
    parser = Parser(
        "live",
        "A page with switches: flip a contact and see the wires and the byte that the console"
        " reads; turn a value of the sheet and see what holds. Served on this machine only, to who"
        " has the address, until Ctrl-C. The sheet is never changed.",
        "padbench live sim/sheets/harbour-b.toml",
    )
    parser.add_argument("sheet", metavar="SHEET", type=Path)
    parser.add_argument(
        "--export",
        metavar="FILE",
        type=Path,
        help="write a page (HTML) with all 256 states and every stopped read instead of serving",
    )
    parser.add_argument("--port", metavar="N", type=int, default=0, help="default: any free one")
    parser.add_argument("--no-browser", action="store_true", help="open no browser")
    options = parser.parse_args(arguments)
    if not 0 <= options.port <= 65_535:
        raise UsageError(f"--port: {options.port} is no port; write one from 1 to 65535")
    from padbench.live.bench import Bench
    from padbench.live.page import export_html

    with usable():
        bench = Bench(options.sheet)
    if options.export is not None:
        try:
            with progress("stopped reads") as step:
                page = export_html(bench, step)
        except ValueError as error:
            raise UsageError(f"{options.sheet}: {error}") from None
        with one_run() as files, whole_file(options.export) as out:
            out.write(page)
        if not files.failed:
            _say(options.json, {"export": str(options.export)}, f"{options.export} written.")
        return 0
    from padbench.live.server import LiveServer

    try:
        made = LiveServer(bench, options.port)
    except OSError as error:
        says = (error.strerror or str(error)).lower()
        raise UsageError(f"--port: {options.port} cannot be had ({says}); name another") from None
    with made as server:
        where = f"The bench stands at {server.address}"
        _say(options.json, {"address": server.address}, where, "Ctrl-C ends it.")
        if not options.no_browser:
            webbrowser.open(server.address)
        server.serve_forever()
    return 0


def _say(as_json: bool, told: dict[str, str], *says: str) -> None:
    lines = "\n".join(map(printable, says))
    text = json.dumps({"schema": SCHEMA, **told}) if as_json else lines
    print(text, flush=True)
