"""A website's key at every address: its own bookings and nothing else, and never the shop's own matters."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

import pytest

from tests.server.booking.conftest import Website, etag
from tests.server.clients import Client
from tests.server.test_every_route import METHODS, routes_of
from tests.server.workshop import Workshop

from .conftest import Endpoint, Receiver, endpoint_of

TEN = "2026-03-03T09:00:00Z"
NOTE = "an internal note that no website reads"


@pytest.fixture
def mine(
    website: Website, client: Client, workshop: Workshop, receiver: Receiver, tell: Callable[[], int]
) -> dict[str, Any]:
    """A booking with everything that can hang on it: ids of every kind, by the name of the path argument."""
    endpoint = endpoint_of(website.client)
    booking = website.book(TEN, instrument={"serial": "S-1"})
    here = client.post(
        f"/v1/bookings/{booking['id']}/check-in",
        json={"new_instrument": {"model_id": workshop.ids["model"], "serial": "S-1", "notes": NOTE}},
        etag=etag(booking),
    )
    assert here.status_code == 200, here.get_data(as_text=True)
    job = booking["job"]["id"]
    link = client.post(f"/v1/jobs/{job}/card-links", json={}).get_json()
    tell()
    delivery = endpoint.deliveries()[0]
    return {
        "booking_id": booking["id"],
        "job_id": job,
        "card_link_id": link["id"],
        "endpoint_id": endpoint.id,
        "delivery_id": delivery["id"],
        "service_id": website.service_id,
        "owner_id": here.get_json()["owner_id"],
        "card": booking["card_path"],
    }


OWN = ("booking_id", "card_link_id", "endpoint_id", "delivery_id")
"""What belongs to one website."""


def addresses(client: Client, ids: dict[str, Any]) -> list[tuple[str, str, str]]:
    """Every route with an id that is known, with that id in it: name of the argument, method, address."""
    found = []
    for route in routes_of(client.app):
        arguments = [part.split(">")[0] for part in route.rule.split("<uuid:")[1:]]
        if len(arguments) == 1 and arguments[0] in ids and "<" not in route.rule.replace("<uuid:", "", 1):
            address = route.rule.replace(f"<uuid:{arguments[0]}>", str(ids[arguments[0]]))
            found.append((arguments[0], route.method, address))
    return found


def test_a_strangers_key_finds_nothing_of_mine(
    website: Website, other_website: Website, mine: dict[str, Any]
) -> None:
    tried = 0
    for argument, method, address in addresses(website.client, mine):
        assert method in METHODS
        answer = other_website.client.open(method, address, json={} if method != "GET" else None)
        if argument in OWN:
            assert answer.status_code in (403, 404), f"{method} {address}"
            tried += 1
        elif argument != "service_id":
            assert answer.status_code == 403, f"{method} {address}"
    assert tried >= 12
    for path in ("bookings", "webhook-endpoints", "webhook-deliveries", "events"):
        assert other_website.client.get(f"/v1/{path}").get_json()["items"] == []


def test_a_website_gets_what_is_its_own(website: Website, mine: dict[str, Any]) -> None:
    for argument in OWN:
        shown = [
            website.client.get(address).status_code
            for name, method, address in addresses(website.client, mine)
            if name == argument and method == "GET"
        ]
        assert shown
        assert set(shown) == {200}


def test_what_a_website_reads_holds_nothing_of_the_shop(
    website: Website, client: Client, mine: dict[str, Any]
) -> None:
    """No reading, no note, no other owner, no technician, whatever it asks for."""
    client.post("/v1/owners", json={"name": "Another Owner", "email": "another@owner.example"})
    read = []
    for route in routes_of(website.client.app):
        if route.method != "GET" or not route.rule.startswith("/v1"):
            continue
        address = route.rule
        for argument in [part.split(">")[0] for part in route.rule.split("<uuid:")[1:]]:
            address = address.replace(f"<uuid:{argument}>", str(mine.get(argument, mine["job_id"])))
        query = {"service_id": mine["service_id"]} if address == "/v1/availability" else None
        answer = website.client.get(address.replace("<kind>", "electric"), query_string=query)
        if answer.status_code == 200 and not address.startswith("/v1/calculations"):
            read.append(json.dumps(answer.get_json()))
    assert len(read) >= 9
    told = "\n".join(read)
    for private in (
        NOTE,
        "Another Owner",
        "another@owner.example",
        "Sasha",
        "Nils",
        "Mara",
        mine["owner_id"],
    ):
        assert private not in told
    assert "technician" not in told


def test_a_key_that_replaces_another_sees_what_that_one_booked(
    website: Website, client: Client, mine: dict[str, Any]
) -> None:
    body = {"name": "the site's next key", "scope": "booking", "replaces": str(website.client.key_id)}
    made = client.post("/v1/keys", json=body)
    assert made.status_code == 201, made.get_data(as_text=True)
    following = Client(website.client.app, made.get_json()["secret"])
    assert following.get(f"/v1/bookings/{mine['booking_id']}").status_code == 200
    assert following.get(f"/v1/webhook-endpoints/{mine['endpoint_id']}").status_code == 200
    for wrong in (str(client.key_id), mine["booking_id"]):
        refused = client.post("/v1/keys", json={**body, "replaces": wrong})
        assert refused.status_code == 422


def test_revoking_anothers_page_is_not_possible(
    website: Website, other_website: Website, mine: dict[str, Any], stranger: Client
) -> None:
    link = f"/v1/card-links/{mine['card_link_id']}"
    assert other_website.client.delete(link, etag='"1.mm"').status_code == 404
    assert website.client.delete(link, etag='"1.mm"').status_code == 204


def test_endpoints_of_a_website_show_their_secret_to_nobody(site_endpoint: Endpoint, client: Client) -> None:
    seen = client.get(site_endpoint.path).get_data(as_text=True)
    assert "secret_until" in seen
    assert "whsec_" not in seen
