"""Counting readings into cells: count, mean and M2, counted bins, verdicts; by month and for any period."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time
from typing import NamedTuple
from uuid import UUID
from zoneinfo import ZoneInfo

from shimstock_calc.conformity import IN_SPEC, OUT_OF_SPEC
from shimstock_calc.summary import Bins, Moments
from shimstock_calc.vocabulary import QUANTITIES
from shimstock_calc.wood import wood_moisture
from shimstock_server.database.words import Stage

from .rows import Place, Row, place_of

MOISTURE = "room-moisture"
"""What the room's air would bring wood to, counted once a sheet [% MC]."""

KEPT = "kept"
"""The stage of final readings of jobs that did not come back."""

WIDTHS: dict[str, float] = {
    **{word: 0.5 for word, term in QUANTITIES.items() if term.unit == "cents"},
    MOISTURE: 0.1,
}
MM_WIDTH = 0.01


def width_of(quantity: str) -> float:
    """Width of the bins of a quantity [mm, cents or % MC]."""
    return WIDTHS.get(quantity, MM_WIDTH)


class CellKey(NamedTuple):
    """What a cell counts."""

    month: int
    quantity: str
    place: str
    frets: str
    stage: str


@dataclass(frozen=True)
class Cell:
    """Readings counted together; cells merge in any order."""

    moments: Moments = field(default_factory=Moments)
    bins: Mapping[int, int] = field(default_factory=dict)
    lowest: float = math.inf
    highest: float = -math.inf
    touching: int = 0
    in_spec: int = 0
    too_close: int = 0
    out_of_spec: int = 0

    def merged(self, other: Cell) -> Cell:
        """Return both together."""
        bins = dict(self.bins)
        for place, count in other.bins.items():
            bins[place] = bins.get(place, 0) + count
        return Cell(
            self.moments.merged(other.moments),
            bins,
            min(self.lowest, other.lowest),
            max(self.highest, other.highest),
            self.touching + other.touching,
            self.in_spec + other.in_spec,
            self.too_close + other.too_close,
            self.out_of_spec + other.out_of_spec,
        )

    @classmethod
    def of(cls, values: Sequence[float], verdicts: Iterable[str | None], touching: int, width: float) -> Cell:
        """Count readings."""
        told = list(verdicts)
        judged = [word for word in told if word is not None]
        in_spec, out = judged.count(IN_SPEC), judged.count(OUT_OF_SPEC)
        return cls(
            Moments.of(values),
            Bins.of(values, width).counts,
            min(values, default=math.inf),
            max(values, default=-math.inf),
            touching,
            in_spec,
            len(judged) - in_spec - out,
            out,
        )


Cells = dict[CellKey, Cell]


def month_of(day: date) -> int:
    """A month as one number.

    >>> month_of(date(2026, 3, 31)) - month_of(date(2025, 12, 1))
    3
    """
    return day.year * 12 + day.month - 1


def first_day(month: int) -> date:
    """The first day of a month.

    >>> first_day(month_of(date(2026, 3, 31)))
    datetime.date(2026, 3, 1)
    """
    return date(month // 12, month % 12 + 1, 1)


def start_of(day: date, zone: ZoneInfo) -> datetime:
    """The instant at which a day begins in the shop's zone."""
    return datetime.combine(day, time(), tzinfo=zone)


def count_cells(
    rows: Sequence[Row],
    verdicts: Sequence[str | None],
    *,
    strings: int,
    zone: ZoneInfo,
    came_back: Mapping[UUID, bool],
) -> Cells:
    """Count readings into their cells.

    Parameters
    ----------
    rows, verdicts : sequences
        The readings and what was judged of each.
    strings : int
        Of the model: its outermost strings are its sides.
    zone : ZoneInfo
        The shop's.
    came_back : mapping
        Of each job that is done, whether it came back.
    """
    values: dict[CellKey, list[float]] = {}
    words: dict[CellKey, list[str | None]] = {}
    touching: dict[CellKey, int] = {}
    places: dict[tuple[object, ...], Place] = {}
    months: dict[UUID, int] = {}
    air: dict[UUID, tuple[int, Stage, float, float]] = {}
    for row, word in zip(rows, verdicts, strict=True):
        month = months.get(row.sheet_id)
        if month is None:
            month = months[row.sheet_id] = month_of(row.taken_at.astimezone(zone).date())
            if row.room_humidity is not None and row.room_temperature is not None:
                air[row.sheet_id] = month, row.stage, row.room_humidity, row.room_temperature
        reading = row[8:16]
        place = places.get(reading)
        if place is None:
            place = places[reading] = place_of(row, strings)
        stages = [row.stage.value] if row.stage is not Stage.FINAL else []
        if row.went_out:
            stages.append(Stage.FINAL.value)
            stages += [KEPT] if came_back.get(row.job_id) is False else []
        for stage in stages:
            key = CellKey(month, place.quantity.value, place.place, place.frets, stage)
            if row.zero_or_less:
                touching[key] = touching.get(key, 0) + 1
                values.setdefault(key, [])
                words.setdefault(key, [])
            else:
                values.setdefault(key, []).append(row.value)
                words.setdefault(key, []).append(word)
    found = {
        key: Cell.of(each, words[key], touching.get(key, 0), width_of(key.quantity))
        for key, each in values.items()
    }
    return found | _moisture(air.values())


def _moisture(air: Iterable[tuple[int, Stage, float, float]]) -> Cells:
    sheets = list(air)
    if not sheets:
        return {}
    moistures = wood_moisture(
        [humidity for _, _, humidity, _ in sheets],
        [temperature for *_, temperature in sheets],
    )
    values: dict[CellKey, list[float]] = {}
    for (month, stage, _, _), moisture in zip(sheets, moistures, strict=True):
        values.setdefault(CellKey(month, MOISTURE, "", "", stage.value), []).append(float(moisture))
    return {key: Cell.of(each, (), 0, width_of(MOISTURE)) for key, each in values.items()}


def merge_cells(many: Iterable[Cells]) -> Cells:
    """Merge counts of readings that have none in common, in any order."""
    found: Cells = {}
    for cells in many:
        for key, cell in cells.items():
            found[key] = found[key].merged(cell) if key in found else cell
    return found
