"""From a job's rows to its plan: what the plan depends on, in an order that any machine finds again."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import datetime, timedelta
from importlib.metadata import version
from typing import Any
from uuid import UUID

from sqlalchemy.orm import Session

from shimstock_calc.plan import model as plan_model
from shimstock_calc.plan.build import make_plan
from shimstock_server.catalogue import (
    plan_instrument,
    plan_other_sets,
    plan_string_set,
)
from shimstock_server.database.tables.bench import Adjustment, Reading, ReadingSheet
from shimstock_server.database.tables.jobs import Consent, Job
from shimstock_server.database.tables.owners import Instrument
from shimstock_server.database.tables.shop import Shop
from shimstock_server.database.words import ConsentKind, Method
from shimstock_server.jobs import standing_consents
from shimstock_server.learning import BenchTools, kept_tools, learned_responses, minutes_for
from shimstock_server.shop import plan_settings, settings

from .problems import InstrumentUnknown
from .pulls import pull_changes
from .sheets import sheets_of, standing
from .spec import spec_of_job
from .withdrawing import adjustments_of


@dataclass(frozen=True)
class Recommendation:
    """A plan, what it was made from, and the digest that names both."""

    digest: str
    source: plan_model.PlanInput
    plan: plan_model.Plan
    began: datetime | None
    """When the plan's clock started, at the oldest entry; None = there is no entry."""

    def at(self, minutes: float | None) -> datetime | None:
        """A moment of the plan's clock; None stays None."""
        if self.began is None or minutes is None:
            return None
        return self.began + timedelta(minutes=minutes)

    def as_stored(self) -> dict[str, Any]:
        """The plan and its input as they are kept beside the adjustments that followed it."""
        return {"input": asdict(self.source), "plan": asdict(self.plan)}


def current_plan(session: Session, job: Job) -> Recommendation:
    """The plan from the newest readings of a job.

    Raises
    ------
    InstrumentUnknown
        When the job has no instrument yet.
    InstrumentIncomplete
        When the model lacks what the plan needs; names the fields.
    Contradiction
        When readings cannot all be true of one instrument; names the field.
    """
    return make(*_gather(session, job))


def make(source: plan_model.PlanInput, began: datetime | None) -> Recommendation:
    """Make the plan and its digest; the same input gives the same digest on any machine."""
    content = json.dumps(asdict(source), sort_keys=True, allow_nan=False, ensure_ascii=True)
    digest = hashlib.sha256(f"{version('shimstock')}\n{content}".encode()).hexdigest()
    return Recommendation(digest, source, make_plan(source), began)


def gather(session: Session, job: Job) -> plan_model.PlanInput:
    """Everything that the plan of a job depends on."""
    return _gather(session, job)[0]


def _gather(session: Session, job: Job) -> tuple[plan_model.PlanInput, datetime | None]:
    source, sheets, timeline = _entries(session, job)
    instrument = session.get_one(Instrument, job.instrument_id)
    restrung = any(adjustment.part == "strings" for adjustment in source.adjustments)
    source = replace(
        source,
        findings=tuple(
            plan_finding(finding, sheet, timeline) for sheet in sheets for finding in sheet.findings
        ),
        looked_over=any(sheet.looked_over for sheet in sheets),
        wanted=plan_model.Wanted() if restrung else _wanted(session, job, instrument),
        other_sets=plan_other_sets(session, instrument),
        consents=tuple(_consents(standing_consents(session, job.id))),
        settings=plan_settings(settings(session), minutes_for(session, job)),
    )
    responses = learned_responses(session, instrument.model_id, instrument.id, source, job_id=job.id)
    return replace(source, responses=responses), timeline.began


def entries_of_job(session: Session, job: Job) -> plan_model.PlanInput:
    """The instrument, its targets, and what was read and done on a job, without what was learned before.

    Raises
    ------
    InstrumentUnknown
        When the job has no instrument yet.
    InstrumentIncomplete
        When the model lacks what the plan needs; names the fields.
    """
    return _entries(session, job)[0]


def _entries(session: Session, job: Job) -> tuple[plan_model.PlanInput, list[ReadingSheet], Timeline]:
    if job.instrument_id is None:
        raise InstrumentUnknown
    instrument = session.get_one(Instrument, job.instrument_id)
    geometry = plan_instrument(session, instrument)
    sheets = standing(sheets_of(session, job.id))
    done = adjustments_of(session, job.id)
    source = source_of_readings(
        geometry,
        spec_of_job(session, job, instrument),
        sheets,
        done,
        shop=settings(session),
        tools=kept_tools(session, [job.id]),
    )
    pulls = pull_changes(session, instrument, sheets, done)
    return (
        replace(
            source,
            adjustments=tuple(replace(each, pull_change=pulls.get(each.id)) for each in source.adjustments),
        ),
        sheets,
        Timeline(sheets, done),
    )


def source_of_readings(
    geometry: plan_model.Instrument,
    spec: tuple[plan_model.SpecItem, ...],
    sheets: Sequence[ReadingSheet],
    adjustments: Sequence[Adjustment],
    *,
    shop: Shop,
    tools: BenchTools,
) -> plan_model.PlanInput:
    """What verdicts depend on: the instrument, its targets, what was read and what was done."""
    timeline = Timeline(sheets, adjustments)
    return plan_model.PlanInput(
        instrument=geometry,
        spec=spec,
        readings=tuple(
            plan_reading(reading, sheet, timeline, tools) for sheet in sheets for reading in sheet.readings
        ),
        adjustments=tuple(plan_adjustment(adjustment, timeline) for adjustment in adjustments),
        settings=plan_settings(shop),
    )


