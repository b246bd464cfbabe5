"""Signatures: the specification's vector, the reference library, two secrets at a time."""

from __future__ import annotations

import base64
import json
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
import standardwebhooks

from shimstock_server.clock import FixedClock
from shimstock_server.webhooks import signing
from tests.server.booking.conftest import Website

from .conftest import Endpoint, Receiver

SECRET = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"
MESSAGE = ("msg_p5jXN8AQM9LWM0D4loKWxJek", 1614265330, b'{"test": 2432232314}')
SIGNATURE = "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE="
"""Standard Webhooks 1.0.0, test of signing in its reference libraries (libraries/go/webhook_test.go,
TestWebhookSign)."""
TEN = "2026-03-03T09:00:00Z"


def plain(secret: str) -> bytes:
    return base64.b64decode(secret.removeprefix(signing.PREFIX))


def test_the_specifications_vector() -> None:
    assert signing.sign(plain(SECRET), *MESSAGE) == SIGNATURE


@pytest.mark.parametrize(
    "body", [b"{}", '{"name":"Zoë","n":0.1}'.encode(), json.dumps({"x": "y" * 5000}).encode()]
)
def test_the_reference_library_signs_alike(body: bytes) -> None:
    secret = signing.told(signing.new_salt() * 2)
    now = datetime.now(UTC)
    library = standardwebhooks.Webhook(secret)
    theirs = library.sign(msg_id="some-id", timestamp=now, data=body.decode())
    assert signing.sign(plain(secret), "some-id", int(now.timestamp()), body) == theirs


def verify(secret: str, receiver: Receiver, n: int = -1) -> Any:
    """Let the reference library verify what was heard."""
    return standardwebhooks.Webhook(secret).verify(receiver.bodies[n], dict(receiver.headers[n]))


@pytest.fixture
def clock() -> FixedClock:
    """The library knows no clock but the machine's."""
    return FixedClock(datetime.now(UTC).replace(microsecond=0))


def next_slot(website: Website, n: int = 0) -> str:
    return str(website.slots()[n]["at"])


def test_the_reference_library_verifies_a_delivery(
    website: Website, site_endpoint: Endpoint, receiver: Receiver, tell: Callable[[], int]
) -> None:
    website.hold(next_slot(website))
    tell()
    assert verify(site_endpoint.secret, receiver)["type"] == "booking.held"
    assert receiver.headers[-1]["webhook-id"] == receiver.heard[-1]["id"]
    with pytest.raises(standardwebhooks.WebhookVerificationError):
        verify(SECRET, receiver)


def test_two_secrets_are_valid_while_one_replaces_the_other(
    website: Website, site_endpoint: Endpoint, receiver: Receiver, tell: Callable[[], int], clock: FixedClock
) -> None:
    old = site_endpoint.secret
    client = website.client
    etag = client.get(site_endpoint.path).headers["ETag"]
    rotated = client.post(f"{site_endpoint.path}/secret", json={"keep_hours": 1}, etag=etag)
    new = rotated.get_json()["secret"]
    assert new != old
    assert rotated.get_json()["former_secret_until"] is not None
    website.hold(next_slot(website))
    tell()
    assert len(receiver.headers[-1]["webhook-signature"].split()) == 2
    assert verify(old, receiver)["id"] == verify(new, receiver)["id"]
    clock.advance(timedelta(hours=1))
    website.hold(next_slot(website, 1))
    tell()
    # The library compares with the machine's clock, an hour behind: give it the present time to look at.
    headers = dict(receiver.headers[-1])
    assert len(headers["webhook-signature"].split()) == 1
    stamp, body = int(headers["webhook-timestamp"]), receiver.bodies[-1]
    assert headers["webhook-signature"] == signing.sign(plain(new), headers["webhook-id"], stamp, body)
    assert client.get(site_endpoint.path).get_json()["former_secret_until"] is None


def test_a_leaked_secret_ends_at_once(
    website: Website, site_endpoint: Endpoint, receiver: Receiver, tell: Callable[[], int]
) -> None:
    etag = website.client.get(site_endpoint.path).headers["ETag"]
    rotated = website.client.post(f"{site_endpoint.path}/secret", json={"keep_hours": 0}, etag=etag)
    website.hold(next_slot(website))
    tell()
    assert verify(rotated.get_json()["secret"], receiver)
    with pytest.raises(standardwebhooks.WebhookVerificationError):
        verify(site_endpoint.secret, receiver)


def test_a_secret_is_shown_once(website: Website, site_endpoint: Endpoint) -> None:
    assert "secret" not in site_endpoint.show()
    listed = website.client.get("/v1/webhook-endpoints").get_json()["items"]
    assert [each["id"] for each in listed] == [site_endpoint.id]
    assert "secret" not in listed[0]
    body = {"url": "https://shop.example/more"}
    first = website.client.post("/v1/webhook-endpoints", json=body, idempotency_key="twice")
    again = website.client.post("/v1/webhook-endpoints", json=body, idempotency_key="twice")
    assert first.get_json()["secret"].startswith("whsec_")
    assert again.get_json() == {**first.get_json(), "secret": None}
