"""Runs several of the operator's commands in one process: loading the libraries is most of what each takes.

python admin_commands.py '[["migrate"], ["seed", "seed"]]'
"""

from __future__ import annotations

import json
import sys

from shimstock_server.operations.admin import admin


def main() -> None:
    """Run one after the other; the first that fails ends it, with its exit code."""
    for words in json.loads(sys.argv[1]):
        try:
            admin(words, prog_name="shimstock-admin")
        except SystemExit as ended:
            if ended.code:
                raise


if __name__ == "__main__":
    main()
