"""Lists of ids, cut into what a statement can hold."""

from __future__ import annotations

from collections.abc import Iterable
from uuid import UUID

MANY = 500


def in_parts(ids: Iterable[UUID]) -> Iterable[list[UUID]]:
    """Cut a list of ids into what a statement can hold."""
    found = list(ids)
    for start in range(0, len(found), MANY):
        yield found[start : start + MANY]
