"""Readings, adjustments and the recommendation over HTTP."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from sqlalchemy import select

from shimstock_server.database.tables.bench import Adjustment, ReadingSheet
from shimstock_server.database.tables.jobs import Job
from shimstock_server.database.words import JobState
from shimstock_server.jobs import ClaimEnded, late_minutes, load_job
from shimstock_server.learning import drifts_at
from shimstock_server.web.blueprint import Answer, Blueprint
from shimstock_server.web.context import current
from shimstock_server.web.paging import page
from shimstock_server.web.problems import IdTaken, NotFound
from shimstock_server.web.visibility import exists, visibility

from . import adjustments, plan_schemas, schemas, sheets
from .problems import AdjustmentWithdrawn, ConsentNeeded, InstrumentUnknown, SheetSuperseded
from .recommendation import current_plan
from .rendering import render, show_state
from .surprises import surprises_on
from .what_if import plan_from_body
from .what_if_schemas import RecommendationIn
from .withdrawing import withdraw

blueprint = Blueprint("bench", "Reading sheets, adjustments and the recommendation of a job")
BENCH = ("bench", "manager")

visibility("sheet_id", exists(ReadingSheet.id))
visibility("adjustment_id", exists(Adjustment.id))


@blueprint.operation(
    "POST", "/jobs/<uuid:job_id>/reading-sheets", scopes=BENCH, body=schemas.ReadingSheetIn,
    answer=plan_schemas.PostedSheetOut, status=201, also={200: plan_schemas.PostedSheetOut}, writes=True,
    creates="client-id", conflicts=(IdTaken, SheetSuperseded, InstrumentUnknown),
)  # fmt: skip
def post_reading_sheet(job_id: UUID, body: dict[str, Any]) -> Answer:
    """Post a sheet of readings, all or nothing.

    Taken in every state of the job and from anybody: a measurement is never refused for a workflow reason.
    The id is the client's: the same sheet again answers 200 with what is stored, another content 409.

    `surprises` names the readings that do not fit the job's others, what was expected, and the likeliest
    slips: the moment to look again. They are kept all the same. `drifts` names the tools that were out of
    their limits when this bench last read their check piece. What each reading was expected to show before is
    kept with it, as it was: `/v1/reports/calibration` tells how often that was so.
    """
    job = load_job(current.session, job_id, for_change=True)
    sheet, new = sheets.record_sheet(
        current.session, job, body, fingerprint=current.fingerprint, actor=current.actor, now=current.now
    )
    return Answer(
        sheets.show_sheet(sheet, None if new else _superseded_by(sheet))
        | {
            "surprises": surprises_on(current.session, job, sheet, current.units, new=new),
            "drifts": drifts_at(
                current.session,
                sheet.bench_id,
                {each.tool_id for each in sheet.readings if each.tool_id is not None},
                {each.quantity for each in sheet.readings},
                current.units,
            ),
        },
        status=201 if new else 200,
        location=f"/v1/jobs/{job_id}/reading-sheets/{sheet.id}",
    )


@blueprint.operation(
    "GET", "/jobs/<uuid:job_id>/reading-sheets", scopes=BENCH, answer=schemas.ReadingSheetList
)
def get_reading_sheets(job_id: UUID) -> dict[str, Any]:
    """List the sheets of a job, the oldest first, corrected ones included."""
    found = sheets.sheets_of(current.session, job_id)
    later = {sheet.supersedes_id: sheet.id for sheet in found if sheet.supersedes_id is not None}
    return {"items": [sheets.show_sheet(sheet, later.get(sheet.id)) for sheet in found]}


@blueprint.operation(
    "GET", "/jobs/<uuid:job_id>/reading-sheets/<uuid:sheet_id>", scopes=BENCH,
    answer=schemas.ReadingSheetOut,
)  # fmt: skip
def get_reading_sheet(job_id: UUID, sheet_id: UUID) -> dict[str, Any]:
    """Read one sheet."""
    sheet = current.session.get_one(ReadingSheet, sheet_id)
    if sheet.job_id != job_id:
        raise NotFound
    return sheets.show_sheet(sheet, _superseded_by(sheet))


@blueprint.operation(
    "GET", "/jobs/<uuid:job_id>/readings", scopes=BENCH, query=schemas.ReadingQuery,
    answer=schemas.StandingReadingList,
)  # fmt: skip
def get_readings(job_id: UUID, query: dict[str, Any]) -> dict[str, Any]:
    """List the readings of a job that no correction has replaced, the oldest first."""
    return {"items": sheets.standing_readings(current.session, job_id, wish=query)}


@blueprint.operation(
    "POST", "/jobs/<uuid:job_id>/adjustments", scopes=BENCH, body=schemas.AdjustmentIn,
    answer=schemas.AdjustmentOut, status=201, also={200: schemas.AdjustmentOut}, writes=True,
    creates="client-id",
    conflicts=(IdTaken, ClaimEnded, ConsentNeeded, InstrumentUnknown, AdjustmentWithdrawn),
)  # fmt: skip
def post_adjustment(job_id: UUID, body: dict[str, Any]) -> Answer:
    """Say what was done, under the claim that holds the job.

    Signs: rod and claw positive = tighten; heights positive = raise; saddle position positive = away from
    the nut; filing and sanding: what was taken off, positive.

    Filing a nut slot, taking something off a saddle and work on frets cannot be undone: without a consent
    that names the step, or a general one, the answer is 409 `consent-needed`, its `covers` says which would
    do, and nothing is stored. An instrument with `named_consents` needs one that names the step. There, and
    where strings go in courses, strings that pull harder than those before, or nobody knows how hard, need
    one that names `high-pull`. Consents are recorded under `/v1/jobs/{job_id}/consents`.
    """
    job = load_job(current.session, job_id, for_change=True)
    adjustment, new = adjustments.record_adjustment(
        current.session, job, body, fingerprint=current.fingerprint, actor=current.actor, now=current.now
    )
    shown = adjustments.find_adjustment(current.session, job, adjustment.id)
    return Answer(shown, status=201 if new else 200)


@blueprint.operation("GET", "/jobs/<uuid:job_id>/adjustments", scopes=BENCH, answer=schemas.AdjustmentList)
def get_adjustments(job_id: UUID) -> dict[str, Any]:
    """List what was told of the work on a job, the first first; what was taken back says so."""
    return {"items": adjustments.all_adjustments(current.session, load_job(current.session, job_id))}


@blueprint.operation(
    "POST", "/jobs/<uuid:job_id>/adjustments/<uuid:adjustment_id>/withdrawal", scopes=BENCH,
    body=schemas.AdjustmentWithdrawalIn, answer=schemas.AdjustmentOut, writes=True,
    conflicts=(AdjustmentWithdrawn,),
)  # fmt: skip
def withdraw_adjustment(job_id: UUID, adjustment_id: UUID, body: dict[str, Any]) -> Answer:
    """Take back an adjustment that was told and not done; it stays on record and counts no more.

    What was done otherwise is told as a new adjustment whose `supersedes` names it. Strings that it put on
    are the instrument's no more, unless others were put on since.
    """
    job = load_job(current.session, job_id, for_change=True)
    withdraw(current.session, job, adjustment_id, body["reason"], actor=current.actor, now=current.now)
    return Answer(adjustments.find_adjustment(current.session, job, adjustment_id))


@blueprint.operation(
    "GET", "/jobs/<uuid:job_id>/recommendation", scopes=BENCH, query=plan_schemas.RecommendationQuery,
    answer=plan_schemas.RecommendationOut, conflicts=(InstrumentUnknown,),
)  # fmt: skip
def get_recommendation(job_id: UUID, query: dict[str, Any]) -> Answer:
    """Read the plan from the newest readings: what to do next, in which order, how far, and why."""
    made = current_plan(current.session, load_job(current.session, job_id))
    state = show_state(made) if query.get("with_") and made.began else None
    return Answer(render(made, current.units) | {"job_id": job_id, "state": state}, digest=made.digest)


@blueprint.operation(
    "POST", "/recommendations", scopes=BENCH, body=RecommendationIn,
    answer=plan_schemas.RecommendationOut,
)  # fmt: skip
def post_recommendation(body: dict[str, Any]) -> Answer:
    """Make a plan from the request alone, storing nothing.

    For a shop that keeps its own records: with the readings, adjustments and times of a job, and with the
    tools that took them, the plan is the one that the job would get here.
    """
    made = plan_from_body(current.session, body, bench_id=current.actor.bench_id, now=current.now)
    return Answer(render(made, current.units) | {"job_id": None, "state": None}, digest=made.digest)


@blueprint.operation(
    "GET", "/settling", scopes=BENCH, query=schemas.SettlingQuery, answer=schemas.SettlingPage
)
def get_settling(query: dict[str, Any]) -> Answer:
    """List the jobs that rest until their neck has settled, the first due first."""
    resting = select(Job).where(Job.state == JobState.SETTLING)
    if query.get("due"):
        resting = resting.where(Job.available_at <= current.now)
    elif query.get("due") is False:
        resting = resting.where(Job.available_at > current.now)
    return page(resting, query, sort=(Job.available_at, Job.id), show=_settling)


def _settling(job: Job) -> dict[str, Any]:
    available_at = job.available_at or current.now
    return {
        "job_id": job.id,
        "number": job.number,
        "available_at": available_at,
        "due": available_at <= current.now,
        "late_minutes": late_minutes(current.session, available_at, current.now),
        "last_technician_id": job.last_technician_id,
        "instrument_id": job.instrument_id,
    }


def _superseded_by(sheet: ReadingSheet) -> UUID | None:
    return current.session.scalar(select(ReadingSheet.id).where(ReadingSheet.supersedes_id == sheet.id))
