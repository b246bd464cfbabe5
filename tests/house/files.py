"""The files of the checkout that the rules of the house are about."""

from __future__ import annotations

import subprocess
from functools import cache
from pathlib import Path

CHECKOUT = Path(__file__).resolve().parents[2]
TEXT = {
    ".py",
    ".sh",
    ".md",
    ".toml",
    ".html",
    ".css",
    ".js",
    ".yaml",
    ".yml",
    ".conf",
    ".service",
    ".timer",
    "",
}


@cache
def tracked() -> tuple[Path, ...]:
    """Return every file of the project, relative to the checkout: what git tracks, else all that is there."""
    listed = subprocess.run(
        ["git", "ls-files", "-z"], cwd=CHECKOUT, capture_output=True, text=True, check=False
    )
    if listed.returncode == 0:
        paths = [Path(name) for name in listed.stdout.split("\0") if name]
        return tuple(path for path in paths if (CHECKOUT / path).exists())
    hidden = (path.relative_to(CHECKOUT) for path in CHECKOUT.rglob("*") if path.is_file())
    return tuple(path for path in hidden if not is_made(path))


def is_made(path: Path) -> bool:
    """Tell whether a file is made by the tools rather than written."""
    if path.parts[0].startswith((".venv", ".demo", ".tests", ".hypothesis")):
        return True
    return any("cache" in part for part in path.parts)


def texts() -> tuple[Path, ...]:
    """Return the files that people write and read: code, scripts, pages, settings, guides."""
    return tuple(path for path in tracked() if path.suffix in TEXT)


def read(path: Path) -> str:
    """Return the text of a file of the checkout."""
    return (CHECKOUT / path).read_text(encoding="utf-8")
