"""Bodies and filters of people and tools, made by client/generate.py: do not edit."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import NotRequired, TypedDict
from uuid import UUID

from ..._quantity import Quantity, QuantityDict
from ..._writes import CallOptions
from ..words import Skill, ToolQuantity


class BenchIn(TypedDict):
    """A dictionary as it travels."""

    active: NotRequired[bool]
    name: str
    skills: NotRequired[Sequence[Skill]]


class BenchChange(TypedDict):
    """A dictionary as it travels."""

    active: NotRequired[bool]
    name: NotRequired[str]
    skills: NotRequired[Sequence[Skill]]


class ShiftIn(TypedDict):
    """A dictionary as it travels."""

    ends: str
    starts: str
    weekday: int


class TechnicianIn(TypedDict):
    """A dictionary as it travels."""

    active: NotRequired[bool]
    name: str
    shifts: NotRequired[Sequence[ShiftIn]]
    skills: NotRequired[Sequence[Skill]]


class TechnicianChange(TypedDict):
    """A dictionary as it travels."""

    active: NotRequired[bool]
    name: NotRequired[str]
    shifts: NotRequired[Sequence[ShiftIn]]
    skills: NotRequired[Sequence[Skill]]


class ToolIn(TypedDict):
    """A dictionary as it travels."""

    active: NotRequired[bool]
    bench_id: NotRequired[UUID | str | None]
    checked_at: NotRequired[datetime | str | None]
    name: str
    quantities: NotRequired[Sequence[ToolQuantity]]
    repeatability: NotRequired[Quantity | QuantityDict | None]
    resolution: Quantity | QuantityDict


class ToolChange(TypedDict):
    """A dictionary as it travels."""

    active: NotRequired[bool]
    bench_id: NotRequired[UUID | str | None]
    checked_at: NotRequired[datetime | str | None]
    name: NotRequired[str]
    quantities: NotRequired[Sequence[ToolQuantity]]
    repeatability: NotRequired[Quantity | QuantityDict | None]
    resolution: NotRequired[Quantity | QuantityDict]


class BenchesFilters(CallOptions, total=False):
    """What `/v1/benches` can be asked for."""

    limit: int | None
    active: bool | None


class TechniciansFilters(CallOptions, total=False):
    """What `/v1/technicians` can be asked for."""

    limit: int | None
    active: bool | None


class ToolsFilters(CallOptions, total=False):
    """What `/v1/tools` can be asked for."""

    limit: int | None
    active: bool | None
