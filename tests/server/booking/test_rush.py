"""Fifty people want the last places at the same moment: exactly as many get one as there are."""

from __future__ import annotations

from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from threading import Barrier

from sqlalchemy import func, select

from shimstock_server.database.session import Database
from shimstock_server.database.tables.booking import BenchDay, Booking, BookingPlace
from tests.server.clients import Client
from tests.server.workshop import Workshop

from .conftest import Website, etag

CROWD = 50
TEN = "2026-03-03T09:00:00Z"


def rush(website: Website, slots: list[str]) -> Counter[int]:
    """Send one request for each slot at the same moment, and count the answers."""
    start = Barrier(len(slots))

    def one(at: str) -> int:
        start.wait()
        status = 503
        while status == 503:  # the service is busy and says so; the same click again
            status = website.hold(at).status_code
        return status

    with ThreadPoolExecutor(len(slots)) as threads:
        return Counter(threads.map(one, slots))


def test_fifty_for_the_last_two_places_of_a_slot(website: Website, database: Database) -> None:
    assert rush(website, [TEN] * CROWD) == {201: 2, 409: CROWD - 2}
    with database.read() as session:
        assert session.scalar(select(func.count()).select_from(BookingPlace)) == 2
        assert session.scalar(select(func.count()).select_from(Booking)) == 2
        assert session.scalar(select(func.sum(BenchDay.used))) == 180


def test_fifty_for_the_last_bench_minutes_of_a_day(website: Website, database: Database) -> None:
    # Thursday: one technician, 480 minutes, five of 90; nine slots with two places each
    slots = [slot["at"] for slot in website.slots(first="2026-03-05", last="2026-03-05")]
    wanted = [slots[n % len(slots)] for n in range(CROWD)]
    assert rush(website, wanted) == {201: 5, 409: CROWD - 5}
    with database.read() as session:
        assert session.scalar(select(func.sum(BenchDay.used))) == 450


def test_two_websites_for_one_place(website: Website, other_website: Website, workshop: Workshop) -> None:
    assert website.hold(TEN).status_code == 201
    sites = [website, other_website]
    start = Barrier(2)

    def one(site: Website) -> int:
        start.wait()
        return int(site.hold(TEN).status_code)

    with ThreadPoolExecutor(2) as threads:
        assert sorted(threads.map(one, sites)) == [201, 409]


def test_two_bookings_change_places_with_each_other(website: Website, client: Client) -> None:
    """Each gives back what the other wants: neither is lost, nothing is counted twice."""
    eleven = "2026-03-04T10:00:00Z"
    first, second = website.book(TEN), website.book(eleven)
    start = Barrier(2)

    def move(pair: tuple[dict[str, str], str]) -> int:
        booking, at = pair
        start.wait()
        path = f"/v1/bookings/{booking['id']}/move"
        return int(website.client.post(path, json={"at": at}, etag=etag(booking)).status_code)

    with ThreadPoolExecutor(2) as threads:
        assert list(threads.map(move, [(first, eleven), (second, TEN)])) == [200, 200]
    found = [website.client.get(f"/v1/bookings/{each['id']}").get_json()["at"] for each in (first, second)]
    assert found == [eleven, TEN]
    days = website.slots(first="2026-03-03", last="2026-03-04")
    assert sorted(slot["places"] for slot in days)[:2] == [1, 1]
