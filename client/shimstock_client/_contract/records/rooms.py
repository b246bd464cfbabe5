"""Records of rooms, made by client/generate.py: do not edit."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime

from ..._quantity import Quantity
from ..._wire import UNKNOWN, Record, Stored, empty
from ..words import HighSalt, RoomRemarkCode, RoomUse
from .climates import Profile


@dataclass(kw_only=True, repr=False, eq=False)
class Hygrometer(Stored):
    """A hygrometer and the room it hangs in."""

    active: bool = False
    name: str = ""
    note: str | None = None
    room_id: str | None = None


@dataclass(kw_only=True, repr=False, eq=False)
class SaltCheck(Stored):
    """What a hygrometer showed over two salts: corrected = gain · shown + offset from then on."""

    checked_at: datetime | None = None
    gain: float = 0.0
    high_reading: Quantity | None = None
    high_salt: HighSalt = UNKNOWN
    hygrometer_id: str = ""
    low_reading: Quantity | None = None
    low_salt: HighSalt = UNKNOWN
    meaning: str = ""
    offset: Quantity | None = None
    technician_id: str | None = None
    temperature: Quantity | None = None
    uncertainty: Quantity | None = None


@dataclass(kw_only=True, repr=False, eq=False)
class RoomReadingTyped(Record):
    """The quantities of a room reading as they were typed."""

    relative_humidity: Quantity | None = None
    temperature: Quantity | None = None


@dataclass(kw_only=True, repr=False, eq=False)
class RoomReading(Stored):
    """A reading of a room's air, as shown and corrected."""

    relative_humidity: Quantity | None = None
    taken_at: datetime | None = None
    temperature: Quantity | None = None
    uncertainty: Quantity | None = None
    check_id: str | None = None
    clock_confirmed: bool | None = None
    confirmed: bool | None = None
    day: date | None = None
    hygrometer_id: str | None = None
    note: str | None = None
    received_at: datetime | None = None
    room_id: str | None = None
    shown: Quantity | None = None
    typed: RoomReadingTyped | None = None


@dataclass(kw_only=True, repr=False, eq=False)
class LogGap(Record):
    """A pause in a log that is much longer than usual."""

    begins: datetime | None = None
    ends: datetime | None = None
    hours: float = 0.0


@dataclass(kw_only=True, repr=False, eq=False)
class KnownReading(Stored):
    """A room reading that was known already."""

    at: str = ""
    """Where it stands in what was sent: `/readings/3` or `/lines/17`."""
    kept_as: str = ""


@dataclass(kw_only=True, repr=False, eq=False)
class LogOutcome(Record):
    """What became of every reading that was sent."""

    first: datetime | None = None
    gaps: list[LogGap] = field(default_factory=list)
    known: list[KnownReading] = field(default_factory=list)
    last: datetime | None = None
    reordered: int = 0
    """How often a reading was older than the one before it."""
    room_id: str = ""
    sent: int = 0
    stored: int = 0


@dataclass(kw_only=True, repr=False, eq=False)
class RoomRemark(Record):
    """What is wrong with a room's air."""

    code: RoomRemarkCode = UNKNOWN
    since: datetime | None = None
    text: str = ""
    value: Quantity | None = None


@dataclass(kw_only=True, repr=False, eq=False)
class RoomWarning(RoomRemark, Stored):
    """What was wrong with a room's air, from when to when, and for which instruments."""

    ended_at: datetime | None = None
    instruments: list[str] = field(default_factory=list)
    room_id: str = ""


@dataclass(kw_only=True, repr=False, eq=False)
class Room(Stored):
    """A room that instruments live in, with its profile."""

    climate_id: str | None = None
    name: str = ""
    note: str | None = None
    profile: Profile = field(default_factory=empty)
    use: RoomUse = UNKNOWN


@dataclass(kw_only=True, repr=False, eq=False)
class RoomNow(Record):
    """A room's newest reading, and what it means for the instruments in it."""

    fit_for_verdicts: bool = False
    """Whether the last two days let frets and action be judged here."""
    instruments: list[str] = field(default_factory=list)
    newest: RoomReading | None = None
    room_id: str = ""
    warnings: list[RoomRemark] = field(default_factory=list)
