"""The client: one service, one key, and everything it offers as attributes."""

from __future__ import annotations

from types import TracebackType
from typing import Any, Literal, Self
from uuid import UUID

import requests
from requests.adapters import BaseAdapter

from ._answer import Answer
from ._bench import Adjustments, Cards, ReadingSheets, Recommendations, Settling
from ._bench_records import Job
from ._booking import Bookings, EventFeed, FreeSlots, WebhookEndpoints
from ._booking_records import Booking, Service, WebhookEndpoint
from ._collection import Collection, Link
from ._connection import TIMEOUT, Connection, Timeout
from ._jobs import Consents, Jobs, PartsUsed, Quotes
from ._learning import AdjustmentResponses, CheckPieces, Reports, Studies, Transfers
from ._learning_records import CheckPiece, Study
from ._records import (
    Absence,
    ApiKey,
    Bench,
    Closure,
    Instrument,
    InstrumentModel,
    Owner,
    StringSet,
    Technician,
    Tool,
    Tuning,
)
from ._season_records import Calendar, Climate, Hygrometer, Reminder, Room
from ._seasons import Calendars, Climates, Forecasts, Hygrometers, Reminders, RoomLog, Rooms
from ._shop import Absences, Calculations, Closures, Keys, SetupSpecs, ShopSettings
from ._writes import Way


class Client:
    """Talks to one Shimstock service.

    Parameters
    ----------
    url : str
        Where the service is [-].
    key : str
        API key [-].
    technician : str, UUID or None
        Id of who works; a bench key's changes name one [-].
    units : "mm", "inch" or None
        In which answers come; None = as the key prefers [-].
    timeout : (float, float)
        To connect, and between two bytes of the answer [s].
    session : requests.Session or None
        To use instead of an own one, with its own adapters and so its own retries [-].
    transport : requests adapter or None
        Carries the requests instead of the network, e.g. `WSGITransport(app)` [-].
    way : Way or None
        What takes the changes instead of the connection, to keep and send them later [-].

    Notes
    -----
    Reading is asked again, and a change sent again under the same idempotency key, when the connection breaks
    or the service answers 429 or 5xx: at most four times, with jitter, and not after 45 s. Use one client per
    thread.

    Examples
    --------
    >>> with Client("http://127.0.0.1:8080", "shim_example_key") as client:
    ...     client.url
    'http://127.0.0.1:8080'
    """

    def __init__(
        self,
        url: str,
        key: str,
        technician: str | UUID | None = None,
        units: Literal["mm", "inch"] | None = None,
        timeout: Timeout = TIMEOUT,
        *,
        session: requests.Session | None = None,
        transport: BaseAdapter | None = None,
        way: Way | None = None,
    ) -> None:
        if units not in {None, "mm", "inch"}:
            raise ValueError(f"units: mm or inch was expected, not {units!r}")
        self._connection = Connection(url, key, timeout=timeout, session=session, transport=transport)
        self._link = link = Link(
            self._connection, way or self._connection, str(technician) if technician else None, units
        )
        self.shop = ShopSettings(link)
        self.closures = Closures(link, "/closures", Closure)
        self.absences = Absences(link, "/absences", Absence)
        self.technicians = Collection(link, "/technicians", Technician)
        self.benches = Collection(link, "/benches", Bench)
        self.tools = Collection(link, "/tools", Tool)
        self.string_sets = Collection(link, "/string-sets", StringSet)
        self.tunings = Collection(link, "/tunings", Tuning)
        self.instrument_models = Collection(link, "/instrument-models", InstrumentModel)
        self.owners = Collection(link, "/owners", Owner)
        self.instruments = Collection(link, "/instruments", Instrument)
        self.setup_specs = SetupSpecs(link)
        self.jobs = Jobs(link, "/jobs", Job)
        self.consents = Consents(link)
        self.quotes = Quotes(link)
        self.parts = PartsUsed(link)
        self.reading_sheets = ReadingSheets(link)
        self.adjustments = Adjustments(link)
        self.recommendations = Recommendations(link)
        self.cards = Cards(link)
        self.settling = Settling(link)
        self.adjustment_responses = AdjustmentResponses(link)
        self.reports = Reports(link)
        self.studies = Studies(link, "/studies", Study)
        self.transfers = Transfers(link)
        self.check_pieces = CheckPieces(link, "/check-pieces", CheckPiece)
        self.calculations = Calculations(link)
        self.climates = Climates(link, "/climates", Climate)
        self.rooms = Rooms(link, "/rooms", Room)
        self.hygrometers = Hygrometers(link, "/hygrometers", Hygrometer)
        self.room_log = RoomLog(link)
        self.forecasts = Forecasts(link)
        self.reminders = Reminders(link, "/reminders", Reminder)
        self.calendars = Calendars(link, "/calendars", Calendar)
        self.services = Collection(link, "/services", Service)
        self.availability = FreeSlots(link)
        self.bookings = Bookings(link, "/bookings", Booking)
        self.webhook_endpoints = WebhookEndpoints(link, "/webhook-endpoints", WebhookEndpoint)
        self.events = EventFeed(link)
        self.keys = Keys(link, "/keys", ApiKey)

    @property
    def url(self) -> str:
        """Where the service is."""
        return self._connection.url

    def ask(self, path: str, **query: Any) -> Answer:
        """GET a path under /v1 that has no attribute of its own yet."""
        return self._link.ask(path, **query)

    def change(self, method: str, path: str, body: dict[str, Any] | None = None, **how: Any) -> Answer:
        """POST, PUT, PATCH or DELETE a path under /v1 that has no attribute of its own yet."""
        return self._link.change(method, path, body, **how)

    def close(self) -> None:
        """Close the connections."""
        self._connection.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def __repr__(self) -> str:
        return f"Client({self.url!r})"
