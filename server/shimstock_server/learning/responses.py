"""Pooling the samples of the shop, and what the plan takes from it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any
from uuid import UUID

from sqlalchemy import delete, func, insert, select, update
from sqlalchemy.orm import Session

from shimstock_calc.plan import model as plan
from shimstock_calc.plan.geometry import ReliefPlace, conversion
from shimstock_calc.plan.goals import relief_place
from shimstock_calc.pooling import Belief, Nested, Prior, pool_nested
from shimstock_server.database.tables.learning import LearnedResponse, ResponseSample, SampleReview
from shimstock_server.database.words import ResponseKind, ResponseLevel

from .runs import Neck
from .samples import COUPLING_PRIOR, WAYS

PER_MODEL = 100
"""Newest samples of a model that are pooled: it bounds the work, and old woodwork does not weigh for ever."""

SHOP = UUID(int=0)

DIGITS = {ResponseKind.ROD: 2, ResponseKind.COUPLING: 2, ResponseKind.COMPLIANCE: 5}
"""Decimals that are kept: a figure that moves by less does not change a plan."""

LEAST_RESPONSE = 0.05
"""A rod that answers by less is not reckoned with: the prior stays [mm per turn]."""

PLACES = {
    ResponseLevel.INSTRUMENT: "of this instrument",
    ResponseLevel.MODEL: "of this model",
    ResponseLevel.SHOP: "of other models",
}


@dataclass(frozen=True)
class Learned:
    """A belief as it is kept."""

    level: ResponseLevel
    model_id: UUID | None
    mean: float
    sd: float
    samples: int


def prior_of(kind: ResponseKind) -> Prior:
    """What is believed of a kind without samples."""
    stated = COUPLING_PRIOR if kind is ResponseKind.COUPLING else WAYS[kind].prior
    return Prior(stated.mean, stated.sd)


def pooled(session: Session, kind: ResponseKind) -> dict[UUID, Learned]:
    """Pool all samples of a kind: what is believed of the shop, its models and its instruments."""
    samples = _newest(session, kind)
    nested = pool_nested(
        [row.response - (row.expected if kind is ResponseKind.COUPLING else 0.0) for row in samples],
        [row.variance for row in samples],
        [row.instrument_id for row in samples],
        [row.model_id for row in samples],
        prior_of(kind),
    )
    return _beliefs(nested, kind, {row.instrument_id: row.model_id for row in samples})


def _newest(session: Session, kind: ResponseKind) -> Sequence[Any]:
    rank = (
        func.row_number()
        .over(
            partition_by=ResponseSample.model_id,
            order_by=(ResponseSample.at.desc(), ResponseSample.id.desc()),
        )
        .label("rank")
    )
    ranked = (
        select(
            ResponseSample.id,
            ResponseSample.at,
            ResponseSample.response,
            ResponseSample.variance,
            ResponseSample.expected,
            ResponseSample.instrument_id,
            ResponseSample.model_id,
            rank,
        )
        .outerjoin(SampleReview, SampleReview.sample_id == ResponseSample.id)
        .where(
            ResponseSample.kind == kind,
            ResponseSample.used,
            func.coalesce(SampleReview.leave_out, False).is_(False),
        )
        .subquery()
    )
    return session.execute(
        select(ranked).where(ranked.c.rank <= PER_MODEL).order_by(ranked.c.at, ranked.c.id)
    ).all()


def _beliefs(nested: Nested, kind: ResponseKind, models: dict[UUID, UUID]) -> dict[UUID, Learned]:
    def row(belief: Belief, level: ResponseLevel, model_id: UUID | None) -> Learned:
        digits = DIGITS[kind]
        least = 10.0**-digits
        return Learned(
            level, model_id, round(belief.mean, digits), max(least, round(belief.sd, digits)), belief.samples
        )

    if nested.shop.level == "prior":
        return {}
    found = {SHOP: row(nested.shop, ResponseLevel.SHOP, None)}
    for model_id, belief in nested.models.items():
        assert isinstance(model_id, UUID)
        found[model_id] = row(belief, ResponseLevel.MODEL, model_id)
    for instrument_id, belief in nested.instruments.items():
        assert isinstance(instrument_id, UUID)
        found[instrument_id] = row(belief, ResponseLevel.INSTRUMENT, models[instrument_id])
    return found


def keep_learned(
    session: Session, kind: ResponseKind, wanted: Mapping[UUID, Learned], *, now: datetime
) -> None:
    """Write what moved. A row tells the samples that its figures were learned from."""
    known = {
        row.subject: (row.mean, row.sd, row.model_id)
        for row in session.execute(
            select(
                LearnedResponse.subject, LearnedResponse.mean, LearnedResponse.sd, LearnedResponse.model_id
            ).where(LearnedResponse.kind == kind)
        )
    }
    gone = [subject for subject in known if subject not in wanted]
    new, moved = [], []
    for subject, row in wanted.items():
        values = {
            "mean": row.mean,
            "sd": row.sd,
            "samples": row.samples,
            "learned_at": now,
            "level": row.level,
            "model_id": row.model_id,
        }
        if subject not in known:
            new.append({"kind": kind, "subject": subject, **values})
        elif known[subject] != (row.mean, row.sd, row.model_id):
            moved.append({"kind": kind, "subject": subject, **values})
    for start in range(0, len(gone), 500):
        session.execute(
            delete(LearnedResponse).where(
                LearnedResponse.kind == kind, LearnedResponse.subject.in_(gone[start : start + 500])
            )
        )
    if new:
        session.execute(insert(LearnedResponse), new)
    if moved:
        session.execute(update(LearnedResponse), moved)


def learned_responses(
    session: Session, model_id: UUID | None, instrument_id: UUID | None, source: plan.PlanInput
) -> plan.Responses:
    """How an instrument answers, as its plan takes it; what nobody has learned yet stays at its prior.

    The figures are part of the plan's input, and so of its digest.

    Parameters
    ----------
    model_id, instrument_id : UUID or None
        As far as they are known.
    source : PlanInput
        Whose spec says where relief is read.
    """
    found: dict[ResponseKind, LearnedResponse] = {}
    subjects = [each for each in (SHOP, model_id, instrument_id) if each is not None]
    rows = session.scalars(select(LearnedResponse).where(LearnedResponse.subject.in_(subjects)))
    for row in sorted(rows, key=lambda each: subjects.index(each.subject)):
        found[row.kind] = row
    responses = plan.Responses(rod=_stated_rod(source))
    if (rod := found.get(ResponseKind.ROD)) is not None and rod.mean <= -LEAST_RESPONSE:
        responses = replace(responses, rod=_rod(rod, source))
    if (coupled := found.get(ResponseKind.COUPLING)) is not None:
        spread = round(math.hypot(coupled.mean, coupled.sd), DIGITS[ResponseKind.COUPLING])
        responses = replace(responses, coupling_sd=spread)
    pull = found.get(ResponseKind.COMPLIANCE)
    if pull is not None and pull.level is not ResponseLevel.SHOP and pull.mean > 0:
        told = f"learned from {_counted(pull)} {PLACES[pull.level]}"
        responses = replace(responses, neck_compliance=pull.mean, neck_compliance_source=told)
    return responses


def _counted(row: LearnedResponse) -> str:
    return f"{row.samples} sample{'' if row.samples == 1 else 's'}"


def _stated_rod(source: plan.PlanInput) -> plan.RodResponse:
    """The stated prior: what a turn does with the string held at the first and the last fret."""
    stated, place, instrument = plan.RodResponse(), relief_place(source), source.instrument
    scale = (instrument.scale_bass + instrument.scale_treble) / 2.0
    meant = ReliefPlace((1, instrument.frets), place.fret)
    factor = conversion(scale, instrument.body_joint_fret, meant, place)
    digits = DIGITS[ResponseKind.ROD]
    return replace(stated, mean=round(stated.mean * factor, digits), sd=round(stated.sd * factor, digits))


def _rod(row: LearnedResponse, source: plan.PlanInput) -> plan.RodResponse:
    """The rod's response at the frets at which the spec means relief."""
    instrument = source.instrument
    neck = Neck(
        instrument.scale_bass,
        instrument.scale_treble,
        instrument.body_joint_fret,
        instrument.frets,
        len(instrument.strings),
    )
    factor = conversion(neck.scale(None), neck.joint, neck.place, relief_place(source))
    digits = DIGITS[ResponseKind.ROD]
    return plan.RodResponse(
        mean=round(row.mean * factor, digits),
        sd=max(0.01, round(row.sd * factor, digits)),
        samples=row.samples,
        source=f"learned from {_counted(row)} {PLACES[row.level]}",
    )
