"""Calendars read by another library than the one that writes them."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any
from uuid import UUID

import vobject

from shimstock_server.database.tables.seasons import Calendar
from tests.server.clients import Client, code

from .conftest import SeasonShop
from .test_reminders import answer


def subscribed(shop: SeasonShop, **body: Any) -> tuple[dict[str, Any], str]:
    made = shop.manager.post("/v1/calendars", json={"name": "Rechecks", **body})
    assert made.status_code == 201, made.get_data(as_text=True)
    return made.get_json(), made.get_json()["path"]


def read(client: Client, path: str) -> Any:
    got = client.get(path)
    assert (got.status_code, got.mimetype) == (200, "text/calendar")
    return vobject.readOne(got.get_data(as_text=True))


def events(calendar: Any) -> list[Any]:
    return list(calendar.contents.get("vevent", []))


def test_a_calendar_program_reads_the_reminders(shop: SeasonShop, stranger: Client) -> None:
    shop.read_to_the_end(0.27)
    shop.work()
    (reminder,) = shop.reminders()
    _, path = subscribed(shop)
    calendar = read(stranger, path)
    assert calendar.version.value == "2.0"
    (event,) = events(calendar)
    assert event.uid.value == f"{reminder['id']}@reminders.shimstock"
    assert (event.dtstart.value, event.dtend.value) == (date(2026, 11, 22), date(2026, 11, 23))
    assert event.summary.value == "Recheck: Alder & Finch Heron"
    assert event.description.value == reminder["sentence"]
    assert (event.status.value, event.sequence.value) == ("CONFIRMED", "0")
    assert event.dtstamp.value == datetime(2026, 10, 12, 9, 0, tzinfo=UTC)
    until = datetime(2026, 12, 10, 8, 0, tzinfo=UTC)
    answer(shop, reminder, answer="snoozed", until=until.isoformat())
    (event,) = events(read(stranger, path))
    assert (event.dtstart.value, event.sequence.value) == (date(2026, 12, 10), "1")
    answer(shop, reminder, answer="cancelled", note="sold")
    (event,) = events(read(stranger, path))
    assert (event.status.value, event.sequence.value) == ("CANCELLED", "2")
    assert event.uid.value == f"{reminder['id']}@reminders.shimstock"
    shop.advance(days=91)
    assert events(read(stranger, path)) == []


def test_what_is_written_keeps_to_the_standard(shop: SeasonShop, stranger: Client) -> None:
    """RFC 5545: section 3.1 folds lines at 75 octets, 3.6.1 wants UID and DTSTAMP."""
    shop.read_to_the_end(0.27)
    shop.work()
    _, path = subscribed(shop)
    got = stranger.get(path)
    data = got.get_data()
    lines = data.split(b"\r\n")
    assert data.endswith(b"END:VCALENDAR\r\n")
    assert max(map(len, lines)) <= 75
    assert any(line.startswith(b" ") for line in lines)
    assert not any(b"\n" in line for line in lines)
    assert (got.headers["Cache-Control"], got.headers["X-Robots-Tag"]) == ("no-store", "noindex")
    again = stranger.get(path, headers={"If-None-Match": got.headers["ETag"]})
    assert again.status_code == 304
    assert b"Robin" not in data  # no names of owners: the address may be passed on


def test_a_settling_neck_is_an_hour_and_not_a_day(shop: SeasonShop, stranger: Client) -> None:
    path = f"/v1/jobs/{shop.things.ids['job']}"
    shop.bench.post(f"{path}/moves", json={"to": "queued"}, etag=shop.bench.get(path).headers["ETag"])
    claim = shop.bench.post(f"{path}/claim", json={}).get_json()["claim"]["id"]
    etag = shop.bench.get(path).headers["ETag"]
    rest = shop.bench.post(f"{path}/moves", json={"to": "settling", "claim": claim}, etag=etag).get_json()
    shop.work()
    _, calendar = subscribed(shop, kinds=["settle-hour"])
    (event,) = events(read(stranger, calendar))
    assert event.dtstart.value == datetime.fromisoformat(rest["available_at"])
    assert event.duration.value == timedelta(minutes=15)
    _, seasonal = subscribed(shop, name="others", kinds=["seasonal"])
    assert events(read(stranger, seasonal)) == []


def test_an_address_is_told_once_kept_as_a_hash_and_revoked(shop: SeasonShop, stranger: Client) -> None:
    made, path = subscribed(shop, owner_id=shop.things.ids["owner"])
    token = path.removeprefix("/calendars/").removesuffix(".ics")
    assert len(token) == 32  # 192 bits
    shown = shop.manager.get(f"/v1/calendars/{made['id']}")
    assert shown.get_json()["path"] is None
    assert shop.manager.get("/v1/calendars").get_json()["items"][0]["path"] is None
    with shop.database.read() as session:
        row = session.get_one(Calendar, UUID(made["id"]))
        assert token.encode() not in row.token_hash
    assert code(stranger.get("/calendars/anything.ics")) == "not-found"
    assert stranger.get(path).status_code == 200
    revoked = shop.manager.delete(f"/v1/calendars/{made['id']}", etag=shown.headers["ETag"])
    assert revoked.get_json()["revoked_at"] is not None
    assert code(stranger.get(path)) == "not-found"
    assert token not in stranger.get(path).get_data(as_text=True)


def test_an_owners_calendar_ends_with_the_owner(shop: SeasonShop, stranger: Client) -> None:
    owner = shop.things.ids["owner"]
    shop.read_to_the_end(0.27)
    other = shop.things.add("", "/v1/owners", {"name": "Kim Example"})["id"]
    shop.work()
    made, mine = subscribed(shop, owner_id=owner)
    _, theirs = subscribed(shop, owner_id=other)
    assert (len(events(read(stranger, mine))), len(events(read(stranger, theirs)))) == (1, 0)
    erased = shop.manager.post(f"/v1/owners/{owner}/erasure", json={"force": True})
    assert erased.status_code == 200, erased.get_data(as_text=True)
    assert stranger.get(mine).status_code == 404
    assert shop.manager.get(f"/v1/calendars/{made['id']}").get_json()["name"] == "erased"
    gone = shop.manager.post("/v1/calendars", json={"name": "late", "owner_id": owner})
    assert gone.status_code == 422
