"""A room's log: single readings, batches, files; each once, none dropped without a word."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from typing import Any
from uuid import NAMESPACE_URL, UUID, uuid5
from zoneinfo import ZoneInfo

from sqlalchemy import insert, select
from sqlalchemy.orm import Session

from shimstock_server.database.history import emit
from shimstock_server.database.tables.bench import MOST_AHEAD
from shimstock_server.database.tables.seasons import Hygrometer, Room, RoomReading
from shimstock_server.shop import settings
from shimstock_server.web.context import Actor
from shimstock_server.web.idempotency import content_hash
from shimstock_server.web.problems import ClockAhead, IdTaken, InvalidFields

from .hygrometers import Corrections
from .marks import mark
from .problems import TwoReadingsAtOnce

CLOCK_TOLERANCE = timedelta(minutes=5)
CLOCK_RESET = datetime(2000, 1, 1, tzinfo=UTC)
"""Before it a logger's clock has lost its battery."""
USUAL_TEMPERATURE = (5.0, 40.0)
USUAL_HUMIDITY = (5.0, 98.0)
LONG_GAP = 3.0
"""A pause this many times the usual one, and two hours at least, is told as a gap."""
AT_ONCE = 500


@dataclass(frozen=True)
class Sent:
    """A reading as it came in, in kept units, with where it stands in what was sent."""

    at: str
    id: UUID
    taken_at: datetime
    temperature: float
    shown: float
    typed: dict[str, Any]
    confirmed: bool = False
    confirm_clock: bool = False
    note: str | None = None
    named: bool = True
    """Whether the id came with it, or was made of room, hygrometer and time."""
    columns: tuple[str, str] = ("temperature", "relative_humidity")
    """What its two values are called where it stands."""

    def fingerprint(self, room_id: UUID, hygrometer_id: UUID | None) -> str:
        """Return what two readings share that say the same."""
        said = [str(room_id), str(hygrometer_id or ""), self.taken_at.isoformat()]
        return content_hash([*said, self.temperature, self.shown, self.note])


@dataclass
class Outcome:
    """What became of everything that was sent."""

    stored: list[UUID] = field(default_factory=list)
    known: list[dict[str, Any]] = field(default_factory=list)
    """Under this id already, or said by the same hygrometer at the same instant: kept once."""
    reordered: int = 0
    gaps: list[dict[str, Any]] = field(default_factory=list)
    first: datetime | None = None
    last: datetime | None = None


def record(
    session: Session,
    room: Room,
    hygrometer: Hygrometer | None,
    readings: Sequence[Sent],
    *,
    actor: Actor,
    now: datetime,
) -> Outcome:
    """Keep readings of one room, all or nothing.

    A reading that is there already, under its own id or said by the same hygrometer at the same instant, is
    kept once and named in the outcome. Readings out of order are put in order and counted. Gaps are told.

    Raises
    ------
    InvalidFields
        With every value that no room has, and every clock that is wrong.
    ClockAhead
        When the only thing wrong is a time that lies ahead.
    IdTaken
        When an id stands for another reading.
    TwoReadingsAtOnce
        When the hygrometer said something else at the same instant.
    """
    _refuse_bad(readings, now)
    outcome = Outcome(reordered=sum(b.taken_at < a.taken_at for a, b in pairwise(readings)))
    device = str(hygrometer.id) if hygrometer is not None else ""
    fresh = _sift(session, room, hygrometer, readings, outcome)
    corrections = Corrections(session, hygrometer.id if hygrometer is not None else None)
    zone = ZoneInfo(settings(session).zone)
    rows = []
    for each in fresh:
        found = corrections.at(each.taken_at, each.shown)
        rows.append(
            {
                "id": each.id,
                "fingerprint": each.fingerprint(room.id, hygrometer.id if hygrometer else None),
                "room_id": room.id,
                "hygrometer_id": hygrometer.id if hygrometer is not None else None,
                "device": device,
                "taken_at": each.taken_at,
                "day": each.taken_at.astimezone(zone).date(),
                "received_at": now,
                "temperature": each.temperature,
                "shown": each.shown,
                "relative_humidity": found.relative_humidity,
                "uncertainty": found.uncertainty,
                "check_id": found.check_id,
                "typed": each.typed,
                "confirmed": each.confirmed,
                "clock_confirmed": each.confirm_clock and each.taken_at > now + CLOCK_TOLERANCE,
                "key_id": actor.key_id,
                "technician_id": actor.technician_id,
                "note": each.note,
            }
        )
    for start in range(0, len(rows), AT_ONCE):
        session.execute(insert(RoomReading), rows[start : start + AT_ONCE])
    outcome.stored = [each.id for each in fresh]
    times = sorted(each.taken_at for each in readings)
    outcome.first, outcome.last = times[0], times[-1]
    outcome.gaps = gaps(times)
    if rows:
        emit(session, "room.readings", room, count=len(rows), last=outcome.last)
        mark(session, f"room:{room.id}")
    return outcome


