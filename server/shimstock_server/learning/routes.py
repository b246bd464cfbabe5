"""What the shop has learned of its adjustments, and the samples that a human should look at."""

from __future__ import annotations

import math
from typing import Any
from uuid import UUID

from sqlalchemy import select

from shimstock_calc.belief.responses import half_time, late_share
from shimstock_server.database.tables.learning import LearnedResponse, ResponseSample, SampleReview
from shimstock_server.database.words import ResponseKind, ResponseLevel
from shimstock_server.web.blueprint import Answer, Blueprint
from shimstock_server.web.context import current
from shimstock_server.web.paging import page
from shimstock_server.web.visibility import exists, visibility

from . import schemas
from .marks import mark_job

blueprint = Blueprint("adjustment-responses", "How far readings follow adjustments, as the shop has learned")
BENCH = ("bench", "manager")

visibility("sample_id", exists(ResponseSample.id))

UNITS = {ResponseKind.ROD: "rod-response", ResponseKind.COMPLIANCE: "compliance"}
MOVED = {
    ResponseKind.ROD: "turns",
    ResponseKind.COMPLIANCE: "tension",
    ResponseKind.COUPLING: "relief",
}
VALUES = {
    ResponseKind.ROD: "relief",
    ResponseKind.COMPLIANCE: "relief",
    ResponseKind.COUPLING: "action",
}


@blueprint.operation(
    "GET", "/adjustment-responses", scopes=BENCH, query=schemas.AdjustmentResponseQuery,
    answer=schemas.AdjustmentResponsePage,
)  # fmt: skip
def get_adjustment_responses(query: dict[str, Any]) -> Answer:
    """List what the shop has learned: how far relief follows the rod, the pull, and action relief.

    A plan takes an instrument's own figures, else its model's, else the shop's, else the stated prior, as
    they were when the first reading of its job came. A worker keeps them at most some seconds behind the
    readings; a row is written when its figures move.
    """
    wanted = select(LearnedResponse)
    for name, column in (
        ("kind", LearnedResponse.kind),
        ("level", LearnedResponse.level),
        ("model_id", LearnedResponse.model_id),
    ):
        if query.get(name) is not None:
            wanted = wanted.where(column == query[name])
    return page(
        wanted,
        query,
        sort=(LearnedResponse.learned_at, LearnedResponse.subject),
        descending=True,
        show=_show_response,
    )


def _show_response(row: LearnedResponse) -> dict[str, Any]:
    coupling, rod = row.kind is ResponseKind.COUPLING, row.kind is ResponseKind.ROD
    parts, covariance = row.parts, row.covariance or []
    return {
        "kind": row.kind,
        "level": row.level,
        "model_id": row.model_id,
        "instrument_id": row.subject if row.level is ResponseLevel.INSTRUMENT else None,
        "unit_kind": UNITS.get(row.kind, "turns"),
        "mean": None if coupling else row.mean,
        "sd": None if coupling else row.sd,
        "mean_number": row.mean if coupling else None,
        "sd_number": row.sd if coupling else None,
        "late_share": round(late_share(parts), 3) if rod and parts else None,
        "half_time": half_time(parts) if rod and parts else None,
        "nut_mean_number": parts[1] if coupling and parts else None,
        "nut_sd_number": round(math.sqrt(covariance[2]), 4) if coupling and parts else None,
        "samples": row.samples,
        "learned_at": row.learned_at,
    }


@blueprint.operation(
    "GET", "/adjustment-responses/samples", scopes=BENCH, query=schemas.ResponseSampleQuery,
    answer=schemas.ResponseSamplePage,
)  # fmt: skip
def get_response_samples(query: dict[str, Any]) -> Answer:
    """List what each job says of its instrument's rod, coupling and compliance, the newest first.

    `flagged=true&reviewed=false` is the list of those that a human should look at: what they say is unlike
    the other instruments of their model, so that it counts little.
    """
    wanted: Any = select(ResponseSample, SampleReview).outerjoin(
        SampleReview, SampleReview.sample_id == ResponseSample.id
    )
    for name in ("kind", "model_id", "job_id"):
        if query.get(name) is not None:
            wanted = wanted.where(getattr(ResponseSample, name) == query[name])
    if (flagged := query.get("flagged")) is not None:
        wanted = wanted.where(
            ResponseSample.doubt.is_not(None) if flagged else ResponseSample.doubt.is_(None)
        )
    if (reviewed := query.get("reviewed")) is not None:
        seen = SampleReview.sample_id
        wanted = wanted.where(seen.is_not(None) if reviewed else seen.is_(None))
    return page(
        wanted,
        query,
        sort=(ResponseSample.at, ResponseSample.id),
        descending=True,
        rows=True,
        show=lambda row: show_sample(*row),
    )


def show_sample(sample: ResponseSample, review: SampleReview | None) -> dict[str, Any]:
    """A sample as it is answered."""
    names = (
        "id", "kind", "job_id", "instrument_id", "model_id", "at", "moved", "before", "after",
        "before_uncertainty", "after_uncertainty", "settled", "alone", "response", "expected", "adjustments",
        "doubt",
    )  # fmt: skip
    shown: dict[str, Any] = {name: getattr(sample, name) for name in names}
    return shown | {
        "moved_kind": MOVED[sample.kind],
        "value_kind": VALUES[sample.kind],
        "used": sample.used and not (review is not None and review.leave_out),
        "reviewed_at": None if review is None else review.reviewed_at,
        "review_note": None if review is None else review.note,
    }


@blueprint.operation(
    "POST", "/adjustment-responses/samples/<uuid:sample_id>/review", scopes=BENCH,
    body=schemas.SampleReviewIn, answer=schemas.ResponseSampleOut, writes=True, creates="key",
)  # fmt: skip
def post_sample_review(sample_id: UUID, body: dict[str, Any]) -> dict[str, Any]:
    """Say that a flagged sample was looked at, and whether it is left out; the last word counts."""
    sample = current.session.get_one(ResponseSample, sample_id)
    review = current.session.get(SampleReview, sample_id)
    if review is None:
        review = SampleReview(sample_id=sample_id)
        current.session.add(review)
    review.reviewed_at = current.now
    review.key_id = current.actor.key_id  # type: ignore[assignment]
    review.technician_id = current.actor.technician_id
    review.leave_out = body["leave_out"]
    review.note = body["note"]
    current.session.flush()
    mark_job(current.session, sample.job_id)
    return show_sample(sample, review)
