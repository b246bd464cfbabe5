"""The worker's part: what is marked is worked out anew, everything every night, in bounded memory."""

from __future__ import annotations

import time
from collections.abc import Iterator
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
from .baseline import store_watches, watches_of_all
from .learning import keep_lessons, lessons
from .marks import clear_marks, mark, mark_all, standing_marks
from .reminding import bring_up_to_date, tell_what_is_due
from .wanted import Wishing

AT_ONCE = 500
"""Instruments in one transaction."""
MADE_AT_ONCE = 200
"""Instruments whose watched quantities are made in one transaction."""
LONGEST_ROUND = 4.0
"""Seconds after which the worker turns to its other tasks; what is still marked waits for the next round."""
NIGHT = "night:"
LEARNING = "learning"
MAKE, REMIND = "instrument:", "remind:"
"""Marks of single instruments: watch it anew, or only bring its reminders up to date."""
BROAD = ("all", "kind:", "model:", "room:")
"""Marks that stand for many instruments."""
NIGHTLY_FROM = 2
"""Local hour from which on the nightly pass may begin."""
_LOCK = 0x5EA50


def work_off_marks(database: Database, config: Config, clock: Clock) -> int:
    """Work out what changed since the last round; return how many instruments were looked at.

    What changed last is taken first, so that a reading at the bench does not wait behind a change of the
    whole shop's spec.
    """
    info = _info(config, clock)
    with database.read(info) as session:
        if not standing_marks(session, MAKE, REMIND, *BROAD, limit=1) or not _is_set_up(session):
            return 0
    _spread(database, info)
    with database.read(info) as session:
        wishing = Wishing(session, now=info["now"])
    done, until = 0, time.monotonic() + LONGEST_ROUND
    while worked := _work_off_some(database, info, wishing):
        done += worked
        if time.monotonic() >= until:
            break
    return done


def _spread(database: Database, info: dict[str, Any]) -> None:
    """Turn marks of many instruments into marks of each, and look at the rooms among them."""
    with database.read(info) as session:
        seen = standing_marks(session, *BROAD)
    if not seen:
        return
    for room in _named(seen).get("room", []):
        _look_at_room(database, info, UUID(room))
    for wanted, what in ((_affected(seen), MAKE), (_living_in(seen), REMIND)):
        for ids in _chunks(database, wanted, AT_ONCE):
            with database.write(info) as session:
                mark_all(session, [f"{what}{each}" for each in ids])
    with database.write(info) as session:
        clear_marks(session, seen)


def _affected(seen: dict[str, int]) -> Any:
    """Return the statement for the instruments whose watched quantities are to be made anew."""
    if "all" in seen:
        return select(Instrument.id)
    named = _named(seen)
    of_kind = select(InstrumentModel.id).where(InstrumentModel.kind.in_(named.get("kind", [])))
    models = [UUID(each) for each in named.get("model", [])]
    return select(Instrument.id).where(Instrument.model_id.in_(models) | Instrument.model_id.in_(of_kind))


def _living_in(seen: dict[str, int]) -> Any:
    """Return the statement for the instruments in rooms whose air changed."""
    rooms = [UUID(each) for each in _named(seen).get("room", [])]
    living = select(Keeping.instrument_id).where(Keeping.room_id.in_(rooms))
    return select(Instrument.id).where(Instrument.id.in_(living))


def _named(seen: dict[str, int]) -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    for what in seen:
        kind, _, rest = what.partition(":")
        found.setdefault(kind, []).append(rest)
    return found


def _work_off_some(database: Database, info: dict[str, Any], wishing: Wishing) -> int:
    """Work off some marks of single instruments; return of how many, 0 when another worker is at it.

    Watched quantities are made before the write begins: whoever changes something meanwhile marks it anew.
    """
    with database.read(info) as session:
        seen = standing_marks(session, MAKE, REMIND, limit=MADE_AT_ONCE)
        ids = {UUID(what.partition(":")[2]) for what in seen}
        make = [UUID(what.removeprefix(MAKE)) for what in seen if what.startswith(MAKE)]
        found = watches_of_all(
            session, list(session.scalars(select(Instrument).where(Instrument.id.in_(make))))
        )
    if not seen:
        return 0
    with database.write(info) as session:
        if not _alone(session):
            return 0
        store_watches(session, found)
        listed = sorted(ids)
        bring_up_to_date(session, listed, wishing.of(session, listed), now=info["now"])
        clear_marks(session, seen)
    return len(ids)


def learn_anew(database: Database, config: Config, clock: Clock) -> int:
    """Learn once readings have come that can teach, and let every forecast hear of it."""
    info = _info(config, clock)
    with database.read(info) as session:
        seen = standing_marks(session, LEARNING)
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
