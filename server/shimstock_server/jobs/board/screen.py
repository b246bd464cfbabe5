"""A screen on the wall: its browser holds no key, only a cookie that can read the board and nothing else.

The key is typed once. The cookie names it, signed with the service's secret, and ends with the key: when the
key is revoked or expires, the screen goes dark. No script can read the cookie, and no other site can send it.
"""

from __future__ import annotations

import hashlib
import hmac
import re
from datetime import UTC, datetime, timedelta
from uuid import UUID

from flask import Request
from sqlalchemy import select
from sqlalchemy.orm import Session

from shimstock_server.database.tables.keys import ApiKey
from shimstock_server.database.words import Scope
from shimstock_server.web.problems import Unauthorized

COOKIE = "shimstock_board"
LASTS = timedelta(days=90)
"""A screen that shows nothing for so long asks for its key again."""
RENEWED_AFTER = timedelta(days=1)

_VALUE = re.compile(r"([0-9a-f]{32})\.([0-9]{1,12})\.([0-9a-f]{64})")


def make_cookie(key_id: UUID, *, now: datetime, secret: str, secure: bool) -> str:
    """Return the Set-Cookie header for a screen."""
    told = f"{key_id.hex}.{int(now.timestamp())}"
    return _header(f"{told}.{_sign(told, secret)}", LASTS, secure=secure)


def end_cookie(*, secure: bool) -> str:
    """Return the Set-Cookie header that takes the cookie back."""
    return _header("", timedelta(0), secure=secure)


def screen_of(session: Session, request: Request, *, now: datetime, secret: str) -> tuple[UUID, datetime]:
    """Return the key behind a screen, and when its cookie was made.

    Raises
    ------
    Unauthorized
        When there is no cookie, it is not ours or too old, or its key is revoked, expired or gone.
    """
    found = _VALUE.fullmatch(request.cookies.get(COOKIE, ""))
    if found is None or not hmac.compare_digest(_sign(f"{found[1]}.{found[2]}", secret), found[3]):
        raise Unauthorized("This screen has not been given a key, or it was taken back.")
    made = datetime.fromtimestamp(int(found[2]), UTC)
    key_id = UUID(found[1])
    key = session.execute(
        select(ApiKey.scope, ApiKey.revoked_at, ApiKey.expires_at).where(ApiKey.id == key_id)
    ).one_or_none()
    ended = (
        key is None
        or now - made > LASTS
        or key.scope not in (Scope.BENCH, Scope.MANAGER)
        or key.revoked_at is not None
        or (key.expires_at is not None and key.expires_at <= now)
    )
    if ended:
        raise Unauthorized("The key of this screen has ended: give it another one.")
    return key_id, made


def _sign(told: str, secret: str) -> str:
    return hmac.new(secret.encode(), f"board screen {told}".encode(), hashlib.sha256).hexdigest()


def _header(value: str, lasts: timedelta, *, secure: bool) -> str:
    parts = [f"{COOKIE}={value}", "Path=/board", f"Max-Age={int(lasts.total_seconds())}", "HttpOnly"]
    return "; ".join([*parts, "SameSite=Strict", *(["Secure"] if secure else [])])
