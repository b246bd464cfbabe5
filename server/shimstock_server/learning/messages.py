"""What a job says of the rod, the coupling and the compliance of its instrument, and where it is seen."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import Any, NamedTuple
from uuid import NAMESPACE_URL, UUID, uuid5

from sqlalchemy import delete, insert, select
from sqlalchemy.orm import Session

from shimstock_calc.belief.learned import messages
from shimstock_calc.conformity import standard_uncertainty
from shimstock_calc.errors import CalculationError
from shimstock_calc.plan import model as plan
from shimstock_calc.plan.geometry import ReliefPlace, compliance, conversion, coupling, side_scale
from shimstock_calc.plan.goals import OCTAVE, neck_place, spot_of
from shimstock_calc.plan.records import tool_of
from shimstock_calc.vocabulary import QUANTITIES
from shimstock_server.catalogue import InstrumentIncomplete
from shimstock_server.database.tables.bench import ReadingSheet
from shimstock_server.database.tables.jobs import Job
from shimstock_server.database.tables.learning import ResponseSample
from shimstock_server.database.tables.owners import Instrument
from shimstock_server.database.words import ResponseKind

NAMES = uuid5(NAMESPACE_URL, "shimstock:response-sample")

LEAST = {ResponseKind.ROD: 1.0 / 16.0, ResponseKind.COMPLIANCE: 20.0, ResponseKind.COUPLING: 0.05}
"""Move from which the readings say something by themselves [turns; N; mm of relief]; judgement."""

BENDS = QUANTITIES["relief"].moved_by
"""Parts that move relief."""


class _Seen(NamedTuple):
    """A mean of readings before or after, at the place where readings are compared [mm]."""

    value: float
    uncertainty: float


def messages_of(session: Session, job_ids: Iterable[UUID]) -> list[dict[str, Any]]:
    """Work out what some jobs say, as rows to keep; writes nothing."""
    found = []
    for job in session.scalars(select(Job).where(Job.id.in_(list(job_ids))).order_by(Job.id)):
        found += _rows(session, job)
    return found


def keep_messages(session: Session, job_ids: Iterable[UUID], rows: Sequence[dict[str, Any]]) -> None:
    """Put messages in the place of what was kept of these jobs; doubts stand until all is pooled anew."""
    of_jobs = ResponseSample.job_id.in_(list(job_ids))
    doubts = {
        row.id: row.doubt
        for row in session.execute(select(ResponseSample.id, ResponseSample.doubt).where(of_jobs))
    }
    session.execute(delete(ResponseSample).where(of_jobs))
    if rows:
        session.execute(insert(ResponseSample), [{**row, "doubt": doubts.get(row["id"])} for row in rows])


def _rows(session: Session, job: Job) -> list[dict[str, Any]]:
    from shimstock_server.bench import entries_of_job  # the bench asks this area what was learned

    if job.instrument_id is None:
        return []
    instrument = session.get_one(Instrument, job.instrument_id)
    try:
        source = entries_of_job(session, job)
        said = messages(source) if source.adjustments else {}
    except (InstrumentIncomplete, CalculationError):
        return []  # what the plan cannot be made from teaches nothing
    common = {"job_id": job.id, "instrument_id": instrument.id, "model_id": instrument.model_id}
    found = []
    for kind in ResponseKind:
        message = said.get(kind.value)
        seen = None if message is None else _seen(kind, source)
        if message is None or seen is None:
            continue
        after = session.get_one(ReadingSheet, UUID(seen.pop("reading").partition("/")[0]))
        found.append(
            {
                "id": uuid5(NAMES, f"{kind.value}/{job.id}"),
                "kind": kind,
                "at": after.counts_at,
                "variance": None,
                "precision": list(message.precision),
                "pull": list(message.pull),
                "used": True,
                **common,
                **seen,
            }
        )
    return found


def _seen(kind: ResponseKind, source: plan.PlanInput) -> dict[str, Any] | None:
    """The readings around the adjustments of a kind; None where there are none on both sides."""
    part = "strings" if kind is ResponseKind.COMPLIANCE else "truss-rod"
    reliefs = _readings(source, "relief")
    acts = [each for each in source.adjustments if each.part == part and _amount(each)]
    acts = [each for each in acts if reliefs and reliefs[0].order < each.order < reliefs[-1].order]
    if not acts:
        return None
    first, last = acts[0].order, acts[-1].order
    relief = [_mean(source, side) for side in _around(reliefs, first, last)]
    moved, shown = sum(_amount(each) or 0.0 for each in acts), relief
    if kind is ResponseKind.COUPLING:
        action = _readings(source, "action")
        if not all(_around(action, first, last)):
            return None
        moved, shown = (
            relief[1].value - relief[0].value,
            [_mean(source, side) for side in _around(action, first, last)],
        )
    before, after = shown
    final = next(each for each in reliefs if each.order > last)
    return {
        "reading": reliefs[-1].id,
        "moved": moved,
        "before": before.value,
        "after": after.value,
        "before_uncertainty": before.uncertainty,
        "after_uncertainty": after.uncertainty,
        "settled": reliefs[-1].at - acts[-1].at >= source.settings.settle_minutes,
        "alone": not any(
            first < each.order < final.order and each.part in BENDS - {part} for each in source.adjustments
        ),
        "expected": _expected(kind, source.instrument),
        "response": (after.value - before.value) / moved if abs(moved) >= LEAST[kind] else None,
        "adjustments": [each.id for each in acts],
    }


def _amount(act: plan.Adjustment) -> float | None:
    return act.pull_change if act.part == "strings" else act.turns


def _readings(source: plan.PlanInput, quantity: plan.Quantity) -> list[plan.Reading]:
    """Readings of relief, or of action where it is meant, the oldest first."""
    found = [each for each in source.readings if each.quantity == quantity and each.value is not None]
    if quantity == "action":
        found = [each for each in found if (each.fret or OCTAVE) == OCTAVE and each.capo is None]
    else:
        found = [each for each in found if len(each.held) == 2 and each.fret is not None]
    return sorted((each for each in found if each.at_pitch), key=lambda each: (each.order, each.id))


def _around(
    readings: Sequence[plan.Reading], first: int, last: int
) -> tuple[list[plan.Reading], list[plan.Reading]]:
    """The newest readings of each side before the first adjustment, and after the last."""
    before = {(each.side, each.string): each for each in readings if each.order < first}
    after = {(each.side, each.string): each for each in readings if each.order > last}
    both = before.keys() & after.keys() or before.keys() | after.keys()
    return [before[key] for key in before if key in both], [after[key] for key in after if key in both]


def _mean(source: plan.PlanInput, readings: Sequence[plan.Reading]) -> _Seen:
    values, squares = [], 0.0
    for each in readings:
        factor = _factor(source, each)
        resolution, repeatability = tool_of(each)
        values.append((each.value or 0.0) * factor)
        squares += float(standard_uncertainty(repeatability, resolution, factor)) ** 2
    return _Seen(sum(values) / len(values), math.sqrt(squares) / len(values))


def _factor(source: plan.PlanInput, reading: plan.Reading) -> float:
    if reading.quantity != "relief" or reading.fret is None:
        return 1.0
    instrument = source.instrument
    read = ReliefPlace((reading.held[0], reading.held[1]), reading.fret)
    scale = side_scale(instrument, spot_of(reading, instrument).side)
    return conversion(scale, instrument.body_joint_fret, read, neck_place(instrument))


def _expected(kind: ResponseKind, instrument: plan.Instrument) -> float:
    """What is expected without any job [mm per turn; mm/N; mm per mm of relief]."""
    place, scale = neck_place(instrument), side_scale(instrument, None)
    if kind is ResponseKind.ROD:
        return plan.RodResponse().mean
    if kind is ResponseKind.COMPLIANCE:
        return compliance(scale, instrument.body_joint_fret, place, instrument.frets)
    return coupling(scale, instrument.body_joint_fret, place, OCTAVE)
