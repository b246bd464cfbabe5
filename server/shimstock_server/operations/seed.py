"""Fill a shop from JSON files, through the same functions and checks as the service's own requests."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

import click
from marshmallow import ValidationError
from sqlalchemy import select
from sqlalchemy.orm import Session

from shimstock_server import booking, catalogue, owners, seasons, shop
from shimstock_server.clock import SystemClock
from shimstock_server.config import Config
from shimstock_server.database.session import Database
from shimstock_server.database.tables.booking import Service
from shimstock_server.database.tables.catalogue import InstrumentModel, StringSet, Tuning
from shimstock_server.database.tables.owners import Instrument
from shimstock_server.database.tables.seasons import (
    Climate,
    Hygrometer,
    Keeping,
    Room,
    RoomReading,
    SeasonSettings,
)
from shimstock_server.database.tables.shop import Bench, Closure, Shop, Technician, Tool
from shimstock_server.database.words import Kind
from shimstock_server.web.context import Actor
from shimstock_server.web.problems import Problem
from shimstock_server.web.schemas import StrictSchema, field_errors

from .seeding_past import load_past
from .seeding_rooms import RoomLogIn, RoomLogWish, readings_of

SEEDER = Actor(key_id=None, name="seed", scope="manager")
FILES = ("shop.json", "people.json", "strings.json", "models.json", "specs.json", "owners.json")
"""What a folder of seeds holds, in the order in which it is read."""
MORE_FILES = ("seasons.json",)
"""What it may hold besides: climates, rooms, and what their air was like."""
PAST = "past.json"
"""The year that the shop has behind it; read where that is asked for."""


class SeedError(click.ClickException):
    """A file cannot be taken; the message names the file, the place and what would be right."""


@dataclass
class Loaded:
    """How many of each were added; what stood there already was left alone."""

    added: Counter[str] = field(default_factory=Counter)

    def __str__(self) -> str:
        """Tell it in one line."""
        return ", ".join(f"{count} {what}" for what, count in self.added.items() if count) or "nothing new"


def load(
    database: Database,
    path: Path,
    now: datetime | None = None,
    *,
    secret: str | None = None,
    past: bool = False,
) -> Loaded:
    """Load a folder of seeds in one transaction. Loading it twice changes nothing.

    Parameters
    ----------
    database : Database
        Migrated.
    path : Path
        The folder.
    now : datetime, optional
        The instant that is noted; the machine's clock by default.
    secret : str, optional
        The service's secret, for the keyed hashes of personal data; from the settings by default.
    past : bool
        Whether the shop gets the year of jobs that its folder holds.

    Returns
    -------
    Loaded
        How many of each were added.

    Raises
    ------
    SeedError
        When a file is missing or something in it cannot be taken; then nothing is stored.
    """
    info = {
        "now": now or SystemClock().now(),
        "secret": secret or Config.from_environment().secret,
        "request_id": "seed",
    }
    files = {name: _read(path / name) for name in FILES}
    files |= {name: _read(path / name) for name in MORE_FILES if (path / name).exists()}
    if past:
        files[PAST] = _read(path / PAST)
    with database.write(info) as session:
        loading = _Loading(session)
        for name, contents in files.items():
            loading.file(name, contents)
        return loading.loaded


def _read(file: Path) -> dict[str, Any]:
    try:
        contents = json.loads(file.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise SeedError(f"{file} is missing; a folder of seeds holds {', '.join(FILES)}") from None
    except (UnicodeDecodeError, json.JSONDecodeError) as error:
        raise SeedError(f"{file} is not JSON in UTF-8: {error}") from None
    if not isinstance(contents, dict):
        raise SeedError(f"{file} must hold one object")
    return contents


class _Loading:
    """One run over the files: what it needs to turn names into ids, and what it has added."""

    def __init__(self, session: Session) -> None:
        self.session = session
        self.loaded = Loaded()
        self._sections: dict[str, Callable[[Mapping[str, Any]], None]] = {
            "shop": self._shop,
            "closures": self._closure,
            "services": self._service,
            "technicians": self._technician,
            "benches": self._bench,
            "tools": self._tool,
            "string_sets": self._string_set,
            "tunings": self._tuning,
            "instrument_models": self._model,
            "shop_specs": self._shop_spec,
            "model_specs": self._model_spec,
            "owners": self._owner,
            "climates": self._climate,
            "season_settings": self._season_settings,
            "rooms": self._room,
            "hygrometers": self._hygrometer,
            "keepings": self._keeping,
            "room_logs": self._room_log,
            "past": self._past,
        }

    def file(self, name: str, contents: Mapping[str, Any]) -> None:
        """Load one file: each of its sections is an entry or a list of them."""
        for section, entries in contents.items():
            if section not in self._sections:
                raise SeedError(f"{name}: {section} is not known; known are {', '.join(self._sections)}")
            listed = entries if isinstance(entries, list) else [entries]
            for n, entry in enumerate(listed):
                place = f"{name}: /{section}/{n}" if isinstance(entries, list) else f"{name}: /{section}"
                self._entry(section, entry, place)

    def _entry(self, section: str, entry: Any, place: str) -> None:
        if not isinstance(entry, dict):
            raise SeedError(f"{place} must be an object")
        try:
            self._sections[section](dict(entry))
        except ValidationError as error:
            told = "; ".join(
                f"{place}{each['pointer']} {each['message']}" for each in field_errors(error.messages)
            )
            raise SeedError(told) from None
        except Problem as problem:
            told = "; ".join(f"{place}{each['pointer']} {each['message']}" for each in problem.errors or [])
            raise SeedError(told or f"{place}: {problem.detail}") from None
        except KeyError as error:
            raise SeedError(f"{place} lacks {error.args[0]!r}") from None

    def _there(self, table: Any, **wanted: Any) -> Any:
        """Return the row that says so, or None."""
        return self.session.scalars(select(table).filter_by(**wanted)).one_or_none()

    def _named(self, table: Any, field_name: str, **wanted: Any) -> UUID:
        row = self._there(table, **wanted)
        if row is None:
            shown = " ".join(str(value) for value in wanted.values())
            raise ValidationError({field_name: [f"there is no {shown!r}"]})
        return UUID(str(row.id))

    def _add(
        self, what: str, schema: type[StrictSchema], entry: Mapping[str, Any], work: Callable[..., Any]
    ) -> Any:
        row = work(self.session, schema().load(entry))
        self.loaded.added[what] += 1
        return row

    def _shop(self, entry: Mapping[str, Any]) -> None:
        if self.session.scalar(select(Shop.id)) is None:
            self._add("shop", shop.ShopIn, entry, shop.set_up)

    def _closure(self, entry: Mapping[str, Any]) -> None:
        day = shop.ClosureIn().load(entry)["day"]
        if self._there(Closure, day=day) is None:
            self._add("closures", shop.ClosureIn, entry, shop.add_closure)

    def _service(self, entry: Mapping[str, Any]) -> None:
        if self._there(Service, name=entry["name"]) is None:
            self._add("services", booking.ServiceIn, entry, booking.add_service)

    def _technician(self, entry: Mapping[str, Any]) -> None:
        if self._there(Technician, name=entry["name"]) is None:
            self._add("technicians", shop.TechnicianIn, entry, shop.add_technician)

    def _bench(self, entry: Mapping[str, Any]) -> None:
        if self._there(Bench, name=entry["name"]) is None:
            self._add("benches", shop.BenchIn, entry, shop.add_bench)

    def _tool(self, entry: Mapping[str, Any]) -> None:
        if self._there(Tool, name=entry["name"]) is not None:
            return
        body = dict(entry)
        if (bench := body.pop("bench", None)) is not None:
            body["bench_id"] = str(self._named(Bench, "bench", name=bench))
        self._add("tools", shop.ToolIn, body, shop.add_tool)

    def _string_set(self, entry: Mapping[str, Any]) -> None:
        if self._there(StringSet, name=entry["name"]) is None:
            self._add("string sets", catalogue.StringSetIn, entry, catalogue.create_string_set)

    def _tuning(self, entry: Mapping[str, Any]) -> None:
        if self._there(Tuning, name=entry["name"]) is None:
            self._add("tunings", catalogue.TuningIn, entry, catalogue.create_tuning)

    def _strung(self, entry: Mapping[str, Any]) -> dict[str, Any]:
        """Turn the names of a string set and a tuning into ids."""
        body = dict(entry)
        for name, table in (("string_set", StringSet), ("tuning", Tuning)):
            if name in body:
                body[f"{name}_id"] = str(self._named(table, name, name=body.pop(name)))
        return body

    def _model(self, entry: Mapping[str, Any]) -> None:
        if self._there(InstrumentModel, maker=entry["maker"], name=entry["name"]) is None:
            self._add(
                "instrument models", catalogue.InstrumentModelIn, self._strung(entry), catalogue.create_model
            )

    def _model_id(self, entry: Mapping[str, Any]) -> UUID:
        named = entry["model"]
        if not isinstance(named, list) or len(named) != 2:
            raise ValidationError({"model": ["must be maker and name, such as [maker, name]"]})
        return self._named(InstrumentModel, "model", maker=named[0], name=named[1])

    def _shop_spec(self, entry: Mapping[str, Any]) -> None:
        body = dict(entry)
        try:
            kind = Kind(body.pop("kind"))
        except ValueError:
            raise ValidationError({"kind": [f"must be one of {', '.join(Kind)}"]}) from None
        self._spec(body, kind=kind)

    def _model_spec(self, entry: Mapping[str, Any]) -> None:
        body = dict(entry)
        model_id = self._model_id(body)
        del body["model"]
        self._spec(body, model_id=model_id)

    def _spec(self, entry: Mapping[str, Any], **where: Any) -> None:
        if catalogue.current_spec(self.session, **where) is None:
            self._add(
                "setup specs",
                catalogue.SetupSpecIn,
                entry,
                lambda session, body: catalogue.store_spec(session, body, **where),
            )

    def _owner(self, entry: Mapping[str, Any]) -> None:
        """Add an owner with instruments; whose instruments are there is known already, erased or not."""
        body = dict(entry)
        instruments = [self._strung(each) for each in body.pop("instruments", [])]
        if not instruments:
            raise ValidationError({"instruments": ["an owner is told again by the instruments: give one"]})
        owner_id: UUID | None = None
        for instrument in instruments:
            model_id = self._model_id(instrument)
            known = self._there(Instrument, model_id=model_id, serial=instrument["serial"])
            owner_id = owner_id or (None if known is None else known.owner_id)
        if owner_id is None:
            owner_id = self._add("owners", owners.OwnerIn, body, owners.add_owner).id
        for instrument in instruments:
            self._instrument(instrument, owner_id)

    def _instrument(self, entry: Mapping[str, Any], owner_id: UUID) -> None:
        body = dict(entry)
        model_id = self._model_id(body)
        del body["model"]
        if self._there(Instrument, model_id=model_id, serial=body["serial"]) is None:
            body |= {"model_id": str(model_id), "owner_id": str(owner_id)}
            self._add("instruments", owners.InstrumentIn, body, owners.add_instrument)

    def _climate(self, entry: Mapping[str, Any]) -> None:
        if self._there(Climate, name=entry["name"]) is None:
            self._add("climates", seasons.ClimateIn, entry, seasons.add_climate)

    def _with_ids(self, entry: Mapping[str, Any], **tables: Any) -> dict[str, Any]:
        """Turn the names of what an entry refers to into ids."""
        body = dict(entry)
        for name, table in tables.items():
            if (named := body.pop(name, None)) is not None:
                body[f"{name}_id"] = str(self._named(table, name, name=named))
        return body

    def _season_settings(self, entry: Mapping[str, Any]) -> None:
        if self._there(SeasonSettings, singleton=1) is None:
            body = self._with_ids(entry, climate=Climate)
            self._add(
                "season settings",
                seasons.SeasonSettingsIn,
                body,
                lambda session, said: seasons.store_settings(session, None, said),
            )

    def _room(self, entry: Mapping[str, Any]) -> None:
        if self._there(Room, name=entry["name"]) is None:
            body = self._with_ids(entry, climate=Climate)
            self._add("rooms", seasons.KeptRoomIn, body, seasons.add_room)

    def _hygrometer(self, entry: Mapping[str, Any]) -> None:
        if self._there(Hygrometer, name=entry["name"]) is None:
            body = self._with_ids(entry, room=Room)
            self._add("hygrometers", seasons.HygrometerIn, body, seasons.add_hygrometer)

    def _keeping(self, entry: Mapping[str, Any]) -> None:
        body = self._with_ids(entry, room=Room, climate=Climate)
        model_id, serial = self._model_id(body), body.pop("serial")
        del body["model"]
        instrument = self._there(Instrument, model_id=model_id, serial=serial)
        if instrument is None:
            raise ValidationError({"serial": [f"there is no instrument {serial!r} of this model"]})
        if self._there(Keeping, instrument_id=instrument.id) is None:
            self._add(
                "homes",
                seasons.KeepingIn,
                body,
                lambda session, said: seasons.store_keeping(session, instrument, said),
            )

    def _room_log(self, entry: Mapping[str, Any]) -> None:
        body = RoomLogIn().load(entry)
        room = self.session.get_one(Room, self._named(Room, "room", name=body["room"]))
        if self.session.scalar(select(RoomReading.id).where(RoomReading.room_id == room.id).limit(1)):
            return
        meter = None
        if body["hygrometer"] is not None:
            meter_id = self._named(Hygrometer, "hygrometer", name=body["hygrometer"])
            meter = self.session.get_one(Hygrometer, meter_id)
        now, zone = self.session.info["now"], ZoneInfo(shop.settings(self.session).zone)
        sent = readings_of(body, RoomLogWish(room.id, None if meter is None else meter.id, now, zone))
        kept = seasons.record_room_log(self.session, room, meter, sent, actor=SEEDER, now=now)
        self.loaded.added["room readings"] += len(kept.stored)

    def _past(self, entry: Mapping[str, Any]) -> None:
        zone = shop.settings(self.session).zone
        self.loaded.added["jobs of the past"] += load_past(self.session, {**entry, "zone": zone})
