"""Pooling what the jobs say, and what the plan takes from it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any
from uuid import UUID

from sqlalchemy import delete, func, insert, or_, select, update
from sqlalchemy.orm import Session

from shimstock_calc.belief._small import triangle
from shimstock_calc.belief.learned import DOUBTED, Learned, Pool, Row, pool
from shimstock_calc.belief.responses import Message, stated
from shimstock_calc.plan import model as plan
from shimstock_calc.plan.geometry import conversion, side_scale
from shimstock_calc.plan.goals import neck_place, whole_place
from shimstock_server.database.history import follow
from shimstock_server.database.tables.jobs import Job
from shimstock_server.database.tables.learning import JobPrior, LearnedResponse, ResponseSample, SampleReview
from shimstock_server.database.tables.owners import Instrument
from shimstock_server.database.words import ResponseKind, ResponseLevel
from shimstock_server.shop import learned_minutes

from .noises import noises_now
from .offsets import learned_offsets, six_digits
from .parts import in_parts

PER_MODEL = 1000
"""Newest jobs of a model that are pooled: it bounds the work, and old woodwork does not weigh for ever."""

SHOP = UUID(int=0)

DIGITS = {ResponseKind.ROD: 4, ResponseKind.COUPLING: 4, ResponseKind.COMPLIANCE: 7}
"""Decimals of the means that are kept; covariances have twice as many, less two."""

LEAST_RESPONSE = 0.05
"""A rod that answers by less is not reckoned with: the prior stays [mm per turn]."""

MOVES = ("mean", "sd", "model_id", "parts", "covariance", "samples")
"""What a row of what was learned is written anew for."""

PLACES = {"instrument": "this instrument", "model": "this model", "shop": "other models"}


@dataclass(frozen=True)
class Kept:
    """What is kept of a kind: beliefs by subject, and why some instruments' samples are doubted."""

    rows: Mapping[UUID, Mapping[str, Any]]
    doubts: Mapping[UUID, str]


def pooled(session: Session, kind: ResponseKind) -> Kept:
    """Pool all messages of a kind: what is believed of the shop, its models and its instruments."""
    rank = (
        func.row_number()
        .over(
            partition_by=ResponseSample.model_id,
            order_by=(ResponseSample.at.desc(), ResponseSample.id.desc()),
        )
        .label("rank")
    )
    newest = (
        select(
            ResponseSample.model_id,
            ResponseSample.instrument_id,
            ResponseSample.job_id,
            ResponseSample.precision,
            ResponseSample.pull,
            rank,
        )
        .outerjoin(SampleReview, SampleReview.sample_id == ResponseSample.id)
        .where(
            ResponseSample.kind == kind,
            ResponseSample.precision.is_not(None),
            func.coalesce(SampleReview.leave_out, False).is_(False),
        )
        .subquery()
    )
    rows = [
        Row(str(row.model_id), str(row.instrument_id), str(row.job_id), Message(row.precision, row.pull))
        for row in session.execute(select(newest).where(newest.c.rank <= PER_MODEL))
    ]
    found = pool(rows, stated()[kind.value])
    return _kept(kind, found, {row.instrument: row.model for row in rows})


def _kept(kind: ResponseKind, found: Pool, models: Mapping[str, str]) -> Kept:
    rows: dict[UUID, Mapping[str, Any]] = {}
    if found.models:
        rows[SHOP] = _row(kind, found.shop, ResponseLevel.SHOP, None)
    for name, of_model in found.models.items():
        rows[UUID(name)] = _row(kind, of_model, ResponseLevel.MODEL, UUID(name))
    doubts = {}
    for name, own in found.instruments.items():
        rows[UUID(name)] = _row(kind, own, ResponseLevel.INSTRUMENT, UUID(models[name]))
        if own.weight < DOUBTED:
            doubts[UUID(name)] = _doubt(kind, rows[UUID(name)], rows[UUID(models[name])])
    return Kept(rows, doubts)


