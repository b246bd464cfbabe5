"""Records of people and tools, made by client/generate.py: do not edit."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime

from ..._quantity import Quantity
from ..._wire import Record, Stored
from ..words import Skill, ToolQuantity


@dataclass(kw_only=True, repr=False, eq=False)
class Bench(Stored):
    """A bench."""

    active: bool = False
    name: str = ""
    skills: list[Skill] = field(default_factory=list)


@dataclass(kw_only=True, repr=False, eq=False)
class Shift(Record):
    """When a technician works on one weekday, 1 = Monday."""

    ends: str = ""
    starts: str = ""
    weekday: int = 0
    """Monday is 1, Sunday is 7 (ISO 8601)."""


@dataclass(kw_only=True, repr=False, eq=False)
class Technician(Stored):
    """A technician."""

    active: bool = False
    name: str = ""
    shifts: list[Shift] = field(default_factory=list)
    skills: list[Skill] = field(default_factory=list)


@dataclass(kw_only=True, repr=False, eq=False)
class Tool(Stored):
    """A measuring tool, with what it resolves and how well it repeats."""

    active: bool = False
    bench_id: str | None = None
    checked_at: datetime | None = None
    name: str = ""
    quantities: list[ToolQuantity] = field(default_factory=list)
    repeatability: Quantity | None = None
    resolution: Quantity | None = None
    typed: dict[str, Quantity] = field(default_factory=dict)
