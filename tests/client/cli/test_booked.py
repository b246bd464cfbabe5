"""Booked instruments at the counter: who is expected, and each comes in under its booking."""

from __future__ import annotations

import json
from datetime import timedelta
from typing import Any

import pytest

import shimstock_client
from tests.client.conftest import Command, Shop

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)

WEEK = [{"weekday": day, "starts": "09:00", "ends": "17:00"} for day in range(1, 7)]


class Site:
    """The shop's website."""

    def __init__(self, shop: Shop) -> None:
        shop.things.add("nils", "/v1/technicians", {"name": "Nils", "skills": ["setup"], "shifts": WEEK})
        with shop.client("manager") as manager:
            self.service = manager.services.create(
                name="Setup", bench_minutes=45, skills=["setup"], step_minutes=30, places=2
            )
        self.client = shop.client("booking")

    def book(self, **instrument: str) -> shimstock_client.Booking:
        """Book the next free slot."""
        slot = self.client.availability.of(self.service).slots[0]
        held = self.client.bookings.hold(self.service, slot.at)
        owner = {"name": "Sasha Newcomer"}
        return self.client.bookings.confirm(held, owner=owner, instrument=instrument, complaints="buzzes")


@pytest.fixture
def site(shop: Shop) -> Site:
    """The shop's website; an instrument with a serial number is known to the shop."""
    ids = shop.things.ids
    wish = {"model_id": ids["model"], "owner_id": ids["owner"], "serial": "H-17"}
    shop.things.add("heron", "/v1/instruments", wish)
    return Site(shop)


def test_who_is_expected(site: Site, shop: Shop, command: Command) -> None:
    assert command("expected").code == 3
    booking = site.book(maker="Alder & Finch", serial="H-17")
    listed = command("expected", "--all")
    assert listed.code == 0, listed.err
    assert "Setup, Alder & Finch H-17, Sasha Newcomer" in listed.out
    assert [each["id"] for each in json.loads(command("expected", "--all", "--json").out)["items"]] == [
        booking.id
    ]


def received(ran: Any) -> dict[str, Any]:
    """The job that came in."""
    assert ran.code == 0, ran.err
    job: dict[str, Any] = json.loads(ran.out)
    return job


def test_a_known_instrument_comes_under_its_booking(site: Site, shop: Shop, command: Command) -> None:
    booking = site.book(serial="H-17")
    job = received(
        command(
            "receive", "H-17", "--complaint", "and it hums", "--air", "21C 45%", "--new-strings",
            "--consent", "Sasha", "--priority", "7", "--json",
        )
    )  # fmt: skip
    assert booking.job is not None
    assert (job["id"], job["state"], job["estimated_minutes"]) == (booking.job.id, "queued", 45)
    assert (job["complaints"], job["priority"]) == ("buzzes\nand it hums", 7)
    assert (job["skills"], job["wants"]["restring"]) == (["setup"], True)
    assert job["instrument_id"] == shop.things.ids["heron"]
    assert site.client.bookings.get(booking.id).state == "checked-in"
    assert [each.covers for each in shop.client().consents.list(job["id"])] == ["general"]


def test_an_instrument_that_was_never_here(site: Site, shop: Shop, command: Command) -> None:
    booking = site.book(maker="Alder & Finch")
    assert booking.job is not None
    number = str(booking.job.number)
    unknown = command("receive", "NEW-1", "--booked", number)
    assert unknown.code == 3
    assert "name its model with --model" in unknown.err
    wrong = command("receive", "NEW-1", "--booked", number, "--model", "Nobody's")
    assert '0 models are called "Nobody\'s"; there are: Alder & Finch Heron' in wrong.err
    came = command("receive", "NEW-1", "--booked", number, "--model", "heron")
    assert f"Job {number} is in the queue, as booked." in came.out, came.err
    (instrument,) = shop.client().instruments.list(serial="NEW-1")
    assert shop.client().owners.get(instrument.owner_id or "").name == "Sasha Newcomer"
    assert command("receive", "NEW-1", "--booked", number).code == 3  # it is here already


def test_several_bookings_and_none_of_them(site: Site, command: Command) -> None:
    first, second = site.book(serial="H-17"), site.book(serial="H-17")
    several = command("receive", "H-17")
    assert several.code == 2
    assert "2 bookings name 'H-17': say which with --booked NUMBER" in several.err
    assert first.job is not None
    assert second.job is not None
    job = received(command("receive", "H-17", "--booked", str(second.job.number), "--json"))
    assert job["id"] == second.job.id
    walked_in = received(command("receive", "H-17", "--not-booked", "--json"))
    assert walked_in["id"] not in (first.job.id, second.job.id)


def test_who_did_not_come_is_still_listed(site: Site, shop: Shop, command: Command) -> None:
    site.book(serial="H-17")
    shop.clock.advance(timedelta(days=4))
    assert command("receive", "H-17").code == 0
