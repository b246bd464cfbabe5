"""Lists of rooms, made by client/generate.py: do not edit."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Unpack

from ..._collection import Listed
from ..._writes import Timeout
from ..records.rooms import Hygrometer, Room, RoomReading

if TYPE_CHECKING:
    from ..bodies.rooms import (
        HygrometerChange,
        HygrometerIn,
        HygrometersFilters,
        KeptRoomChange,
        KeptRoomIn,
        RoomReadingIn,
        RoomReadingsFilters,
        RoomsFilters,
    )


class Hygrometers(Listed[Hygrometer]):
    """`/v1/hygrometers`."""

    _path = "/hygrometers"
    _record = Hygrometer

    def list(self, **filters: Unpack[HygrometersFilters]) -> Iterator[Hygrometer]:
        """Walk all of them, page after page; `limit` = rows a page."""
        return self._walk({**filters})

    def create(
        self,
        *,
        idempotency_key: str | None = None,
        retries: int | None = None,
        timeout: Timeout | None = None,
        **fields: Unpack[HygrometerIn],
    ) -> Hygrometer:
        """Add one; sent again under the same idempotency key it is added once."""
        return self._create({**fields}, idempotency_key=idempotency_key, retries=retries, timeout=timeout)

    def update(
        self,
        thing: Hygrometer,
        *,
        idempotency_key: str | None = None,
        retries: int | None = None,
        timeout: Timeout | None = None,
        **fields: Unpack[HygrometerChange],
    ) -> Hygrometer:
        """Change the named fields; refused when it was changed since it was read.

        Raises
        ------
        Changed
            Read it again, look, and decide again.
        """
        return self._update(
            thing, {**fields}, idempotency_key=idempotency_key, retries=retries, timeout=timeout
        )


class RoomReadings(Listed[RoomReading]):
    """`/v1/room-readings`."""

    _path = "/room-readings"
    _record = RoomReading

    def list(self, **filters: Unpack[RoomReadingsFilters]) -> Iterator[RoomReading]:
        """Walk all of them, page after page; `limit` = rows a page."""
        return self._walk({**filters})

    def create(
        self,
        *,
        idempotency_key: str | None = None,
        retries: int | None = None,
        timeout: Timeout | None = None,
        **fields: Unpack[RoomReadingIn],
    ) -> RoomReading:
        """Add one; sent again under the same idempotency key it is added once."""
        return self._create({**fields}, idempotency_key=idempotency_key, retries=retries, timeout=timeout)


class Rooms(Listed[Room]):
    """`/v1/rooms`."""

    _path = "/rooms"
    _record = Room

    def list(self, **filters: Unpack[RoomsFilters]) -> Iterator[Room]:
        """Walk all of them, page after page; `limit` = rows a page."""
        return self._walk({**filters})

    def create(
        self,
        *,
        idempotency_key: str | None = None,
        retries: int | None = None,
        timeout: Timeout | None = None,
        **fields: Unpack[KeptRoomIn],
    ) -> Room:
        """Add one; sent again under the same idempotency key it is added once."""
        return self._create({**fields}, idempotency_key=idempotency_key, retries=retries, timeout=timeout)

    def update(
        self,
        thing: Room,
        *,
        idempotency_key: str | None = None,
        retries: int | None = None,
        timeout: Timeout | None = None,
        **fields: Unpack[KeptRoomChange],
    ) -> Room:
        """Change the named fields; refused when it was changed since it was read.

        Raises
        ------
        Changed
            Read it again, look, and decide again.
        """
        return self._update(
            thing, {**fields}, idempotency_key=idempotency_key, retries=retries, timeout=timeout
        )
