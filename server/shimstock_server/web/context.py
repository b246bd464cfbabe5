"""What the request at hand carries: who asks, when, in which units, and the database session."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Literal, cast
from uuid import UUID

from flask import current_app, g, request
from sqlalchemy.orm import Session

if TYPE_CHECKING:
    from shimstock_server.config import Config
    from shimstock_server.database.session import Database

Scope = Literal["bench", "booking", "manager"]
Units = Literal["mm", "inch"]


@dataclass(frozen=True)
class Actor:
    """Who asks: a key, and for a bench the technician who holds the tool."""

    key_id: UUID | None
    name: str
    scope: Scope
    bench_id: UUID | None = None
    technician_id: UUID | None = None
    units: Units | None = None

    @property
    def is_manager(self) -> bool:
        """Whether this key may do everything."""
        return self.scope == "manager"


class _Current:
    """The request at hand. Outside of a request its attributes raise RuntimeError."""

    @property
    def session(self) -> Session:
        """The database session of the request: for reading, or the write transaction."""
        return cast(Session, g.session)

    @property
    def actor(self) -> Actor:
        """Who asks."""
        return cast(Actor, g.actor)

    @property
    def now(self) -> datetime:
        """The instant of the request, the same from its beginning to its end."""
        return cast(datetime, g.now)

    @property
    def request_id(self) -> str:
        """The id under which the request stands in the logs."""
        return cast(str, g.request_id)

    @property
    def units(self) -> Units:
        """The units of the answer: `mm` or `inch`."""
        return cast(Units, g.get("units", "mm"))

    def tell_in(self, units: Units) -> None:
        """Answer in these units instead of the key's, unless the request itself asks for others."""
        if "units" not in request.args:
            g.units = units

    @property
    def media_type(self) -> str:
        """The media type that the client prefers, of those that the operation offers."""
        return cast(str, g.get("media_type", "application/json"))

    @property
    def fingerprint(self) -> str:
        """The hash of the body that was sent, for ids made by a client (`idempotency.client_made`)."""
        return cast(str, g.fingerprint)

    @property
    def config(self) -> Config:
        """The settings."""
        return cast("Config", current_app.extensions["shimstock"].config)

    @property
    def database(self) -> Database:
        """The database."""
        return cast("Database", current_app.extensions["shimstock"].database)


current = _Current()
