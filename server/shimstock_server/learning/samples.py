"""From the runs of a job to samples of how far a reading follows an adjustment."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from uuid import NAMESPACE_URL, UUID, uuid5

from sqlalchemy import delete
from sqlalchemy.orm import Session

from shimstock_calc.plan.geometry import coupling, total_pull
from shimstock_calc.response import (
    COMPLIANCE_PRIOR,
    ROD_PRIOR,
    TURN_SD,
    AdjustmentSample,
    Response,
    adjustment_response,
)
from shimstock_server.catalogue import InstrumentIncomplete, plan_string_set, strung
from shimstock_server.database.tables.jobs import Job
from shimstock_server.database.tables.learning import ResponseSample
from shimstock_server.database.tables.owners import Instrument
from shimstock_server.database.words import Part, Quantity, ResponseKind
from shimstock_server.shop import settings

from .runs import OCTAVE, Known, Looks, Neck, Run, job_adjustments, job_sheets, runs

COUPLING_PRIOR = Response(0.0, 0.3, "the geometry alone")
"""Rise of action per relief beyond what the geometry says; judgement: a bend in one place gives ± 0.3 [-]."""

LEAST_RELIEF = 0.05
"""Change of relief from which the coupling can be told [mm]."""

LEAST_PULL, PULL_SD = 20.0, 3.0
"""Change of pull from which a restring teaches something, and how well it is known; judgement [N]."""

IMPLAUSIBLE = 3.0

_NAMES = uuid5(NAMESPACE_URL, "shimstock:response-sample")


@dataclass(frozen=True)
class Way:
    """How a kind of sample is judged."""

    prior: Response
    least: float
    move_sd: float


WAYS = {
    ResponseKind.ROD: Way(ROD_PRIOR, 1.0 / 16.0, TURN_SD),
    ResponseKind.COMPLIANCE: Way(COMPLIANCE_PRIOR, LEAST_PULL, PULL_SD),
}


def sample_job(session: Session, job: Job) -> list[ResponseSample]:
    """Work out a job's samples anew and return them."""
    session.execute(delete(ResponseSample).where(ResponseSample.job_id == job.id))
    if job.instrument_id is None:
        return []
    instrument = session.get_one(Instrument, job.instrument_id)
    neck = Neck.of(instrument.model)
    adjustments = job_adjustments(session, job.id)
    if neck is None or not adjustments:
        return []
    found: dict[UUID, ResponseSample] = {}
    for run in runs(job_sheets(session, job.id), adjustments, neck, settings(session)):
        for sample in _of_run(session, run, job, instrument, neck):
            found[sample.id] = sample
    session.add_all(found.values())
    session.flush()
    return list(found.values())


def _of_run(
    session: Session, run: Run, job: Job, instrument: Instrument, neck: Neck
) -> Iterator[ResponseSample]:
    relief = _both(run.before, run.after, Quantity.RELIEF)
    if relief is None or run.at is None:
        return
    turned = [each for each in run.done if each.part is Part.TRUSS_ROD]
    strung_anew = [each for each in run.done if each.part is Part.STRINGS]
    others = [each for each in run.done if each.part in (Part.SPRING_CLAW, Part.FRETS)]
    common = {
        "job_id": job.id,
        "instrument_id": instrument.id,
        "model_id": instrument.model_id,
        "at": run.at,
        "settled": run.settled,
    }
    if turned:
        turns = sum(each.turns or 0.0 for each in turned)
        made = _sample(
            ResponseKind.ROD,
            turns,
            relief,
            run,
            [str(each.id) for each in turned],
            alone=not strung_anew and not others,
        )
        yield ResponseSample(**made, **common)
    if strung_anew and not turned:
        pull = _change_of_pull(session, run, instrument)
        if pull is not None and all(each.tuning_id is None for each in strung_anew):
            made = _sample(
                ResponseKind.COMPLIANCE,
                pull,
                relief,
                run,
                [str(each.id) for each in strung_anew],
                alone=not others,
            )
            yield ResponseSample(**made, **common)
    action = _both(run.before, run.after, Quantity.ACTION)
    if turned and len(turned) == len(run.done) and action is not None:
        coupled = _coupling(relief, action, run, neck)
        if coupled is not None:
            yield ResponseSample(**coupled, **common)


