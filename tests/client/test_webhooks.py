"""Verifying a webhook: what the service and the reference library sign is taken, everything else is not."""

from __future__ import annotations

import base64
import hashlib
import hmac
import json
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
import standardwebhooks

from shimstock_client import ForgedWebhook, verify_webhook

SECRET = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"  # Standard Webhooks 1.0.0, libraries/go/webhook_test.go
OTHER = "whsec_" + base64.b64encode(b"another secret of 24 byte").decode()
NOW = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)
EVENT = {
    "id": "01890a5d-ac96-774b-bcce-b302099a8057",
    "type": "job.moved",
    "timestamp": "2026-03-02T12:00:00Z",
    "object": {"type": "job", "id": "01890a5d-ac96-774b-bcce-b302099a8058", "sequence": 3, "version": 7},
    "data": {"state": "ready", "sequence": 5},
}
BODY = json.dumps(EVENT).encode()


def signed(
    body: bytes = BODY, secret: str = SECRET, at: datetime = NOW, message_id: str = "one"
) -> dict[str, str]:
    """Headers as a sender makes them, by the specification's own words."""
    stamp = str(int(at.timestamp()))
    content = f"{message_id}.{stamp}.".encode() + body
    key = base64.b64decode(secret.removeprefix("whsec_"))
    signature = base64.b64encode(hmac.new(key, content, hashlib.sha256).digest()).decode()
    return {"webhook-id": message_id, "webhook-timestamp": stamp, "webhook-signature": f"v1,{signature}"}


def test_the_specifications_vector() -> None:
    headers = {
        "webhook-id": "msg_p5jXN8AQM9LWM0D4loKWxJek",
        "webhook-timestamp": "1614265330",
        "webhook-signature": "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE=",
    }
    event = verify_webhook(
        headers, b'{"test": 2432232314}', SECRET, now=datetime.fromtimestamp(1614265330, UTC)
    )
    assert event.raw == {"test": 2432232314}


def test_what_the_reference_library_signs_is_taken() -> None:
    now = datetime.now(UTC)
    signature = standardwebhooks.Webhook(SECRET).sign(msg_id="one", timestamp=now, data=BODY.decode())
    headers = {
        "Webhook-Id": "one",
        "Webhook-Timestamp": str(int(now.timestamp())),
        "Webhook-Signature": signature,
        "Content-Type": "application/json",
    }
    event = verify_webhook(headers, BODY, SECRET)
    assert (event.id, event.type, event.data["state"]) == (EVENT["id"], "job.moved", "ready")
    assert event.timestamp == NOW
    assert (event.object.type, event.object.sequence, event.object.version) == ("job", 3, 7)


def test_one_of_several_signatures_and_secrets_is_enough() -> None:
    headers = signed()
    fits = headers["webhook-signature"]
    headers["webhook-signature"] = f"v1,bm9wZQ== v1a,bm9wZQ== {fits} v2,{fits[3:]}"
    assert verify_webhook(headers, BODY, SECRET, now=NOW)
    assert verify_webhook(headers, BODY, [OTHER, SECRET], now=NOW)


FORGED: dict[str, dict[str, Any]] = {
    "another body": {"body": BODY.replace(b"ready", b"READY")},
    "a blank more": {"body": BODY + b" "},
    "another secret": {"secrets": OTHER},
    "no secret": {"secrets": []},
    "another id": {"change": {"webhook-id": "two"}},
    "another time": {"change": {"webhook-timestamp": str(int(NOW.timestamp()) + 1)}},
    "no id": {"drop": "webhook-id"},
    "no time": {"drop": "webhook-timestamp"},
    "no signature": {"drop": "webhook-signature"},
    "an empty signature": {"change": {"webhook-signature": ""}},
    "a signature of another kind": {"change": {"webhook-signature": "v1a,abcd"}},
    "a signature that is none": {"change": {"webhook-signature": "v1,é"}},
    "a time that is none": {"change": {"webhook-timestamp": "soon"}},
    "a time before time": {"change": {"webhook-timestamp": "-5"}},
    "a time in other digits": {"change": {"webhook-timestamp": "１６１４２６５３３０"}},
    "a time without end": {"change": {"webhook-timestamp": "9" * 5000}},
    "a replay of an hour ago": {"now": NOW + timedelta(hours=1)},
    "just too late": {"now": NOW + timedelta(seconds=301)},
    "from the future": {"now": NOW - timedelta(seconds=301)},
}


@pytest.mark.parametrize("name", FORGED)
def test_what_is_forged_or_replayed_is_refused(name: str) -> None:
    how = FORGED[name]
    headers = signed() | how.get("change", {})
    headers.pop(how.get("drop", ""), None)
    with pytest.raises(ForgedWebhook):
        verify_webhook(headers, how.get("body", BODY), how.get("secrets", SECRET), now=how.get("now", NOW))


@pytest.mark.parametrize("body", [b"", b"no json", b"[]", b"1", b"\xff"])
def test_a_body_that_is_no_event_is_refused(body: bytes) -> None:
    with pytest.raises(ForgedWebhook, match="body"):
        verify_webhook(signed(body), body, SECRET, now=NOW)


def test_just_in_time() -> None:
    for seconds in (-300, 300):
        assert verify_webhook(signed(), BODY, SECRET, now=NOW + timedelta(seconds=seconds))


def test_a_secret_that_is_none_is_the_programs_mistake() -> None:
    with pytest.raises(ValueError, match="whsec_"):
        verify_webhook(signed(), BODY, "not base64!", now=NOW)
