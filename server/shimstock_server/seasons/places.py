"""Where an instrument lives, and the air there through the year: a room's own log, else the model."""

from __future__ import annotations

import json
from collections import OrderedDict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from functools import cached_property
from typing import Any
from uuid import UUID

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from shimstock_calc.air import RoomAir, RoomProfile, indoor_air
from shimstock_calc.climate import (
    ENOUGH_DAYS,
    equilibrium_year,
    month_of_day,
    outdoor_year,
    room_year_from_log,
)
from shimstock_calc.errors import CalculationError
from shimstock_calc.moisture import moisture_response, with_hysteresis
from shimstock_calc.wood import wood_moisture
from shimstock_server.database.tables.bench import MOST_AHEAD
from shimstock_server.database.tables.owners import Instrument
from shimstock_server.database.tables.seasons import Climate, Keeping, Room, RoomReading, SeasonSettings
from shimstock_server.database.words import RoomUse

from .climates import climates_by_name, name_told
from .profiles import FIELDS, profile_over, usual

LOG_YEARS = 3
"""Of a room's log that stand for its usual year."""
ENOUGH_LOGGED = 0.6
"""Share of the days before that a log must hold to tell a part's moisture."""
REMEMBERED = 512
"""Years of air that one pass holds at a time: 512 × 365 numbers are 1.5 MB."""

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Place:
    """Where an instrument lives: a room, or a climate and a way of keeping a home.

    Attributes
    ----------
    key : str
        The same for all instruments that share the air; empty when nobody knows it.
    """

    key: str

    @property
    def known(self) -> bool:
        """Whether anything is known of the air."""
        return bool(self.key)


@dataclass(frozen=True)
class YearOfAir:
    """A year of a place's air and of what wood would come to in it, day by day.

    Attributes
    ----------
    air : RoomAir
        365 days [degC, % RH].
    moisture : array of 365
        What the air of each day would settle wood at [% MC].
    facts : dict
        Where it comes from: `source` log, model or log-and-model; climate, months and days logged.
    """

    air: RoomAir
    moisture: Floats
    facts: dict[str, Any]


def find_settings(session: Session) -> SeasonSettings | None:
    """Return how the shop forecasts, or None before anybody said."""
    return session.scalars(select(SeasonSettings)).one_or_none()


def keeping_of(session: Session, instrument_id: UUID) -> Keeping | None:
    """Return where an instrument lives, or None where nobody said."""
    return session.scalars(select(Keeping).where(Keeping.instrument_id == instrument_id)).one_or_none()


class Homes:
    """Where instruments live: what they all share is read once.

    A room that an instrument is kept in counts first; then the climate named for it, that of its home's
    place, and the shop's, with its home's way of keeping the air over what homes are usually like.
    """

    def __init__(self, session: Session) -> None:
        settings = find_settings(session)
        self._shops = settings.climate_id if settings is not None else None
        self._usual = usual(settings, RoomUse.HOME)
        self._named = climates_by_name(session)

    def of(self, instrument: Instrument, keeping: Keeping | None) -> Place:
        """Return where an instrument lives."""
        if keeping is not None and keeping.room_id is not None:
            return Place(f"room:{keeping.room_id}")
        said = instrument.home or {}
        climate_id = keeping.climate_id if keeping is not None else None
        climate_id = climate_id or self._named.get(name_told(said.get("place"))) or self._shops
        if climate_id is None:
            return Place("")
        ways = {name: said[name] for name in FIELDS if said.get(name) is not None}
        try:
            profile = profile_over(self._usual, ways)
        except CalculationError:
            # a home that contradicts what is usual is taken as usual; its own check refuses it
            profile = self._usual
        kept = {ours: getattr(profile, theirs) for ours, theirs in FIELDS.items()}
        written = json.dumps({"climate": str(climate_id), "profile": kept}, sort_keys=True)
        return Place(f"home:{written}")


@dataclass(frozen=True)
class _Outdoors:
    """A climate's normal year, day by day."""

    id: UUID
    name: str
    temperature: Floats
    pressure: Floats

    def room(self, profile: RoomProfile) -> YearOfAir:
        """Return a year of a room's air in this climate."""
        air = indoor_air(self.temperature, self.pressure, profile)
        facts = {"source": "model", "climate_id": self.id, "climate": self.name}
        return YearOfAir(air, equilibrium_year(air), facts)


