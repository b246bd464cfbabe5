"""The command line for a technician at a bench."""

from __future__ import annotations

import sys
from importlib.util import find_spec

NEEDED = ("click", "rich", "platformdirs", "prompt_toolkit")
"""What the extra `cli` brings."""


def main() -> None:
    """Run `shimstock`, or say what it needs."""
    missing = [name for name in NEEDED if find_spec(name) is None]
    if missing:
        sys.exit(  # on standard error, with status 1
            f"shimstock needs the command line's libraries (missing: {', '.join(missing)}): "
            "install them with `pip install 'shimstock[cli]'`."
        )
    from ._app import run

    sys.exit(run())
