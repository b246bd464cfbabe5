"""Climates, rooms and their log, forecasts, reminders and calendars."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, datetime
from typing import Any
from uuid import UUID

from ._collection import Collection, Link, Listed, etag_of, id_of, read
from ._ids import uuid7
from ._quantity import Quantity
from ._records import Instrument
from ._season_records import (
    Calendar,
    Climate,
    Forecast,
    Hygrometer,
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

SVG = "image/svg+xml"


class Climates(Collection[Climate]):
    """Monthly outdoor normals of places."""

    def from_table(self, text: str, *, name: str, source: str, place: str | None = None) -> Climate:
        """Add the normals of a place from a table of twelve months (CSV)."""
        told = {"name": name, "source": source, "place": place}
        return read(Climate, self._link.send_file("/climates/csv", text, "text/csv", **told))

    def from_typical_year(self, text: str, *, name: str | None = None, place: str | None = None) -> Climate:
        """Add the normals of a place from a typical year in EPW, the open format of building simulation."""
        return read(
            Climate, self._link.send_file("/climates/epw", text, "text/plain", name=name, place=place)
        )


class Rooms(Collection[Room]):
    """Rooms that instruments live in."""

    def air(self, room: Room | UUID | str) -> RoomNow:
        """Read a room's air now, and what it means for the instruments in it."""
        return read(RoomNow, self._link.ask(f"{self._one(room)}/air"))

    def warnings(self, **filters: Any) -> Iterator[RoomWarning]:
        """Walk what was too dry, too damp or too fast; `room_id`, `lasting=True` for what is so now."""
        return self._link.walk("/room-warnings", RoomWarning, **filters)


class Hygrometers(Collection[Hygrometer]):
    """Hygrometers and their checks over saturated salts."""

    def check(
        self,
        hygrometer: Hygrometer | UUID | str,
        *,
        low_reading: Quantity,
        high_reading: Quantity,
        temperature: Quantity,
        checked_at: datetime | None = None,
        **salts: str,
    ) -> SaltCheck:
        """Keep what it showed over two salts, at rest; MgCl2 and NaCl unless `salts` names others."""
        body = {
            "low_reading": low_reading,
            "high_reading": high_reading,
            "temperature": temperature,
            "checked_at": checked_at or datetime.now(UTC),
            **salts,
        }
        return read(SaltCheck, self._link.change("POST", f"{self._one(hygrometer)}/checks", body))

    def checks(self, hygrometer: Hygrometer | UUID | str) -> Iterator[SaltCheck]:
        """Walk its checks, the first first."""
        return self._link.walk(f"{self._one(hygrometer)}/checks", SaltCheck)