def _row(kind: ResponseKind, learned: Learned, level: ResponseLevel, model_id: UUID | None) -> dict[str, Any]:
    digits = DIGITS[kind]
    parts = [round(each, digits) for each in learned.block.mean]
    covariance = [round(each, 2 * digits - 2) for each in triangle(learned.block.covariance)]
    mean, variance = whole(kind, parts, covariance)
    return {
        "level": level,
        "model_id": model_id,
        "mean": mean,
        "sd": round(max(math.sqrt(max(variance, 0.0)), 10.0**-digits), digits),
        "parts": parts,
        "covariance": covariance,
        "samples": learned.jobs,
    }


def whole(kind: ResponseKind, parts: Sequence[float], covariance: Sequence[float]) -> tuple[float, float]:
    """Mean and variance of all that a rod gives; of another kind those of its first number."""
    if kind is not ResponseKind.ROD:
        return parts[0], covariance[0]
    (a, b, c, d, e, f) = covariance
    return round(sum(parts), DIGITS[kind]), a + c + f + 2.0 * (b + d + e)


_DOUBTS = {
    ResponseKind.ROD: "a turn moves relief by {own:.2f} mm, {usual:.2f} on others of the model: is the rod "
    "reversed or stuck, or was a reading mistyped?",
    ResponseKind.COUPLING: "action rises by {own:+.2f} mm per mm of relief beyond the geometry, {usual:+.2f} "
    "on others of the model: was the bridge moved too, or a reading mistyped?",
    ResponseKind.COMPLIANCE: "relief rises by {own:.5f} mm per newton of pull, {usual:.5f} on others of the "
    "model: was the rod turned too, or a reading mistyped?",
}


def _doubt(kind: ResponseKind, own: Mapping[str, Any], usual: Mapping[str, Any]) -> str:
    return _DOUBTS[kind].format(own=own["mean"], usual=usual["mean"])


def keep_learned(session: Session, kind: ResponseKind, wanted: Kept, *, now: datetime) -> None:
    """Write what moved, and mark the samples of instruments that are unlike the others."""
    columns = [LearnedResponse.__table__.c[name] for name in ("subject", *MOVES)]
    rows = session.execute(select(*columns).where(LearnedResponse.kind == kind))
    known = {row.subject: row._mapping for row in rows}
    new, moved = [], []
    for subject, row in wanted.rows.items():
        values = {"kind": kind, "subject": subject, "learned_at": now, **row}
        if subject not in known:
            new.append(values)
        elif any(known[subject][name] != row[name] for name in MOVES):
            moved.append(values)
    for some in in_parts(known.keys() - wanted.rows.keys()):
        session.execute(
            delete(LearnedResponse).where(LearnedResponse.kind == kind, LearnedResponse.subject.in_(some))
        )
    if new:
        session.execute(insert(LearnedResponse), new)
    if moved:
        session.execute(update(LearnedResponse), moved)
    _mark_doubts(session, kind, wanted.doubts)


def _mark_doubts(session: Session, kind: ResponseKind, doubts: Mapping[UUID, str]) -> None:
    """Doubt the samples of these instruments and no others; what was left out keeps its doubt."""
    left_out = select(SampleReview.sample_id).where(SampleReview.leave_out)
    rows = session.execute(
        select(ResponseSample.id, ResponseSample.instrument_id, ResponseSample.doubt).where(
            ResponseSample.kind == kind,
            or_(ResponseSample.doubt.is_not(None), ResponseSample.instrument_id.in_(doubts)),
            ResponseSample.id.not_in(left_out),
        )
    )
    changed = [
        {"id": row.id, "doubt": doubts.get(row.instrument_id)}
        for row in rows
        if row.doubt != doubts.get(row.instrument_id)
    ]
    if changed:
        session.execute(update(ResponseSample), changed)