class AirBook:
    """The air of places, each worked out once while it is remembered.

    It keeps nothing of the session that it reads with: `use` gives it the next one.
    """

    def __init__(self, session: Session, today: date) -> None:
        self._session = session
        self._today = today
        settings = find_settings(session)
        self._climate_id = settings.climate_id if settings is not None else None
        self._usual = {each: usual(settings, each) for each in RoomUse}
        self._years: OrderedDict[str, YearOfAir | None] = OrderedDict()
        self._outdoors: dict[UUID, _Outdoors | None] = {}
        self._logs: dict[UUID, RoomLog] = {}

    def use(self, session: Session) -> None:
        """Go on reading with another session."""
        self._session = session

    def year(self, key: str) -> YearOfAir | None:
        """Return a year of a place's air, or None when too little is known of it."""
        if key not in self._years:
            self._years[key] = self._make(key)
            if len(self._years) > REMEMBERED:
                self._years.popitem(last=False)
        self._years.move_to_end(key)
        return self._years[key]

    def log(self, room_id: UUID) -> RoomLog:
        """Return the daily means of a room's log."""
        if room_id not in self._logs:
            if len(self._logs) >= REMEMBERED:
                self._logs.clear()
            self._logs[room_id] = room_log(self._session, room_id, self._today)
        return self._logs[room_id]

    def _climate(self, identifier: UUID | None) -> _Outdoors | None:
        if identifier is None:
            return None
        if identifier not in self._outdoors:
            row = self._session.get(Climate, identifier)
            self._outdoors[identifier] = (
                None
                if row is None
                else _Outdoors(row.id, row.name, *outdoor_year(row.temperature, row.vapour_pressure))
            )
        return self._outdoors[identifier]

    def _make(self, key: str) -> YearOfAir | None:
        where, _, rest = key.partition(":")
        if where == "room":
            return self._of_room(UUID(rest))
        if where == "home":
            said = json.loads(rest)
            climate = self._climate(UUID(said["climate"]))
            return None if climate is None else climate.room(_profile(said["profile"]))
        return None

    def _of_room(self, room_id: UUID) -> YearOfAir | None:
        room = self._session.get(Room, room_id)
        if room is None:
            return None
        climate = self._climate(room.climate_id or self._climate_id)
        profile = profile_over(self._usual[room.use], room.profile)
        model = None if climate is None else climate.room(profile)
        log = self.log(room_id)
        months = log.months()
        if not months:
            return model
        if model is None and len(months) < 12:
            return None
        flat = np.full(365, float(log.temperature.mean()))
        otherwise = model.air if model is not None else RoomAir(flat, np.full(365, 50.0), flat)
        air = room_year_from_log(log.day_of_year, log.temperature, log.relative_humidity, otherwise)
        facts = (model.facts if model is not None else {}) | {
            "source": "log" if len(months) == 12 else "log-and-model",
            "room_id": room_id,
            "logged_months": months,
            "logged_days": int(log.days.size),
            "logged_from": log.first,
            "logged_to": log.last,
        }
        return YearOfAir(air, equilibrium_year(air), facts)


def _profile(said: Mapping[str, Any]) -> RoomProfile:
    return RoomProfile(**{theirs: said[ours] for ours, theirs in FIELDS.items()})


@dataclass(frozen=True)
class RoomLog:
    """Daily means of a room's log: days as ordinals, rising, with gaps where nothing was logged."""

    days: NDArray[np.int64]
    day_of_year: NDArray[np.int64]
    temperature: Floats
    relative_humidity: Floats
    parts: dict[float, Floats] = field(default_factory=dict, repr=False, compare=False)
    """Moisture of parts that lived through it, by their time constant; see `_lived`."""

    @property
    def first(self) -> date | None:
        """The first day of the log."""
        return date.fromordinal(int(self.days[0])) if self.days.size else None

    @property
    def last(self) -> date | None:
        """The last day of the log."""
        return date.fromordinal(int(self.days[-1])) if self.days.size else None

    def months(self) -> list[int]:
        """Months, from 1, with enough days to stand for themselves."""
        if not self.days.size:
            return []
        # several years of one month count by the day of the year, as in `room_year_from_log`
        once = np.unique(self.day_of_year)
        counted = np.bincount(month_of_day(once), minlength=12)
        return [month + 1 for month in range(12) if counted[month] >= ENOUGH_DAYS]

    @cached_property
    def _settled(self) -> Floats:
        """What the air of each day from the first to the last would settle wood at, gaps bridged [% MC]."""
        days = np.arange(self.days[0], self.days[-1] + 1)
        warm, humid = (
            np.interp(days, self.days, logged) for logged in (self.temperature, self.relative_humidity)
        )
        return wood_moisture(np.clip(humid, 0.0, 95.0), warm)

    def moistures_on(self, days: Sequence[date], tau: float) -> Floats:
        """Moisture of a part that lived through this log, at the end of some days [% MC].

        Parameters
        ----------
        days : sequence of date
            Of which days.
        tau : float
            The part's time constant [days].

        Returns
        -------
        array, shape (days,)
            Not a number unless the log covers most of the two time constants before. Missing days are
            bridged in a straight line.
        """
        if not self.days.size:
            return np.full(len(days), np.nan)
        near = max(2, int(2.0 * tau))
        ends = np.array([day.toordinal() for day in days], dtype=np.int64)
        logged = np.searchsorted(self.days, ends, "right") - np.searchsorted(self.days, ends - near + 1)
        lived, stays = self._lived(tau), self._settled[-1]
        at = lived[np.clip(ends - self.days[0], 0, lived.size - 1)]
        # behind the log's end its last air stays
        moisture = stays + (at - stays) * np.exp(-np.maximum(ends - self.days[-1], 0) / tau)
        return np.where(logged >= ENOUGH_LOGGED * near, moisture, np.nan)

    def _lived(self, tau: float) -> Floats:
        """Moisture of a part on each day from the first to the last, worked out once [% MC]."""
        if tau not in self.parts:
            lead = self._settled[: max(1, int(tau))].mean()
            followed = moisture_response(lead, self._settled, tau)
            self.parts[tau] = with_hysteresis(followed, repeats=False)
        return self.parts[tau]


def room_log(session: Session, room_id: UUID, today: date) -> RoomLog:
    """Return the daily means of a room's log, of the last three years."""
    rows = session.execute(
        select(
            RoomReading.day,
            func.avg(RoomReading.temperature),
            func.avg(RoomReading.relative_humidity),
        )
        .where(
            RoomReading.room_id == room_id,
            RoomReading.day > today - timedelta(days=LOG_YEARS * 365),
            RoomReading.day <= today + MOST_AHEAD,  # later ones were taken once
        )
        .group_by(RoomReading.day)
        .order_by(RoomReading.day)
    ).all()
    days = np.array([row[0].toordinal() for row in rows], dtype=np.int64)
    of_year = np.array([row[0].timetuple().tm_yday for row in rows], dtype=np.int64)
    return RoomLog(
        days,
        of_year,
        np.array([row[1] for row in rows], dtype=np.float64),
        np.array([row[2] for row in rows], dtype=np.float64),
    )
