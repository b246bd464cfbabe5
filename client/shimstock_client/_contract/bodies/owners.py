"""Bodies and filters of owners, made by client/generate.py: do not edit."""

from __future__ import annotations

from typing import NotRequired, TypedDict

from ..._writes import CallOptions
from ..words import Units


class OwnerIn(TypedDict):
    """A dictionary as it travels."""

    email: NotRequired[str | None]
    language: NotRequired[str]
    name: str
    note: NotRequired[str | None]
    phone: NotRequired[str | None]
    units: NotRequired[Units]


class OwnerChange(TypedDict):
    """A dictionary as it travels."""

    email: NotRequired[str | None]
    language: NotRequired[str]
    name: NotRequired[str]
    note: NotRequired[str | None]
    phone: NotRequired[str | None]
    units: NotRequired[Units]


class ErasureIn(TypedDict):
    """A dictionary as it travels."""

    force: NotRequired[bool]


class OwnersFilters(CallOptions, total=False):
    """What `/v1/owners` can be asked for."""

    limit: int | None
    name: str | None
