"""Technicians who are away: fewer slots, refused nonsense, and what is booked already."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from threading import Barrier
from typing import Any

import pytest
from sqlalchemy import select

from shimstock_server.database.session import Database
from shimstock_server.database.tables.booking import BenchDay, Booking
from tests.server.clients import Client, pointers
from tests.server.workshop import Workshop

from .conftest import Website

TUESDAY, THURSDAY = "2026-03-03", "2026-03-05"
SQLITE = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)


def away(client: Client, technician_id: str, first: str, last: str | None = None, **hours: str) -> Any:
    """Add an absence."""
    body = {"technician_id": technician_id, "first": first, "last": last or first, **hours}
    return client.post("/v1/absences", json=body)


def places(website: Website, day: str) -> int:
    """The most that one slot of a day still takes."""
    return max((slot["places"] for slot in website.slots(first=day, last=day)), default=0)


def used(database: Database, day: str) -> list[int]:
    """The bench minutes of a day that are taken, of each technician."""
    with database.read() as session:
        rows = session.execute(select(BenchDay.day, BenchDay.used))
        return sorted(minutes for on, minutes in rows if str(on) == day)


@SQLITE
def test_a_holiday_takes_the_technicians_minutes(
    website: Website, client: Client, bench_client: Client, workshop: Workshop
) -> None:
    # Thursday is Nils's alone; on Tuesday Mara works too.
    made = away(client, workshop.ids["nils"], TUESDAY, THURSDAY)
    assert made.status_code == 201, made.get_data(as_text=True)
    assert made.get_json()["uncovered"] == []
    assert website.slots(first=THURSDAY, last=THURSDAY) == []
    assert places(website, TUESDAY) == 2
    assert website.hold("2026-03-05T09:00:00Z").status_code == 409
    listed = bench_client.get("/v1/absences?first=2026-03-04&last=2026-03-04").get_json()["items"]
    assert [(each["first"], each["last"]) for each in listed] == [(TUESDAY, THURSDAY)]
    assert bench_client.get("/v1/absences?first=2026-03-06").get_json()["items"] == []
    path = made.headers["Location"]
    assert client.delete(path, etag=client.get(path).headers["ETag"]).status_code == 204
    assert website.hold("2026-03-05T09:00:00Z").status_code == 201


@SQLITE
def test_hours_of_a_day_leave_the_rest(website: Website, client: Client, workshop: Workshop) -> None:
    # At work from 9 to 17: of 480 minutes 330 are left, three setups of 90 instead of five.
    assert away(client, workshop.ids["nils"], THURSDAY, starts="08:00", ends="11:30").status_code == 201
    slots = [slot["at"] for slot in website.slots(first=THURSDAY, last=THURSDAY)]
    assert [website.hold(at).status_code for at in slots[:4]] == [201, 201, 201, 409]
    assert away(client, workshop.ids["nils"], THURSDAY, starts="11:30", ends="12:00").status_code == 201
    assert away(client, workshop.ids["nils"], THURSDAY, starts="11:00", ends="11:45").status_code == 409


def test_colleagues_take_over_what_they_have_room_for(
    website: Website, client: Client, workshop: Workshop, database: Database
) -> None:
    for at in ("2026-03-03T09:00:00Z", "2026-03-03T10:00:00Z"):
        website.book(at)
    assert used(database, TUESDAY) == [180]  # Nils has fewer skills and is asked first
    made = away(client, workshop.ids["nils"], TUESDAY).get_json()
    assert made["uncovered"] == []
    assert used(database, TUESDAY) == [0, 180]
    with database.read() as session:
        assert {str(each) for each in session.scalars(select(Booking.technician_id))} == {
            workshop.ids["mara"]
        }
    assert website.slots(first=TUESDAY, last=TUESDAY)[-1]["places"] == 2


@SQLITE
def test_what_nobody_has_room_for_is_named(website: Website, client: Client, workshop: Workshop) -> None:
    booking = website.book("2026-03-05T09:00:00Z")
    made = away(client, workshop.ids["nils"], THURSDAY).get_json()
    assert made["uncovered"] == [booking["id"]]
    assert website.client.get(f"/v1/bookings/{booking['id']}").get_json()["state"] == "confirmed"
    assert website.slots(first=THURSDAY, last=THURSDAY) == []


@SQLITE
def test_other_shifts_are_covered_too(
    website: Website, client: Client, workshop: Workshop, database: Database
) -> None:
    website.book("2026-03-03T09:00:00Z")
    path = f"/v1/technicians/{workshop.ids['nils']}"
    left = client.patch(path, json={"active": False}, etag=client.get(path).headers["ETag"])
    assert left.status_code == 200
    assert used(database, TUESDAY) == [0, 90]


NOWHERE = "01890a5d-ac96-774b-bcce-b302099a8057"
CANNOT_BE: list[tuple[dict[str, Any], list[str]]] = [
    ({"first": THURSDAY, "last": TUESDAY}, ["/last"]),
    ({"first": "2026-02-02", "last": "2026-02-03"}, ["/last"]),
    ({"first": THURSDAY, "last": "2027-04-05"}, ["/last"]),
    ({"first": "5 March", "last": THURSDAY}, ["/first"]),
    ({"first": THURSDAY}, ["/last"]),
    ({"first": TUESDAY, "last": THURSDAY, "starts": "09:00", "ends": "10:00"}, ["/starts"]),
    ({"first": THURSDAY, "last": THURSDAY, "starts": "09:00"}, ["/ends"]),
    ({"first": THURSDAY, "last": THURSDAY, "ends": "10:00"}, ["/starts"]),
    ({"first": THURSDAY, "last": THURSDAY, "starts": "10:00", "ends": "10:00"}, ["/ends"]),
    ({"first": THURSDAY, "last": THURSDAY, "starts": "25:00", "ends": "26:00"}, ["/starts", "/ends"]),
    ({"first": THURSDAY, "last": THURSDAY, "technician_id": NOWHERE}, ["/technician_id"]),
    ({"first": THURSDAY, "last": THURSDAY, "reason": "flu"}, ["/reason"]),
]


@SQLITE
def test_an_absence_that_cannot_be_is_refused(client: Client, workshop: Workshop) -> None:
    for body, wrong in CANNOT_BE:
        refused = client.post("/v1/absences", json={"technician_id": workshop.ids["nils"], **body})
        assert refused.status_code == 422, body
        assert sorted(pointers(refused)) == sorted(wrong), body
    assert away(client, workshop.ids["nils"], TUESDAY, THURSDAY).status_code == 201
    again = away(client, workshop.ids["nils"], "2026-03-04")
    assert (again.status_code, again.get_json()["code"]) == (409, "absence-overlaps")
    assert away(client, workshop.ids["mara"], "2026-03-04").status_code == 201


def test_an_absence_and_bookings_at_the_same_moment(
    website: Website, client: Client, workshop: Workshop, database: Database
) -> None:
    """No booking is left with somebody who is away unless the absence says so."""
    slots = [slot["at"] for slot in website.slots(first=THURSDAY, last=THURSDAY)][:5]
    start = Barrier(len(slots) + 1)

    def one(at: str | None) -> Any:
        start.wait()
        return website.hold(at) if at else away(client, workshop.ids["nils"], THURSDAY)

    with ThreadPoolExecutor(len(slots) + 1) as threads:
        *holds, absence = threads.map(one, [*slots, None])
    assert absence.status_code == 201, absence.get_data(as_text=True)
    held = sorted(each.get_json()["id"] for each in holds if each.status_code == 201)
    assert sorted(absence.get_json()["uncovered"]) == held
    assert {each.status_code for each in holds} <= {201, 409}
    assert used(database, THURSDAY) in ([], [90 * len(held)])