def _both(before: Looks, after: Looks, quantity: Quantity) -> tuple[Known, Known] | None:
    """The mean of a quantity before and after, over the sides that were read both times."""
    spots = [spot for spot in before if spot[0] is quantity and spot in after]
    if not spots:
        return None
    return _mean(before[spot] for spot in spots), _mean(after[spot] for spot in spots)


def _mean(found: Iterable[Known]) -> Known:
    known = list(found)
    return Known(
        sum(each.value for each in known) / len(known),
        math.sqrt(sum(each.uncertainty**2 for each in known)) / len(known),
    )


def _sample(
    kind: ResponseKind,
    moved: float,
    readings: tuple[Known, Known],
    run: Run,
    adjustments: list[str],
    *,
    alone: bool,
) -> dict[str, object]:
    way = WAYS[kind]
    before, after = readings
    judged = adjustment_response(
        [
            AdjustmentSample(
                moved,
                before.value,
                after.value,
                before.uncertainty,
                after.uncertainty,
                0,
                0,
                run.settled,
                alone,
            )
        ],
        way.prior,
        least_move=way.least,
        move_sd=way.move_sd,
        largest_move=None,
    )
    flag = judged.flagged[0] if judged.flagged else None
    told = judged.used == 1 or (flag is not None and flag.response is not None)
    noise = before.uncertainty**2 + after.uncertainty**2 + (way.prior.mean * way.move_sd) ** 2
    return {
        "id": uuid5(_NAMES, "/".join([kind.value, *adjustments])),
        "kind": kind,
        "moved": moved,
        "before": before.value,
        "after": after.value,
        "before_uncertainty": before.uncertainty,
        "after_uncertainty": after.uncertainty,
        "alone": alone,
        "expected": way.prior.mean,
        "response": (after.value - before.value) / moved if told else None,
        "variance": noise / moved**2 if told else None,
        "adjustments": adjustments,
        "doubt": None if flag is None else flag.reason,
        "used": judged.used == 1,
    }


def _coupling(
    relief: tuple[Known, Known], action: tuple[Known, Known], run: Run, neck: Neck
) -> dict[str, object] | None:
    """How far action followed relief in a run of nothing but rod turns."""
    moved = relief[1].value - relief[0].value
    if abs(moved) < LEAST_RELIEF or not run.settled:
        return None
    expected = coupling(neck.scale(None), neck.joint, neck.place, OCTAVE)
    ratio = (action[1].value - action[0].value) / moved
    noise = action[0].uncertainty ** 2 + action[1].uncertainty ** 2
    noise += expected**2 * (relief[0].uncertainty ** 2 + relief[1].uncertainty ** 2)
    variance = noise / moved**2
    off = abs(ratio - expected) / math.sqrt(COUPLING_PRIOR.sd**2 + variance)
    adjustments = [str(each.id) for each in run.done]
    return {
        "id": uuid5(_NAMES, "/".join([ResponseKind.COUPLING.value, *adjustments])),
        "kind": ResponseKind.COUPLING,
        "moved": moved,
        "before": action[0].value,
        "after": action[1].value,
        "before_uncertainty": action[0].uncertainty,
        "after_uncertainty": action[1].uncertainty,
        "alone": True,
        "expected": expected,
        "response": ratio,
        "variance": variance,
        "adjustments": adjustments,
        "doubt": None
        if off <= IMPLAUSIBLE
        else f"implausible: {off:.1f} standard deviations from what the geometry says",
        "used": off <= IMPLAUSIBLE,
    }


def _change_of_pull(session: Session, run: Run, instrument: Instrument) -> float | None:
    """By how much the new set pulls more than the old one [N]; None when it is not known."""
    _, tuning = strung(session, instrument)
    if run.before_set is None or run.after_set is None or tuning is None or run.before_set == run.after_set:
        return None
    model = instrument.model
    pulls = []
    for string_set in (run.before_set, run.after_set):
        try:
            strings = plan_string_set(session, string_set, tuning, model.courses)
        except InstrumentIncomplete:
            return None
        pulls.append(total_pull(strings.strings, model.scale_bass, model.scale_treble))
    old, new = pulls
    return None if old is None or new is None else new - old
