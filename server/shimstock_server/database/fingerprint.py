"""Which secret a database belongs to: signatures and keyed hashes of another one would be worth nothing."""

from __future__ import annotations

import contextlib
import hashlib
import hmac

from sqlalchemy import select

from shimstock_server.web.problems import Conflict

from . import history
from .session import Database
from .tables.operations import SecretFingerprint


class AnotherSecret(Exception):  # noqa: N818 - named after its cause
    """The secret in the settings is not the one that the database belongs to."""


def fingerprint(secret: str) -> str:
    """Return 32 hexadecimal digits that tell secrets apart and reveal none: HMAC with SHA-256, cut."""
    return hmac.new(secret.encode(), b"shimstock: fingerprint of the secret", hashlib.sha256).hexdigest()[:32]


def is_of(told: str, secret: str) -> bool:
    """Tell whether a fingerprint is that of a secret."""
    return hmac.compare_digest(told, fingerprint(secret))


def check(database: Database, secret: str) -> None:
    """Refuse a database that belongs to another secret; one that belongs to none yet belongs to this.

    Raises
    ------
    AnotherSecret
        When it belongs to another; the message names the cure.
    """
    stored = _stored(database)
    if stored is None:
        # Another process may be the first at the same moment.
        with contextlib.suppress(Conflict), database.write() as session:
            session.add(SecretFingerprint(fingerprint=fingerprint(secret)))
        stored = _stored(database)
    if stored is None or not is_of(stored, secret):
        raise AnotherSecret(
            "SHIMSTOCK_SECRET is not the secret that this database belongs to: set the one that the service "
            "was first started with, the same on every machine; to change it on purpose, stop the service "
            "and every worker, set the new one and run `shimstock-admin change-secret`"
        )


def change(database: Database, secret: str) -> bool:
    """Let a database belong to this secret; return whether it belonged to another."""
    with database.write() as session:
        row = session.get(SecretFingerprint, 1)
        if row is None:
            session.add(SecretFingerprint(fingerprint=fingerprint(secret)))
            return False
        if is_of(row.fingerprint, secret):
            return False
        row.fingerprint = fingerprint(secret)
        history.record(session, "secret_fingerprint", "1", "changed")
        return True


def _stored(database: Database) -> str | None:
    with database.read() as session:
        return session.scalars(select(SecretFingerprint.fingerprint)).one_or_none()
