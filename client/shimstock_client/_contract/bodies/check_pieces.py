"""Bodies and filters of check pieces, made by client/generate.py: do not edit."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime
from typing import NotRequired, TypedDict
from uuid import UUID

from ..._quantity import Quantity, QuantityDict
from ..._writes import CallOptions, WriteOptions
from ..words import QuantityName


class CheckPieceIn(TypedDict):
    """A dictionary as it travels."""

    bench_id: NotRequired[UUID | str | None]
    confirmed: NotRequired[bool]
    name: str
    note: NotRequired[str | None]
    quantity: QuantityName
    repetitions: NotRequired[int]
    stated: NotRequired[Quantity | QuantityDict | None]
    tool_id: NotRequired[UUID | str | None]


class CheckPieceChange(TypedDict):
    """A dictionary as it travels."""

    active: NotRequired[bool]
    limits_from: NotRequired[date | str | None]
    name: NotRequired[str]
    note: NotRequired[str | None]


class CheckReadingIn(TypedDict):
    """A dictionary as it travels."""

    confirmed: NotRequired[bool]
    id: NotRequired[UUID | str | None]
    note: NotRequired[str | None]
    taken_at: NotRequired[datetime | str | None]
    values: Sequence[Quantity | QuantityDict]


class CheckPiecesFilters(CallOptions, total=False):
    """What `/v1/check-pieces` can be asked for."""

    limit: int | None
    bench_id: UUID | str | None
    active: bool | None
    here: bool | None


class CheckPiecesReadingsFilters(CallOptions, total=False):
    """What `/v1/check-pieces/{piece_id}/readings` can be asked for."""

    limit: int | None


class CheckFields(WriteOptions):
    """A dictionary as it travels."""

    confirmed: NotRequired[bool]
    id: NotRequired[UUID | str | None]
    note: NotRequired[str | None]
    taken_at: NotRequired[datetime | str | None]
