"""The client against the real service: book, move, cancel, check in, hear of it."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
import requests

import shimstock_client
from shimstock_client import Client, Conflict, NotFound, verify_webhook
from shimstock_server import cards
from shimstock_server.config import Config
from shimstock_server.database.session import Database
from shimstock_server.webhooks import delivery, outbox
from shimstock_server.webhooks.sending import Outcome
from tests.client.live import load_website, losing, served
from tests.waiting import HANG

from .conftest import Shop

WEEK = [{"weekday": day, "starts": "09:00", "ends": "17:00"} for day in range(1, 7)]


@pytest.fixture
def site(shop: Shop) -> shimstock_client.Client:
    """The website, in a shop that takes bookings."""
    shop.things.add("nils", "/v1/technicians", {"name": "Nils", "skills": ["setup"], "shifts": WEEK})
    with shop.client("manager") as manager:
        manager.services.create(
            name="Setup", bench_minutes=60, skills=["setup"], step_minutes=60, price=79, places=1
        )
    return shop.client("booking")


def test_a_booking_from_the_first_look_to_the_check_in(shop: Shop, site: shimstock_client.Client) -> None:
    (service,) = site.services.list()
    assert (service.name, service.price, service.currency) == ("Setup", 79.0, "EUR")
    first, second, *_ = site.availability.of(service).slots
    assert first.places == 1
    held = site.bookings.hold(service, first.at)
    assert (held.state, held.at) == ("held", first.at)
    with pytest.raises(Conflict) as refused:
        site.bookings.hold(service, first.at)
    assert refused.value.code == "no-place"
    assert refused.value.extra["next_slots"][0]["wall"] == second.wall
    booking = site.bookings.confirm(
        held, owner={"name": "Robin"}, complaints="buzzes", instrument={"serial": "S-1"}
    )
    assert booking.state == "confirmed"
    assert booking.job is not None
    assert booking.job.state == "booked"
    assert booking.instrument is not None
    assert booking.instrument.serial == "S-1"
    assert str(booking.card_path).startswith("/cards/")
    moved = site.bookings.move(booking, second.at)
    assert moved.wall == second.wall
    assert str(site.bookings.make_card_link(moved, days=30).path).startswith("/cards/")
    with shop.client("manager") as counter:
        here = counter.bookings.check_in(
            counter.bookings.get(booking.id),
            new_instrument={"model_id": shop.things.ids["model"], "serial": "S-1"},
        )
        assert here.state == "checked-in"
        link = counter.ask(f"/jobs/{booking.job.id}/card-links").object()["items"]
        assert len(link) == 2
    assert [each.state for each in site.bookings.list()] == ["checked-in"]


def test_a_lost_answer_does_not_lose_the_owners_page(shop: Shop, site: shimstock_client.Client) -> None:
    (service,) = site.services.list()
    (first, *_) = site.availability.of(service).slots
    with (
        served(shop.app) as target,
        losing(target) as (url, seen),
        Client(url, shop.staff.tokens["booking"]) as far,
    ):
        booking = far.bookings.confirm(far.bookings.hold(service, first.at), owner={"name": "Robin"})
        link = far.bookings.make_card_link(booking)
        for path in (booking.card_path, link.path):
            assert requests.get(f"{target}{path}", timeout=HANG).status_code == 200
    assert [cut for _, key, cut in seen if key] == [True, False] * 3, "each change went out twice"


def test_the_example_site_keeps_the_owners_page(
    shop: Shop, site: shimstock_client.Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    (service,) = site.services.list()
    (first, second, *_) = site.availability.of(service).slots
    with served(shop.app) as target, losing(target) as (url, _seen):
        website = load_website().make_site(url, shop.staff.tokens["booking"], []).test_client()

        def book(at: str, click: str) -> dict[str, Any]:
            wish = {"service": service.id, "at": at, "click": click}
            visit = website.post("/hold", json=wish).get_json()["visit"]
            fields = {"owner": {"name": "Robin"}}
            return website.post(f"/confirm/{visit}", json={"fields": fields, "click": click}).get_json()

        assert first.at is not None
        assert second.at is not None
        shown = book(first.at.isoformat(), "one")["card"]
        assert requests.get(shown.replace(url, target), timeout=HANG).status_code == 200
        # As after another secret of the service: what was shown cannot be shown again.
        monkeypatch.setattr(cards, "first_path_again", lambda *_, **__: None)
        another = book(second.at.isoformat(), "two")["card"]
        assert requests.get(another.replace(url, target), timeout=HANG).status_code == 200


def test_cancelling_and_missing(shop: Shop, site: shimstock_client.Client) -> None:
    (service,) = site.services.list()
    slots = site.availability.of(service).slots
    gone = site.bookings.cancel(site.bookings.hold(service, slots[0].at), reason="ill")
    assert (gone.state, gone.cancel_reason) == ("cancelled", "ill")
    missed = site.bookings.confirm(site.bookings.hold(service, slots[1].at), owner={"name": "Robin"})
    shop.clock.advance(timedelta(days=15))
    with shop.client("manager") as counter:
        assert counter.bookings.no_show(counter.bookings.get(missed.id)).state == "no-show"


def test_a_technicians_holiday(shop: Shop, site: shimstock_client.Client) -> None:
    (service,) = site.services.list()
    day = site.availability.of(service).days[1]
    with shop.client("manager") as manager:
        nils = next(each for each in manager.technicians.list() if each.name == "Nils")
        absence = manager.absences.create(nils, day.day)
        assert (absence.first, absence.last, absence.uncovered) == (str(day.day), str(day.day), [])
        assert site.availability.of(service, day.day, day.day).days == []
        assert [each.id for each in manager.absences.list(technician_id=nils.id)] == [absence.id]
        manager.absences.delete(absence)
    assert site.availability.of(service, day.day, day.day).days == [day]


def test_a_website_hears_of_its_booking(
    shop: Shop, site: shimstock_client.Client, database: Database, config: Config
) -> None:
    endpoint = site.webhook_endpoints.create(url="https://shop.example/hooks", types=["booking.held"])
    assert endpoint.secret is not None
    former = endpoint.secret
    endpoint = site.webhook_endpoints.rotate_secret(endpoint, keep_hours=1)
    assert endpoint.secret != former
    before = site.events.page().cursor
    (service,) = site.services.list()
    held = site.bookings.hold(service, site.availability.of(service).slots[0].at)
    heard: list[shimstock_client.Event] = []

    def post(url: str, body: bytes, headers: dict[str, str], *, private: bool) -> Outcome:
        heard.extend(
            verify_webhook(headers, body, secret, now=shop.clock.now())
            for secret in (former, str(endpoint.secret))
        )
        return Outcome(204)

    outbox.number_events(database, config, shop.clock)
    assert delivery.deliver(database, config, shop.clock, post) == 1
    assert [event.object.id for event in heard] == [held.id, held.id]
    (told,) = site.webhook_endpoints.deliveries(endpoint_id=endpoint.id)
    assert (told.state, told.event_id, told.last_status) == ("delivered", heard[0].id, 204)
    assert site.webhook_endpoints.replay(told).state == "pending"
    assert site.webhook_endpoints.replay(told).state == "pending", "what is on its way is sent now"
    tested = site.webhook_endpoints.test(endpoint)
    assert (tested.type, tested.state) == ("webhook-endpoint.tested", "pending")
    assert [event.id for event in site.events.since(before)] == [heard[0].id]
    changed = site.webhook_endpoints.update(site.webhook_endpoints.get(endpoint.id), active=False)
    assert changed.disabled_reason == "switched-off"
    site.webhook_endpoints.delete(changed)
    with pytest.raises(NotFound):
        site.webhook_endpoints.get(endpoint.id)
