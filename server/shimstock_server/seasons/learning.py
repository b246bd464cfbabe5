"""What this shop's own readings teach of how strongly a setup answers moisture.

Readings between which nothing was done to the instrument, each with the moisture that the wood had then, say
something of its answer, as a job says something of a rod: information, which adds, pooled by the same rule
(`shimstock_calc.belief.learned`): instrument, model, shop, stated prior. Two seasons say which way it goes.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from itertools import groupby
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

import numpy as np
from sqlalchemy import delete, func, insert, or_, select
from sqlalchemy.orm import Session

from shimstock_calc.belief.learned import Learned, Pool, Row, pool
from shimstock_calc.belief.responses import Block, Message
from shimstock_calc.conformity import standard_uncertainty
from shimstock_calc.errors import CalculationError
from shimstock_calc.moisture import TimeConstant
from shimstock_calc.plan.geometry import ReliefPlace, conversion, coupling, share
from shimstock_calc.sensitivity import Sensitivity, sensitivity_slope
from shimstock_calc.wood import wood_moisture
from shimstock_server.database.tables.bench import Adjustment, Reading, ReadingSheet, counts_at, stands
from shimstock_server.database.tables.jobs import Job
from shimstock_server.database.tables.owners import Instrument
from shimstock_server.database.tables.seasons import Keeping, LearnedSensitivity
from shimstock_server.database.words import WENT_OUT, Movable, Part, Position, Quantity, Side, Stage
from shimstock_server.shop import settings

from .baseline import USUAL_FRET, delays
from .drift import PRIORS
from .last_checks import HARMLESS
from .places import AirBook, Homes

STAGES = (Stage.AS_RECEIVED, Stage.FINAL, Stage.RECHECK)
MOVES_RELIEF = frozenset(
    {Part.NECK_SHIM, Part.INSTRUMENT, *(Part(word) for word in Quantity.RELIEF.term.moved_by)}
)
"""Work between two readings of relief that lets the season tell nothing by them."""
MOISTURE_SD = 0.3
"""Of the moisture that a checked hygrometer's air stands for [% MC]; about 1.5 % RH."""
UNNAMED_TOOL = 0.03
"""Standard uncertainty of a reading without a tool, that of feelers [mm]."""
RANGE_IN_SD = 3.29
"""A time constant's range is read as the middle 90 % of a normal distribution."""
AT_ONCE = 500


@dataclass(frozen=True)
class _Look:
    """One sheet of one instrument, as far as it can teach."""

    taken_at: datetime
    air: tuple[float, float] | None
    """Temperature and humidity on the sheet [degC, % RH]."""
    readings: tuple[Any, ...]


@dataclass
class _Messages:
    """What readings say of one answer, and of whose."""

    rows: list[Row] = field(default_factory=list)

    def add(
        self, instrument: Instrument, moistures: Sequence[Sequence[float]], value: Sequence[float],
        uncertainty: Sequence[float],
    ) -> None:  # fmt: skip
        """Add what a stretch of readings says, where the moisture moved far enough to say something.

        `moistures` holds the likeliest first; the others, from the ends of the time constant's range, tell
        how unsure the slope is for that.
        """
        try:
            slope, variance = sensitivity_slope(moistures[0], value, uncertainty)
        except CalculationError:
            return
        spread = float(((np.array(moistures[0]) - np.mean(moistures[0])) ** 2).sum())
        variance += slope**2 * MOISTURE_SD**2 / spread + self._from_the_lag(moistures, value, uncertainty)
        said = Message((1.0 / variance,), (slope / variance,))
        names = str(instrument.model_id), str(instrument.id), f"{len(self.rows):09d}"
        self.rows.append(Row(*names, said))

    @staticmethod
    def _from_the_lag(
        moistures: Sequence[Sequence[float]], value: Sequence[float], uncertainty: Sequence[float]
    ) -> float:
        """Variance of a slope from not knowing how slowly the part follows its air."""
        slopes = []
        for moisture in moistures:
            try:
                slopes.append(sensitivity_slope(moisture, value, uncertainty)[0])
            except CalculationError:
                continue  # a slow part has hardly moved: its slope is anybody's guess
        return float((np.ptp(slopes) / RANGE_IN_SD) ** 2) if len(slopes) > 1 else 0.0

    def pooled(self, prior: Sensitivity) -> Pool:
        """Return what they teach together."""
        return pool(self.rows, Block([prior.mean], [[prior.sd**2]]))


