"""Climates, rooms and their log, forecasts, reminders and calendars."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any, Unpack
from uuid import UUID

from ._collection import Link, etag_of, id_of, read
from ._contract import (
    Calendar,
    Climate,
    Forecast,
    Hygrometer,
    Instrument,
    Keeping,
    LogOutcome,
    Reminder,
    ReminderEvent,
    Room,
    RoomNow,
    RoomReading,
    RoomWarning,
    SaltCheck,
    SeasonSettings,
    Sensitivity,
)
from ._contract.lists import calendars, climates, reminders, rooms
from ._ids import uuid7
from ._wire import Stored
from ._writes import CallOptions, WriteOptions, apart, under

if TYPE_CHECKING:
    from ._contract import (
        BatchReadingIn,
        KeepingFields,
        RoomReadingFields,
        RoomWarningsFilters,
        SaltCheckFields,
        SeasonFields,
        SensitivitiesFilters,
    )

SVG = "image/svg+xml"


class Climates(climates.Climates):
    """Monthly outdoor normals of places."""

    def from_table(
        self, text: str, *, name: str, source: str, place: str | None = None, **call: Unpack[CallOptions]
    ) -> Climate:
        """Add the normals of a place from a table of twelve months (CSV)."""
        told: dict[str, Any] = {"name": name, "source": source, "place": place, **call}
        return read(Climate, self._link.send_file("/climates/csv", text, "text/csv", **told))

    def from_typical_year(
        self, text: str, *, name: str | None = None, place: str | None = None, **call: Unpack[CallOptions]
    ) -> Climate:
        """Add the normals of a place from a typical year in EPW, the open format of building simulation."""
        told: dict[str, Any] = {"name": name, "place": place, **call}
        return read(Climate, self._link.send_file("/climates/epw", text, "text/plain", **told))


class Rooms(rooms.Rooms):
    """Rooms that instruments live in."""

    def air(self, room: Room | UUID | str, **call: Unpack[CallOptions]) -> RoomNow:
        """Read a room's air now, and what it means for the instruments in it."""
        return read(RoomNow, self._link.ask(f"{self._one(room)}/air", **call))

    def warnings(self, **filters: Unpack[RoomWarningsFilters]) -> Iterator[RoomWarning]:
        """Walk what was too dry, too damp or too fast; `room_id`, `lasting=True` for what is so now."""
        return self._link.walk("/room-warnings", RoomWarning, **filters)


class Hygrometers(rooms.Hygrometers):
    """Hygrometers and their checks over saturated salts."""

    def check(self, hygrometer: Hygrometer | UUID | str, **fields: Unpack[SaltCheckFields]) -> SaltCheck:
        """Keep what it showed over two salts, at rest; MgCl2 and NaCl unless others are named."""
        told, call = apart(fields)
        body = {**told, "checked_at": told.get("checked_at") or datetime.now(UTC)}
        return read(SaltCheck, self._link.change("POST", f"{self._one(hygrometer)}/checks", body, **call))

    def checks(self, hygrometer: Hygrometer | UUID | str, **call: Unpack[CallOptions]) -> Iterator[SaltCheck]:
        """Walk its checks, the first first."""
        return self._link.walk(f"{self._one(hygrometer)}/checks", SaltCheck, **call)


class RoomLog(rooms.RoomReadings):
    """Readings of rooms: single, in batches, as files."""

    def post(
        self,
        room: Room | UUID | str,
        *,
        hygrometer: Hygrometer | UUID | str | None = None,
        **fields: Unpack[RoomReadingFields],
    ) -> RoomReading:
        """Keep one reading; sent again under the same id it is stored once."""
        told, call = apart(fields)
        key = str(told.get("id") or uuid7())
        body = {
            **told,
            "id": key,
            "room_id": id_of(room),
            "hygrometer_id": None if hygrometer is None else id_of(hygrometer),
            "taken_at": told.get("taken_at") or datetime.now(UTC),
        }
        return self._create(body, **under(key, call))

    def post_many(
        self,
        room: Room | UUID | str,
        readings: Sequence[BatchReadingIn],
        *,
        hygrometer: Hygrometer | UUID | str | None = None,
        **call: Unpack[WriteOptions],
    ) -> LogOutcome:
        """Keep up to 500 readings, each with its own id; all or nothing, each once."""
        body = {
            "room_id": id_of(room),
            "hygrometer_id": None if hygrometer is None else id_of(hygrometer),
            "readings": [{"id": str(uuid7()), **reading} for reading in readings],
        }
        return read(LogOutcome, self._link.change("POST", "/room-readings/batch", body, **call))

    def send_file(
        self,
        room: Room | UUID | str,
        text: str,
        *,
        hygrometer: Hygrometer | UUID | str | None = None,
        zone: str | None = None,
        shift_minutes: int | None = None,
        confirmed: bool = False,
        **call: Unpack[CallOptions],
    ) -> LogOutcome:
        """Keep a hygrometer's log from a table (CSV); the same file again changes nothing.

        Parameters
        ----------
        room : Room, UUID or str
            Where it hung [-].
        text : str
            With the headings taken_at, temperature_degC or temperature_degF, relative_humidity_percent [-].
        hygrometer : Hygrometer, UUID or str, or None
            Which one it was; its salt checks correct it [-].
        zone : str or None
            Of times without an offset; the shop's when left out [-].
        shift_minutes : int or None
            Added to every time, for a clock that was wrong [min].
        confirmed : bool
            Unusual air was looked at, and it was so [-].
        """
        told: dict[str, Any] = {
            "room_id": id_of(room),
            "hygrometer_id": None if hygrometer is None else id_of(hygrometer),
            "zone": zone,
            "shift_minutes": shift_minutes,
            "confirmed": confirmed or None,
            **call,
        }
        return read(LogOutcome, self._link.send_file("/room-readings/csv", text, "text/csv", **told))


