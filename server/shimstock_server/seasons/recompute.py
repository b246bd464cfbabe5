"""The worker's part: what is marked is worked out anew, everything every night, in bounded memory."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlalchemy import delete, select, text
from sqlalchemy.orm import Session

from shimstock_server.clock import Clock
from shimstock_server.config import Config
from shimstock_server.database.session import Database
from shimstock_server.database.tables.catalogue import InstrumentModel
from shimstock_server.database.tables.owners import Instrument
from shimstock_server.database.tables.seasons import Keeping, Room, SeasonMark
from shimstock_server.shop import ShopNotSetUp, settings

from .alerts import update_alerts
from .baseline import store_watches, watches_of
from .learning import keep_lessons, lessons
from .marks import clear_marks, mark, standing_marks
from .reminding import bring_up_to_date, tell_what_is_due
from .wanted import Wishing

AT_ONCE = 500
"""Instruments in one transaction."""
MADE_AT_ONCE = 50
"""Instruments whose watched quantities are made in one reading session."""
NIGHT = "night:"
LEARNING = "learning"
NIGHTLY_FROM = 2
"""Local hour from which on the nightly pass may begin."""
_LOCK = 0x5EA50


@dataclass(frozen=True)
class _Work:
    """What the marks ask for."""

    make: Any | None
    """Instruments whose watched quantities are made anew."""
    remind: Any | None
    """Instruments whose reminders are brought up to date."""
    rooms: tuple[UUID, ...]


def work_off_marks(database: Database, config: Config, clock: Clock) -> int:
    """Work out what changed since the last round; return how many instruments were looked at."""
    info = _info(config, clock)
    with database.read(info) as session:
        seen = {what: turn for what, turn in standing_marks(session).items() if _is_for_now(what)}
        if not seen or not _is_set_up(session):
            return 0
        work = _asked(seen)
    if work.make is not None:
        for ids in _chunks(database, work.make, MADE_AT_ONCE):
            _make(database, info, ids)
    for room_id in work.rooms:
        _look_at_room(database, info, room_id)
    done, alone = (0, True) if work.remind is None else _remind(database, info, work.remind)
    if alone:
        with database.write(info) as session:
            clear_marks(session, seen)
    return done


def learn_anew(database: Database, config: Config, clock: Clock) -> int:
    """Learn once readings have come that can teach, and let every forecast hear of it."""
    info = _info(config, clock)
    with database.read(info) as session:
        seen = {what: turn for what, turn in standing_marks(session).items() if what == LEARNING}
        if not seen or not _is_set_up(session):
            return 0
    done, alone = _learn_and_remind(database, info)
    if alone:
        with database.write(info) as session:
            clear_marks(session, seen)
    return done


def every_night(database: Database, config: Config, clock: Clock) -> int:
    """Once a night: look at every room, learn, and bring every reminder up to date."""
    info = _info(config, clock)
    now: datetime = info["now"]
    with database.read(info) as session:
        if not _is_set_up(session):
            return 0
        local = now.astimezone(ZoneInfo(settings(session).zone))
        tonight = f"{NIGHT}{local.date().isoformat()}"
        if local.hour < NIGHTLY_FROM or session.get(SeasonMark, tonight) is not None:
            return 0
        rooms = list(session.scalars(select(Room.id)))
    with database.write(info) as session:
        if not _alone(session) or session.get(SeasonMark, tonight) is not None:
            return 0
        session.execute(delete(SeasonMark).where(SeasonMark.what.like(f"{NIGHT}%")))
        session.add(SeasonMark(what=tonight, marked_at=now, turn=1))
        mark(session, LEARNING)  # taken back once the night's work is done
    for room_id in rooms:
        _look_at_room(database, info, room_id)
    return work_off_marks(database, config, clock) + learn_anew(database, config, clock)


def _is_for_now(what: str) -> bool:
    return what != LEARNING and not what.startswith(NIGHT)


def _look_at_room(database: Database, info: dict[str, Any], room_id: UUID) -> None:
    with database.write(info) as session:
        room = session.get(Room, room_id)
        if room is not None:
            update_alerts(session, room, now=info["now"])


def _learn_and_remind(database: Database, info: dict[str, Any]) -> tuple[int, bool]:
    with database.read(info) as session:
        rows = lessons(session, now=info["now"])
    with database.write(info) as session:
        if not _alone(session):
            return 0, False
        keep_lessons(session, rows)
    return _remind(database, info, select(Instrument.id))


def tell_due(database: Database, config: Config, clock: Clock) -> int:
    """Tell of the reminders that have come due."""
    info = _info(config, clock)
    done = 0
    while True:
        with database.write(info) as session:
            if not _alone(session):
                return done
            found = tell_what_is_due(session, now=info["now"])
        done += found
        if found < AT_ONCE:
            return done


def _info(config: Config, clock: Clock) -> dict[str, Any]:
    return {"now": clock.now(), "secret": config.secret}


def _is_set_up(session: Session) -> bool:
    try:
        settings(session)
    except ShopNotSetUp:
        return False
    return True


def _alone(session: Session) -> bool:
    """Whether no other worker is at it; SQLite has one writer anyway."""
    if session.get_bind().dialect.name == "sqlite":
        return True
    locked = session.execute(text("SELECT pg_try_advisory_xact_lock(:key)"), {"key": _LOCK}).scalar()
    return bool(locked)


def _asked(seen: dict[str, int]) -> _Work:
    parts = [what.partition(":")[::2] for what in seen]
    rooms = tuple(UUID(rest) for kind, rest in parts if kind == "room")
    if "all" in seen:
        everything = select(Instrument.id)
        return _Work(everything, everything, rooms)
    make = _instruments(parts)
    living = select(Keeping.instrument_id).where(Keeping.room_id.in_(rooms))
    remind = make
    if rooms:
        inside = select(Instrument.id).where(Instrument.id.in_(living))
        remind = (
            inside
            if make is None
            else select(Instrument.id).where(Instrument.id.in_(living) | Instrument.id.in_(make))
        )
    return _Work(make, remind, rooms)


def _instruments(parts: Sequence[tuple[str, ...]]) -> Any | None:
    named = {kind: [rest for each, rest in parts if each == kind] for kind in ("instrument", "model", "kind")}
    if not any(named.values()):
        return None
    of_kind = select(InstrumentModel.id).where(InstrumentModel.kind.in_(named["kind"]))
    return select(Instrument.id).where(
        Instrument.id.in_([UUID(one) for one in named["instrument"]])
        | Instrument.model_id.in_([UUID(one) for one in named["model"]])
        | Instrument.model_id.in_(of_kind)
    )


def _chunks(database: Database, wanted: Any, size: int) -> Iterator[list[UUID]]:
    """Return the ids that a statement selects, some at a time, each once, rising."""
    last: UUID | None = None
    while True:
        statement = wanted.order_by(Instrument.id).limit(size)
        if last is not None:
            statement = statement.where(Instrument.id > last)
        with database.read() as session:
            ids = list(session.scalars(statement))
        if not ids:
            return
        yield ids
        last = ids[-1]


def _make(database: Database, info: dict[str, Any], ids: Sequence[UUID]) -> None:
    """Make the watched quantities of some instruments; the work is done before the write begins."""
    with database.read(info) as session:
        found = {
            instrument.id: watches_of(session, instrument)
            for instrument in session.scalars(select(Instrument).where(Instrument.id.in_(ids)))
        }
    with database.write(info) as session:
        for instrument_id, watches in found.items():
            store_watches(session, instrument_id, watches)


def _remind(database: Database, info: dict[str, Any], wanted: Any) -> tuple[int, bool]:
    """Bring reminders up to date; return of how many instruments, and whether all were reached."""
    done = 0
    with database.read(info) as session:
        wishing = Wishing(session, now=info["now"])
    for ids in _chunks(database, wanted, AT_ONCE):
        with database.write(info) as session:
            if not _alone(session):
                return done, False
            bring_up_to_date(session, ids, wishing.of(session, ids), now=info["now"])
        done += len(ids)
    return done, True
