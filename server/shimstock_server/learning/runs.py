"""The runs of a job: what was read, what was then done, and what was read once it had settled."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import NamedTuple
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session, aliased, selectinload

from shimstock_calc.conformity import standard_uncertainty
from shimstock_calc.plan.geometry import ReliefPlace, conversion
from shimstock_calc.plan.inputs import LEAST_REST
from shimstock_calc.plan.records import COARSEST
from shimstock_calc.relief import largest_relief_fret
from shimstock_server.database.tables.bench import Adjustment, Reading, ReadingSheet, oldest_first
from shimstock_server.database.tables.catalogue import InstrumentModel
from shimstock_server.database.tables.shop import Shop
from shimstock_server.database.words import Part, Position, Quantity, Side

OCTAVE = 12

BENDS = frozenset({Part.TRUSS_ROD, Part.STRINGS, Part.SPRING_CLAW, Part.FRETS})
"""What moves relief; the neck follows it slowly."""

RAISES = frozenset({Part.BRIDGE_POST, Part.SADDLE_SCREW, Part.SADDLE, Part.NUT_SLOT, Part.NECK_SHIM})
"""What moves action and leaves relief."""


class Known(NamedTuple):
    """A reading at the place where readings are compared [mm]."""

    value: float
    uncertainty: float


Spot = tuple[Quantity, Side | None, Position]
Looks = dict[Spot, Known]


@dataclass(frozen=True)
class Neck:
    """What the readings of one instrument are brought to one hold with."""

    scale_bass: float
    scale_treble: float
    joint: float
    frets: int
    strings: int

    @classmethod
    def of(cls, model: InstrumentModel) -> Neck | None:
        """Return a model's neck; None when its body joint is not known."""
        if model.body_joint_fret is None:
            return None
        return cls(model.scale_bass, model.scale_treble, model.body_joint_fret, model.frets, model.strings)

    @property
    def place(self) -> ReliefPlace:
        """Where relief is compared: held at the first and the last fret, read where it is largest."""
        held = (1, self.frets)
        return ReliefPlace(held, largest_relief_fret(self.scale(None), self.joint, held))

    def scale(self, side: Side | None) -> float:
        """Scale length at a side, or in the middle [mm]."""
        if side is Side.BASS:
            return self.scale_bass
        return self.scale_treble if side is Side.TREBLE else (self.scale_bass + self.scale_treble) / 2


@dataclass
class Run:
    """Readings before, what was done, readings after."""

    before: Looks
    done: list[Adjustment]
    after: Looks = field(default_factory=dict)
    at: datetime | None = None
    settled: bool = False
    before_set: UUID | None = None
    after_set: UUID | None = None


def job_sheets(session: Session, job_id: UUID) -> Sequence[ReadingSheet]:
    """Return a job's sheets that no correction has replaced, the oldest first."""
    later = aliased(ReadingSheet)
    corrected = select(later.id).where(later.supersedes_id == ReadingSheet.id).exists()
    found = session.scalars(
        select(ReadingSheet)
        .options(selectinload(ReadingSheet.readings))
        .where(ReadingSheet.job_id == job_id, ~corrected)
    )
    return oldest_first(found)


def job_adjustments(session: Session, job_id: UUID) -> Sequence[Adjustment]:
    """Return what was done on a job, the first first."""
    return oldest_first(session.scalars(select(Adjustment).where(Adjustment.job_id == job_id)))


def runs(
    sheets: Iterable[ReadingSheet], adjustments: Iterable[Adjustment], neck: Neck, shop: Shop
) -> Iterator[Run]:
    """Cut a job into runs.

    A run ends with the readings taken once the neck has settled; turns in between belong to one run. What was
    read too early ends only a last run that nobody looked at again, which is then not settled.
    """
    events = sorted(
        [(sheet.counts_at, 0, str(sheet.id), sheet) for sheet in sheets]
        + [(each.counts_at, 1, str(each.id), each) for each in adjustments if each.part in BENDS | RAISES],
        key=lambda event: event[:3],
    )
    settle = timedelta(minutes=LEAST_REST)
    base: Looks = {}
    base_set: UUID | None = None
    run: Run | None = None
    early: Run | None = None
    slow_since: datetime | None = None
    for at, _, _, event in events:
        if isinstance(event, Adjustment):
            if run is not None and run.settled:
                yield run
                base, base_set, run = run.after, run.after_set, None
            if run is None:
                run = Run(base, [], before_set=base_set)
            run.done.append(event)
            early = None
            if event.part in BENDS:
                slow_since = at
            continue
        looks = _looks(event, neck, shop)
        if not looks:
            continue
        if run is None:
            base, base_set = base | looks, event.string_set_id
            continue
        settled = slow_since is None or at - slow_since >= settle
        if settled and not run.settled:
            run.after = {}
        if settled or not run.settled:
            run.after, run.at, run.settled = run.after | looks, at, settled
            run.after_set = event.string_set_id
            early = run
    if run is not None and (run.settled or early is not None):
        yield run


def _looks(sheet: ReadingSheet, neck: Neck, shop: Shop) -> Looks:
    """What of a sheet can be compared; nothing when the instrument was off pitch, cold or in bad air."""
    humidity = sheet.room_humidity
    bad_air = humidity is not None and not shop.humidity_low <= humidity <= shop.humidity_high
    if not sheet.at_pitch or not sheet.acclimatised or bad_air:
        return {}
    found: Looks = {}
    for reading in sheet.readings:
        side = _side(reading, neck)
        known = None
        if reading.quantity is Quantity.RELIEF:
            known = _relief(reading, side, neck)
        elif reading.quantity is Quantity.ACTION and side is not None:
            known = _action(reading)
        if known is not None:
            found[reading.quantity, side, sheet.position] = known
    return found


def _side(reading: Reading, neck: Neck) -> Side | None:
    if reading.string == 1:
        return Side.TREBLE
    return Side.BASS if reading.string == neck.strings else reading.side


def _relief(reading: Reading, side: Side | None, neck: Neck) -> Known | None:
    if reading.zero_or_less or reading.hold_low is None or reading.hold_high is None or reading.fret is None:
        return None
    read = ReliefPlace((reading.hold_low, reading.hold_high), reading.fret)
    factor = conversion(neck.scale(side), neck.joint, read, neck.place)
    return Known(reading.value * factor, uncertainty_of(reading, factor))


def _action(reading: Reading) -> Known | None:
    if reading.capo is not None or reading.fret != OCTAVE:
        return None
    return Known(reading.value, uncertainty_of(reading))


def uncertainty_of(reading: Reading, factor: float = 1.0) -> float:
    """Standard uncertainty of a reading, that of the coarsest usual tool when none is named [mm or cents]."""
    repeatability, resolution = reading.repeatability, reading.resolution
    if repeatability is None and resolution is None:
        resolution, repeatability = COARSEST[reading.quantity.value]
    return float(standard_uncertainty(repeatability, resolution, factor))
