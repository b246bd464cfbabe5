"""The types of event: each that the service emits is described, and comes as it is described."""

from __future__ import annotations

import ast
from collections.abc import Callable
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator
from openapi_spec_validator import validate

import shimstock_server
from shimstock_server.database.words import ReminderHappening
from shimstock_server.webhooks.events import EVENT_TYPES
from tests.server.booking.conftest import Website, etag
from tests.server.clients import Client, document_of

from .conftest import Endpoint, Receiver

SERVER = Path(shimstock_server.__file__).parent
EMIT = ("emit", "emit_many")
BY_VARIABLE = {
    "booking/holds.py": {"booking.checked-in", "booking.no-show", "booking.cancelled"},
    "jobs/claims.py": {"job.handed-over", "job.taken-over"},
    "seasons/reminders.py": {f"reminder.{what}" for what in ReminderHappening},
    "seasons/reminding.py": {f"reminder.{what}" for what in ReminderHappening},
}
"""Where the type is worked out: what it comes to."""


def emitted() -> dict[str, set[str]]:
    """The types that each module emits."""
    found: dict[str, set[str]] = {}
    for path in SERVER.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") in EMIT and len(node.args) > 1:
                module = str(path.relative_to(SERVER))
                told = node.args[1]
                types = (
                    {str(told.value)} if isinstance(told, ast.Constant) else BY_VARIABLE.get(module, {"?"})
                )
                found.setdefault(module, set()).update(types)
    return found


def test_every_type_that_is_emitted_is_described() -> None:
    every = {name: module for module, names in emitted().items() for name in names}
    assert len(every) > 20
    unknown = {name: module for name, module in every.items() if name not in EVENT_TYPES}
    assert not unknown, f"describe these in webhooks/events.py: {unknown}"
    assert not set(EVENT_TYPES) - set(every), "described, and emitted nowhere"


def test_the_document_describes_every_type(client: Client) -> None:
    document = document_of(client.app)
    assert set(document["webhooks"]) == set(EVENT_TYPES)
    validate(document)
    for kind in EVENT_TYPES.values():
        schema = document["components"]["schemas"][kind.component]
        assert set(schema["required"]) == {"id", "type", "timestamp", "object", "data"}


@pytest.fixture
def judged(client: Client, receiver: Receiver) -> Callable[[], set[str]]:
    """Holds everything that was heard against the document, and returns the types."""

    def judge() -> set[str]:
        document = document_of(client.app)
        for message in receiver.heard:
            schema = document["webhooks"][message["type"]]["post"]["requestBody"]["content"][
                "application/json"
            ]["schema"]
            validator = Draft202012Validator({**schema, "components": document["components"]})
            errors = [f"{message['type']}: {error.message}" for error in validator.iter_errors(message)]
            assert not errors, errors
        return {message["type"] for message in receiver.heard}

    return judge


def test_bodies_are_as_they_are_described(
    website: Website,
    client: Client,
    shop_endpoint: Endpoint,
    tell: Callable[[], int],
    judged: Callable[[], set[str]],
    workshop: object,
) -> None:
    first, second = website.book("2026-03-03T09:00:00Z"), website.book("2026-03-03T10:00:00Z")
    held = website.hold("2026-03-03T11:00:00Z").get_json()
    client.post(f"/v1/bookings/{held['id']}/cancel", json={}, etag=etag(held))
    path = f"/v1/bookings/{first['id']}/move"
    moved = website.client.post(path, json={"at": "2026-03-04T09:00:00Z"}, etag=etag(first)).get_json()
    client.post(f"/v1/bookings/{second['id']}/cancel", json={}, etag=etag(second))
    client.post(
        f"/v1/bookings/{first['id']}/check-in",
        json={
            "new_instrument": {"model_id": workshop.ids["model"]},  # type: ignore[attr-defined]
            "consents": [{"covers": "general", "given": True, "given_by": "S", "how": "in-person"}],
        },
        etag=etag(moved),
    )
    job = first["job"]["id"]
    quote = client.post(f"/v1/jobs/{job}/quotes", json={"work": "frets", "amount": 200}).get_json()
    client.patch(
        f"/v1/jobs/{job}/quotes/{quote['id']}",
        json={"approved": True, "answered_how": "phone"},
        etag=f'"{quote["version"]}.mm"',
    )
    link = client.post(f"/v1/jobs/{job}/card-links", json={}).get_json()
    client.delete(f"/v1/card-links/{link['id']}", etag=etag(link))
    tell()
    assert judged() >= {
        "booking.held", "booking.confirmed", "booking.moved", "booking.cancelled", "booking.checked-in",
        "job.moved", "job.consent", "job.quoted", "job.quote-answered", "card-link.revoked", "owner.created",
        "instrument.created",
    }  # fmt: skip
