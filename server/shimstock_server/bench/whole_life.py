"""Everything that was read and done on an instrument, whichever job it belonged to."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from shimstock_calc.plan import model as plan_model
from shimstock_server.catalogue import plan_instrument, resolve_spec, spec_items
from shimstock_server.database.tables.bench import Adjustment, ReadingSheet, oldest_first, stands
from shimstock_server.database.tables.jobs import Job
from shimstock_server.database.tables.owners import Instrument
from shimstock_server.learning import kept_tools
from shimstock_server.shop import settings

from .recommendation import Timeline, plan_adjustment, plan_reading
from .sheets import standing


@dataclass(frozen=True)
class WholeLife:
    """An instrument's readings and adjustments as the plan takes them, and when each reading was taken."""

    source: plan_model.PlanInput
    taken_at: dict[str, datetime]


def whole_life(session: Session, instrument: Instrument) -> WholeLife:
    """Return what all jobs of an instrument have read and done, against the spec that applies now.

    Raises
    ------
    InstrumentIncomplete
        When the catalogue lacks what the geometry needs; names the fields.
    """
    geometry = plan_instrument(session, instrument)
    jobs = select(Job.id).where(Job.instrument_id == instrument.id)
    sheets = standing(
        oldest_first(session.scalars(select(ReadingSheet).where(ReadingSheet.job_id.in_(jobs))))
    )
    adjustments = oldest_first(
        session.scalars(select(Adjustment).where(Adjustment.job_id.in_(jobs), stands(Adjustment)))
    )
    shop, timeline = settings(session), Timeline(sheets, adjustments)
    spec = resolve_spec(
        session, kind=instrument.model.kind, model_id=instrument.model_id, instrument_id=instrument.id
    )
    tools = kept_tools(session, {sheet.job_id for sheet in sheets})
    readings = [
        (plan_reading(reading, sheet, timeline, tools), sheet.counts_at)
        for sheet in sheets
        for reading in sheet.readings
    ]
    source = plan_model.PlanInput(
        instrument=geometry,
        spec=spec_items(spec),
        readings=tuple(reading for reading, _ in readings),
        adjustments=tuple(plan_adjustment(adjustment, timeline) for adjustment in adjustments),
        settings=plan_model.Settings(humidity_low=shop.humidity_low, humidity_high=shop.humidity_high),
    )
    return WholeLife(source, {reading.id: taken_at for reading, taken_at in readings})