def lessons(session: Session, *, now: datetime) -> list[dict[str, Any]]:
    """Return what every reading that stands teaches together, as rows to keep; writes nothing."""
    samples = {moves: _Messages() for moves in Movable}
    school = _School(session, now, samples)
    ids = list(session.scalars(_taught()))
    for start in range(0, len(ids), AT_ONCE):
        school.teach(ids[start : start + AT_ONCE])
        session.expunge_all()
    rows = []
    for moves, found in samples.items():
        if found.rows:
            rows += _rows(moves, found.pooled(PRIORS[moves]), now)
    return rows


def keep_lessons(session: Session, rows: Sequence[Mapping[str, Any]]) -> None:
    """Put what was learned into the place of what was known before."""
    session.execute(delete(LearnedSensitivity))
    for start in range(0, len(rows), AT_ONCE):
        session.execute(insert(LearnedSensitivity), list(rows[start : start + AT_ONCE]))


def _taught() -> Any:
    """Instruments that were read at least twice."""
    return (
        select(Job.instrument_id)
        .join(ReadingSheet, ReadingSheet.job_id == Job.id)
        .where(ReadingSheet.stage.in_(STAGES), Job.instrument_id.is_not(None))
        .group_by(Job.instrument_id)
        .having(func.count() > 1)
        .order_by(Job.instrument_id)
    )