class Forecasts:
    """What the seasons will do to instruments, and where these live."""

    def __init__(self, link: Link) -> None:
        self._link = link

    def get(
        self, instrument: Instrument | UUID | str, *, step: int | None = None, **call: Unpack[CallOptions]
    ) -> Forecast:
        """Read an instrument's forecast; `step` = every how many days."""
        path = f"/instruments/{id_of(instrument)}/forecast"
        return read(Forecast, self._link.ask(path, step=step, **call))

    def chart(
        self, instrument: Instrument | UUID | str, *, width: int | None = None, **call: Unpack[CallOptions]
    ) -> str:
        """Read it as a picture (SVG); `width` = for how wide a screen [px]."""
        path = f"/instruments/{id_of(instrument)}/forecast"
        return str(self._link.ask(path, accept=SVG, width=width, **call).content)

    def keeping(self, instrument: Instrument | UUID | str, **call: Unpack[CallOptions]) -> Keeping:
        """Read where an instrument lives and how much it is played."""
        return read(Keeping, self._link.ask(f"/instruments/{id_of(instrument)}/keeping", **call))

    def keep(
        self,
        instrument: Instrument | UUID | str,
        *,
        current: Keeping | None = None,
        **fields: Unpack[KeepingFields],
    ) -> Keeping:
        """Say where it lives and how much it is played, all of it; `current` is what was said before."""
        body, call = apart(fields)
        path = f"/instruments/{id_of(instrument)}/keeping"
        etag = current.etag if current is not None and current.version else None
        return read(Keeping, self._link.change("PUT", path, body, if_match=etag, **call))

    def sensitivities(self, **filters: Unpack[SensitivitiesFilters]) -> Iterator[Sensitivity]:
        """Walk what readings have taught of how `of="relief"` or `of="saddle-height"` answers moisture."""
        return self._link.walk("/sensitivities", Sensitivity, **filters)

    def settings(self, **call: Unpack[CallOptions]) -> SeasonSettings:
        """Read how the shop forecasts."""
        return read(SeasonSettings, self._link.ask("/season-settings", **call))

    def set_up(
        self, *, current: SeasonSettings | None = None, **fields: Unpack[SeasonFields]
    ) -> SeasonSettings:
        """Say how the shop forecasts; of `current`, what was said before, the rest stays as it is."""
        body, call = apart(fields)
        etag = None
        if current is not None and current.version:
            etag = current.etag
            body = {
                "climate_id": current.climate_id,
                "shop": _said(current.shop),
                "home": _said(current.home),
                "earliest_days": current.earliest_days,
                "moisture_limit": current.moisture_limit,
                **body,
            }
        answer = self._link.change("PUT", "/season-settings", body, if_match=etag, **call)
        return read(SeasonSettings, answer)


class Reminders(reminders.Reminders):
    """What wants to be looked at again: settling necks, seasonal rechecks, strings."""

    def acknowledge(
        self, reminder: Reminder, *, note: str | None = None, **call: Unpack[WriteOptions]
    ) -> Reminder:
        """Say that somebody has seen it."""
        return self._answer(reminder, {"answer": "acknowledged", "note": note}, call)

    def snooze(
        self, reminder: Reminder, *, until: datetime, note: str | None = None, **call: Unpack[WriteOptions]
    ) -> Reminder:
        """Put it off until later."""
        return self._answer(reminder, {"answer": "snoozed", "until": until, "note": note}, call)

    def done(
        self,
        reminder: Reminder,
        *,
        sheet: Stored | UUID | str | None = None,
        note: str | None = None,
        **call: Unpack[WriteOptions],
    ) -> Reminder:
        """Say that it was done, and by which sheet where readings are asked for."""
        sheet_id = None if sheet is None else id_of(sheet)
        return self._answer(reminder, {"answer": "done", "sheet_id": sheet_id, "note": note}, call)

    def cancel(self, reminder: Reminder, *, note: str, **call: Unpack[WriteOptions]) -> Reminder:
        """Say that it is not wanted, and why."""
        return self._answer(reminder, {"answer": "cancelled", "note": note}, call)

    def history(
        self, reminder: Reminder | UUID | str, **call: Unpack[CallOptions]
    ) -> Iterator[ReminderEvent]:
        """Walk what happened to it, the first first."""
        return self._link.walk(f"{self._one(reminder)}/history", ReminderEvent, **call)

    def _answer(self, reminder: Reminder, body: Mapping[str, Any], call: WriteOptions) -> Reminder:
        return self._edit("POST", reminder, "/answers", body, **call)


class Calendars(calendars.Calendars):
    """Calendars for calendar programs; the path of one is in the answer that makes it and nowhere else."""

    def revoke(self, calendar: Calendar, **call: Unpack[WriteOptions]) -> Calendar:
        """Make its address useless from now on."""
        path = self._one(calendar)
        etag = etag_of(self._link, path, calendar, Calendar)
        return read(Calendar, self._link.change("DELETE", path, if_match=etag, **call))


def _said(profile: Mapping[str, Any]) -> dict[str, Any]:
    """Return what was said of a profile, without what is usual: the answer holds both."""
    return {**profile.get("typed", {}), **({"cooled": True} if profile.get("cooled") else {})}
