"""``python -m padbench`` and the ``padbench`` command."""

import signal
import sys

TYPE_CHECKING = False  # importing typing would take a third of the time that --help has
if TYPE_CHECKING:
    from types import FrameType
    from typing import NoReturn


def run() -> None:
    """Entry point of the console script."""
    try:
        # The default end by a signal would leave half-written files behind.
        signal.signal(signal.SIGTERM, _stop)
        hang_up = getattr(signal, "SIGHUP", None)  # which not every system has
        if hang_up is not None and signal.getsignal(hang_up) is not signal.SIG_IGN:  # as by nohup
            signal.signal(hang_up, _stop)
        from padbench.cli import main, on_interrupt  # noqa: PLC0415 - Ctrl-C may come meanwhile

        signal.signal(signal.SIGINT, on_interrupt)
        code = main(sys.argv[1:])
    except KeyboardInterrupt:
        print("padbench: stopped", file=sys.stderr)
        code = 130
    sys.exit(code)


def _stop(number: int, frame: "FrameType | None") -> "NoReturn":
    sys.exit(128 + number)


if __name__ == "__main__":
    run()
