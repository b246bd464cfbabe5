"""What the last final reading left: the quantities that the seasons move, with limits, factors and delays."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlalchemy import delete, insert, select
from sqlalchemy.orm import Session

from shimstock_calc.errors import CalculationError, Missing
from shimstock_calc.moisture import TimeConstant, time_constant
from shimstock_calc.plan import model as plan_model
from shimstock_calc.plan.geometry import ReliefPlace, conversion, coupling, share, side_scale, string_scale
from shimstock_calc.plan.goals import goals, relief_place
from shimstock_server.bench import repeated, source_of_readings, verdicts
from shimstock_server.catalogue import InstrumentIncomplete, SpecBook, plan_instrument
from shimstock_server.database.tables.owners import Instrument
from shimstock_server.database.tables.seasons import Keeping, WatchedQuantity
from shimstock_server.database.words import Kind, Quantity, Side
from shimstock_server.learning import kept_tools
from shimstock_server.shop import settings

from .last_checks import LastCheck, last_checks
from .places import Homes

USUAL_FRET = 8
"""Where relief held first to last is read: the frame that sensitivities are learned in."""
OCTAVE = 12
"""The fret that action is read at where nothing else is said."""
ACOUSTIC = frozenset({Kind.ACOUSTIC_STEEL, Kind.CLASSICAL_NYLON})


@dataclass(frozen=True)
class Watch:
    """One quantity of one instrument to watch; see `WatchedQuantity`."""

    instrument_id: UUID
    number: int
    model_id: UUID
    job_id: UUID
    sheet_id: UUID
    basis: str
    read_on: date
    quantity: Quantity
    side: Side | None
    string: int | None
    value: float
    uncertainty: float
    lower: float | None
    upper: float | None
    relief_factor: float
    neck_tau: list[float]
    top_tau: list[float] | None
    saddle_factor: float
    place: str


def watches_of(session: Session, instrument: Instrument) -> list[Watch]:
    """Return what the seasons are watched for on an instrument; nothing when it was never read to the end.

    The newest final or recheck readings count, as long as nothing was done to the instrument since; the spec
    is the present one.
    """
    return watches_of_all(session, [instrument])[instrument.id]


def watches_of_all(session: Session, instruments: Sequence[Instrument]) -> dict[UUID, list[Watch]]:
    """Return what the seasons are watched for on some instruments; what they share is read once."""
    ends = last_checks(session, [instrument.id for instrument in instruments])
    if not ends:
        return {instrument.id: [] for instrument in instruments}
    making = _Making(session, [each for each in instruments if each.id in ends], ends)
    return {
        instrument.id: making.of(instrument, ends[instrument.id]) if instrument.id in ends else []
        for instrument in instruments
    }


class _Making:
    """Makes the watched quantities of instruments that were read to the end."""

    def __init__(
        self, session: Session, instruments: Sequence[Instrument], ends: Mapping[UUID, LastCheck]
    ) -> None:
        self.session = session
        job_ids = [end.job_id for end in ends.values()]
        self.specs = SpecBook(session, instruments, job_ids)
        self.tools = kept_tools(session, job_ids)
        self.shop = settings(session)
        self.zone = ZoneInfo(self.shop.zone)
        self.homes = Homes(session)
        rows = session.scalars(select(Keeping).where(Keeping.instrument_id.in_(list(ends))))
        self.keepings = {row.instrument_id: row for row in rows}
        self.geometries: dict[tuple[Any, ...], plan_model.Instrument] = {}

    def of(self, instrument: Instrument, end: LastCheck) -> list[Watch]:
        """Return the watched quantities of one instrument."""
        try:
            geometry = self._geometry(instrument)
            source, found = self._verdicts(geometry, self.specs.of(instrument, end.job_id), end)
        except (InstrumentIncomplete, CalculationError):
            return []  # what is incomplete or contradicts itself is told at the instrument and at the job
        where = self.homes.of(instrument, self.keepings.get(instrument.id)).key
        neck, top = delays(instrument)
        to = relief_place(source)
        return [
            Watch(
                instrument_id=instrument.id,
                number=number,
                model_id=instrument.model_id,
                job_id=end.job_id,
                sheet_id=end.sheets[-1].id,
                basis=end.basis,
                read_on=end.sheets[-1].counts_at.astimezone(self.zone).date(),
                quantity=Quantity(verdict.quantity),
                side=None if verdict.side is None else Side(verdict.side),
                string=verdict.string,
                value=verdict.value or 0.0,
                uncertainty=verdict.uncertainty or 0.0,
                lower=verdict.lower,
                upper=verdict.upper,
                relief_factor=_relief_factor(geometry, verdict, to),
                neck_tau=[neck.low, neck.mid, neck.high],
                top_tau=None if top is None else [top.low, top.mid, top.high],
                saddle_factor=0.0
                if top is None or verdict.quantity == "relief"
                else share(verdict.fret or OCTAVE),
                place=where,
            )
            for number, verdict in enumerate(found)
        ]

    def _geometry(self, instrument: Instrument) -> plan_model.Instrument:
        """Return an instrument as the plan takes it; those that differ in nothing share one."""
        own = (
            instrument.model_id, instrument.string_set_id, instrument.tuning_id, instrument.handedness,
            instrument.named_consents, repr(instrument.bridge), repr(instrument.truss_rod),
        )  # fmt: skip
        if own not in self.geometries:
            self.geometries[own] = plan_instrument(self.session, instrument)
        return self.geometries[own]

    def _verdicts(
        self, geometry: plan_model.Instrument, spec: tuple[plan_model.SpecItem, ...], end: LastCheck
    ) -> tuple[plan_model.PlanInput, list[plan_model.Verdict]]:
        source = source_of_readings(geometry, spec, end.of_job, end.done, shop=self.shop, tools=self.tools)
        # A reading in dry or damp air is no verdict on the setup, but the forecast reckons with that air.
        anywhere = replace(source.settings, humidity_low=0.0, humidity_high=100.0)
        source = replace(source, settings=anywhere)
        wanted = [goal for goal in goals(source) if goal.spot.quantity in ("relief", "action")]
        found = verdicts(source, wanted, end.sheets)
        if any(verdict.verdict in (None, "too close to call") for verdict in found):
            # a final check reads what has moved: what was read before and has not moved stands
            newest = verdicts(source, wanted, end.lately)
            found = [repeated(last, newer) for last, newer in zip(found, newest, strict=True)]
        return source, [verdict for verdict in found if verdict.usable and verdict.value is not None]


def _relief_factor(geometry: plan_model.Instrument, verdict: plan_model.Verdict, to: ReliefPlace) -> float:
    """A quantity's change per mm of relief held first to last and read at the 8th fret."""
    usual = ReliefPlace((1, geometry.frets), USUAL_FRET)
    scale, joint = _scale(geometry, verdict), geometry.body_joint_fret
    if verdict.quantity == "relief":
        return conversion(scale, joint, usual, to)
    return coupling(scale, joint, usual, verdict.fret or OCTAVE)


