"""A shop that takes bookings: two technicians with shifts, two services, a website's key."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import pytest
from flask import Flask

from shimstock_server.clock import FixedClock
from shimstock_server.database.session import Database
from shimstock_server.database.words import Scope
from shimstock_server.keys import make_key
from tests.server.clients import Client
from tests.server.conftest import SECRET
from tests.server.workshop import Workshop, set_up

WEEK = [{"weekday": day, "starts": "09:00", "ends": "17:00"} for day in range(1, 6)]
SETUP = {
    "name": "Setup, electric",
    "kinds": ["electric"],
    "skills": ["setup"],
    "bench_minutes": 90,
    "price": 79,
    "price_from": True,
    "lead_days": 3,
    "notice_minutes": 60,
    "step_minutes": 60,
    "places": 2,
}
OWNER = {"name": "Sasha Newcomer", "email": "sasha@newcomer.example"}


@dataclass
class Website:
    """The booking website: its own key, and what it usually does."""

    client: Client
    service_id: str

    def slots(self, **query: Any) -> list[dict[str, Any]]:
        """The free slots, one after the other."""
        answer = self.client.get("/v1/availability", query_string={"service_id": self.service_id, **query})
        assert answer.status_code == 200, answer.get_data(as_text=True)
        return [slot for day in answer.get_json()["days"] for slot in day["slots"]]

    def hold(self, at: str, **options: Any) -> Any:
        """Hold a slot."""
        return self.client.post("/v1/bookings", json={"service_id": self.service_id, "at": at}, **options)

    def confirm(self, booking: dict[str, Any], **more: Any) -> Any:
        """Confirm a held slot."""
        body = {"owner": OWNER, "complaints": "buzzes", **more}
        return self.client.post(f"/v1/bookings/{booking['id']}/confirm", json=body)

    def book(self, at: str, **more: Any) -> dict[str, Any]:
        """Hold and confirm."""
        held = self.hold(at)
        assert held.status_code == 201, held.get_data(as_text=True)
        confirmed = self.confirm(held.get_json(), **more)
        assert confirmed.status_code == 200, confirmed.get_data(as_text=True)
        booking: dict[str, Any] = confirmed.get_json()
        return booking


def key(app: Flask, database: Database, clock: FixedClock, name: str, scope: Scope = Scope.BOOKING) -> Client:
    """A client with a key of its own."""
    with database.write({"secret": SECRET, "now": clock.now()}) as session:
        row, token = make_key(session, name=name, scope=scope, now=clock.now())
        return Client(app, token, key_id=row.id)


def etag(booking: dict[str, Any]) -> str:
    """What a change of this booking must match."""
    return f'"{booking["version"]}.mm"'


@pytest.fixture
def workshop(client: Client, staff: Any) -> Workshop:
    """The shop, with technicians at work and something to book."""
    shop = set_up(client)
    shop.add("nils", "/v1/technicians", {"name": "Nils", "skills": ["setup"], "shifts": WEEK})
    shop.add(
        "mara", "/v1/technicians",
        {"name": "Mara", "skills": ["setup", "nylon", "acoustic"], "shifts": WEEK[:3]},
    )  # fmt: skip
    shop.add("setup", "/v1/services", SETUP)
    shop.add(
        "nylon", "/v1/services",
        {"name": "Setup, nylon", "kinds": ["classical-nylon"], "skills": ["setup", "nylon"],
         "bench_minutes": 120, "step_minutes": 60},
    )  # fmt: skip
    return shop


@pytest.fixture
def website(workshop: Workshop, booking_client: Client) -> Website:
    """The shop's website."""
    return Website(booking_client, workshop.ids["setup"])


@pytest.fixture
def other_website(app: Flask, database: Database, clock: FixedClock, workshop: Workshop) -> Website:
    """Somebody else's website."""
    return Website(key(app, database, clock, "another site"), workshop.ids["setup"])
