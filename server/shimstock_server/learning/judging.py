"""Whether readings were in spec: each against the spec that its own job began with, many at a time."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple
from uuid import UUID

import numpy as np
from sqlalchemy import select
from sqlalchemy.orm import Session

from shimstock_calc.conformity import probability_in_spec, verdicts
from shimstock_calc.plan.geometry import ReliefPlace, conversion
from shimstock_server.catalogue import ResolvedItem, resolve_spec
from shimstock_server.database.tables.catalogue import InstrumentModel, SetupSpec
from shimstock_server.database.words import Quantity, Side, SpecScope

from .rows import Row, side_and_string

MANY = 500


class _Limits(NamedTuple):
    lower: float | None
    upper: float | None
    factor: float


@dataclass(frozen=True)
class Neck:
    """What relief is converted with from one place to another."""

    scale_bass: float
    scale_treble: float
    joint: float

    @classmethod
    def of(cls, model: InstrumentModel) -> Neck | None:
        """Return a model's neck; None when its body joint is not known."""
        if model.body_joint_fret is None:
            return None
        return cls(model.scale_bass, model.scale_treble, model.body_joint_fret)

    def scale(self, side: Side | None) -> float:
        """Scale length at a side, or in the middle [mm]."""
        if side is Side.BASS:
            return self.scale_bass
        return self.scale_treble if side is Side.TREBLE else (self.scale_bass + self.scale_treble) / 2