class Timeline:
    """The order of everything that was read and done, by (time, id), and minutes since the first of it."""

    def __init__(self, sheets: Iterable[ReadingSheet], adjustments: Iterable[Adjustment]) -> None:
        # of a reading and an adjustment at the same instant the reading is taken as the older, hence stale
        events = sorted(
            [(sheet.counts_at, 0, str(sheet.id)) for sheet in sheets]
            + [(adjustment.counts_at, 1, str(adjustment.id)) for adjustment in adjustments]
        )
        self._rank = {(at, identifier): number for number, (at, _, identifier) in enumerate(events)}
        self.began = events[0][0] if events else None

    def order(self, at: datetime, identifier: UUID) -> int:
        return self._rank[at, str(identifier)]

    def minutes(self, at: datetime) -> float:
        return 0.0 if self.began is None else (at - self.began).total_seconds() / 60


def plan_reading(
    reading: Reading, sheet: ReadingSheet, timeline: Timeline, tools: BenchTools
) -> plan_model.Reading:
    """A reading as the plan takes it, less what its bench is known to read too high.

    Tools scatter more or less than is declared; where a study has measured how well the bench repeats, that
    stands.
    """
    measured = reading.repeatability_source is not None
    offset = tools.offset(sheet.job_id, sheet.bench_id, reading.tool_id, reading.quantity)
    value = reading.value if offset is None else round(reading.value - offset.mean, 6)
    return plan_model.Reading(
        id=f"{sheet.id}/{reading.number}",
        quantity=reading.quantity.value,
        value=None if reading.zero_or_less else value,
        order=timeline.order(sheet.counts_at, sheet.id),
        at=timeline.minutes(sheet.counts_at),
        side=reading.side.value if reading.side is not None else None,
        string=reading.string,
        pickup=reading.pickup,
        fret=reading.fret,
        held=tuple(fret for fret in (reading.hold_low, reading.hold_high) if fret is not None),
        method=METHODS[reading.method] if reading.method is not None else None,
        zero_or_less=reading.zero_or_less,
        tool=reading.tool_name,
        resolution=reading.resolution,
        repeatability=reading.repeatability,
        repeatability_source=reading.repeatability_source,
        noise=1.0 if measured else tools.noise(sheet.job_id, sheet.bench_id, reading.tool_id),
        position=sheet.position.value,
        capo=reading.capo,
        at_pitch=sheet.at_pitch,
        acclimatised=sheet.acclimatised,
        humidity=sheet.room_humidity,
        confirmed=reading.confirmed,
        accepted=reading.accepted,
        offset=offset,
    )


def plan_adjustment(adjustment: Adjustment, timeline: Timeline) -> plan_model.Adjustment:
    """Something that was done, as the plan takes it."""
    return plan_model.Adjustment(
        id=str(adjustment.id),
        part=adjustment.part.value,
        order=timeline.order(adjustment.counts_at, adjustment.id),
        at=timeline.minutes(adjustment.counts_at),
        turns=adjustment.turns,
        amount=adjustment.amount,
        side=adjustment.side.value if adjustment.side is not None else None,
        string=adjustment.string,
        pickup=adjustment.pickup,
    )


def plan_finding(finding: dict[str, Any], sheet: ReadingSheet, timeline: Timeline) -> plan_model.Finding:
    """Something that the look over found, as the plan takes it."""
    return plan_model.Finding(
        code=finding["code"],
        order=timeline.order(sheet.counts_at, sheet.id),
        fret=finding.get("fret"),
        string=finding.get("string"),
        note=finding.get("note") or "",
    )


STEPS: dict[ConsentKind, Any] = {
    ConsentKind.GENERAL: (),
    ConsentKind.NUT_FILING: ("nut-filing",),
    ConsentKind.SADDLE_FILING: ("saddle-filing",),
    ConsentKind.FRET_WORK: ("fret-work",),
    ConsentKind.HIGH_PULL: ("high-pull",),
}

METHODS: dict[Method, Any] = {
    Method.STRING: "string",
    Method.STRAIGHTEDGE: "straightedge",
    Method.OPEN_STRING: "open string",
    Method.TUNER: "tuner",
}


def _wanted(session: Session, job: Job, instrument: Instrument) -> plan_model.Wanted:
    wants = job.wants
    set_id = UUID(wants["string_set_id"]) if wants.get("string_set_id") else None
    tuning_id = UUID(wants["tuning_id"]) if wants.get("tuning_id") else None
    fitted = instrument.string_set_id or instrument.model.string_set_id
    tuned = instrument.tuning_id or instrument.model.tuning_id
    strings, tuning = set_id or fitted, tuning_id or tuned
    if strings is None or tuning is None or (strings, tuning) == (fitted, tuned):
        return plan_model.Wanted(restring=bool(wants.get("restring")))
    return plan_model.Wanted(
        restring=True,
        strings=plan_string_set(session, strings, tuning, instrument.model.courses),
    )


def _consents(standing_by_kind: dict[ConsentKind, Consent]) -> Iterable[plan_model.Consent]:
    for covers in ConsentKind:
        consent = standing_by_kind.get(covers)
        if consent is not None:
            yield plan_model.Consent(
                id=str(consent.id),
                given=consent.given,
                steps=STEPS[covers],
            )