def _refuse_bad(readings: Sequence[Sent], now: datetime) -> None:
    errors: dict[str, str] = {}
    ahead: dict[str, str] = {}
    for each in readings:
        if each.taken_at > now + MOST_AHEAD:
            ahead[f"{each.at}/taken_at"] = (
                f"lies {_so_long(each.taken_at - now)} ahead of the service's clock; more than 48 hours "
                "cannot be confirmed: set the logger's clock, and shift the times"
            )
        elif each.taken_at > now + CLOCK_TOLERANCE and not each.confirm_clock:
            ahead[f"{each.at}/taken_at"] = (
                f"lies {_so_long(each.taken_at - now)} ahead of the service's clock: set the logger's clock, "
                "shift the times, or confirm them with confirm_clock"
            )
        if each.taken_at < CLOCK_RESET:
            errors[f"{each.at}/taken_at"] = (
                f"lies in {each.taken_at.year}: the logger's clock was reset; shift the times"
            )
        errors |= _value_errors(each)
    if errors:
        raise _refusal(errors | ahead, InvalidFields)
    if ahead:
        raise _refusal(ahead, ClockAhead)


def _so_long(time: timedelta) -> str:
    """Write a time in the unit that people use for it.

    >>> _so_long(timedelta(minutes=61)), _so_long(timedelta(hours=50)), _so_long(timedelta(days=459))
    ('61 minutes', '50 hours', '459 days')
    """
    minutes = round(time.total_seconds() / 60)
    if minutes < 180:
        return f"{minutes} minutes"
    return f"{round(minutes / 60)} hours" if minutes < 5 * 1440 else f"{round(minutes / 1440)} days"


def _refusal(errors: Mapping[str, str], kind: type[InvalidFields] | type[ClockAhead]) -> Exception:
    listed = [{"pointer": at, "message": message} for at, message in list(errors.items())[:100]]
    detail = f"{len(errors)} values cannot be taken; nothing was stored." if len(errors) > 1 else None
    return kind(detail, errors=listed)


def _value_errors(each: Sent) -> dict[str, str]:
    errors: dict[str, str] = {}
    warmth_at, damp_at = (f"{each.at}/{column}" for column in each.columns)
    low, high = (-40.0, 70.0) if each.confirmed else USUAL_TEMPERATURE
    if not low <= each.temperature <= high:
        typed = each.typed.get("temperature", {})
        number = typed.get("value", each.temperature)
        hint = "; confirm it when it is right"
        if typed.get("unit") == "degC" and 41.0 <= number <= 104.0:
            hint = f": was {number:g} meant in degF?"
        if typed.get("unit") == "degF" and 5.0 <= number <= 40.0:
            hint = f": was {number:g} meant in degC?"
        errors[warmth_at] = f"a room has {low:g} to {high:g} degC; {each.temperature:.6g} was given{hint}"
    if not 0.0 <= each.shown <= 100.0:
        errors[damp_at] = f"is a percentage, 0 to 100; {each.shown:g} was given"
    elif not each.confirmed and not USUAL_HUMIDITY[0] <= each.shown <= USUAL_HUMIDITY[1]:
        hint = (
            ": was a share of 1 meant in percent?"
            if 0.0 < each.shown <= 1.0
            else "; confirm it when it is right"
        )
        errors[damp_at] = f"a room has 5 to 98 percent; {each.shown:g} was given{hint}"
    return errors


