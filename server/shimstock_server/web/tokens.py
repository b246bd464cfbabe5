"""The text of an API key: a public part that finds its row, and a secret of which only a hash is kept."""

from __future__ import annotations

import hashlib
import re
import secrets

_TOKEN = re.compile(r"shim_([0-9a-f]{16})_([A-Za-z0-9_-]{43})")
_ANY_TOKEN = re.compile(r"(shim_[0-9A-Za-z]{1,32}_)[A-Za-z0-9_-]+")


def _spelled(word: str) -> str:
    """Return a pattern for a word of an address: in small or capital letters, each as it is or escaped."""
    return "".join(
        f"(?:{re.escape(letter)}|%(?:25)*{ord(letter):02x}|%(?:25)*{ord(letter.upper()):02x})"
        for letter in word
    )


# A slip in the address opens no card, and yet its line holds the secret.
_SECRET_PLACE = re.compile(
    f"({_spelled('/')}(?:{_spelled('cards')}|{_spelled('calendars')}){_spelled('/')})", re.IGNORECASE
)
_TOKEN_PATHS = re.compile(_SECRET_PLACE.pattern + r"\s*[^?#\s\"]+", re.IGNORECASE)


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
    >>> redact("GET /cards/Zx81?units=mm"), redact("GET //%63ards%2fZx81 HTTP/1.1")
    ('GET /cards/…?units=mm', 'GET //%63ards%2f… HTTP/1.1')
    """
    return _TOKEN_PATHS.sub(r"\1…", _ANY_TOKEN.sub(r"\1…", text))


def redact_path(path: str) -> str:
    """Return the path of a request without its secrets; below cards and calendars everything is one.

    Examples
    --------
    >>> redact_path('/cards//Zx81" 7')
    '/cards/…'
    """
    found = _SECRET_PLACE.search(path)
    return redact(path) if found is None else path[: found.end()] + "…"
