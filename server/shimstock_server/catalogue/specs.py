"""Setup specs: a new version at a place, and the spec that applies to an instrument or a job."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from shimstock_server.database.history import emit
from shimstock_server.database.tables.catalogue import SetupSpec, SetupSpecItem
from shimstock_server.database.tables.jobs import Job
from shimstock_server.database.tables.owners import Instrument
from shimstock_server.database.words import Kind, Quantity, Side, SpecScope
from shimstock_server.web.problems import InvalidFields
from shimstock_server.web.typed import kept

from .problems import NoInstrumentYet
from .resolving import ResolvedItem, current_at, frame_of, place, resolve_spec
from .spec_checks import Frame, spec_errors


@dataclass(frozen=True)
class Applies:
    """The spec that applies to an instrument or a job, and what stands there itself."""

    scope: SpecScope
    kind: Kind
    model_id: UUID
    instrument_id: UUID
    job_id: UUID | None
    own: SetupSpec | None
    items: list[ResolvedItem]

    @property
    def version(self) -> str:
        """A digest of everything in it: it changes when any place that it comes from does."""
        parts = [
            [
                item.quantity.value,
                item.side,
                item.string,
                item.pickup,
                str(item.origin.spec_id),
                item.held,
                item.fret,
            ]
            for item in self.items
        ]
        own = None if self.own is None else str(self.own.id)
        return hashlib.sha256(json.dumps([own, parts], sort_keys=True).encode()).hexdigest()[:32]


def current_spec(session: Session, **where: Any) -> SetupSpec | None:
    """Return the current spec stored at a place, named as `place` names it."""
    found = current_at(session, [place(**where)])
    return found[0] if found else None


def store_spec(session: Session, body: Mapping[str, Any], **where: Any) -> SetupSpec:
    """Store a new version of the spec at a place; the one before stays as history.

    Parameters
    ----------
    body : mapping
        Reason and items.
    **where
        One of kind, model_id, instrument_id, job_id.

    Raises
    ------
    InvalidFields
        When an item cannot stand there.
    """
    frame = _frame_at(session, **where)
    items = []
    for sent in body["items"]:
        values, typed = kept(sent)
        items.append({**values, "typed": typed})
    errors = spec_errors(items, frame)
    if errors:
        raise InvalidFields.of(errors)
    before = current_spec(session, **where)
    if before is not None:
        before.current = False
        session.flush()
    here = place(**where)
    last = session.scalar(select(func.max(SetupSpec.number)).where(SetupSpec.place == here)) or 0
    row = SetupSpec(
        scope=_scope(**where),
        **where,
        place=here,
        number=last + 1,
        current=True,
        reason=body.get("reason"),
        items=[_row(n, item) for n, item in enumerate(items)],
    )
    session.add(row)
    session.flush()
    emit(session, "setup-spec.changed", row, scope=row.scope, number=row.number)
    return row


def _scope(**where: Any) -> SpecScope:
    named = {
        "kind": SpecScope.SHOP,
        "model_id": SpecScope.MODEL,
        "instrument_id": SpecScope.INSTRUMENT,
        "job_id": SpecScope.JOB,
    }
    return named[next(iter(where))]


def _row(position: int, item: Mapping[str, Any]) -> SetupSpecItem:
    held = item["held"]
    return SetupSpecItem(
        position=position,
        quantity=Quantity(item["quantity"]),
        side=None if item["side"] is None else Side(item["side"]),
        string=item["string"],
        pickup=item["pickup"],
        target=item["target"],
        lower=item["lower"],
        upper=item["upper"],
        hold_low=held[0] if held else None,
        hold_high=held[1] if len(held) > 1 else None,
        reading_fret=item["fret"],
        typed=item["typed"],
    )


def _frame_at(
    session: Session,
    kind: Kind | None = None,
    model_id: UUID | None = None,
    instrument_id: UUID | None = None,
    job_id: UUID | None = None,
) -> Frame:
    if kind is not None:
        return Frame()
    if job_id is not None:
        job = session.get_one(Job, job_id)
        instrument_id = job.instrument_id
        if instrument_id is None:
            raise NoInstrumentYet()
    if instrument_id is not None:
        model_id = session.get_one(Instrument, instrument_id).model_id
    return frame_of(session, model_id)


def applies_to_instrument(session: Session, instrument_id: UUID) -> Applies:
    """Return the spec that applies to an instrument as things stand now."""
    instrument = session.get_one(Instrument, instrument_id)
    model = instrument.model
    return Applies(
        SpecScope.INSTRUMENT,
        model.kind,
        model.id,
        instrument.id,
        None,
        current_spec(session, instrument_id=instrument.id),
        resolve_spec(session, kind=model.kind, model_id=model.id, instrument_id=instrument.id),
    )


def applies_to_job(session: Session, job_id: UUID) -> Applies:
    """Return the spec that applies to a job: the versions that it keeps, and what the player asked for.

    Raises
    ------
    NoInstrumentYet
        When the job has no instrument yet.
    """
    job = session.get_one(Job, job_id)
    if job.instrument_id is None:
        raise NoInstrumentYet()
    model = session.get_one(Instrument, job.instrument_id).model
    return Applies(
        SpecScope.JOB,
        model.kind,
        model.id,
        job.instrument_id,
        job.id,
        current_spec(session, job_id=job.id),
        resolve_spec(
            session,
            kind=model.kind,
            model_id=model.id,
            instrument_id=job.instrument_id,
            job_id=job.id,
            frozen_ids=job.spec_ids or None,
        ),
    )


def told(row: SetupSpec) -> dict[str, Any]:
    """Return a stored spec as it is answered."""
    return {
        "id": row.id,
        "version": row.number,
        "created_at": row.created_at,
        "scope": row.scope,
        "kind": row.kind,
        "model_id": row.model_id,
        "instrument_id": row.instrument_id,
        "job_id": row.job_id,
        "number": row.number,
        "current": row.current,
        "reason": row.reason,
        "items": [_item_told(item) for item in row.items],
    }


def _item_told(item: SetupSpecItem) -> dict[str, Any]:
    return {
        "quantity": item.quantity,
        "side": item.side,
        "string": item.string,
        "pickup": item.pickup,
        "target": item.target,
        "lower": item.lower,
        "upper": item.upper,
        "held": [fret for fret in (item.hold_low, item.hold_high) if fret is not None],
        "fret": item.reading_fret,
        "typed": item.typed,
    }


def resolved_told(items: Sequence[ResolvedItem], own_id: UUID | None = None) -> list[dict[str, Any]]:
    """Return resolved items as they are answered, those of one stored spec marked as own."""
    return [
        {
            "quantity": item.quantity,
            "side": item.side,
            "string": item.string,
            "pickup": item.pickup,
            "target": item.target,
            "lower": item.lower,
            "upper": item.upper,
            "held": list(item.held),
            "fret": item.fret,
            "typed": item.typed,
            "origin": item.origin,
            "own": item.origin.spec_id == own_id,
        }
        for item in items
    ]


def applies_told(applies: Applies) -> dict[str, Any]:
    """Return the spec that applies as it is answered."""
    own_id = None if applies.own is None else applies.own.id
    return {
        "scope": applies.scope,
        "kind": applies.kind,
        "model_id": applies.model_id,
        "instrument_id": applies.instrument_id,
        "job_id": applies.job_id,
        "own_id": own_id,
        "number": 0 if applies.own is None else applies.own.number,
        "items": resolved_told(applies.items, own_id),
    }