class _School:
    """Turns the sheets of instruments into slopes."""

    def __init__(self, session: Session, now: datetime, samples: dict[Movable, _Messages]) -> None:
        self.session, self.samples = session, samples
        self.zone = ZoneInfo(settings(session).zone)
        self.air = AirBook(session, now.astimezone(self.zone).date())
        self.homes = Homes(session)
        self.places: dict[UUID, str] = {}

    def teach(self, ids: Sequence[UUID]) -> None:
        """Take the sheets of some instruments."""
        done = self._work(ids)
        instruments = {
            row.id: row for row in self.session.scalars(select(Instrument).where(Instrument.id.in_(ids)))
        }
        rows = self.session.scalars(select(Keeping).where(Keeping.instrument_id.in_(ids)))
        keepings = {row.instrument_id: row for row in rows}
        self.places = {
            each: self.homes.of(instrument, keepings.get(each)).key
            for each, instrument in instruments.items()
        }
        for instrument_id, looks in self._looks(ids):
            instrument = instruments[instrument_id]
            if instrument.model.body_joint_fret is None:
                continue
            acts = done.get(instrument_id, [])
            self._relief(instrument, looks, [at for at, part in acts if part in MOVES_RELIEF])
            if delays(instrument)[1] is not None:
                self._saddle(instrument, looks, [at for at, part in acts if part not in HARMLESS])

    def _work(self, ids: Sequence[UUID]) -> dict[UUID, list[tuple[datetime, Part]]]:
        found: dict[UUID, list[tuple[datetime, Part]]] = {}
        rows = self.session.execute(
            select(Job.instrument_id, Adjustment.done_at, Adjustment.received_at, Adjustment.part)
            .join(Adjustment, Adjustment.job_id == Job.id)
            .where(Job.instrument_id.in_(ids), stands(Adjustment))
        )
        for instrument_id, done_at, received_at, part in rows:
            assert instrument_id is not None
            found.setdefault(instrument_id, []).append((counts_at(done_at, received_at), part))
        return found

    def _looks(self, ids: Sequence[UUID]) -> Iterator[tuple[UUID, list[_Look]]]:
        rows = self.session.execute(
            select(
                Job.instrument_id, ReadingSheet.id, ReadingSheet.job_id, ReadingSheet.stage,
                ReadingSheet.taken_at, ReadingSheet.received_at, ReadingSheet.room_temperature,
                ReadingSheet.room_humidity, Reading.quantity, Reading.side, Reading.fret, Reading.hold_low,
                Reading.hold_high, Reading.value, Reading.resolution, Reading.repeatability,
            )
            .join(ReadingSheet, ReadingSheet.job_id == Job.id)
            .join(Reading, Reading.sheet_id == ReadingSheet.id)
            .where(
                Job.instrument_id.in_(ids), ReadingSheet.at_pitch,
                or_(ReadingSheet.stage.in_(STAGES), Job.state.in_(WENT_OUT)),
                ReadingSheet.acclimatised, ReadingSheet.position == Position.PLAYING,
                stands(ReadingSheet),
                Reading.quantity.in_((Quantity.RELIEF, Quantity.ACTION)), Reading.string.is_(None),
                Reading.capo.is_(None), Reading.zero_or_less.is_(False),
            )
            .order_by(Job.instrument_id, ReadingSheet.taken_at, ReadingSheet.id, Reading.number)
        )  # fmt: skip
        for instrument_id, of_instrument in groupby(rows, key=lambda row: row.instrument_id):
            looks = []
            for _, of_sheet in groupby(_without_overtaken(of_instrument), key=lambda row: row.id):
                readings = tuple(of_sheet)
                first = readings[0]
                air = (first.room_temperature, first.room_humidity)
                at = counts_at(first.taken_at, first.received_at)
                looks.append(_Look(at, None if None in air else air, readings))
            yield instrument_id, sorted(looks, key=lambda look: look.taken_at)

    def _relief(self, instrument: Instrument, looks: list[_Look], acts: list[datetime]) -> None:
        for stretch in _stretches(looks, acts):
            moistures = self._moistures(instrument, stretch, delays(instrument)[0])
            for side in (None, *Side):
                read = [_relief_of(instrument, look, side) for look in stretch]
                self._slope(Movable.RELIEF, instrument, moistures, read)

    def _saddle(self, instrument: Instrument, looks: list[_Look], acts: list[datetime]) -> None:
        top = delays(instrument)[1]
        assert top is not None
        for stretch in _stretches(looks, acts):
            moistures = self._moistures(instrument, stretch, top)
            for side in Side:
                read = [_saddle_of(instrument, look, side) for look in stretch]
                self._slope(Movable.SADDLE, instrument, moistures, read)

    def _slope(
        self, moves: Movable, instrument: Instrument, moistures: Sequence[Sequence[float]],
        values: Sequence[tuple[float, float] | None],
    ) -> None:  # fmt: skip
        at = [n for n, value in enumerate(values) if value is not None]
        if len(at) > 1 and moistures:
            value, uncertainty = zip(*(each for each in values if each is not None), strict=True)
            self.samples[moves].add(
                instrument, [[moisture[n] for n in at] for moisture in moistures], value, uncertainty
            )

    def _moistures(
        self, instrument: Instrument, looks: Sequence[_Look], tau: TimeConstant
    ) -> list[list[float]]:
        """Moisture of a part at each look: through the room's log, else what the sheets' air stands for.

        From a log the likeliest, and those of the ends of the time constant's range; empty when not known.
        """
        where, _, rest = self.places[instrument.id].partition(":")
        if where == "room":
            log = self.air.log(UUID(rest))
            days = [look.taken_at.astimezone(self.zone).date() for look in looks]
            lived = [log.moistures_on(days, each) for each in (tau.mid, tau.low, tau.high)]
            if not np.isnan(lived[0]).any():
                return [each.tolist() for each in lived if not np.isnan(each).any()]
        airs = [look.air for look in looks if look.air is not None]
        if len(airs) < len(looks):
            return []
        return [[float(wood_moisture(min(95.0, humid), warm)) for warm, humid in airs]]


