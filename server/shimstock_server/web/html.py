"""Pages for people: every text escaped, and a policy that lets nothing run that is not the page's own."""

from __future__ import annotations

import base64
import hashlib
from functools import cache

from jinja2 import Environment, PackageLoader, StrictUndefined


@cache
def templates(package: str) -> Environment:
    """Return where the pages of a package are made from: the files in its folder `templates`."""
    return Environment(
        loader=PackageLoader(package, "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def source_of(text: str) -> str:
    """Return what names a style or a script of a page in its Content-Security-Policy."""
    return "'sha256-" + base64.b64encode(hashlib.sha256(text.encode()).digest()).decode() + "'"


def content_policy(style: str, *more: str) -> str:
    """Return the Content-Security-Policy of a page that has this stylesheet.

    Parameters
    ----------
    style : str
        The stylesheet, as it stands in the page.
    *more : str
        Directives for what the page needs besides, such as ``img-src data:``.
    """
    allowed = ("default-src 'none'", f"style-src {source_of(style)}", *more)
    return "; ".join((*allowed, "base-uri 'none'", "form-action 'none'", "frame-ancestors 'none'"))
