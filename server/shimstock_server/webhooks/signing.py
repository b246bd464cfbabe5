"""Signatures as Standard Webhooks 1.0.0 has them: HMAC-SHA256 over id, timestamp and the exact body."""

from __future__ import annotations

import base64
import hashlib
import hmac
import secrets
from collections.abc import Sequence
from datetime import datetime
from uuid import UUID

PREFIX = "whsec_"


def new_salt() -> bytes:
    """Return what makes an endpoint's next secret its own."""
    return secrets.token_bytes(16)


def secret_of(service_secret: str, endpoint_id: UUID, salt: bytes) -> bytes:
    """Derive an endpoint's secret: HKDF with SHA-256 (RFC 5869), one block of 32 bytes.

    Only the salt is stored. Who reads the database cannot sign, unless the service's own secret is known too.
    """
    key = hmac.new(salt, service_secret.encode(), hashlib.sha256).digest()
    return hmac.new(key, b"webhook " + endpoint_id.bytes + b"\x01", hashlib.sha256).digest()


def told(secret: bytes) -> str:
    """Return a secret as it is handed over."""
    return PREFIX + base64.b64encode(secret).decode()


def sign(secret: bytes, message_id: str, timestamp: int, body: bytes) -> str:
    """Return one signature of a message.

    Examples
    --------
    The specification's own example:

    >>> secret = base64.b64decode("MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw")
    >>> sign(secret, "msg_p5jXN8AQM9LWM0D4loKWxJek", 1614265330, b'{"test": 2432232314}')
    'v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE='
    """
    content = f"{message_id}.{timestamp}.".encode() + body
    return "v1," + base64.b64encode(hmac.new(secret, content, hashlib.sha256).digest()).decode()


def headers(message_id: str, now: datetime, body: bytes, valid: Sequence[bytes]) -> dict[str, str]:
    """Return the headers of an attempt, signed with every secret that is valid at the moment."""
    timestamp = int(now.timestamp())
    return {
        "webhook-id": message_id,
        "webhook-timestamp": str(timestamp),
        "webhook-signature": " ".join(sign(secret, message_id, timestamp, body) for secret in valid),
    }
