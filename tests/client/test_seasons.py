"""Climates, the room log, forecasts, reminders and calendars through the client, against the real service."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest

from shimstock_client import Client, Conflict, InvalidFields, Quantity, Room
from shimstock_server.config import Config
from shimstock_server.database.session import Database
from shimstock_server.seasons import work_off_marks
from tests.client.conftest import Shop
from tests.server.seasons.conftest import months_of

SQLITE = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
pytestmark = SQLITE


@pytest.fixture
def manager(shop: Shop) -> Client:
    """A manager's client, in a shop with a climate."""
    client = shop.client("manager")
    climate = client.climates.create(name="Here", source="NREL TMY3 Chicago", months=months_of())
    client.change("PUT", "/season-settings", {"climate_id": climate.id})
    return client


def read_to_the_end(shop: Shop) -> str:
    job = shop.things.job()
    reading = {"quantity": "relief", "side": "bass", "value": Quantity(0.27, "mm")}
    bench = shop.client()
    sheet = bench.reading_sheets.post(
        job["id"], [reading], stage="final", at_pitch=True, taken_at=shop.clock.now()
    )
    return sheet.id


def test_a_forecast_and_its_reminder(shop: Shop, manager: Client, database: Database, config: Config) -> None:
    read_to_the_end(shop)
    instrument = shop.things.ids["instrument"]
    bench = shop.client()
    forecast = bench.forecasts.get(instrument, step=30)
    assert forecast.quantities[0].value == Quantity(0.27, "mm")
    assert forecast.quantities[0].days[0].expected == Quantity(0.27, "mm")
    assert bench.forecasts.chart(instrument).startswith("<svg")
    work_off_marks(database, config, shop.clock)
    (one,) = bench.reminders.list()
    assert (one.kind, one.due_on) == ("seasonal", forecast.recheck_on)
    assert bench.reminders.acknowledge(one, note="called").state == "acknowledged"
    one = bench.reminders.get(one)
    one = bench.reminders.snooze(one, until=shop.clock.now() + timedelta(days=30))
    assert [event.what for event in bench.reminders.history(one)] == ["made", "acknowledged", "snoozed"]
    with pytest.raises(InvalidFields):
        bench.reminders.done(one)
    assert bench.reminders.cancel(one, note="sold").state == "cancelled"
    assert list(bench.reminders.list()) == []
    with pytest.raises(Conflict):
        bench.reminders.acknowledge(bench.reminders.get(one))


def test_a_room_is_logged_in_every_way(shop: Shop, manager: Client) -> None:
    bench = shop.client()
    room = bench.rooms.create(name="Back room", use="shop")
    assert isinstance(room, Room)
    meter = bench.hygrometers.create(name="Brass one", room_id=room.id)
    check = bench.hygrometers.check(
        meter, low_reading=Quantity(36.0, "percent"), high_reading=Quantity(77.0, "percent"),
        temperature=Quantity(25.0, "degC"), checked_at=shop.clock.now() - timedelta(days=30),
    )  # fmt: skip
    assert check.gain == pytest.approx(1.037, abs=0.002)
    assert [each.id for each in bench.hygrometers.checks(meter)] == [check.id]
    warm, damp = Quantity(70.0, "degF"), Quantity(36.0, "percent")
    now = shop.clock.now()
    one = bench.room_log.post(room, temperature=warm, relative_humidity=damp, hygrometer=meter, taken_at=now)
    assert one.relative_humidity == Quantity(32.79, "percent")  # Greenspan (1977), MgCl2 at 25 degC
    many: list[dict[str, Any]] = [
        {"taken_at": now - timedelta(hours=n), "temperature": warm, "relative_humidity": damp}
        for n in (3, 1, 2)
    ]
    outcome = bench.room_log.post_many(room, many)
    assert (outcome.sent, outcome.stored, outcome.reordered) == (3, 3, 1)
    lines = (
        "taken_at,temperature_degC,relative_humidity_percent",
        "2026-01-02 10:00,21,45",
        "2026-01-02 11:00,21,45",
    )
    file = "\n".join(lines)
    first = bench.room_log.send_file(room, file, zone="UTC")
    again = bench.room_log.send_file(room, file, zone="UTC")
    assert (first.stored, again.stored, len(again.raw["known"])) == (2, 0, 2)
    shifted = bench.room_log.send_file(room, file, zone="UTC", shift_minutes=30)
    assert shifted.first == first.first + timedelta(minutes=30)  # type: ignore[operator]
    assert len(list(bench.room_log.list(room_id=room.id, limit=2))) == 8
    assert [remark.code for remark in bench.rooms.air(room).warnings] == ["too-dry"]
    with pytest.raises(InvalidFields, match="relative_humidity_percent"):
        bench.room_log.send_file(room, "taken_at,temperature_degC\n")


def test_where_an_instrument_lives(shop: Shop, manager: Client) -> None:
    bench = shop.client()
    room = bench.rooms.create(name="Music room", use="home")
    instrument = shop.things.ids["instrument"]
    before = bench.forecasts.keeping(instrument)
    kept = bench.forecasts.keep(instrument, current=before, room_id=room.id)
    again = bench.forecasts.keep(instrument, current=kept, room_id=room.id, hours_per_week=7)
    assert (again.version, again.hours_per_week) == (2, 7)


def test_climates_from_files_and_calendars(shop: Shop, manager: Client) -> None:
    lines = [f"{n},10,70" for n in range(1, 13)]
    text = "\n".join(["month,temperature_degC,relative_humidity_percent", *lines])
    climate = manager.climates.from_table(text, name="Flat", source="made up")
    assert (climate.origin, climate.months[6].temperature) == ("csv", Quantity(10.0, "degC"))
    with pytest.raises(InvalidFields, match="LOCATION"):
        manager.climates.from_typical_year("no such file")
    calendar = manager.calendars.create(name="Rechecks", kinds=["seasonal"])
    assert calendar.path is not None
    assert calendar.path not in repr(calendar)
    assert shop.app.test_client().get(calendar.path).status_code == 200
    revoked = manager.calendars.revoke(calendar)
    assert revoked.revoked_at is not None
    assert shop.app.test_client().get(calendar.path).status_code == 404
