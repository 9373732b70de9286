"""``padbench latency``."""

from padbench.cli.options import Parser, usable
from padbench.cli.outputs import add_output_options, emit
from padbench.cli.routine import add_routine_options, routine_arguments
from padbench.jobs.latency import latency


def run(arguments: list[str]) -> int:
    """Print the distribution from press to picture; nothing here can be at fault, so 0."""
    options = _parser().parse_args(arguments)
    with usable():
        result = latency(
            options.what,
            line=options.line or 241,
            period=options.period,
            every=options.every,
            processing=options.processing,
            screen_line=options.screen_line,
            bounce=options.bounce,
            closed=options.closed,
            **routine_arguments(options),
            picture=options.picture,
        )
    return emit([result], options, arguments)


def _parser() -> Parser:
    parser = Parser(
        "latency",
        "The delay from a press to the first picture that can show it: the exact distribution "
        "over all moments of a press.",
        "padbench latency --routine read-twice --line 241 --bounce '5 ms' --picture delay.png",
    )
    parser.add_argument(
        "--routine",
        dest="what",
        metavar="FILE",
        default="read-once",
        help="the read routine that a poll calls (default: read-once)",
    )
    add_routine_options(parser, fetch=False)
    parser.add_argument(
        "--line",
        type=int,
        action="append",
        metavar="L",
        help="line of the frame at which a poll starts; can be repeated (default: 241)",
    )
    parser.add_argument(
        "--period",
        type=int,
        metavar="N",
        help="a fetch every N CPU cycles stops the polls (default: no sample is played)",
    )
    parser.add_argument(
        "--every",
        type=int,
        default=1,
        metavar="N",
        help="the pad is polled in every N-th frame (default: 1)",
    )
    parser.add_argument(
        "--processing",
        type=int,
        default=1,
        metavar="N",
        help="frames from the one of the read to the picture that shows it (default, and least: 1)",
    )
    parser.add_argument(
        "--screen-line", type=int, default=120, help="where on the screen one looks, 0 is the top"
    )
    parser.add_argument("--bounce", default="5 ms", help='chatter after a press (default: "5 ms")')
    parser.add_argument(
        "--closed",
        default="1/2",
        metavar="CHANCE",
        help="of a contact to be found closed during the chatter (default: 1/2, an assumption)",
    )
    add_output_options(parser, {"picture": "the share of presses that show within each delay"})
    return parser
