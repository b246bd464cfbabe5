"""From the Authorization header to the one who asks."""

from __future__ import annotations

import hmac
import logging
from datetime import datetime
from typing import cast
from uuid import UUID

from flask import Request
from sqlalchemy import or_, select, update
from sqlalchemy.orm import Session

from shimstock_server.database.session import Database
from shimstock_server.database.tables.keys import ApiKey
from shimstock_server.database.tables.shop import Technician

from .context import Actor, Scope, Units
from .parsing import read_uuid
from .problems import InvalidFields, Problem, TechnicianRequired, Unauthorized
from .tokens import hash_secret, split_token

_log = logging.getLogger(__name__)
_NOBODY = bytes(32)


def authenticate(session: Session, request: Request, now: datetime) -> tuple[Actor, datetime | None]:
    """Return who asks, and when the key was used last.

    Raises
    ------
    Unauthorized
        When the key is missing, malformed, unknown, revoked or expired. That a key has ended is told to
        whoever has all of it; whether a part of one is right, to nobody.
    """
    lookup, secret = _parts(request.headers.get("Authorization", "").strip())
    key = session.execute(
        select(
            ApiKey.id,
            ApiKey.name,
            ApiKey.scope,
            ApiKey.bench_id,
            ApiKey.units,
            ApiKey.secret_hash,
            ApiKey.expires_at,
            ApiKey.revoked_at,
            ApiKey.last_used_at,
        ).where(ApiKey.lookup == lookup)
    ).one_or_none()
    # Compared also when there is no such key, so that both take the same time.
    right = hmac.compare_digest(hash_secret(secret), key.secret_hash if key is not None else _NOBODY)
    if key is None or not right:
        raise Unauthorized("This service knows no such API key: was it made for another shop, or cut off?")
    if key.revoked_at is not None:
        raise Unauthorized("This API key was revoked; a manager makes another one.")
    if key.expires_at is not None and key.expires_at <= now:
        raise Unauthorized("This API key has expired; a manager makes another one.")
    actor = Actor(
        key_id=key.id,
        name=key.name,
        scope=cast(Scope, str(key.scope)),
        bench_id=key.bench_id,
        units=cast(Units, str(key.units)) if key.units else None,
    )
    return actor, key.last_used_at


def _parts(header: str) -> tuple[str, str]:
    """Return the public part and the secret of the key in an Authorization header."""
    if not header:
        raise Unauthorized("No API key was sent: add the header Authorization: Bearer shim_…")
    kind, _, token = header.partition(" ")
    if kind.lower() != "bearer":
        raise Unauthorized("Send the API key as a bearer token: Authorization: Bearer shim_…")
    parts = split_token(token.strip())
    if parts is None:
        raise Unauthorized(
            "That is no API key: one is shim_, 16 digits, an underscore and 43 letters, digits, - or _; "
            "look whether it was cut off."
        )
    return parts


def read_technician(session: Session, request: Request, actor: Actor, *, by_hand: bool = True) -> UUID | None:
    """Return the technician that the header of a write names.

    Parameters
    ----------
    by_hand : bool
        Whether somebody does it, whom a bench key has to name; a device may write without.

    Raises
    ------
    TechnicianRequired
        When a bench key names nobody.
    InvalidFields
        When it names nobody who works here, or a website names anybody.
    """
    text = request.headers.get("Technician")
    if text is None:
        if actor.scope == "bench" and by_hand:
            raise TechnicianRequired()
        return None
    if actor.scope == "booking":
        raise InvalidFields.at("/header/Technician", "is for the shop's own keys; a website names nobody")
    identifier = read_uuid(text.strip())
    if identifier is None:
        raise InvalidFields.at("/header/Technician", "must be a technician's id")
    active = session.execute(select(Technician.active).where(Technician.id == identifier)).scalar()
    if active is None:
        raise InvalidFields.at("/header/Technician", "is no technician of this shop")
    if not active:
        raise InvalidFields.at("/header/Technician", "does not work here any more")
    return identifier


def note_use(database: Database, actor: Actor, last_used: datetime | None, now: datetime) -> None:
    """Note the hour of a key's last use in a transaction of its own, which may fail without harm."""
    hour = now.replace(minute=0, second=0, microsecond=0)
    if actor.key_id is None or (last_used is not None and last_used >= hour):
        return
    try:
        with database.write() as session:
            session.execute(
                update(ApiKey)
                .where(ApiKey.id == actor.key_id)
                .where(or_(ApiKey.last_used_at.is_(None), ApiKey.last_used_at < hour))
                .values(last_used_at=hour)
                .execution_options(synchronize_session=False)
            )
    except Problem:
        _log.warning("the last use of a key could not be noted", exc_info=True)