@follow("job.readings")
def keep_prior(session: Session, job: Job) -> None:
    """Keep what is learned when a job's first reading comes: from then on its plan stays with it."""
    if job.instrument_id is None:
        return
    kept = session.get(JobPrior, job.id)
    if kept is not None and kept.instrument_id == job.instrument_id:
        return
    instrument = session.get_one(Instrument, job.instrument_id)
    session.merge(
        JobPrior(
            job_id=job.id,
            instrument_id=instrument.id,
            learned=_learned(session, instrument.model_id, instrument.id)
            | {"minutes": learned_minutes(session)},
            noise=noises_now(session),
            benches=learned_offsets(session),
            kept_at=session.info["now"],
        )
    )


def _learned(session: Session, model_id: UUID | None, instrument_id: UUID | None) -> dict[str, Any]:
    """What is learned now, by kind: of the instrument, else of its model, else of the shop."""
    subjects = [each for each in (SHOP, model_id, instrument_id) if each is not None]
    rows = session.scalars(
        select(LearnedResponse).where(
            LearnedResponse.subject.in_(subjects), LearnedResponse.parts.is_not(None)
        )
    )
    return {
        row.kind.value: {
            "level": row.level.value,
            "parts": row.parts,
            "covariance": row.covariance,
            "samples": row.samples,
        }
        for row in sorted(rows, key=lambda each: subjects.index(each.subject))
    }


def learned_responses(
    session: Session,
    model_id: UUID | None,
    instrument_id: UUID | None,
    source: plan.PlanInput,
    *,
    job_id: UUID | None = None,
) -> plan.Responses:
    """How an instrument answers, as its plan takes it; what was not learned stays at its prior.

    The figures are part of the plan's input, and so of its digest.

    Parameters
    ----------
    model_id, instrument_id : UUID or None
        As far as they are known.
    source : PlanInput
        Whose spec says where relief is read.
    job_id : UUID or None
        A job that has readings stays with what was learned when the first of them came.
    """
    prior = None if job_id is None else session.get(JobPrior, job_id)
    if prior is not None and prior.instrument_id == instrument_id:
        learned = prior.learned
    else:
        learned = _learned(session, model_id, instrument_id)
    scale, joint = side_scale(source.instrument, None), source.instrument.body_joint_fret
    factor = conversion(scale, joint, neck_place(source.instrument), whole_place(source))
    responses = plan.Responses()
    if (rod := learned.get("rod")) is not None and sum(rod["parts"]) <= -LEAST_RESPONSE:
        responses = replace(responses, rod=_rod(rod, factor))
    if (coupled := learned.get("coupling")) is not None:
        action, nut = (six_digits(each / factor) for each in coupled["parts"])
        own, _, other = (six_digits(math.sqrt(max(each, 0.0)) / factor) for each in coupled["covariance"])
        responses = replace(responses, coupling=(action, nut), coupling_sd=own, nut_coupling_sd=other)
    pull = learned.get("compliance")
    if pull is not None and pull["level"] != ResponseLevel.SHOP and pull["parts"][0] > 0:
        responses = replace(
            responses,
            neck_compliance=six_digits(pull["parts"][0] * factor),
            neck_compliance_sd=six_digits(math.sqrt(pull["covariance"][0]) * factor),
            neck_compliance_source=_told(pull),
        )
    return responses


def _rod(learned: Mapping[str, Any], factor: float) -> plan.RodResponse:
    """The rod's response where the spec's reading fret is, held at the first and last."""
    parts = tuple(six_digits(each * factor) for each in learned["parts"])
    covariance = tuple(six_digits(each * factor * factor) for each in learned["covariance"])
    mean, variance = whole(ResponseKind.ROD, parts, covariance)
    return plan.RodResponse(
        mean=mean,
        sd=six_digits(math.sqrt(max(variance, 0.0))),
        samples=learned["samples"],
        source=_told(learned),
        parts=parts,
        covariance=covariance,
    )


def _told(learned: Mapping[str, Any]) -> str:
    count = learned["samples"]
    return f"learned from {count} job{'' if count == 1 else 's'} on {PLACES[learned['level']]}"
