"""What was done at the bench: kept as told, flagged where large, refused where the owner has not said yes."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from shimstock_calc.vocabulary import TIGHTEN
from shimstock_server.catalogue import refuse_misfits
from shimstock_server.database.history import emit
from shimstock_server.database.tables.bench import Adjustment, ShownPlan, Withdrawal, oldest_first
from shimstock_server.database.tables.jobs import Job
from shimstock_server.database.tables.owners import Instrument
from shimstock_server.database.words import BridgeKind, Part, RodKind
from shimstock_server.jobs import named_claim
from shimstock_server.owners import fit_strings
from shimstock_server.shop import local_day
from shimstock_server.web.context import Actor
from shimstock_server.web.idempotency import client_made
from shimstock_server.web.problems import IdTaken, InvalidFields
from shimstock_server.web.quantities import Quantity

from .consenting import covering
from .problems import InstrumentUnknown
from .reading import Frame
from .recommendation import current_plan
from .sheets import refuse_clock_ahead
from .withdrawing import check_superseded, fitted_on, withdraw, withdrawals

QUARTER = 0.25
WHOLE = 1.0

NOT_ON: dict[Part, frozenset[BridgeKind]] = {
    part: frozenset(kind for kind in BridgeKind if part.value in kind.term.lacks) for part in Part
}
"""Parts that a kind of bridge does not have; common practice, no published source."""


def record_adjustment(
    session: Session, job: Job, wish: dict[str, Any], *, fingerprint: str, actor: Actor, now: datetime
) -> tuple[Adjustment, bool]:
    """Keep what was done, with the plan that it followed; tell whether it is new.

    Raises
    ------
    InvalidFields
        With every field that does not fit the part or the instrument.
    ClaimEnded
        When the claim that it names is over.
    ConsentNeeded
        When it cannot be undone and no consent covers it.
    IdTaken
        When another adjustment has this id.
    AdjustmentWithdrawn
        When the adjustment that it corrects was taken back before.
    """
    known = client_made(session, Adjustment, wish["id"], fingerprint)
    if known is not None:
        if known.job_id != job.id:
            raise IdTaken
        return known, False
    if job.instrument_id is None:
        raise InstrumentUnknown
    instrument = session.get_one(Instrument, job.instrument_id)
    errors = adjustment_errors(Frame.of_row(instrument.model), wish) | _strings_errors(wish)
    if errors:
        raise InvalidFields.of(errors)
    if wish["part"] is Part.STRINGS:
        refuse_misfits(session, instrument, wish)
    check_superseded(session, job, wish)
    refuse_clock_ahead(wish["done_at"], "/done_at", confirmed=wish["confirm_clock"], now=now)
    claim = named_claim(session, job, wish["claim"], actor=actor)
    if claim is None:
        raise InvalidFields.at("/claim", "nobody holds this job; claim it first")
    withdrawal = None
    if wish["supersedes"] is not None:
        withdrawal = withdraw(
            session, job, wish["supersedes"], wish["supersedes_reason"], actor=actor, now=now
        )
    adjustment = Adjustment(
        **_told(wish),
        job_id=job.id,
        fingerprint=fingerprint,
        claim_id=claim.id,
        received_at=now,
        bench_id=actor.bench_id,
        technician_id=actor.technician_id,
        key_id=actor.key_id,
        consent_id=covering(session, job, instrument, wish),
        outside_plan=not _keep_plan(session, job, wish["plan"], now=now),
    )
    if wish["part"] is Part.STRINGS:
        adjustment.fitted_before = fitted_on(instrument)
        fit_strings(
            session,
            instrument,
            string_set_id=wish["string_set_id"],
            tuning_id=wish["tuning_id"],
            day=local_day(session, wish["done_at"]),
        )
    claim.last_act_at = now
    job.worked_minutes += wish["minutes"] or 0
    session.add(adjustment)
    session.flush()
    if withdrawal is not None:
        withdrawal.replaced_by_id = adjustment.id
    emit(session, "job.adjusted", job, adjustment=str(adjustment.id), part=adjustment.part.value)
    return adjustment, True


def _told(wish: dict[str, Any]) -> dict[str, Any]:
    """What was told of the work, as it is kept."""
    names = (
        "id", "done_at", "part", "side", "string", "pickup", "confirmed", "string_set_id", "tuning_id",
        "minutes", "note",
    )  # fmt: skip
    turns: Quantity | None = wish["turns"]
    amount: Quantity | None = wish["amount"]
    return {name: wish[name] for name in names} | {
        "turns": turns.value if turns is not None else None,
        "amount": amount.value if amount is not None else None,
        "typed": {
            f"{name}_{part}": value
            for name, quantity in (("turns", turns), ("amount", amount))
            if quantity is not None
            for part, value in (("value", quantity.typed_value), ("unit", str(quantity.typed_unit)))
        },
        "large_turn": wish["part"] is Part.TRUSS_ROD
        and turns is not None
        and abs(turns.value) > QUARTER + 1e-9,
        "plan_digest": wish["plan"],
    }


def all_adjustments(session: Session, job: Job) -> list[dict[str, Any]]:
    """Everything told of a job, what was taken back included, as it is answered; the first first."""
    told = oldest_first(session.scalars(select(Adjustment).where(Adjustment.job_id == job.id)))
    taken_back = withdrawals(session, told)
    corrects = {each.replaced_by_id: each.adjustment_id for each in taken_back.values()}
    return [show_adjustment(each, taken_back.get(each.id), corrects.get(each.id)) for each in told]


def find_adjustment(session: Session, job: Job, adjustment_id: UUID) -> dict[str, Any]:
    """One of them."""
    return next(each for each in all_adjustments(session, job) if each["id"] == adjustment_id)


def show_adjustment(
    adjustment: Adjustment, withdrawal: Withdrawal | None, supersedes: UUID | None
) -> dict[str, Any]:
    """What was done, as it is answered."""
    names = (
        "id", "job_id", "claim_id", "done_at", "received_at", "bench_id", "technician_id", "part", "side",
        "string", "pickup", "turns", "amount", "typed", "large_turn", "string_set_id", "tuning_id", "minutes",
        "consent_id", "note",
    )  # fmt: skip
    shown: dict[str, Any] = {name: getattr(adjustment, name) for name in names}
    return shown | {
        "plan": adjustment.plan_digest,
        "plan_kept": not adjustment.outside_plan,
        "supersedes": supersedes,
        "withdrawn": withdrawal,
    }


def adjustment_errors(frame: Frame, wish: Mapping[str, Any]) -> dict[str, str]:
    """Return what does not fit the part or the instrument: pointer to message."""
    errors: dict[str, str] = {}
    part: Part = wish["part"]
    turns: Quantity | None = wish["turns"]
    amount: Quantity | None = wish["amount"]
    words = part.value.replace("-", " ")
    if wish["side"] is not None and wish["string"] is not None:
        errors["/side"] = "name the side or the string, not both"
    places = part.term.places
    if places and all(wish[place] is None for place in places):
        errors[f"/{places[0]}"] = f"say which {words}: name the {' or the '.join(places)}"
    if wish["string"] is not None and not 1 <= wish["string"] <= frame.strings:
        errors["/string"] = (
            f"this instrument has {frame.strings} strings, 1 to {frame.strings}; {wish['string']} was given"
        )
    if part is Part.PICKUP_SCREW and wish["pickup"] not in frame.pickups:
        errors["/pickup"] = f"name one of this model's pickups: {', '.join(frame.pickups) or 'none'}"
    if part is not Part.PICKUP_SCREW and wish["pickup"] is not None:
        errors["/pickup"] = "only a pickup screw has this"
    if part.term.ways == (TIGHTEN,) and turns is None:
        errors["/turns"] = f"say how far the {words} was turned, positive = tightened"
    if part.term.is_filed and amount is None:
        errors["/amount"] = "say how much was taken off, or with a minus sign how much was added underneath"
    if part is Part.TRUSS_ROD and turns is not None and abs(turns.value) > WHOLE and not wish["confirmed"]:
        errors["/turns"] = (
            f"from -1 to 1 turn at once is plausible; {turns.value:g} was given: "
            "look again, or confirm it, and never turn on against a stiff nut"
        )
    if part is Part.SADDLE and frame.bridge != BridgeKind.FIXED_SADDLE and amount is not None:
        errors["/part"] = "only a fixed saddle is filed or shimmed; use saddle-screw or bridge-post"
    if not wish["confirmed"] and (missing := _missing(frame, part)):
        errors["/part"] = f"{missing} no {words}: look again, or confirm it"
    return errors


def _strings_errors(wish: Mapping[str, Any]) -> dict[str, str]:
    if wish["part"] is Part.STRINGS:
        return {}
    return {
        f"/{name}": "only a change of strings has this"
        for name in ("string_set_id", "tuning_id")
        if wish[name] is not None
    }


def _missing(frame: Frame, part: Part) -> str | None:
    """What this model is that it cannot have the part; None when it may."""
    if part is Part.TRUSS_ROD and frame.rod == RodKind.NONE:
        return "this model has"
    if frame.bridge in NOT_ON[part]:
        return f"this model's bridge ({str(frame.bridge).replace('-', ' ')}) has"
    return None


def _keep_plan(session: Session, job: Job, digest: str | None, *, now: datetime) -> bool:
    """Keep the plan that was followed, as shown; False when it is not the job's plan of this moment."""
    if digest is None:
        return False
    if session.get(ShownPlan, (job.id, digest)) is not None:
        return True
    shown = current_plan(session, job)
    if shown.digest != digest:
        return False
    session.add(ShownPlan(job_id=job.id, digest=digest, stored_at=now, plan=shown.as_stored()))
    session.flush()
    return True
