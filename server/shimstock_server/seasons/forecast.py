"""The forecast of one instrument: day by day from the last final reading, and when to look again."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID

import numpy as np
from sqlalchemy import select
from sqlalchemy.orm import Session

from shimstock_calc.recheck import BY_SPEC, NO_RECHECK, Rechecks, recheck_days
from shimstock_calc.seasons import HORIZON, Drift, Watched, seasonal_drift
from shimstock_server.database.tables.owners import Instrument
from shimstock_server.database.tables.seasons import RoomAlert, SeasonSettings
from shimstock_server.database.words import Movable
from shimstock_server.shop import local_day, settings

from .baseline import Watch, watches_of
from .drift import Answering, Beliefs, laid
from .places import AirBook, YearOfAir, find_settings
from .problems import AirUnknown, NoFinalReading

LONGEST = 1100
"""Days that a forecast reaches at most; its last reading may be two years old."""


@dataclass(frozen=True)
class Curve:
    """One quantity's forecast, day 0 the day of its reading."""

    watch: Watch
    expected: np.ndarray[Any, np.dtype[np.float64]]
    sd: np.ndarray[Any, np.dtype[np.float64]]
    probability_out: np.ndarray[Any, np.dtype[np.float64]]
    moisture_change: np.ndarray[Any, np.dtype[np.float64]]
    """Of the part that moves most [% MC]."""
    relief: Answering
    saddle: Answering | None


@dataclass(frozen=True)
class Forecast:
    """What is expected of an instrument through the seasons."""

    instrument: Instrument
    curves: tuple[Curve, ...]
    year: YearOfAir
    reason: dict[str, Any]
    """Why a recheck is due, or that none is: numbers in kept units, as a reminder keeps them."""
    today: date
    alerts: tuple[RoomAlert, ...]

    @property
    def read_on(self) -> date:
        """The day of the last final reading."""
        return self.curves[0].watch.read_on

    @property
    def recheck_on(self) -> date | None:
        """The day to look again, or None within the horizon."""
        day = self.reason.get("due_on")
        return None if day is None else date.fromisoformat(day)


def forecast_of(session: Session, instrument: Instrument, *, now: datetime) -> Forecast:
    """Forecast one instrument from what stands in the tables now.

    Raises
    ------
    NoFinalReading
        When there is nothing to begin at, or work was done since.
    AirUnknown
        When too little is known of the air where it lives.
    """
    watches = watches_of(session, instrument)
    if not watches:
        raise NoFinalReading
    today = local_day(session, now)
    year = AirBook(session, today).year(watches[0].place)
    if year is None:
        raise AirUnknown
    beliefs = Beliefs.of(session)
    rows = laid(watches, beliefs, {watches[0].place: 0})
    age = max(0, (today - watches[0].read_on).days)
    drift = seasonal_drift(year.moisture, rows, min(LONGEST, age + HORIZON))
    found = rechecks_of(year.moisture[None, :], rows, Thresholds.of(session))
    curves = tuple(_curve(watch, n, drift, beliefs) for n, watch in enumerate(watches))
    return Forecast(
        instrument=instrument,
        curves=curves,
        year=year,
        reason=reason_of(watches, found, deciding(found, range(len(watches))), year, beliefs),
        today=today,
        alerts=_alerts(session, watches[0].place),
    )


@dataclass(frozen=True)
class Thresholds:
    """What asks for a recheck, as the shop has set it."""

    probability: float
    earliest: int
    moisture: float

    @classmethod
    def of(cls, session: Session) -> Thresholds:
        """Read the shop's settings."""
        own: SeasonSettings | None = find_settings(session)
        return cls(
            settings(session).recheck_probability,
            own.earliest_days if own is not None else 14,
            own.moisture_limit if own is not None else 2.0,
        )


def rechecks_of(
    years: np.ndarray[Any, np.dtype[np.float64]], rows: Watched, thresholds: Thresholds
) -> Rechecks:
    """Return when each row asks for a recheck under the shop's thresholds."""
    return recheck_days(
        years,
        rows,
        thresholds.probability,
        earliest=thresholds.earliest,
        moisture_limit=thresholds.moisture,
    )


def deciding(rechecks: Rechecks, rows: Sequence[int] | range) -> int:
    """Return the row of one instrument that asks first; on one day the likelier, of none the nearest."""
    return min(
        rows,
        key=lambda row: (
            rechecks.day[row] if rechecks.day[row] >= 0 else np.iinfo(np.int64).max,
            -rechecks.probability_out[row],
        ),
    )


