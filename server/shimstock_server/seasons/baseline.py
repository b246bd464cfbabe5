"""What the last final reading left: the quantities that the seasons move, with limits, factors and delays."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID

from sqlalchemy import delete, insert, select
from sqlalchemy.orm import Session

from shimstock_calc.errors import CalculationError, Missing
from shimstock_calc.moisture import TimeConstant, time_constant
from shimstock_calc.plan import model as plan_model
from shimstock_calc.plan.geometry import ReliefPlace, conversion, coupling, share, side_scale, string_scale
from shimstock_calc.plan.goals import goals, relief_place
from shimstock_server.bench import gather, sheets_of, standing, verdicts
from shimstock_server.catalogue import InstrumentIncomplete, resolve_spec, spec_items
from shimstock_server.database.tables.bench import Adjustment, ReadingSheet
from shimstock_server.database.tables.jobs import Job
from shimstock_server.database.tables.owners import Instrument
from shimstock_server.database.tables.seasons import WatchedQuantity
from shimstock_server.database.words import Kind, Part, Quantity, Side, Stage
from shimstock_server.shop import local_day

from .places import place_of

ENDS = (Stage.FINAL, Stage.RECHECK)
"""Stages that leave an instrument to itself."""
HARMLESS = frozenset({Part.PICKUP_SCREW, Part.TUNERS, Part.SADDLE_POSITION, Part.TAILPIECE})
"""Work that moves neither relief nor action."""
USUAL_FRET = 8
"""Where relief held first to last is read: the frame that sensitivities are learned in."""
ONE_CHECK = timedelta(days=3)
"""Sheets of a stage that belong together; an older one is another look at another moisture."""
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
    sheet = _last_sheet(session, instrument.id)
    if sheet is None or _worked_on_since(session, instrument.id, sheet.taken_at):
        return []
    job = session.get_one(Job, sheet.job_id)
    try:
        source = gather(session, job)
        found = _verdicts(session, instrument, job, sheet, source)
    except (InstrumentIncomplete, CalculationError):
        return []  # what is incomplete or contradicts itself is told at the instrument and at the job
    where, day = place_of(session, instrument).key, local_day(session, sheet.taken_at)
    neck, top = delays(instrument)
    joint = source.instrument.body_joint_fret
    usual = ReliefPlace((1, source.instrument.frets), USUAL_FRET)
    watches: list[Watch] = []
    for verdict in found:
        scale = _scale(source.instrument, verdict)
        if verdict.quantity == "relief":
            relief, saddle = conversion(scale, joint, usual, relief_place(source)), 0.0
        else:
            fret = verdict.fret or 12
            relief, saddle = coupling(scale, joint, usual, fret), share(fret) if top is not None else 0.0
        watches.append(
            Watch(
                instrument_id=instrument.id,
                number=len(watches),
                model_id=instrument.model_id,
                job_id=job.id,
                sheet_id=sheet.id,
                basis=f"{sheet.stage.value}:{job.id}",
                read_on=day,
                quantity=Quantity(verdict.quantity),
                side=None if verdict.side is None else Side(verdict.side),
                string=verdict.string,
                value=verdict.value or 0.0,
                uncertainty=verdict.uncertainty or 0.0,
                lower=verdict.lower,
                upper=verdict.upper,
                relief_factor=relief,
                neck_tau=[neck.low, neck.mid, neck.high],
                top_tau=None if top is None else [top.low, top.mid, top.high],
                saddle_factor=saddle,
                place=where,
            )
        )
    return watches


def _last_sheet(session: Session, instrument_id: UUID) -> ReadingSheet | None:
    corrected = select(ReadingSheet.supersedes_id).where(ReadingSheet.supersedes_id.is_not(None))
    return session.scalars(
        select(ReadingSheet)
        .join(Job, Job.id == ReadingSheet.job_id)
        .where(
            Job.instrument_id == instrument_id,
            ReadingSheet.stage.in_(ENDS),
            ReadingSheet.at_pitch,
            ReadingSheet.id.not_in(corrected),
        )
        .order_by(ReadingSheet.taken_at.desc(), ReadingSheet.id.desc())
        .limit(1)
    ).first()


def _worked_on_since(session: Session, instrument_id: UUID, instant: datetime) -> bool:
    done = (
        select(Adjustment.id)
        .join(Job, Job.id == Adjustment.job_id)
        .where(
            Job.instrument_id == instrument_id,
            Adjustment.done_at > instant,
            Adjustment.part.not_in(HARMLESS),
        )
        .limit(1)
    )
    return session.scalar(done) is not None


def _verdicts(
    session: Session,
    instrument: Instrument,
    job: Job,
    newest: ReadingSheet,
    source: plan_model.PlanInput,
) -> list[plan_model.Verdict]:
    spec = spec_items(
        resolve_spec(
            session,
            kind=instrument.model.kind,
            model_id=instrument.model_id,
            instrument_id=instrument.id,
            job_id=job.id,
        )
    )
    # A reading in dry or damp air is no verdict on the setup, but the forecast reckons with that air.
    anywhere = replace(source.settings, humidity_low=0.0, humidity_high=100.0)
    source = replace(source, spec=spec, settings=anywhere)
    sheets = [
        sheet
        for sheet in standing(sheets_of(session, job.id))
        if sheet.stage is newest.stage and sheet.taken_at > newest.taken_at - ONE_CHECK
    ]
    found = verdicts(source, goals(source), sheets)
    return [
        verdict
        for verdict in found
        if verdict.quantity in ("relief", "action") and verdict.usable and verdict.value is not None
    ]


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


def store_watches(session: Session, instrument_id: UUID, watches: Sequence[Watch]) -> None:
    """Put what is watched of an instrument into the place of what was."""
    session.execute(delete(WatchedQuantity).where(WatchedQuantity.instrument_id == instrument_id))
    if watches:
        session.execute(insert(WatchedQuantity), [asdict(watch) for watch in watches])


def stored_watches(session: Session, instrument_ids: Sequence[UUID]) -> list[Watch]:
    """Return what is watched of some instruments, in order."""
    columns = [getattr(WatchedQuantity, name) for name in Watch.__dataclass_fields__]
    rows = session.execute(
        select(*columns)
        .where(WatchedQuantity.instrument_id.in_(instrument_ids))
        .order_by(WatchedQuantity.instrument_id, WatchedQuantity.number)
    )
    return [Watch(*row) for row in rows]
