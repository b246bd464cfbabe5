"""Bodies and filters of rooms, made by client/generate.py: do not edit."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import NotRequired, TypedDict
from uuid import UUID

from ..._quantity import Quantity, QuantityDict
from ..._writes import CallOptions, WriteOptions
from ..words import HighSalt, RoomUse
from .climates import ProfileIn


class HygrometerIn(TypedDict):
    """A dictionary as it travels."""

    active: NotRequired[bool]
    name: str
    note: NotRequired[str | None]
    room_id: NotRequired[UUID | str | None]


class HygrometerChange(TypedDict):
    """A dictionary as it travels."""

    active: NotRequired[bool]
    name: NotRequired[str]
    note: NotRequired[str | None]
    room_id: NotRequired[UUID | str | None]


class SaltCheckIn(TypedDict):
    """A dictionary as it travels."""

    checked_at: datetime | str
    high_reading: Quantity | QuantityDict
    high_salt: NotRequired[HighSalt]
    low_reading: Quantity | QuantityDict
    low_salt: NotRequired[HighSalt]
    temperature: Quantity | QuantityDict


class RoomReadingIn(TypedDict):
    """A dictionary as it travels."""

    confirm_clock: NotRequired[bool]
    confirmed: NotRequired[bool]
    hygrometer_id: NotRequired[UUID | str | None]
    id: UUID | str
    note: NotRequired[str | None]
    relative_humidity: Quantity | QuantityDict
    room_id: UUID | str
    taken_at: datetime | str
    temperature: Quantity | QuantityDict


class BatchReadingIn(TypedDict):
    """A dictionary as it travels."""

    confirm_clock: NotRequired[bool]
    confirmed: NotRequired[bool]
    id: UUID | str
    note: NotRequired[str | None]
    relative_humidity: Quantity | QuantityDict
    taken_at: datetime | str
    temperature: Quantity | QuantityDict


class RoomReadingBatchIn(TypedDict):
    """A dictionary as it travels."""

    hygrometer_id: NotRequired[UUID | str | None]
    readings: Sequence[BatchReadingIn]
    room_id: UUID | str


class KeptRoomIn(TypedDict):
    """A dictionary as it travels."""

    climate_id: NotRequired[UUID | str | None]
    name: str
    note: NotRequired[str | None]
    profile: NotRequired[ProfileIn | None]
    use: RoomUse


class KeptRoomChange(TypedDict):
    """A dictionary as it travels."""

    climate_id: NotRequired[UUID | str | None]
    name: NotRequired[str]
    note: NotRequired[str | None]
    profile: NotRequired[ProfileIn | None]
    use: NotRequired[RoomUse]


class HygrometersFilters(CallOptions, total=False):
    """What `/v1/hygrometers` can be asked for."""

    limit: int | None


class HygrometersChecksFilters(CallOptions, total=False):
    """What `/v1/hygrometers/{hygrometer_id}/checks` can be asked for."""

    limit: int | None


class RoomReadingsFilters(CallOptions, total=False):
    """What `/v1/room-readings` can be asked for."""

    limit: int | None
    room_id: UUID | str | None
    hygrometer_id: UUID | str | None
    since: datetime | str | None
    until: datetime | str | None


class RoomWarningsFilters(CallOptions, total=False):
    """What `/v1/room-warnings` can be asked for."""

    limit: int | None
    room_id: UUID | str | None
    lasting: bool | None


class RoomsFilters(CallOptions, total=False):
    """What `/v1/rooms` can be asked for."""

    limit: int | None


class RoomReadingFields(WriteOptions):
    """A dictionary as it travels."""

    confirm_clock: NotRequired[bool]
    confirmed: NotRequired[bool]
    id: NotRequired[UUID | str | None]
    note: NotRequired[str | None]
    relative_humidity: Quantity | QuantityDict
    taken_at: NotRequired[datetime | str | None]
    temperature: Quantity | QuantityDict


class SaltCheckFields(WriteOptions):
    """A dictionary as it travels."""

    checked_at: NotRequired[datetime | str | None]
    high_reading: Quantity | QuantityDict
    high_salt: NotRequired[HighSalt]
    low_reading: Quantity | QuantityDict
    low_salt: NotRequired[HighSalt]
    temperature: Quantity | QuantityDict