def reason_of(
    watches: Sequence[Watch], rechecks: Rechecks, row: int, year: YearOfAir, beliefs: Beliefs
) -> dict[str, Any]:
    """Return the numbers behind a recheck date, in kept units."""
    watch = watches[row]
    day = int(rechecks.day[row])
    cause = int(rechecks.cause[row])
    parts = ["neck"] if watch.top_tau is None else ["neck", "top"]
    by_top = watch.top_tau is not None and watch.saddle_factor != 0.0
    moves = Movable.SADDLE if by_top else Movable.RELIEF
    answer = beliefs.about(moves, watch.instrument_id, watch.model_id)
    part = parts[int(rechecks.part[row])]
    tau = watch.neck_tau if watch.top_tau is None or part == "neck" else watch.top_tau
    due = None if day < 0 else watch.read_on + timedelta(days=day)
    return {
        "cause": {NO_RECHECK: "none", BY_SPEC: "spec"}.get(cause, "moisture"),
        "quantity": watch.quantity.value,
        "side": None if watch.side is None else watch.side.value,
        "string": watch.string,
        "value": watch.value,
        "stage": watch.basis.partition(":")[0],
        "read_on": watch.read_on.isoformat(),
        "due_on": None if due is None else due.isoformat(),
        "expected": round(float(rechecks.expected[row]), 6),
        "sd": round(float(rechecks.sd[row]), 6),
        "lower": watch.lower,
        "upper": watch.upper,
        "probability_out": round(float(rechecks.probability_out[row]), 6),
        "moisture_change": round(float(rechecks.moisture_change[row]), 4),
        "part": part,
        "room_humidity": None if due is None else round(_lately(year, due, tau[1]), 2),
        "air": year.facts["source"],
        "sensitivity": {
            "part": "top" if by_top else "neck", "mean": answer.mean, "sd": answer.sd, "level": answer.level,
            "samples": answer.samples,
        },
    }  # fmt: skip


def _lately(year: YearOfAir, day: date, tau: float) -> float:
    """Mean humidity of the weeks that the wood feels on a day [% RH]."""
    last = min(day.timetuple().tm_yday, 365)
    before = np.arange(last - max(1, round(tau)), last) % 365
    return float(year.air.relative_humidity[before].mean())


def _curve(watch: Watch, n: int, drift: Drift, beliefs: Beliefs) -> Curve:
    moved = drift.moisture_change[n]
    used = moved[:1] if watch.top_tau is None else moved
    most = used[np.abs(used).max(axis=1).argmax()]
    return Curve(
        watch=watch,
        expected=drift.expected[n],
        sd=drift.sd[n],
        probability_out=drift.probability_out[n],
        moisture_change=most,
        relief=beliefs.about(Movable.RELIEF, watch.instrument_id, watch.model_id),
        saddle=beliefs.about(Movable.SADDLE, watch.instrument_id, watch.model_id)
        if watch.top_tau is not None
        else None,
    )


def _alerts(session: Session, place: str) -> tuple[RoomAlert, ...]:
    where, _, rest = place.partition(":")
    if where != "room":
        return ()
    return tuple(
        session.scalars(
            select(RoomAlert)
            .where(RoomAlert.room_id == UUID(rest), RoomAlert.ended_at.is_(None))
            .order_by(RoomAlert.since, RoomAlert.code)
        )
    )


def told(forecast: Forecast, sentence: str) -> dict[str, Any]:
    """Return a forecast as it is answered."""
    year = forecast.year
    facts = year.facts
    first = forecast.read_on
    count = forecast.curves[0].expected.size
    index = (first.timetuple().tm_yday - 1 + np.arange(count)) % 365
    reason = forecast.reason
    return {
        "instrument_id": forecast.instrument.id,
        "today": forecast.today,
        "read_on": first,
        "recheck_on": forecast.recheck_on,
        "cause": reason["cause"],
        "sentence": sentence,
        "air": {
            "source": facts["source"],
            "climate_id": facts.get("climate_id"),
            "climate": facts.get("climate"),
            "room_id": facts.get("room_id"),
            "logged_months": facts.get("logged_months", []),
            "logged_days": facts.get("logged_days", 0),
            "logged_from": facts.get("logged_from"),
            "logged_to": facts.get("logged_to"),
        },
        "warnings": [
            {"code": alert.code, "since": alert.since, "value": alert.value, "text": alert.meaning}
            for alert in forecast.alerts
        ],
        "quantities": [_curve_told(curve) for curve in forecast.curves],
        "room": [
            {
                "day": first + timedelta(days=n),
                "temperature": float(year.air.temperature[at]),
                "relative_humidity": float(year.air.relative_humidity[at]),
                "wood_moisture": float(year.moisture[at]),
            }
            for n, at in enumerate(index)
        ],
    }


def _curve_told(curve: Curve) -> dict[str, Any]:
    watch = curve.watch
    kind = watch.quantity.value
    sensitivities = [("relief", curve.relief)]
    if curve.saddle is not None:
        sensitivities.append(("saddle-height", curve.saddle))
    return {
        "quantity": watch.quantity,
        "kind": kind,
        "side": watch.side,
        "string": watch.string,
        "value": watch.value,
        "uncertainty": watch.uncertainty,
        "lower": watch.lower,
        "upper": watch.upper,
        "sheet_id": watch.sheet_id,
        "sensitivities": [
            {
                "of": name,
                "per_moisture_percent": answer.mean,
                "sd": answer.sd,
                "source": answer.level,
                "samples": answer.samples,
            }
            for name, answer in sensitivities
        ],
        "days": [
            {
                "day": watch.read_on + timedelta(days=n),
                "kind": kind,
                "expected": float(curve.expected[n]),
                "low": float(curve.expected[n] - 2.0 * curve.sd[n]),
                "high": float(curve.expected[n] + 2.0 * curve.sd[n]),
                "sd": float(curve.sd[n]),
                "probability_out": round(float(curve.probability_out[n]), 6),
                "moisture_change": float(curve.moisture_change[n]),
            }
            for n in range(curve.expected.size)
        ],
    }