class Judge:
    """Judges readings of one model; specs are resolved once for all jobs that began with the same."""

    def __init__(self, session: Session, model: InstrumentModel) -> None:
        self.session, self.model = session, model
        self.neck = Neck.of(model)
        self._specs: dict[Any, list[ResolvedItem]] = {}
        self._limits: dict[Any, _Limits | None] = {}
        self._own: set[UUID] = set()
        self._looked_up: set[UUID] = set()

    def judge(self, rows: Sequence[Row]) -> list[str | None]:
        """Return the verdict of each reading; None where no item of the spec speaks of its place."""
        self._look_up({row.job_id for row in rows})
        found: list[str | None] = [None] * len(rows)
        groups: dict[tuple[bool, bool, bool], list[tuple[int, float, _Limits, float]]] = {}
        for number, row in enumerate(rows):
            limits = None if row.zero_or_less or row.capo is not None else self._limits_of(row)
            if limits is None:
                continue
            resolution, repeatability = row.resolution, row.repeatability
            if resolution is None and repeatability is None:
                resolution, repeatability = row.quantity.term.coarsest
            rectangular = repeatability is None and not row.unsure
            own = max(repeatability or 0.0, (resolution or 0.0) / math.sqrt(12))
            size = resolution if rectangular else math.hypot(own, row.unsure)
            key = limits.lower is None, limits.upper is None, rectangular
            assert size is not None
            groups.setdefault(key, []).append(
                (number, row.value * limits.factor, limits, size * abs(limits.factor))
            )
        for (open_below, open_above, rectangular), members in groups.items():
            lower = None if open_below else np.array([limits.lower for _, _, limits, _ in members])
            upper = None if open_above else np.array([limits.upper for _, _, limits, _ in members])
            values = np.array([value for _, value, _, _ in members])
            sizes = np.array([size for *_, size in members])
            chance = probability_in_spec(
                values,
                lower,
                upper,
                **({"resolution": sizes} if rectangular else {"uncertainty": sizes}),
            )
            for (number, *_), word in zip(members, verdicts(chance), strict=True):
                found[number] = str(word)
        return found

    def _look_up(self, job_ids: set[UUID]) -> None:
        """Find the jobs that have a spec of their own: few do."""
        new = list(job_ids - self._looked_up)
        for start in range(0, len(new), MANY):
            some = new[start : start + MANY]
            self._own |= set(
                self.session.scalars(
                    select(SetupSpec.job_id).where(
                        SetupSpec.job_id.in_(some), SetupSpec.current, SetupSpec.scope == SpecScope.JOB
                    )
                )
            )
        self._looked_up |= set(new)

    def _limits_of(self, row: Row) -> _Limits | None:
        own = row.job_id if row.job_id in self._own else None
        # without frozen versions the instrument's present ones count
        spec = (tuple(row.spec_ids or ()), own, None if row.spec_ids else row.instrument_id)
        side, string = side_and_string(row, self.model.strings)
        key = (spec, row.quantity, side, string, row.pickup, row.fret, row.hold_low, row.hold_high)
        if key not in self._limits:
            self._limits[key] = self._find(self._spec(spec), row, side, string)
        return self._limits[key]

    def _spec(self, key: Any) -> list[ResolvedItem]:
        if key not in self._specs:
            frozen, own, instrument_id = key
            self._specs[key] = resolve_spec(
                self.session,
                kind=self.model.kind,
                model_id=self.model.id,
                instrument_id=instrument_id,
                job_id=own,
                frozen_ids=list(frozen) or None,
            )
        return self._specs[key]

    def _find(
        self, items: Sequence[ResolvedItem], row: Row, side: Side | None, string: int | None
    ) -> _Limits | None:
        """The limits of the most specific item for a place, and what converts the reading to it."""
        fitting = [
            item
            for item in items
            if item.quantity is row.quantity
            and item.pickup in (None, row.pickup)
            and self._holds_for(item, side, string)
            and not (item.lower is None and item.upper is None)
        ]
        if not fitting:
            return None
        item = max(
            fitting, key=lambda each: sum(part is not None for part in (each.side, each.string, each.pickup))
        )
        factor = 1.0
        if row.quantity is Quantity.RELIEF:
            known = self._relief_factor(row, side, item)
            if known is None:
                return None
            factor = known
        elif self._read_elsewhere(row, item):
            return None
        return _Limits(item.lower, item.upper, factor)

    @staticmethod
    def _read_elsewhere(row: Row, item: ResolvedItem) -> bool:
        """Whether a reading was taken where the target does not hold."""
        if row.quantity.term.fret is not None and row.quantity is not Quantity.RELIEF:
            return row.fret != item.fret
        return row.quantity is Quantity.NUT_ACTION and row.hold_low is not None

    def _holds_for(self, item: ResolvedItem, side: Side | None, string: int | None) -> bool:
        if item.side is None and item.string is None:
            # a target for both sides says nothing of the strings between
            return string is None or by_string(item.quantity)
        if item.string is not None:
            outer = {1: Side.TREBLE, self.model.strings: Side.BASS}.get(item.string)
            return item.string == string or (outer is not None and outer is side)
        return item.side is side

    def _relief_factor(self, row: Row, side: Side | None, item: ResolvedItem) -> float | None:
        low, high, fret = row.hold_low, row.hold_high, row.fret
        if low is None or high is None or fret is None:
            return None
        return _between(self.neck, side, (low, high, fret), item)


def relief_factor(
    model: InstrumentModel, side: Side | None, read: tuple[int, int, int], item: ResolvedItem
) -> float | None:
    """What relief read at a hold and a fret is multiplied with to compare it with an item of the spec.

    Parameters
    ----------
    read : (int, int, int)
        Frets at which the string was held, and the fret over which relief was read.

    Returns
    -------
    float or None
        None where the neck is not known well enough.
    """
    return _between(Neck.of(model), side, read, item)


def _between(
    neck: Neck | None, side: Side | None, read: tuple[int, int, int], item: ResolvedItem
) -> float | None:
    if len(item.held) != 2 or item.fret is None:
        return None
    if read == (*item.held, item.fret):
        return 1.0
    if neck is None:
        return None
    low, high, fret = read
    wanted = ReliefPlace((item.held[0], item.held[1]), item.fret)
    return conversion(neck.scale(side), neck.joint, ReliefPlace((low, high), fret), wanted)


def by_string(quantity: Quantity) -> bool:
    """Whether a quantity is read string by string, so that one target holds for every string."""
    return quantity.term.place == "string"
