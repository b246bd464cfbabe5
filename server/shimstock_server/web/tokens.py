"""The text of an API key: a public part that finds its row, and a secret of which only a hash is kept."""

from __future__ import annotations

import hashlib
import re
import secrets

_TOKEN = re.compile(r"shim_([0-9a-f]{16})_([A-Za-z0-9_-]{43})")
_ANY_TOKEN = re.compile(r"(shim_[0-9A-Za-z]{1,32}_)[A-Za-z0-9_-]+")
_TOKEN_PATHS = re.compile(r"(/(?:cards|calendars)/)[^/?#\s\"]+")


def make_token() -> tuple[str, str, bytes]:
    """Return a new token, its public part, and the hash of its secret. 256 random bits need no slow hash."""
    lookup, secret = secrets.token_hex(8), secrets.token_urlsafe(32)
    return f"shim_{lookup}_{secret}", lookup, hash_secret(secret)


def hash_secret(secret: str) -> bytes:
    """Return the hash under which a secret is kept."""
    return hashlib.sha256(secret.encode()).digest()


def split_token(token: str) -> tuple[str, str] | None:
    """Return a token's public part and its secret, or None when it is no token."""
    found = _TOKEN.fullmatch(token)
    return (found[1], found[2]) if found else None


def redact(text: str) -> str:
    """Return a text with every secret of a key, card or calendar blotted out.

    Examples
    --------
    >>> redact("GET /cards/Zx81?units=mm")
    'GET /cards/…?units=mm'
    """
    return _TOKEN_PATHS.sub(r"\1…", _ANY_TOKEN.sub(r"\1…", text))
