"""Records of absences, made by client/generate.py: do not edit."""

from __future__ import annotations

from dataclasses import dataclass, field

from ..._wire import Stored


@dataclass(kw_only=True, repr=False, eq=False)
class Absence(Stored):
    """Days on which a technician is away, or hours of one day."""

    ends: str | None = None
    first: str = ""
    last: str = ""
    starts: str | None = None
    technician_id: str = ""
    uncovered: list[str] = field(default_factory=list)
    """Bookings of these days for which no other technician has bench minutes left: move them, or make
    room. What others could take over they have taken over.
    """
