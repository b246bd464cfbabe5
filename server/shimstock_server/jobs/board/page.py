"""The page on the wall: one file with its style and its script, which fetches the board and nothing else."""

from __future__ import annotations

import hashlib
from functools import cache
from importlib.resources import files

import jinja2
from markupsafe import Markup

from shimstock_server.web.html import content_policy, source_of

_FOLDER = files(__package__) / "templates"


def _text(name: str) -> str:
    return (_FOLDER / name).read_text(encoding="utf-8")


@cache
def page() -> tuple[str, str, dict[str, str]]:
    """Return the page, its digest, and the headers that it needs.

    The script and the style are allowed by their hashes: nothing that found its way into the page besides
    would run.
    """
    style, script = _text("board.css"), _text("board.js")
    template = jinja2.Environment(autoescape=True, undefined=jinja2.StrictUndefined).from_string(
        _text("board.html")
    )
    digest = hashlib.sha256((style + script + _text("board.html")).encode()).hexdigest()[:16]
    html = template.render(
        style=Markup(style),  # noqa: S704 - a file of this package
        script=Markup(script),  # noqa: S704 - a file of this package
        digest=digest,
    )
    headers = {
        "Content-Security-Policy": content_policy(
            style, f"script-src {source_of(script)}", "img-src data:", "connect-src 'self'"
        ),
        "Cache-Control": "no-cache",
    }
    return html, digest, headers
