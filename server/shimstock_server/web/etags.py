"""ETags: the version of what was read, so that nobody's change is lost and nothing is sent twice."""

from __future__ import annotations

import re
from typing import Any

from flask import g, request

from .problems import PreconditionFailed, PreconditionRequired

# RFC 9110, section 8.8.3: a strong entity tag; ours hold no comma and no quote.
_ENDS = (".mm", ".inch")
_TAG = re.compile(r'(W/)?"([\x21\x23-\x7e]*)"')


def etag(version: int | str, units: str, media: str = "") -> str:
    """Return the strong ETag of a version, told in these units."""
    return f'"{version}.{units}{"." + media if media else ""}"'


def _tags(header: str) -> list[tuple[bool, str]]:
    return [(bool(weak), tag) for weak, tag in _TAG.findall(header)]


def none_match(tag: str) -> bool:
    """Tell whether the client holds this answer already, by its If-None-Match (weak comparison)."""
    header = request.headers.get("If-None-Match")
    if header is None:
        return False
    return header.strip() == "*" or tag.strip('"') in [opaque for _, opaque in _tags(header)]


def require_if_match() -> None:
    """Refuse an edit that does not say which version it edits.

    Raises
    ------
    PreconditionRequired
        Without If-Match, and with ``*``.
    """
    header = request.headers.get("If-Match", "").strip()
    if header in ("", "*"):
        raise PreconditionRequired()


def must_match(row: Any) -> None:
    """Refuse an edit of a version that is not the present one.

    Parameters
    ----------
    row : object with a `version`
        What is about to be edited.

    Raises
    ------
    PreconditionFailed
        When none of the tags in If-Match is the strong tag of this version; the answer names the present one.
    """
    g.matched = True
    tags = _tags(request.headers.get("If-Match", ""))
    versions = [tag.rsplit(".", 1)[0] for weak, tag in tags if not weak and tag.endswith(_ENDS)]
    if str(row.version) not in versions:
        raise PreconditionFailed(
            _why_not(tags, versions, row.version),
            headers={"ETag": etag(row.version, g.get("units", "mm"))},
            current_version=row.version,
        )


def _why_not(tags: list[tuple[bool, str]], versions: list[str], present: int | str) -> str | None:
    """Return what is wrong with tags that do not match, or None when one of them is an earlier version's."""
    if not tags:
        return 'If-Match holds no ETag: send it as it came, with its quotes, such as "3.mm".'
    if any(_is_earlier(each, present) for each in versions):
        return None
    if any(weak for weak, _ in tags):
        return (
            "If-Match holds a weak ETag (W/…), which never matches: something between here and there changes "
            'answers, such as a proxy that compresses them. Send a strong one, such as "3.mm".'
        )
    return "If-Match holds an ETag that this was never read with: send that of what you read and now change."


def _is_earlier(version: str, present: int | str) -> bool:
    if isinstance(present, str):
        return True
    return version.isdecimal() and len(version) < 18 and int(version) < present