class RoomLog:
    """Readings of rooms: single, in batches, as files."""

    def __init__(self, link: Link) -> None:
        self._link = link

    def list(self, **filters: Any) -> Iterator[RoomReading]:
        """Walk the readings, the newest first; `room_id`, `hygrometer_id`, `since`, `until`."""
        return self._link.walk("/room-readings", RoomReading, **filters)

    def post(
        self,
        room: Room | UUID | str,
        *,
        temperature: Quantity,
        relative_humidity: Quantity,
        taken_at: datetime | None = None,
        hygrometer: Hygrometer | UUID | str | None = None,
        id: UUID | str | None = None,  # noqa: A002
        **more: Any,
    ) -> RoomReading:
        """Keep one reading; sent again under the same id it is stored once."""
        body = {
            "id": str(id or uuid7()),
            "room_id": id_of(room),
            "hygrometer_id": None if hygrometer is None else id_of(hygrometer),
            "taken_at": taken_at or datetime.now(UTC),
            "temperature": temperature,
            "relative_humidity": relative_humidity,
            **more,
        }
        return read(
            RoomReading, self._link.change("POST", "/room-readings", body, idempotency_key=str(body["id"]))
        )

    def post_many(
        self,
        room: Room | UUID | str,
        readings: Sequence[Mapping[str, Any]],
        *,
        hygrometer: Hygrometer | UUID | str | None = None,
    ) -> LogOutcome:
        """Keep up to 500 readings, each with its own id; all or nothing, each once."""
        body = {
            "room_id": id_of(room),
            "hygrometer_id": None if hygrometer is None else id_of(hygrometer),
            "readings": [{"id": str(uuid7()), **reading} for reading in readings],
        }
        return read(LogOutcome, self._link.change("POST", "/room-readings/batch", body))

    def send_file(
        self,
        room: Room | UUID | str,
        text: str,
        *,
        hygrometer: Hygrometer | UUID | str | None = None,
        zone: str | None = None,
        shift_minutes: int | None = None,
        confirmed: bool = False,
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
        told = {
            "room_id": id_of(room),
            "hygrometer_id": None if hygrometer is None else id_of(hygrometer),
            "zone": zone,
            "shift_minutes": shift_minutes,
            "confirmed": confirmed or None,
        }
        return read(LogOutcome, self._link.send_file("/room-readings/csv", text, "text/csv", **told))


class Forecasts:
    """What the seasons will do to instruments, and where these live."""

    def __init__(self, link: Link) -> None:
        self._link = link

    def get(self, instrument: Instrument | UUID | str, *, step: int | None = None) -> Forecast:
        """Read an instrument's forecast; `step` = every how many days."""
        path = f"/instruments/{id_of(instrument)}/forecast"
        return read(Forecast, self._link.ask(path, step=step))

    def chart(self, instrument: Instrument | UUID | str, *, width: int | None = None) -> str:
        """Read it as a picture (SVG); `width` = for how wide a screen [px]."""
        answer = self._link.ask(f"/instruments/{id_of(instrument)}/forecast", accept=SVG, width=width)
        return str(answer.content)

    def keeping(self, instrument: Instrument | UUID | str) -> Keeping:
        """Read where an instrument lives and how much it is played."""
        return read(Keeping, self._link.ask(f"/instruments/{id_of(instrument)}/keeping"))

    def keep(
        self, instrument: Instrument | UUID | str, *, current: Keeping | None = None, **fields: Any
    ) -> Keeping:
        """Say where it lives and how much it is played, all of it; `current` is what was said before."""
        path = f"/instruments/{id_of(instrument)}/keeping"
        said = current is not None and bool(current.version)
        etag = current.etag if said and current is not None else None
        return read(Keeping, self._link.change("PUT", path, fields, if_match=etag))

    def sensitivities(self, **filters: Any) -> Iterator[Sensitivity]:
        """Walk what readings have taught of how `of="relief"` or `of="saddle-height"` answers moisture."""
        return self._link.walk("/sensitivities", Sensitivity, **filters)

    def settings(self) -> SeasonSettings:
        """Read how the shop forecasts."""
        return read(SeasonSettings, self._link.ask("/season-settings"))

    def set_up(self, *, current: SeasonSettings | None = None, **fields: Any) -> SeasonSettings:
        """Say how the shop forecasts; of `current`, what was said before, the rest stays as it is."""
        said = current is not None and bool(current.version)
        before: dict[str, Any] = {}
        if current is not None and said:
            before = {
                "climate_id": current.climate_id,
                "shop": _said(current.shop),
                "home": _said(current.home),
                "earliest_days": current.earliest_days,
                "moisture_limit": current.moisture_limit,
            }
        etag = current.etag if said and current is not None else None
        answer = self._link.change("PUT", "/season-settings", before | fields, if_match=etag)
        return read(SeasonSettings, answer)


class Reminders(Listed[Reminder]):
    """What wants to be looked at again: settling necks, seasonal rechecks, strings."""

    def acknowledge(self, reminder: Reminder, *, note: str | None = None) -> Reminder:
        """Say that somebody has seen it."""
        return self._answer(reminder, answer="acknowledged", note=note)

    def snooze(self, reminder: Reminder, *, until: datetime, note: str | None = None) -> Reminder:
        """Put it off until later."""
        return self._answer(reminder, answer="snoozed", until=until, note=note)

    def done(self, reminder: Reminder, *, sheet: Any = None, note: str | None = None) -> Reminder:
        """Say that it was done, and by which sheet where readings are asked for."""
        sheet_id = None if sheet is None else id_of(sheet)
        return self._answer(reminder, answer="done", sheet_id=sheet_id, note=note)

    def cancel(self, reminder: Reminder, *, note: str) -> Reminder:
        """Say that it is not wanted, and why."""
        return self._answer(reminder, answer="cancelled", note=note)

    def history(self, reminder: Reminder | UUID | str) -> Iterator[ReminderEvent]:
        """Walk what happened to it, the first first."""
        return self._link.walk(f"{self._one(reminder)}/history", ReminderEvent)

    def _answer(self, reminder: Reminder, **wish: Any) -> Reminder:
        path = self._one(reminder)
        etag = etag_of(self._link, path, reminder, Reminder)
        return read(Reminder, self._link.change("POST", f"{path}/answers", wish, if_match=etag))


class Calendars(Listed[Calendar]):
    """Calendars for calendar programs."""

    def create(self, *, name: str, idempotency_key: str | None = None, **fields: Any) -> Calendar:
        """Make one; its path is in this answer and nowhere else."""
        body = {"name": name, **fields}
        return read(Calendar, self._link.change("POST", self._path, body, idempotency_key=idempotency_key))

    def revoke(self, calendar: Calendar) -> Calendar:
        """Make its address useless from now on."""
        path = self._one(calendar)
        etag = etag_of(self._link, path, calendar, Calendar)
        return read(Calendar, self._link.change("DELETE", path, if_match=etag))


def _said(profile: Mapping[str, Any]) -> dict[str, Any]:
    """Return what was said of a profile, without what is usual: the answer holds both."""
    return {**profile.get("typed", {}), **({"cooled": True} if profile.get("cooled") else {})}
