"""``padbench diagnose SHEET WHAT=READ ...``."""

import sys
from argparse import Namespace
from pathlib import Path

from padbench.cli.errors import UsageError
from padbench.cli.options import Parser, usable
from padbench.cli.outputs import add_output_options, emit
from padbench.files import whole_file
from padbench.jobs.diagnose import bench_of, card_of, diagnose, diagnosed, hold_to_pad, noted
from padbench.repair.observed import UnclearError, read_lines
from padbench.repair.ranking import next_tests, rank
from padbench.repair.words import Words
from padbench.results.result import Result

_MOST_QUESTIONS = 40
_PAGES = (".html", ".htm")
_CARDS = (*_PAGES, ".txt", "")


def run(arguments: list[str]) -> int:
    """Say what is broken; 0 if nothing is, 1 if something is or nothing is decided."""
    options = _parser().parse_args(arguments, intermixed=True)
    if options.card is not None and options.card.suffix.lower() not in _CARDS:
        raise UsageError(f"--card: {options.card}: a card is a page or text; name it .html or .txt")
    lines = [*options.seen, *options.meter]
    others = options.file or options.capture
    with usable(options.sheet):
        if options.card is not None and not lines and not others and not options.ask:
            return emit([_write_card(options)], options, arguments)
        if options.ask:
            if options.capture is not None:
                raise UsageError("--ask: leave out --capture; type what was seen instead")
            result = _asked(options)
        else:
            result = diagnose(
                options.sheet,
                options.seen,
                file=options.file,
                capture=options.capture,
                pressed=options.pressed,
                meter=options.meter,
                port=options.port,
                pad=options.pad,
            )
        if options.card is not None:
            _write_card(options)
    return emit([result], options, arguments)


def _write_card(options: Namespace) -> Result:
    """As a page, or as text."""
    from padbench.results.html_page import write_page
    from padbench.results.text import as_text

    card = card_of(options.sheet, options.port, options.pad)
    with whole_file(options.card) as out:
        if options.card.suffix.lower() in _PAGES:
            write_page(card, out)
        else:
            out.write(as_text(card))
    return card


def _asked(options: Namespace) -> Result:
    """One question at a time, on standard error, so that --json stays alone; answers on stdin."""
    design, known, bench = bench_of(options.sheet, options.port, options.pad)
    words, seen = Words(design.sheet), noted(options.seen, options.meter, options.file)
    hold_to_pad(design, bench, seen)
    skipped: set[tuple[str, int]] = set()
    print(
        "Answer with eight bits, names, none, or readings with commas between them, - for one left"
        " out; skip or Enter: another test; stop: enough.",
        file=sys.stderr,
    )
    for _ in range(_MOST_QUESTIONS):
        found = rank(known, bench, seen)
        tests = next_tests(known, bench, found, seen)
        test = next((one for one in tests if (one.where, one.held) not in skipped), None)
        if test is None:
            break
        mind = words.caution(test, found.suspects)
        caution = f" ({mind})" if mind else ""
        print(f"{words.do(test)}{caution}: ", end="", file=sys.stderr, flush=True)
        line = sys.stdin.readline()
        answer = line.strip()
        if not line or answer.lower() in ("stop", "quit", "q"):
            break
        if answer.lower() in ("", "skip"):
            skipped.add((test.where, test.held))
            continue
        try:
            read_lines([f"{words.typed(test)}={answer}"], "the answer", seen)
        except UnclearError as error:
            print(error, file=sys.stderr)
            continue
        if test.held in seen.reads and seen.reads[test.held].total() > 1:
            skipped.add((test.where, test.held))
    return diagnosed(design, known, bench, seen, [options.file] if options.file else [])


def _parser() -> Parser:
    parser = Parser(
        "diagnose",
        "What is broken in a pad, from what it reads while buttons are held: the faults that"
        " explain it, the next best test, the repair. Bits stand in the order A, B, Select, Start,"
        " Up, Down, Left, Right; names do as well (A=A, A+B=none, A=A,A,none for several reads).",
        "padbench diagnose my-pad.toml idle=00000000 A=00000000 B=01000000 'pin 9=0.1V'",
    )
    parser.add_argument("sheet", metavar="SHEET", type=Path)
    parser.add_argument("seen", metavar="HELD=READ", nargs="*", help="what was held and read")
    parser.add_argument("--file", metavar="FILE", type=Path, help="the same, a line each")
    parser.add_argument(
        "--capture", metavar="FILE", type=Path, help="a capture of latch, clock and data"
    )
    parser.add_argument(
        "--pressed", metavar="WORDS", help='what was pressed in it, in order: "A, B, Select"'
    )
    parser.add_argument(
        "--meter",
        metavar="READING",
        action="append",
        default=[],
        help='"pin 9=0.1V", "pin 7 A=5V" (A held), "core latch=open", "latch to clock=0.5"',
    )
    parser.add_argument("--ask", action="store_true", help="ask for one test after the other")
    parser.add_argument("--port", metavar="KIND", help="the kind of port (default: the first)")
    parser.add_argument("--pad", metavar="NAME", help="which one, where the sheet has several")
    parser.add_argument(
        "--card", metavar="FILE", type=Path, help="write a test card to print, .html or text"
    )
    add_output_options(parser, {})
    return parser
