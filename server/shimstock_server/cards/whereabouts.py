"""Where an instrument is in the shop, before it is put into words for its owner."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from shimstock_server.bench import InstrumentUnknown
from shimstock_server.catalogue import InstrumentIncomplete
from shimstock_server.database.tables.booking import Booking, Service
from shimstock_server.database.tables.jobs import Job, JobMove, Quote
from shimstock_server.database.tables.owners import Instrument
from shimstock_server.database.tables.seasons import Reminder
from shimstock_server.database.words import JobState, ReminderKind, WaitingFor
from shimstock_server.jobs import NO_PROMISE
from shimstock_server.shop import local_day, settings, wall_hours

from .content import CardContent
from .gathering import card_of

STOPS: tuple[tuple[str, frozenset[JobState]], ...] = (
    ("booked", frozenset({JobState.BOOKED})),
    ("received", frozenset({JobState.RECEIVED, JobState.QUEUED})),
    ("bench", frozenset({JobState.ON_BENCH, JobState.SETTLING})),
    ("check", frozenset({JobState.FINAL_CHECK})),
    ("ready", frozenset({JobState.READY})),
    ("collected", frozenset({JobState.COLLECTED})),
)
"""The way through the shop as its owner sees it."""

WITH_CARD = frozenset({JobState.READY, JobState.COLLECTED, JobState.RETURNED_UNREPAIRED})
"""When the card is done."""
DONE_FOR = frozenset({JobState.CANCELLED, JobState.RETURNED_UNREPAIRED})
OPENINGS = 3
"""How many opening days are told, and how many days are looked through for them."""
FARTHEST_OPENING = 21
OWNERS_REMINDERS = (ReminderKind.SEASONAL, ReminderKind.STRINGS)


@dataclass(frozen=True)
class Stop:
    """One stop on the way through the shop."""

    name: str
    on: date | None
    """The day on which it got there, last."""
    now: bool


@dataclass(frozen=True)
class Asked:
    """Work that was quoted and waits for the owner's answer."""

    work: str
    amount: float
    currency: str


@dataclass(frozen=True)
class OpenDay:
    """A day on which the shop is open, with the hours that are still to come, by its clocks."""

    day: date
    hours: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Whereabouts:
    """Everything that the owner's page tells."""

    shop: str
    place: str | None
    number: int
    instrument: str | None
    nickname: str | None
    state: JobState
    waiting_for: str | None
    stops: tuple[Stop, ...]
    services: tuple[str, ...]
    today: date
    promised_on: date | None
    drop_off: datetime | None
    """By the shop's clocks; only while it is expected."""
    look_again_at: datetime | None
    """By the shop's clocks; only while the neck settles."""
    asked: tuple[Asked, ...]
    recheck: str | None
    """The kind of reminder that is due."""
    card: CardContent | None
    ends_on: date
    next_visit: datetime | None = None
    """When the same instrument is expected again, by the shop's clocks; only while it is with its owner."""
    contact: str | None = None
    """How to reach the shop, in its own words."""
    openings: tuple[OpenDay, ...] = ()
    """When the shop is open next."""

    @property
    def is_late(self) -> bool:
        """Whether the promised day has passed and it is not ready, and not for want of the owner's answer."""
        here = self.state not in WITH_CARD | DONE_FOR | {JobState.BOOKED}
        under_way = here and not self.waits_for_owner
        return under_way and self.promised_on is not None and self.promised_on < self.today

    @property
    def was_expected(self) -> bool:
        """Whether the day has passed on which it should have come."""
        return self.drop_off is not None and self.drop_off.date() < self.today

    @property
    def waits_for_owner(self) -> bool:
        """Whether the owner is to answer something first."""
        return self.waiting_for in (WaitingFor.OWNER, WaitingFor.CONSENT)


def whereabouts(session: Session, job: Job, *, ends_at: datetime, now: datetime) -> Whereabouts:
    """Gather what the owner of an instrument sees of a job."""
    shop = settings(session)
    zone = ZoneInfo(shop.zone)
    booking = session.scalars(select(Booking).where(Booking.job_id == job.id)).one_or_none()
    instrument = None if job.instrument_id is None else session.get(Instrument, job.instrument_id)
    expected = booking if job.state is JobState.BOOKED else None
    resting = job.available_at if job.state is JobState.SETTLING else None
    return Whereabouts(
        shop=shop.name,
        place=shop.place,
        number=job.number,
        instrument=_name(instrument, booking),
        nickname=None if instrument is None else instrument.nickname,
        state=job.state,
        waiting_for=None if job.waiting_for is None else job.waiting_for.value,
        stops=_stops(session, job, zone),
        services=_services(session, job, booking),
        today=local_day(session, now),
        promised_on=None if job.promised_on == NO_PROMISE else job.promised_on,
        drop_off=None if expected is None else expected.at.astimezone(ZoneInfo(expected.zone)),
        look_again_at=None if resting is None else resting.astimezone(zone),
        asked=_asked(session, job),
        recheck=_recheck(session, job, now),
        card=_card(session, job),
        ends_on=ends_at.astimezone(zone).date(),
        next_visit=_next_visit(session, job),
        contact=shop.contact,
        openings=_openings(session, now.astimezone(zone)),
    )


