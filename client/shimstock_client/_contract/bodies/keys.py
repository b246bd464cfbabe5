"""Bodies and filters of keys, made by client/generate.py: do not edit."""

from __future__ import annotations

from datetime import datetime
from typing import NotRequired, TypedDict
from uuid import UUID

from ..._writes import CallOptions
from ..words import ApiKeyScope, Units


class KeyIn(TypedDict):
    """A dictionary as it travels."""

    bench_id: NotRequired[UUID | str | None]
    expires_at: NotRequired[datetime | str | None]
    name: str
    replaces: NotRequired[UUID | str | None]
    scope: ApiKeyScope
    units: NotRequired[Units]


class KeysFilters(CallOptions, total=False):
    """What `/v1/keys` can be asked for."""

    limit: int | None
