"""The client: one service, one key, and everything it offers as attributes."""

from __future__ import annotations

from collections.abc import Callable
from types import TracebackType
from typing import Any, Generic, Literal, Self, TypeVar, cast
from uuid import UUID

import requests
from requests.adapters import BaseAdapter

from ._answer import Answer
from ._bench import Adjustments, Cards, ReadingSheets, Recommendations, Settling
from ._booking import Bookings, EventFeed, FreeSlots, WebhookEndpoints
from ._collection import Link
from ._connection import Connection
from ._contract.lists.cards import JobCardLinks
from ._contract.lists.instrument_models import InstrumentModels
from ._contract.lists.instruments import Instruments
from ._contract.lists.jobs import JobParts
from ._contract.lists.owners import Owners
from ._contract.lists.people_and_tools import Benches, Technicians, Tools
from ._contract.lists.services import Services
from ._contract.lists.shop import Closures
from ._contract.lists.strings import StringSets, Tunings
from ._jobs import Consents, Jobs, Quotes
from ._learning import AdjustmentResponses, CheckPieces, Reports, Studies, Transfers
from ._retries import TIMEOUT
from ._seasons import Calendars, Climates, Forecasts, Hygrometers, Reminders, RoomLog, Rooms
from ._shop import Absences, Calculations, Keys, SetupSpecs, ShopSettings
from ._writes import Timeout, Way

C = TypeVar("C")


class Offered(Generic[C]):
    """One part of what the service offers, as an attribute of a client; made when it is first used."""

    def __init__(self, kind: Callable[[Link], C], about: str) -> None:
        self._kind = kind
        self.__doc__ = about

    def __set_name__(self, client: type, name: str) -> None:
        self._name = name

    def __get__(self, client: Client | None, kind: type) -> C:
        if client is None:
            return cast(C, self)  # of the class itself, for its help
        if self._name not in client.__dict__:
            client.__dict__[self._name] = self._kind(client._link)
        return cast(C, client.__dict__[self._name])

    def __set__(self, client: Client, value: C) -> None:
        client.__dict__[self._name] = value


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
    timeout : float or (float, float)
        A number: for a whole call with all its tries. A pair: to connect, and between two bytes of the
        answer, of each try; the whole call then takes 45 s at most, or as long as one try may [s].
    retries : int or None
        How often a call is sent again at most; None = four times [-].
    session : requests.Session or None
        To use instead of an own one, with its own adapters and so its own retries [-].
    transport : requests adapter or None
        Carries the requests instead of the network, e.g. `WSGITransport(app)` [-].
    way : Way or None
        What takes the changes instead of the connection, to keep and send them later [-].

    Notes
    -----
    Reading is asked again, and a change sent again under the same idempotency key, when the connection breaks
    or the service answers 429 or 5xx, with jitter between the tries; waits count as time of the call.
    Every method takes `retries=` and `timeout=` for that call alone. The logger ``shimstock_client`` tells of
    each call (debug) and of what went wrong (warning), never of keys or bodies. Use one client per thread.

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
        retries: int | None = None,
        session: requests.Session | None = None,
        transport: BaseAdapter | None = None,
        way: Way | None = None,
    ) -> None:
        if units not in {None, "mm", "inch"}:
            raise ValueError(f"units: mm or inch was expected, not {units!r}")
        self._connection = Connection(
            url, key, timeout=timeout, retries=retries, session=session, transport=transport
        )
        self._link = Link(
            self._connection, way or self._connection, str(technician) if technician else None, units
        )

    shop = Offered(ShopSettings, "The shop's settings.")
    closures = Offered(Closures, "Days on which the shop keeps other hours, or none.")
    absences = Offered(Absences, "Days and hours on which technicians are away.")
    technicians = Offered(Technicians, "Who works at the benches.")
    benches = Offered(Benches, "The benches.")
    tools = Offered(Tools, "Measuring tools with their resolution and repeatability.")
    string_sets = Offered(StringSets, "String sets of the catalogue.")
    tunings = Offered(Tunings, "Tunings of the catalogue.")
    instrument_models = Offered(InstrumentModels, "Kinds of instruments with their geometry and hardware.")
    owners = Offered(Owners, "Who the instruments belong to.")
    instruments = Offered(Instruments, "Instruments, each of a model.")
    setup_specs = Offered(SetupSpecs, "Targets and limits of the shop, a model, an instrument, a job.")
    jobs = Offered(Jobs, "Work orders: check-in, claims, moves.")
    consents = Offered(Consents, "What owners said to steps that cannot be undone.")
    quotes = Offered(Quotes, "What a setup cannot cure, with a price.")
    parts = Offered(JobParts, "Parts used on a job.")
    card_links = Offered(JobCardLinks, "Addresses of owners' pages.")
    reading_sheets = Offered(ReadingSheets, "Readings of a job.")
    adjustments = Offered(Adjustments, "What was done on a job.")
    recommendations = Offered(Recommendations, "The plan of a job.")
    cards = Offered(Cards, "Before and after of a job.")
    settling = Offered(Settling, "Jobs whose neck rests.")
    adjustment_responses = Offered(AdjustmentResponses, "How far readings follow adjustments.")
    reports = Offered(Reports, "Reports by instrument model, and whether the benches agree.")
    studies = Offered(Studies, "Guided studies of whether the benches measure the same.")
    transfers = Offered(Transfers, "Export of everything, import of earlier readings.")
    check_pieces = Offered(CheckPieces, "Daily check readings of a bench.")
    calculations = Offered(Calculations, "Every formula by name.")
    climates = Offered(Climates, "Monthly outdoor normals of places.")
    rooms = Offered(Rooms, "Rooms that instruments live in, and their air.")
    hygrometers = Offered(Hygrometers, "Hygrometers and their checks over salts.")
    room_log = Offered(RoomLog, "Readings of rooms.")
    forecasts = Offered(Forecasts, "What the seasons will do to an instrument.")
    reminders = Offered(Reminders, "What has to be looked at again, and when.")
    calendars = Offered(Calendars, "Reminders for calendar programs.")
    services = Offered(Services, "What can be booked.")
    availability = Offered(FreeSlots, "Free drop-off slots.")
    bookings = Offered(Bookings, "Drop-off slots: held, confirmed, moved, cancelled.")
    webhook_endpoints = Offered(WebhookEndpoints, "Addresses that webhooks are sent to.")
    events = Offered(EventFeed, "The feed of everything that happened.")
    keys = Offered(Keys, "API keys.")

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