def _without_overtaken(rows: Iterable[Any]) -> list[Any]:
    """Leave out what was read during the work and read again later: the neck may not have rested."""
    rows = list(rows)
    of_work = [row for row in rows if row.stage is not Stage.RECHECK]
    newest = {(row.job_id, row.quantity, row.side): row.id for row in of_work}
    return [
        row for row in rows if row.stage in STAGES or newest[row.job_id, row.quantity, row.side] == row.id
    ]


def _stretches(looks: Sequence[_Look], acts: Sequence[datetime]) -> Iterator[list[_Look]]:
    """Split an instrument's looks where work was done between them; a single look teaches nothing."""
    stretch: list[_Look] = []
    for look in looks:
        if stretch and any(stretch[-1].taken_at < at <= look.taken_at for at in acts):
            if len(stretch) > 1:
                yield stretch
            stretch = []
        stretch.append(look)
    if len(stretch) > 1:
        yield stretch


def _relief_of(instrument: Instrument, look: _Look, side: Side | None) -> tuple[float, float] | None:
    """Relief on a sheet held first to last and read at the 8th fret, and its uncertainty [mm]."""
    model = instrument.model
    for row in look.readings:
        if row.quantity is Quantity.RELIEF and row.side is side and row.fret and row.hold_low is not None:
            read = ReliefPlace((row.hold_low, row.hold_high), row.fret)
            usual = ReliefPlace((1, model.frets), USUAL_FRET)
            factor = conversion(_scale(instrument, side), model.body_joint_fret or 0.0, read, usual)
            return row.value * factor, _uncertainty(row, factor)
    return None


def _saddle_of(instrument: Instrument, look: _Look, side: Side) -> tuple[float, float] | None:
    """Saddle height behind a sheet's action once its relief is taken out [mm], but for a constant."""
    relief = _relief_of(instrument, look, side) or _relief_of(instrument, look, None)
    model = instrument.model
    for row in look.readings if relief is not None else ():
        if row.quantity is Quantity.ACTION and row.side is side and row.fret:
            usual = ReliefPlace((1, model.frets), USUAL_FRET)
            rise = coupling(_scale(instrument, side), model.body_joint_fret or 0.0, usual, row.fret)
            assert relief is not None
            value = (row.value - rise * relief[0]) / share(row.fret)
            unsure = float(np.hypot(_uncertainty(row), rise * relief[1]))
            return value, unsure / share(row.fret)
    return None


def _scale(instrument: Instrument, side: Side | None) -> float:
    model = instrument.model
    if side is None:
        return (model.scale_bass + model.scale_treble) / 2.0
    return model.scale_bass if side is Side.BASS else model.scale_treble


def _uncertainty(row: Any, factor: float = 1.0) -> float:
    if row.repeatability is None and row.resolution is None:
        return UNNAMED_TOOL * factor
    return float(standard_uncertainty(row.repeatability, row.resolution, factor))


def _rows(moves: Movable, found: Pool, now: datetime) -> list[dict[str, Any]]:
    def row(level: str, subject: Any, learned: Learned) -> dict[str, Any]:
        return {
            "moves": moves,
            "level": level,
            "subject": str(subject),
            "mean": float(learned.block.mean[0]),
            "sd": math.sqrt(float(learned.block.covariance[0][0])),
            "samples": learned.jobs,
            "learned_at": now,
        }

    rows = [row("shop", "shop", found.shop)]
    rows += [row("model", subject, learned) for subject, learned in found.models.items()]
    return rows + [row("instrument", subject, learned) for subject, learned in found.instruments.items()]
