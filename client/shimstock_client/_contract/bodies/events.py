"""Bodies and filters of events, made by client/generate.py: do not edit."""

from __future__ import annotations

from collections.abc import Sequence

from ..._writes import CallOptions


class EventsFilters(CallOptions, total=False):
    """What `/v1/events` can be asked for."""

    limit: int | None
    type: Sequence[str] | None
