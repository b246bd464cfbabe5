"""Bodies and filters of studies, made by client/generate.py: do not edit."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import NotRequired, TypedDict
from uuid import UUID

from ..._quantity import Quantity, QuantityDict
from ..._writes import CallOptions, WriteOptions
from ..words import QuantityName, Side, StudyState


class StudyPieceIn(TypedDict):
    """A dictionary as it travels."""

    fret: NotRequired[int | None]
    held: NotRequired[Sequence[int] | None]
    instrument_id: NotRequired[UUID | str | None]
    name: str
    pickup: NotRequired[str | None]
    side: NotRequired[Side | None]
    string: NotRequired[int | None]


class StudyReaderIn(TypedDict):
    """A dictionary as it travels."""

    bench_id: UUID | str
    technician_id: NotRequired[UUID | str | None]
    tool_id: NotRequired[UUID | str | None]


class StudyIn(TypedDict):
    """A dictionary as it travels."""

    name: str
    note: NotRequired[str | None]
    pieces: Sequence[StudyPieceIn]
    quantity: QuantityName
    readers: Sequence[StudyReaderIn]
    seed: NotRequired[int | None]
    tolerance: NotRequired[Quantity | QuantityDict | None]
    trials: NotRequired[int]


class StudyEndIn(TypedDict):
    """A dictionary as it travels."""

    abandon: NotRequired[bool]
    as_it_stands: NotRequired[bool]


class StudyReadingIn(TypedDict):
    """A dictionary as it travels."""

    confirmed: NotRequired[bool]
    id: NotRequired[UUID | str | None]
    number: int
    taken_at: NotRequired[datetime | str | None]
    value: Quantity | QuantityDict


class StudiesFilters(CallOptions, total=False):
    """What `/v1/studies` can be asked for."""

    limit: int | None
    state: StudyState | None
    quantity: QuantityName | None


class StudiesNextFilters(CallOptions, total=False):
    """What `/v1/studies/{study_id}/next` can be asked for."""

    reader: int | None


class StudyReadingFields(WriteOptions):
    """A dictionary as it travels."""

    confirmed: NotRequired[bool]
    id: NotRequired[UUID | str | None]
    taken_at: NotRequired[datetime | str | None]
