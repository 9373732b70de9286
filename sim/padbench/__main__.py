"""``python -m padbench`` and the ``padbench`` command."""

import sys

from padbench.cli import main


def run() -> None:
    """Entry point of the console script."""
    sys.exit(main(sys.argv[1:]))


if __name__ == "__main__":
    run()
