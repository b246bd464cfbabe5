"""Which reminders an instrument should have now, and on what each stands."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

import numpy as np
from sqlalchemy import select
from sqlalchemy.orm import Session

from shimstock_server.database.tables.bench import Adjustment, stands
from shimstock_server.database.tables.jobs import Job
from shimstock_server.database.tables.owners import Instrument, Owner
from shimstock_server.database.tables.seasons import Keeping, Reminder
from shimstock_server.database.words import OVER, JobState, Part, ReminderKind
from shimstock_server.jobs import looks
from shimstock_server.shop import settings

from .baseline import Watch, stored_watches
from .drift import Beliefs, laid
from .forecast import Thresholds, deciding, reason_of, rechecks_of
from .places import AirBook

DISTURBING = tuple(part for part in Part if part.term.slow)
SETTLES = (ReminderKind.SETTLE_HOUR, ReminderKind.SETTLE_DAY)
OUTSTANDING = frozenset({"settling", "due", "on-bench"})
"""What has become of a look that is still asked for."""

Key = tuple[UUID, ReminderKind]


@dataclass(frozen=True)
class Wanted:
    """A reminder that an instrument should have."""

    basis: str
    due_at: datetime
    all_day: bool
    job_id: UUID | None
    reason: dict[str, Any]


@dataclass
class Wishes:
    """Every reminder that some instruments should have, and what became of what others stood on.

    Attributes
    ----------
    wanted : dict
        By instrument and kind.
    looked : dict
        Of settling necks: basis to True when it was read, False when it was passed over.
    ends : dict
        Of instruments with a final reading: its basis and its sheet.
    """

    wanted: dict[Key, Wanted] = field(default_factory=dict)
    looked: dict[str, bool] = field(default_factory=dict)
    ends: dict[UUID, tuple[str, UUID]] = field(default_factory=dict)


@dataclass(frozen=True)
class ShopLimits:
    """What the shop has set: its zone, and how long strings last [days, hours]."""

    zone: ZoneInfo
    string_days: int
    string_hours: float

    @classmethod
    def of(cls, session: Session) -> ShopLimits:
        """Read the shop's settings."""
        shop = settings(session)
        return cls(ZoneInfo(shop.zone), shop.string_days, shop.string_hours)


