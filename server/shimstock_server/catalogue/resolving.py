"""Which spec applies: quantity by quantity, the most specific place wins."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from shimstock_calc.plan import model as plan
from shimstock_server.database.tables.catalogue import InstrumentModel, SetupSpec, SetupSpecItem
from shimstock_server.database.words import Kind, Quantity, Side, SpecScope

from .spec_checks import Frame

_SCOPES = list(SpecScope)

SOURCES: dict[SpecScope, str] = {
    SpecScope.SHOP: "shop default",
    SpecScope.MODEL: "model",
    SpecScope.INSTRUMENT: "instrument",
    SpecScope.JOB: "this job",
}
"""Scope of a spec to the words of the plan."""


@dataclass(frozen=True)
class Origin:
    """Where an item comes from."""

    scope: SpecScope
    spec_id: UUID
    number: int


@dataclass(frozen=True)
class ResolvedItem:
    """Target and limits that apply [mm or cents], with where they come from.

    `held` and `fret` are filled in as far as the instrument is known.
    """

    quantity: Quantity
    target: float
    lower: float | None
    upper: float | None
    side: Side | None
    string: int | None
    pickup: str | None
    held: tuple[int, ...]
    fret: int | None
    origin: Origin
    typed: dict[str, Any] = field(default_factory=dict, compare=False)

    @property
    def scope(self) -> SpecScope:
        """The scope of the spec that it comes from."""
        return self.origin.scope


def place(
    *,
    kind: Kind | None = None,
    model_id: UUID | None = None,
    instrument_id: UUID | None = None,
    job_id: UUID | None = None,
) -> str:
    """Return the place at which a spec is stored; exactly one argument is given.

    >>> place(kind=Kind.ELECTRIC)
    'shop:electric'
    """
    if kind is not None:
        return f"shop:{kind.value}"
    if model_id is not None:
        return f"model:{model_id}"
    return f"instrument:{instrument_id}" if instrument_id is not None else f"job:{job_id}"


def general_places(kind: Kind, model_id: UUID | None, instrument_id: UUID | None) -> list[str]:
    """Return where the specs of an instrument stand, general to specific."""
    places = [place(kind=kind)]
    if model_id is not None:
        places.append(place(model_id=model_id))
    if instrument_id is not None:
        places.append(place(instrument_id=instrument_id))
    return places


def current_at(session: Session, places: Iterable[str]) -> list[SetupSpec]:
    """Return the current specs of some places, general to specific."""
    rows = session.scalars(select(SetupSpec).where(SetupSpec.place.in_(list(places)), SetupSpec.current))
    return sorted(rows, key=lambda row: _SCOPES.index(row.scope))


def current_spec_ids(
    session: Session, *, kind: Kind, model_id: UUID | None, instrument_id: UUID | None = None
) -> list[UUID]:
    """Return the versions that a job beginning now keeps, general to specific.

    Parameters
    ----------
    kind : Kind
        The instrument's kind.
    model_id, instrument_id : UUID or None
        Its model and itself.
    """
    return [row.id for row in current_at(session, general_places(kind, model_id, instrument_id))]


def resolve_spec(
    session: Session,
    *,
    kind: Kind,
    model_id: UUID | None,
    instrument_id: UUID | None = None,
    job_id: UUID | None = None,
    frozen_ids: Sequence[UUID | str] | None = None,
) -> list[ResolvedItem]:
    """Return the spec that applies, quantity by quantity.

    Parameters
    ----------
    kind : Kind
        The instrument's kind: the shop's default for it is the most general.
    model_id, instrument_id, job_id : UUID or None
        The more specific places, as far as there are any.
    frozen_ids : sequence of UUID or str, optional
        The versions that a job keeps, in place of the current ones of shop, model and instrument. What the
        player asked for on the job itself is always the current one.

    Returns
    -------
    list of ResolvedItem
        Ordered by quantity, then side, pickup and string. An item for one side, string or pickup counts more
        than one for all of them.
    """
    if frozen_ids:
        wanted = [UUID(str(each)) for each in frozen_ids]
        found = session.scalars(select(SetupSpec).where(SetupSpec.id.in_(wanted)))
        rows = sorted(
            (row for row in found if row.scope is not SpecScope.JOB), key=lambda row: _SCOPES.index(row.scope)
        )
    else:
        rows = current_at(session, general_places(kind, model_id, instrument_id))
    if job_id is not None:
        rows += current_at(session, [place(job_id=job_id)])
    return resolved(rows, frame_of(session, model_id))


def frame_of(session: Session, model_id: UUID | None) -> Frame:
    """Return what a model tells of the instrument that a spec is for."""
    model = session.get(InstrumentModel, model_id) if model_id is not None else None
    if model is None:
        return Frame()
    return Frame(model.strings, model.frets, tuple(pickup["name"] for pickup in model.pickups))


def resolved(rows: Sequence[SetupSpec], frame: Frame) -> list[ResolvedItem]:
    """Merge specs given from general to specific."""
    kept: list[ResolvedItem] = []
    for row in reversed(rows):
        mine = [_item(row, item, frame) for item in row.items]
        kept += [item for item in mine if not _covered(item, kept, frame)]
    return sorted(kept, key=_order)


def _item(row: SetupSpec, item: SetupSpecItem, frame: Frame) -> ResolvedItem:
    return ResolvedItem(
        item.quantity,
        item.target,
        item.lower,
        item.upper,
        item.side,
        item.string,
        item.pickup,
        _held(item, frame),
        item.reading_fret if item.reading_fret is not None else item.quantity.term.fret,
        Origin(row.scope, row.id, row.number),
        item.typed,
    )


def _held(item: SetupSpecItem, frame: Frame) -> tuple[int, ...]:
    held = tuple(fret for fret in (item.hold_low, item.hold_high) if fret is not None)
    return held if held or frame.frets is None else usual_held(item.quantity, frame.frets)


def usual_held(quantity: Quantity, frets: int) -> tuple[int, ...]:
    """Return the frets at which the string is held when a spec does not say: first and last, or the last.

    >>> usual_held(Quantity.RELIEF, 22), usual_held(Quantity.PICKUP_HEIGHT, 22)
    ((1, 22), (22,))
    """
    if quantity is Quantity.RELIEF:
        return (1, frets)
    return (frets,) if quantity is Quantity.PICKUP_HEIGHT else ()


def _covered(item: ResolvedItem, above: Sequence[ResolvedItem], frame: Frame) -> bool:
    """Whether more specific specs say all that this item says."""
    same = [other for other in above if other.quantity is item.quantity and other.origin != item.origin]
    if any(_includes(other, item, frame) for other in same):
        return True
    # Both sides together are all of a quantity that is only ever read at its sides.
    if item.quantity not in (Quantity.PICKUP_HEIGHT, Quantity.SADDLE_OUT) or item.side or item.string:
        return False
    return {Side.BASS, Side.TREBLE} <= {
        other.side for other in same if other.pickup is None or other.pickup == item.pickup
    }


def _includes(wide: ResolvedItem, narrow: ResolvedItem, frame: Frame) -> bool:
    """Whether an item holds everywhere where the other does."""
    if wide.pickup is not None and wide.pickup != narrow.pickup:
        return False
    if wide.side is None and wide.string is None:
        return True
    return _place_of(wide, frame) == _place_of(narrow, frame)


def _place_of(item: ResolvedItem, frame: Frame) -> Side | int | None:
    """A side is read at its outermost string: both names mean the same place."""
    if item.string == 1:
        return Side.TREBLE
    if item.string is not None and item.string == frame.strings:
        return Side.BASS
    return item.string if item.string is not None else item.side


def _order(item: ResolvedItem) -> tuple[int, int, str, int, int]:
    sides = {None: 0, Side.BASS: 1, Side.TREBLE: 2}
    return (
        list(Quantity).index(item.quantity),
        sides[item.side],
        item.pickup or "",
        item.string or 0,
        -_SCOPES.index(item.scope),
    )


def spec_items(items: Iterable[ResolvedItem]) -> tuple[plan.SpecItem, ...]:
    """Return a resolved spec as the plan takes it."""
    return tuple(
        plan.SpecItem(
            quantity=item.quantity.value,
            target=item.target,
            lower=item.lower,
            upper=item.upper,
            side=None if item.side is None else item.side.value,
            string=item.string,
            pickup=item.pickup,
            fret=item.fret,
            held=item.held,
            source=SOURCES[item.scope],
        )
        for item in items
    )
