"""A room's log from what the room is like month by month: seeds hold no dates, so a demo's log ends today."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from shimstock_server.seasons import RoomReadingSent, room_line_id
from shimstock_server.web.fields import ListOf, Number, StrictSchema, Text, Whole

MOST_DAYS = 1100
Air = tuple[float, float]
"""Temperature and humidity [degC, % RH]."""


class RoomLogIn(StrictSchema):
    """What a room is like: twelve months of air, and how it strays from day to day."""

    room = Text(max=200, required=True)
    hygrometer = Text(max=200, load_default=None, allow_none=True)
    days = Whole(1, MOST_DAYS, required=True)
    times = ListOf(Text(max=5), min=1, max=24, required=True)
    months = ListOf(ListOf(Number(-20, 100), min=2, max=2), min=12, max=12, required=True)
    wobble = ListOf(ListOf(Number(-10, 10), min=2, max=2), min=1, max=60, load_default=lambda: [[0.0, 0.0]])


@dataclass(frozen=True)
class RoomLogWish:
    """A log to write: in which room, by which hygrometer, until when, in which zone."""

    room_id: UUID
    hygrometer_id: UUID | None
    until: datetime
    zone: ZoneInfo


def readings_of(body: dict[str, Any], wish: RoomLogWish) -> list[RoomReadingSent]:
    """Return the readings of the last days, the oldest first."""
    sent = []
    for number, taken_at in enumerate(_times(body["times"], body["days"], wish)):
        strays = body["wobble"][number % len(body["wobble"])]
        warm, damp = air_on(taken_at.astimezone(wish.zone).date(), body["months"])
        warm, damp = round(warm + strays[0], 1), round(damp + strays[1])
        sent.append(
            RoomReadingSent(
                at="",
                id=room_line_id(wish.room_id, str(wish.hygrometer_id or ""), taken_at),
                taken_at=taken_at,
                temperature=warm,
                shown=float(damp),
                typed={
                    "temperature": {"value": warm, "unit": "degC"},
                    "relative_humidity": {"value": damp, "unit": "percent"},
                },
            )
        )
    return sent


def _times(walls: Sequence[str], days: int, wish: RoomLogWish) -> Iterator[datetime]:
    today = wish.until.astimezone(wish.zone).date()
    for back in range(days, -1, -1):
        for wall in sorted(walls):
            at = datetime.combine(today - timedelta(days=back), time.fromisoformat(wall), tzinfo=wish.zone)
            if at <= wish.until:
                yield at.astimezone(UTC)


def air_on(day: date, months: Sequence[Sequence[float]]) -> Air:
    """Return the air of a day, between the middles of two months."""
    along = day.month - 1 + (day.day - 15) / 30.5
    before = int(along // 1)
    share = along - before
    earlier, later = months[before % 12], months[(before + 1) % 12]
    warm, damp = (a + (b - a) * share for a, b in zip(earlier, later, strict=True))
    return warm, damp
