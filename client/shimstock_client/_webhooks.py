"""Verify a webhook in one call: Standard Webhooks 1.0.0, HMAC-SHA256 over id, time and the exact body."""

from __future__ import annotations

import base64
import binascii
import hashlib
import hmac
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime

from ._contract import Event
from ._errors import ShimstockError
from ._wire import parse_json

TOLERANCE = 300
PREFIX = "whsec_"


class ForgedWebhook(ShimstockError):  # noqa: N818 - named after its cause
    """The service did not send this, or not just now, or not so. Answer 400, and do nothing."""

    code = "forged-webhook"


def verify_webhook(
    headers: Mapping[str, str],
    body: bytes,
    secrets: str | Sequence[str],
    *,
    tolerance: float = TOLERANCE,
    now: datetime | None = None,
) -> Event:
    """Return the event of a webhook, once it is sure that the service sent it just now.

    Parameters
    ----------
    headers : mapping
        Of the request, in whatever case [-].
    body : bytes
        Exactly as it came; not parsed and written again [-].
    secrets : str or sequence of str
        The endpoint's secret, ``whsec_…``; two of them while one replaces the other [-].
    tolerance : float
        How far its time may lie from now [s].
    now : datetime or None
        The present instant; the machine's clock by default [-].

    Returns
    -------
    Event
        Its `id` is the same on every attempt: keep the ids that you have seen, and do nothing twice [-].

    Raises
    ------
    ForgedWebhook
        When a header is missing or odd, no signature fits, or its time is too far from now.

    Examples
    --------
    >>> headers = {"webhook-id": "msg_p5jXN8AQM9LWM0D4loKWxJek", "webhook-timestamp": "1614265330",
    ...            "webhook-signature": "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE="}
    >>> verify_webhook(headers, b'{"test": 2432232314}', "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw",
    ...                now=datetime.fromtimestamp(1614265330, UTC)).raw
    {'test': 2432232314}
    """
    found = {name.lower(): value for name, value in headers.items() if name.lower().startswith("webhook-")}
    missing = [name for name in ("webhook-id", "webhook-timestamp", "webhook-signature") if name not in found]
    if missing:
        raise ForgedWebhook(f"the header {missing[0]} is missing")
    stamp = found["webhook-timestamp"].strip()
    if not (stamp.isascii() and stamp.isdigit() and len(stamp) <= 12):
        raise ForgedWebhook("webhook-timestamp must be whole seconds since 1970")
    present = (now or datetime.now(UTC)).timestamp()
    if abs(present - int(stamp)) > tolerance:
        raise ForgedWebhook(f"it was sent {present - int(stamp):.0f} s ago by its own time")
    content = f"{found['webhook-id']}.{stamp}.".encode() + body
    given = [each[3:] for each in found["webhook-signature"].split() if each.startswith("v1,")]
    expected = [
        _signature(secret, content) for secret in ([secrets] if isinstance(secrets, str) else secrets)
    ]
    # Every pair is compared, so that the time it takes tells nothing.
    fits = [hmac.compare_digest(one.encode(), other.encode()) for one in given for other in expected]
    if not any(fits):
        raise ForgedWebhook("no signature fits")
    try:
        tree = parse_json(body)
    except ValueError:
        raise ForgedWebhook("the body is not JSON") from None
    if not isinstance(tree, dict):
        raise ForgedWebhook("the body is not a JSON object")
    return Event.from_wire(tree)


def _signature(secret: str, content: bytes) -> str:
    try:
        key = base64.b64decode(secret.removeprefix(PREFIX), validate=True)
    except (binascii.Error, ValueError):
        raise ValueError("secrets: a secret reads whsec_ and Base64") from None
    return base64.b64encode(hmac.new(key, content, hashlib.sha256).digest()).decode()
