"""The command line for a technician at a bench."""

from __future__ import annotations

import sys


def main() -> None:
    """Run `shimstock`."""
    from ._app import run

    sys.exit(run())
