"""When the shop is open: wall times, exceptions, and the days on which the clocks change."""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import Any

import pytest

from shimstock_server.clock import FixedClock
from shimstock_server.database.session import Database
from shimstock_server.database.tables.shop import Closure, OpeningHours, Shop
from shimstock_server.shop import ShopNotSetUp, last_opening, local_day, next_opening, opening

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)

HOURS = [(day, "09:00", "12:30") for day in range(1, 6)] + [(day, "13:30", "18:00") for day in range(1, 6)]


def utc(text: str) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=UTC)


@pytest.fixture
def shop(database: Database, clock: FixedClock) -> Any:
    """Set a shop up and return a way to ask it."""

    def make(
        hours: list[tuple[int, str, str]] = HOURS, zone: str = "Europe/Berlin", closures: tuple[Any, ...] = ()
    ) -> None:
        with database.write({"now": clock.now()}) as session:
            rows = [OpeningHours(weekday=day, opens=opens, closes=closes) for day, opens, closes in hours]
            session.add(Shop(name="Werkbank", zone=zone, opening_hours=rows))
            session.add_all(closures)

    return make


def test_without_a_shop_there_are_no_hours(database: Database) -> None:
    with database.read() as session, pytest.raises(ShopNotSetUp):
        opening(session, date(2026, 3, 2))


@pytest.mark.parametrize(
    ("day", "expected"),
    [
        # Berlin: UTC+1 in winter, UTC+2 in summer time (IANA time zone database)
        (date(2026, 3, 27), "2026-03-27T08:00"),
        (date(2026, 3, 30), "2026-03-30T07:00"),
        (date(2026, 10, 23), "2026-10-23T07:00"),
        (date(2026, 10, 26), "2026-10-26T08:00"),
    ],
)
def test_the_same_wall_time_before_and_after_the_clocks_change(
    shop: Any, database: Database, day: date, expected: str
) -> None:
    shop()
    with database.read() as session:
        assert opening(session, day)[0][0] == utc(expected)


def test_a_wall_time_that_the_clocks_skip_is_the_moment_of_the_jump(shop: Any, database: Database) -> None:
    shop([(7, "02:30", "05:00")])
    with database.read() as session:
        # 2026-03-29, 02:00 becomes 03:00 in Berlin (IANA time zone database)
        assert opening(session, date(2026, 3, 29)) == [(utc("2026-03-29T01:00"), utc("2026-03-29T03:00"))]


def test_a_wall_time_that_comes_twice_opens_at_the_first_and_closes_at_the_second(
    shop: Any, database: Database
) -> None:
    shop([(7, "02:30", "02:45")])
    with database.read() as session:
        # 2026-10-25, 03:00 becomes 02:00 in Berlin (IANA time zone database)
        assert opening(session, date(2026, 10, 25)) == [(utc("2026-10-25T00:30"), utc("2026-10-25T01:45"))]


def test_a_closure_goes_before_the_weekday(shop: Any, database: Database) -> None:
    closed = Closure(day=date(2026, 3, 3))
    short = Closure(day=date(2026, 3, 4), opens="10:00", closes="11:00")
    shop(closures=(closed, short))
    with database.read() as session:
        assert opening(session, date(2026, 3, 3)) == []
        assert opening(session, date(2026, 3, 4)) == [(utc("2026-03-04T09:00"), utc("2026-03-04T10:00"))]


@pytest.mark.parametrize(
    ("instant", "expected"),
    [
        ("2026-03-02T07:00", "2026-03-02T08:00"),
        ("2026-03-02T09:00", "2026-03-02T09:00"),  # open now
        ("2026-03-02T12:00", "2026-03-02T12:30"),  # over lunch
        ("2026-03-02T17:00", "2026-03-03T08:00"),
        ("2026-03-06T17:00", "2026-03-09T08:00"),  # over the week-end
        ("2026-03-27T17:00", "2026-03-30T07:00"),  # the clocks went forward between
    ],
)
def test_the_next_opening(shop: Any, database: Database, instant: str, expected: str) -> None:
    shop()
    with database.read() as session:
        assert next_opening(session, utc(instant)) == utc(expected)


def test_the_next_day_is_a_day_on_which_the_shop_opens(shop: Any, database: Database) -> None:
    shop(closures=(Closure(day=date(2026, 3, 9)),))
    with database.read() as session:
        assert next_opening(session, utc("2026-03-06T10:00"), after_days=1) == utc("2026-03-10T08:00")
        assert last_opening(session, utc("2026-03-10T07:00")) == utc("2026-03-06T08:00")


def test_a_shop_that_never_opens_has_no_next_opening(shop: Any, database: Database) -> None:
    shop([])
    with database.read() as session:
        assert next_opening(session, utc("2026-03-02T09:00")) is None


def test_the_day_is_that_of_the_shops_zone(shop: Any, database: Database) -> None:
    shop(zone="Pacific/Auckland")
    with database.read() as session:
        # UTC+13 in March (IANA time zone database)
        assert local_day(session, utc("2026-03-02T12:00")) == date(2026, 3, 3)