def _sift(
    session: Session,
    room: Room,
    hygrometer: Hygrometer | None,
    readings: Sequence[Sent],
    outcome: Outcome,
) -> list[Sent]:
    """Return the readings that are new, in order; the others are noted or refused."""
    hygrometer_id = hygrometer.id if hygrometer is not None else None
    by_id, by_time = _known(session, room.id, str(hygrometer_id or ""), readings)
    fresh: list[Sent] = []
    for each in sorted(readings, key=lambda one: one.taken_at):
        print_ = each.fingerprint(room.id, hygrometer_id)
        same, beside = by_id.get(each.id), by_time.get(each.taken_at)
        if same is not None and same[0] != print_ and (each.named or beside is None):
            raise IdTaken(errors=[{"pointer": f"{each.at}/id", "message": "stands for another reading"}])
        known = (same or beside) if each.named else (beside or same)
        if known is None:
            fresh.append(each)
            by_id[each.id] = by_time[each.taken_at] = (print_, each.id, each.temperature, each.shown)
            continue
        if known[2:] != (each.temperature, each.shown):
            raise TwoReadingsAtOnce(
                errors=[
                    {
                        "pointer": f"{each.at}/taken_at",
                        "message": f"at {each.taken_at.isoformat()} this hygrometer showed {known[3]:g} % at "
                        f"{known[2]:.1f} degC before; now {each.shown:g} % at {each.temperature:.1f} degC",
                    }
                ]
            )
        outcome.known.append({"at": each.at, "id": each.id, "kept_as": known[1]})
    return fresh


Known = tuple[str, UUID, float, float]
"""Fingerprint, id, temperature and humidity shown of a reading that is there."""


def _known(
    session: Session, room_id: UUID, device: str, readings: Sequence[Sent]
) -> tuple[dict[UUID, Known], dict[datetime, Known]]:
    columns = (
        RoomReading.fingerprint, RoomReading.id, RoomReading.temperature, RoomReading.shown,
        RoomReading.taken_at,
    )  # fmt: skip
    by_id: dict[UUID, Known] = {}
    by_time: dict[datetime, Known] = {}
    for start in range(0, len(readings), AT_ONCE):
        part = readings[start : start + AT_ONCE]
        for row in session.execute(select(*columns).where(RoomReading.id.in_([one.id for one in part]))):
            by_id[row[1]] = row[0], row[1], row[2], row[3]
        beside = (
            RoomReading.room_id == room_id,
            RoomReading.device == device,
            RoomReading.taken_at.in_([one.taken_at for one in part]),
        )
        for row in session.execute(select(*columns).where(*beside)):
            by_time[row[4]] = row[0], row[1], row[2], row[3]
    return by_id, by_time


def gaps(times: Sequence[datetime]) -> list[dict[str, Any]]:
    """Return the pauses in a rising list of times that are much longer than usual.

    Examples
    --------
    >>> noon = datetime(2026, 3, 2, 12, tzinfo=UTC)
    >>> [gap["hours"] for gap in gaps([noon + timedelta(hours=n) for n in (0, 1, 2, 9, 10)])]
    [7.0]
    """
    pauses = [(b - a).total_seconds() / 3600.0 for a, b in pairwise(times)]
    pauses_ordered = sorted(pause for pause in pauses if pause > 0)
    if len(pauses_ordered) < 3:
        return []
    usual = pauses_ordered[len(pauses_ordered) // 2]
    longest = max(LONG_GAP * usual, 2.0)
    return [
        {"begins": a, "ends": b, "hours": round(pause, 3)}
        for a, b, pause in zip(times, times[1:], pauses, strict=False)
        if pause > longest
    ][:AT_ONCE]


def line_id(room_id: UUID, device: str, taken_at: datetime) -> UUID:
    """Return the id of a line of a file: the same file sent again says the same."""
    return uuid5(NAMESPACE_URL, f"room-reading:{room_id}:{device}:{taken_at.isoformat()}")


def reading_told(row: RoomReading) -> dict[str, Any]:
    """Return a reading of a room as it is answered."""
    names = (
        "id", "room_id", "hygrometer_id", "taken_at", "received_at", "day", "temperature", "shown",
        "relative_humidity", "uncertainty", "check_id", "confirmed", "clock_confirmed", "note",
    )  # fmt: skip
    return {name: getattr(row, name) for name in names} | {"typed": row.typed}
