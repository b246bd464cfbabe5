"""The command `shimstock-admin`: starts the operator's commands, or says what is missing."""

from __future__ import annotations

import sys


def main() -> None:
    """Run the operator's command line."""
    try:
        from .admin import admin
    except ModuleNotFoundError as error:
        package = (error.name or "").split(".")[0]
        if package.startswith("shimstock"):
            raise
        print(  # noqa: T201 - there is no click to say it with
            f"shimstock-admin needs the server's libraries ({package} is missing): "
            "install them with `pip install 'shimstock[server]'`.",
            file=sys.stderr,
        )
        sys.exit(1)
    admin(prog_name="shimstock-admin")