def _name(instrument: Instrument | None, booking: Booking | None) -> str | None:
    if instrument is not None:
        return f"{instrument.model.maker} {instrument.model.name}"
    told = booking.instrument if booking is not None else {}
    named = " ".join(told[part] for part in ("maker", "model") if told.get(part))
    return named or None


def _services(session: Session, job: Job, booking: Booking | None) -> tuple[str, ...]:
    if booking is not None:
        return (session.get_one(Service, booking.service_id).name,)
    return tuple(str(name) for name in job.services)


def _stops(session: Session, job: Job, zone: ZoneInfo) -> tuple[Stop, ...]:
    moves = list(
        session.execute(
            select(JobMove.to_state, JobMove.created_at)
            .where(JobMove.job_id == job.id)
            .order_by(JobMove.sequence)
        )
    )
    here = _reached(job, [state for state, _ in moves])
    found = []
    for n, (name, states) in enumerate(STOPS):
        days = [at.astimezone(zone).date() for state, at in moves if state in states]
        if name == "booked" and not days:
            continue
        found.append(Stop(name, days[-1] if days and n <= here else None, n == here))
    return tuple(found)


def _reached(job: Job, states: list[JobState]) -> int:
    """Which stop it is at; a job that waits is where it was before."""
    for state in [job.state, *reversed(states)]:
        for n, (_, here) in enumerate(STOPS):
            if state in here:
                return n
    return 0


def _asked(session: Session, job: Job) -> tuple[Asked, ...]:
    if job.state in DONE_FOR | {JobState.COLLECTED}:
        return ()
    quotes = session.scalars(
        select(Quote)
        .where(Quote.job_id == job.id, Quote.answered_at.is_(None))
        .order_by(Quote.created_at, Quote.id)
    )
    return tuple(Asked(quote.work, quote.amount, quote.currency) for quote in quotes)


def _recheck(session: Session, job: Job, now: datetime) -> str | None:
    """The reminder of this instrument that is due, once it is back with its owner."""
    if job.instrument_id is None or job.state is not JobState.COLLECTED:
        return None
    due = session.scalars(
        select(Reminder.kind)
        .where(Reminder.instrument_id == job.instrument_id, Reminder.closed_at.is_(None))
        .where(Reminder.kind.in_(OWNERS_REMINDERS))
        .where(func.coalesce(Reminder.snoozed_until, Reminder.due_at) <= now)
        .order_by(Reminder.kind)
    ).first()
    return None if due is None else due.value


def _next_visit(session: Session, job: Job) -> datetime | None:
    """When its owner brings this instrument again; another owner, who has it since, is not told of here."""
    if job.instrument_id is None or job.state is not JobState.COLLECTED:
        return None
    booked = session.execute(
        select(Booking.at, Booking.zone)
        .join(Job, Job.id == Booking.job_id)
        .where(Job.instrument_id == job.instrument_id, Job.state == JobState.BOOKED, Job.id != job.id)
        .where(Job.owner_id.is_not_distinct_from(job.owner_id))
        .order_by(Booking.at)
    ).first()
    return None if booked is None else booked.at.astimezone(ZoneInfo(booked.zone))


def _openings(session: Session, now: datetime) -> tuple[OpenDay, ...]:
    """The next days on which the shop is open, today only while it is."""
    found = []
    for ahead in range(FARTHEST_OPENING):
        day = now.date() + timedelta(days=ahead)
        hours = tuple(
            (opens, closes) for opens, closes in wall_hours(session, day) if ahead or closes > f"{now:%H:%M}"
        )
        if hours:
            found.append(OpenDay(day, hours))
        if len(found) == OPENINGS:
            break
    return tuple(found)


def _card(session: Session, job: Job) -> CardContent | None:
    """The card, once it is done and there is something to say on it."""
    if job.state not in WITH_CARD:
        return None
    try:
        content = card_of(session, job)
    except (InstrumentUnknown, InstrumentIncomplete):
        return None
    return content if any(line.before.is_read or line.after.is_read for line in content.lines) else None