def _scale(instrument: plan_model.Instrument, verdict: plan_model.Verdict) -> float:
    if verdict.string is not None:
        return string_scale(instrument, verdict.string)
    return side_scale(instrument, verdict.side)


def delays(instrument: Instrument) -> tuple[TimeConstant, TimeConstant | None]:
    """Return how slowly the neck follows the air, and an acoustic's top."""
    parts: dict[str, Mapping[str, Any]] = {
        part["part"]: part for part in [*instrument.model.parts, *instrument.parts]
    }
    cased = (instrument.home or {}).get("kept") == "case"
    neck = _delay("neck", parts.get("neck"), in_case=cased)
    if instrument.model.kind not in ACOUSTIC:
        return neck, None
    return neck, _delay("acoustic top", parts.get("top"), in_case=cased)


def _delay(part: str, said: Mapping[str, Any] | None, *, in_case: bool) -> TimeConstant:
    finish = (said or {}).get("finish")
    try:
        return time_constant(part, finish, (said or {}).get("coats") if finish else None, in_case)
    except Missing:
        return time_constant(part, None, None, in_case)  # a finish that no table holds: what is usual


def store_watches(session: Session, watches: Mapping[UUID, Sequence[Watch]]) -> None:
    """Put what is watched of some instruments into the place of what was."""
    session.execute(delete(WatchedQuantity).where(WatchedQuantity.instrument_id.in_(list(watches))))
    rows = [vars(watch) for of_instrument in watches.values() for watch in of_instrument]
    if rows:
        session.execute(insert(WatchedQuantity), rows)


def stored_watches(session: Session, instrument_ids: Sequence[UUID]) -> list[Watch]:
    """Return what is watched of some instruments, in order."""
    columns = [getattr(WatchedQuantity, name) for name in Watch.__dataclass_fields__]
    rows = session.execute(
        select(*columns)
        .where(WatchedQuantity.instrument_id.in_(instrument_ids))
        .order_by(WatchedQuantity.instrument_id, WatchedQuantity.number)
    )
    return [Watch(*row) for row in rows]
