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
    """`HygrometerOut`."""

    active: bool = False
    name: str = ""
    note: str | None = None
    room_id: str | None = None


@dataclass(kw_only=True, repr=False, eq=False)
class SaltCheck(Stored):
    """`SaltCheckOut`."""

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
    """`RoomReadingTypedOut`."""

    relative_humidity: Quantity | None = None
    temperature: Quantity | None = None


@dataclass(kw_only=True, repr=False, eq=False)
class RoomReading(Stored):
    """`RoomNewestOut` and `RoomReadingOut`."""

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
    """`LogGapOut`."""

    begins: datetime | None = None
    ends: datetime | None = None
    hours: float = 0.0


@dataclass(kw_only=True, repr=False, eq=False)
class KnownReading(Stored):
    """`KnownReadingOut`."""

    at: str = ""
    """Where it stands in what was sent: `/readings/3` or `/lines/17`."""
    kept_as: str = ""


@dataclass(kw_only=True, repr=False, eq=False)
class LogOutcome(Record):
    """`RoomLogOut`."""

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
    """`RoomRemarkOut`."""

    code: RoomRemarkCode = UNKNOWN
    since: datetime | None = None
    text: str = ""
    value: Quantity | None = None


@dataclass(kw_only=True, repr=False, eq=False)
class RoomWarning(RoomRemark, Stored):
    """`RoomAlertOut`."""

    ended_at: datetime | None = None
    instruments: list[str] = field(default_factory=list)
    room_id: str = ""


@dataclass(kw_only=True, repr=False, eq=False)
class Room(Stored):
    """`KeptRoomOut`."""

    climate_id: str | None = None
    name: str = ""
    note: str | None = None
    profile: Profile = field(default_factory=empty)
    use: RoomUse = UNKNOWN


@dataclass(kw_only=True, repr=False, eq=False)
class RoomNow(Record):
    """`RoomAirNowOut`."""

    fit_for_verdicts: bool = False
    """Whether the last two days let frets and action be judged here."""
    instruments: list[str] = field(default_factory=list)
    newest: RoomReading | None = None
    room_id: str = ""
    warnings: list[RoomRemark] = field(default_factory=list)
