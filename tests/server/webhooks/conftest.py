"""A shop that takes bookings, its website's endpoint, and a receiver that does what a test wants."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

import pytest
from flask import Flask

from shimstock_server.clock import FixedClock
from shimstock_server.config import Config
from shimstock_server.database.session import Database
from shimstock_server.webhooks import delivery, outbox
from shimstock_server.webhooks.sending import Outcome
from tests.server.booking.conftest import (  # noqa: F401 - fixtures of the bookings' tests
    Website,
    other_website,
    website,
    workshop,
)
from tests.server.clients import Client

URL = "https://shop.example/hooks"


@dataclass
class Receiver:
    """Stands in for the network: hears every message, and answers as it is told to."""

    clock: FixedClock
    answer: Callable[[Mapping[str, Any]], Outcome] = lambda message: Outcome(204)
    heard: list[dict[str, Any]] = field(default_factory=list)
    tried: list[tuple[datetime, str]] = field(default_factory=list)
    """When, and what: also what was refused."""
    headers: list[Mapping[str, str]] = field(default_factory=list)
    bodies: list[bytes] = field(default_factory=list)

    def __call__(self, url: str, body: bytes, headers: Mapping[str, str], *, private: bool) -> Outcome:
        """Take a message, as `sending.post` does."""
        message = json.loads(body)
        outcome = self.answer(message)
        self.tried.append((self.clock.now(), message["id"]))
        self.headers.append(headers)
        self.bodies.append(body)
        if outcome.delivered:
            self.heard.append(message)
        return outcome

    def types(self) -> list[str]:
        """The types of what was heard, in order."""
        return [message["type"] for message in self.heard]


@pytest.fixture
def receiver(clock: FixedClock) -> Receiver:
    """The other end."""
    return Receiver(clock)


@pytest.fixture
def tell(database: Database, config: Config, clock: FixedClock, receiver: Receiver) -> Callable[[], int]:
    """One round of the worker, with the receiver at the other end."""

    def round_of_the_worker() -> int:
        outbox.number_events(database, config, clock)
        return delivery.deliver(database, config, clock, receiver)

    return round_of_the_worker


@dataclass
class Endpoint:
    """An endpoint and whoever owns it."""

    client: Client
    id: str
    secret: str

    @property
    def path(self) -> str:
        """Its address."""
        return f"/v1/webhook-endpoints/{self.id}"

    def show(self) -> dict[str, Any]:
        """It as it stands."""
        shown: dict[str, Any] = self.client.get(self.path).get_json()
        return shown

    def deliveries(self, **query: str) -> list[dict[str, Any]]:
        """Its log, the oldest first."""
        answer = self.client.get(
            "/v1/webhook-deliveries", query_string={"endpoint_id": self.id, "limit": "500", **query}
        )
        return list(reversed(answer.get_json()["items"]))


def endpoint_of(client: Client, **body: Any) -> Endpoint:
    """Add an endpoint."""
    made = client.post("/v1/webhook-endpoints", json={"url": URL, **body})
    assert made.status_code == 201, made.get_data(as_text=True)
    return Endpoint(client, made.get_json()["id"], made.get_json()["secret"])


@pytest.fixture
def site_endpoint(website: Website) -> Endpoint:  # noqa: F811
    """The website's endpoint."""
    return endpoint_of(website.client)


@pytest.fixture
def shop_endpoint(client: Client, app: Flask) -> Endpoint:
    """The shop's own endpoint."""
    return endpoint_of(client)
