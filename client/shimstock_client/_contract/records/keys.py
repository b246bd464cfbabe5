"""Records of keys, made by client/generate.py: do not edit."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime

from ..._wire import UNKNOWN, Stored
from ..words import ApiKeyScope, Units


@dataclass(kw_only=True, repr=False, eq=False)
class ApiKey(Stored):
    """An API key; its secret is shown once, in the answer that makes it."""

    bench_id: str | None = None
    expires_at: datetime | None = None
    last_used_at: datetime | None = None
    """To the hour."""
    name: str = ""
    prefix: str = ""
    """How the key begins: the part that is no secret."""
    revoked_at: datetime | None = None
    scope: ApiKeyScope = UNKNOWN
    units: Units = UNKNOWN
    secret: str | None = field(default=None, repr=False)
    """The whole key, shown once; null in the kept answer of a repeated request."""