class Wishing:
    """Works out the wishes of instruments, some hundred at a time."""

    def __init__(self, session: Session, *, now: datetime) -> None:
        self.session, self.now = session, now
        self.shop = ShopLimits.of(session)
        self.zone = self.shop.zone
        self.air = AirBook(session, now.astimezone(self.zone).date())
        self.beliefs = Beliefs.of(session)
        self.thresholds = Thresholds.of(session)

    def of(self, session: Session, instrument_ids: Sequence[UUID]) -> Wishes:
        """Return what these instruments should have."""
        self.session = session
        self.air.use(session)
        wishes = Wishes()
        wanted_not = set(self.session.scalars(_left_alone(instrument_ids)))
        self._seasonal(instrument_ids, wishes, wanted_not)
        self._strings(instrument_ids, wishes, wanted_not)
        self._settling(instrument_ids, wishes)
        return wishes

    def _seasonal(self, ids: Sequence[UUID], wishes: Wishes, wanted_not: set[UUID]) -> None:
        watches = stored_watches(self.session, ids)
        for watch in watches:
            wishes.ends[watch.instrument_id] = watch.basis, watch.sheet_id
        years = {key: self.air.year(key) for key in dict.fromkeys(watch.place for watch in watches)}
        watches = [
            watch
            for watch in watches
            if years[watch.place] is not None and watch.instrument_id not in wanted_not
        ]
        if not watches:
            return
        known = {key: year for key, year in years.items() if year is not None}
        places = {key: n for n, key in enumerate(known)}
        found = rechecks_of(
            np.stack([year.moisture for year in known.values()]),
            laid(watches, self.beliefs, places),
            self.thresholds,
        )
        for instrument_id, rows_of in _grouped(watches).items():
            row = deciding(found, rows_of)
            if found.day[row] < 0:
                continue
            watch = watches[row]
            reason = reason_of(watches, found, row, known[watch.place], self.beliefs)
            wishes.wanted[instrument_id, ReminderKind.SEASONAL] = Wanted(
                watch.basis, self._midnight(date.fromisoformat(reason["due_on"])), True, watch.job_id, reason
            )

    def _strings(self, ids: Sequence[UUID], wishes: Wishes, wanted_not: set[UUID]) -> None:
        rows = self.session.execute(
            select(Instrument.id, Instrument.strings_fitted_on, Keeping.hours_per_week)
            .outerjoin(Keeping, Keeping.instrument_id == Instrument.id)
            .where(Instrument.id.in_(ids), Instrument.strings_fitted_on.is_not(None))
        )
        for instrument_id, fitted_on, hours in rows:
            if instrument_id in wanted_not or fitted_on is None:
                continue
            days, by = strings_last(self.shop.string_days, self.shop.string_hours, hours)
            reason = {
                "fitted_on": fitted_on.isoformat(),
                "by": by,
                "hours_per_week": hours,
                "string_hours": self.shop.string_hours,
                "string_days": self.shop.string_days,
            }
            wishes.wanted[instrument_id, ReminderKind.STRINGS] = Wanted(
                f"strings:{fitted_on.isoformat()}",
                self._midnight(fitted_on + timedelta(days=days)),
                True,
                None,
                reason,
            )

    def _settling(self, ids: Sequence[UUID], wishes: Wishes) -> None:
        for job in self._jobs_at_rest(ids):
            for look in looks(self.session, job, now=self.now):
                kind = ReminderKind(look["look"].value)
                basis = f"rest:{job.id}:{look['sequence'] or 'next'}"
                if look["outcome"] not in OUTSTANDING:
                    wishes.looked[basis] = look["outcome"] in ("read", "early")
                    continue
                assert job.instrument_id is not None
                wishes.wanted[job.instrument_id, kind] = Wanted(
                    basis,
                    look["available_at"],
                    False,
                    job.id,
                    {
                        "number": job.number,
                        "look": kind.value,
                        "readings_asked": list(look["readings_asked"]),
                    },
                )

    def _jobs_at_rest(self, ids: Sequence[UUID]) -> list[Job]:
        disturbed = select(Adjustment.job_id).where(Adjustment.part.in_(DISTURBING), stands(Adjustment))
        reminded = select(Reminder.job_id).where(
            Reminder.kind.in_(SETTLES), Reminder.closed_at.is_(None), Reminder.job_id.is_not(None)
        )
        return list(
            self.session.scalars(
                select(Job)
                .where(
                    Job.instrument_id.in_(ids),
                    (Job.state == JobState.SETTLING)
                    | (Job.state.not_in(OVER) & Job.id.in_(disturbed))
                    | Job.id.in_(reminded),
                )
                .order_by(Job.created_at, Job.id)
            )
        )

    def _midnight(self, day: date) -> datetime:
        return datetime.combine(day, time(), tzinfo=self.zone).astimezone(UTC)


def _left_alone(ids: Sequence[UUID]) -> Any:
    """Return the statement for instruments whose owners want no reminders, or are erased."""
    return (
        select(Instrument.id)
        .join(Owner, Owner.id == Instrument.owner_id)
        .outerjoin(Keeping, Keeping.instrument_id == Instrument.id)
        .where(Instrument.id.in_(ids), Keeping.reminders.is_(False) | Owner.erased_at.is_not(None))
    )


def strings_last(days: int, hours: float, hours_per_week: float | None) -> tuple[int, str]:
    """Return after how many days strings are due, and whether by `hours` or by `days`.

    Examples
    --------
    >>> strings_last(90, 100.0, 14.0), strings_last(90, 100.0, None)
    ((50, 'hours'), (90, 'days'))
    """
    if not hours_per_week:
        return days, "days"
    played = int(hours / hours_per_week * 7.0)
    return (played, "hours") if played < days else (days, "days")


def _grouped(watches: Iterable[Watch]) -> Mapping[UUID, list[int]]:
    found: dict[UUID, list[int]] = {}
    for n, watch in enumerate(watches):
        found.setdefault(watch.instrument_id, []).append(n)
    return found
