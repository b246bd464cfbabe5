"""Making and revoking keys."""

from __future__ import annotations

from datetime import datetime
from typing import Any
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from shimstock_server.database.tables.base import new_id
from shimstock_server.database.tables.keys import ApiKey
from shimstock_server.database.tables.shop import Bench
from shimstock_server.database.words import Scope, Units
from shimstock_server.web.context import Actor
from shimstock_server.web.problems import InvalidFields
from shimstock_server.web.tokens import make_token


def make_key(
    session: Session,
    *,
    name: str,
    scope: Scope,
    now: datetime,
    bench_id: UUID | None = None,
    units: Units = Units.MM,
    expires_at: datetime | None = None,
    replaces: UUID | None = None,
) -> tuple[ApiKey, str]:
    """Make a key, and return it with its token, which is known here and never again.

    Parameters
    ----------
    replaces : UUID, optional
        The booking key whose bookings and webhooks the new one sees too; both are good until one is revoked.

    Raises
    ------
    InvalidFields
        When a bench key names no bench of this shop, another key names one, it would end before it begins, or
        it replaces what is no booking key.
    """
    errors: dict[str, str] = {}
    if scope is Scope.BENCH:
        if bench_id is None:
            errors["/bench_id"] = "is required: a bench key carries its bench"
        elif session.get(Bench, bench_id) is None:
            errors["/bench_id"] = "is no bench of this shop"
    elif bench_id is not None:
        errors["/bench_id"] = f"belongs to bench keys; a {scope} key has none"
    if expires_at is not None and expires_at <= now:
        errors["/expires_at"] = "must lie ahead"
    site_id = new_id() if scope is Scope.BOOKING else None
    if replaces is not None:
        former = session.get(ApiKey, replaces)
        if site_id is None or former is None or former.scope is not Scope.BOOKING:
            errors["/replaces"] = "must be the id of a booking key, and the new key a booking key too"
        else:
            site_id = former.site_id
    if errors:
        raise InvalidFields.of(errors)
    token, lookup, secret_hash = make_token()
    key = ApiKey(
        name=name,
        scope=scope,
        bench_id=bench_id,
        site_id=site_id,
        units=units,
        expires_at=expires_at,
        lookup=lookup,
        secret_hash=secret_hash,
    )
    session.add(key)
    session.flush()
    return key, token


def site_of(session: Session, actor: Actor) -> UUID | None:
    """Return the website that a booking key speaks for, or None for every other key."""
    if actor.scope != "booking":
        return None
    return session.scalars(select(ApiKey.site_id).where(ApiKey.id == actor.key_id)).one()


def revoke_key(key: ApiKey, now: datetime) -> None:
    """End a key for good; one that is revoked already stays as it is."""
    if key.revoked_at is None:
        key.revoked_at = now


def shown(key: ApiKey, secret: str | None = None) -> dict[str, Any]:
    """Return what is told of a key."""
    return {
        "id": key.id,
        "name": key.name,
        "scope": key.scope,
        "bench_id": key.bench_id,
        "units": key.units,
        "prefix": f"shim_{key.lookup}",
        "created_at": key.created_at,
        "expires_at": key.expires_at,
        "revoked_at": key.revoked_at,
        "last_used_at": key.last_used_at,
        "version": key.version,
        "secret": secret,
    }
