"""Bodies and filters of bookings, made by client/generate.py: do not edit."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime
from typing import NotRequired, TypedDict
from uuid import UUID

from ..._writes import CallOptions, WriteOptions
from ..words import BookingState, Handedness, InstrumentKind, Units
from .jobs import ConsentIn, RoomIn


class HoldIn(TypedDict):
    """A dictionary as it travels."""

    at: datetime | str
    service_id: UUID | str


class CancelIn(TypedDict):
    """A dictionary as it travels."""

    reason: NotRequired[str | None]


class NewInstrumentIn(TypedDict):
    """A dictionary as it travels."""

    handedness: NotRequired[Handedness]
    made_in: NotRequired[int | None]
    model_id: UUID | str
    named_consents: NotRequired[bool]
    nickname: NotRequired[str | None]
    notes: NotRequired[str | None]
    serial: NotRequired[str | None]
    string_set_id: NotRequired[UUID | str | None]
    strings_fitted_on: NotRequired[date | str | None]
    tuning_id: NotRequired[UUID | str | None]


class CheckInIn(TypedDict):
    """A dictionary as it travels."""

    condition: NotRequired[str | None]
    consents: NotRequired[Sequence[ConsentIn]]
    instrument_id: NotRequired[UUID | str | None]
    new_instrument: NotRequired[NewInstrumentIn | None]
    owner_id: NotRequired[UUID | str | None]
    room: NotRequired[RoomIn | None]


class BookedInstrumentIn(TypedDict):
    """A dictionary as it travels."""

    description: NotRequired[str | None]
    kind: NotRequired[InstrumentKind | None]
    maker: NotRequired[str | None]
    model: NotRequired[str | None]
    serial: NotRequired[str | None]


class BookingOwnerIn(TypedDict):
    """A dictionary as it travels."""

    email: NotRequired[str | None]
    language: NotRequired[str | None]
    name: str
    phone: NotRequired[str | None]
    units: NotRequired[Units | None]


class BookedWantsIn(TypedDict):
    """A dictionary as it travels."""

    note: NotRequired[str | None]
    playing_style: NotRequired[str | None]
    restring: NotRequired[bool]


class ConfirmIn(TypedDict):
    """A dictionary as it travels."""

    complaints: NotRequired[str | None]
    instrument: NotRequired[BookedInstrumentIn]
    owner: NotRequired[BookingOwnerIn | None]
    recheck_of: NotRequired[str | None]
    wants: NotRequired[BookedWantsIn]


class BookingMoveIn(TypedDict):
    """A dictionary as it travels."""

    at: datetime | str


class BookingsFilters(CallOptions, total=False):
    """What `/v1/bookings` can be asked for."""

    limit: int | None
    state: BookingState | None
    first: date | str | None
    last: date | str | None
    service_id: UUID | str | None
    serial: str | None
    number: int | None


class CheckInFields(WriteOptions):
    """A dictionary as it travels."""

    condition: NotRequired[str | None]
    consents: NotRequired[Sequence[ConsentIn]]
    instrument_id: NotRequired[UUID | str | None]
    new_instrument: NotRequired[NewInstrumentIn | None]
    owner_id: NotRequired[UUID | str | None]
    room: NotRequired[RoomIn | None]


class ConfirmFields(WriteOptions):
    """A dictionary as it travels."""

    complaints: NotRequired[str | None]
    instrument: NotRequired[BookedInstrumentIn]
    owner: NotRequired[BookingOwnerIn | None]
    recheck_of: NotRequired[str | None]
    wants: NotRequired[BookedWantsIn]
