"""The booking website's part: services, free slots, bookings, the owner's page, webhooks, the feed."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, datetime
from typing import TYPE_CHECKING, Unpack
from uuid import UUID

from ._collection import Link, id_of, read
from ._contract import (
    Availability,
    Booking,
    CardLink,
    Event,
    Events,
    Service,
    WebhookDelivery,
    WebhookEndpoint,
)
from ._contract.lists import bookings, webhooks
from ._wire import ABSENT
from ._writes import CallOptions, WriteOptions, apart

if TYPE_CHECKING:
    from ._contract import CheckInFields, ConfirmFields, EventsFilters, WebhookDeliveriesFilters


class FreeSlots:
    """When there is room for a service."""

    def __init__(self, link: Link) -> None:
        self._link = link

    def of(
        self,
        service: Service | UUID | str,
        first: date | None = None,
        last: date | None = None,
        **call: Unpack[CallOptions],
    ) -> Availability:
        """Ask for the free slots from a day to another, both included; without them, of two weeks."""
        answer = self._link.ask("/availability", service_id=id_of(service), first=first, last=last, **call)
        return read(Availability, answer)


class Bookings(bookings.Bookings):
    """Drop-off slots: held, confirmed, moved, cancelled, missed, checked in."""

    def hold(
        self, service: Service | UUID | str, at: datetime | None, **call: Unpack[WriteOptions]
    ) -> Booking:
        """Take a slot and hold it for some minutes.

        Raises
        ------
        Conflict
            With `code` ``no-place``: nothing is left; `extra["next_slots"]` lists what is free next.
        """
        body = {"service_id": id_of(service), "at": at}
        answer = self._link.change("POST", self._path, body, **call)
        return read(Booking, answer)

    def confirm(self, booking: Booking | UUID | str, **fields: Unpack[ConfirmFields]) -> Booking:
        """Make a hold firm: say who comes with what.

        The answer holds `card_path`, and so does its repetition under the same `idempotency_key`. Where the
        service cannot show it again it is None: then `make_card_link` makes another address.
        """
        body, call = apart(fields)
        path = f"{self._one(booking)}/confirm"
        return read(Booking, self._link.change("POST", path, body, **call))

    def move(self, booking: Booking, at: datetime | None, **call: Unpack[WriteOptions]) -> Booking:
        """Give a booking another slot; when that one is taken it stays where it was."""
        return self._edit("POST", booking, "/move", {"at": at}, **call)

    def cancel(self, booking: Booking, *, reason: str | None = None, **call: Unpack[WriteOptions]) -> Booking:
        """Take a booking back."""
        return self._edit("POST", booking, "/cancel", {"reason": reason}, **call)

    def no_show(self, booking: Booking, **call: Unpack[WriteOptions]) -> Booking:
        """Note that nobody came; for the shop's own keys."""
        return self._edit("POST", booking, "/no-show", {}, **call)

    def check_in(self, booking: Booking, **fields: Unpack[CheckInFields]) -> Booking:
        """Receive the instrument: known by its serial number, `instrument_id`, or `new_instrument`."""
        body, call = apart(fields)
        return self._edit("POST", booking, "/check-in", body, **call)

    def make_card_link(
        self, booking: Booking | UUID | str, *, days: int | None = None, **call: Unpack[WriteOptions]
    ) -> CardLink:
        """Make another address of the owner's page; the answer and its repetition hold its `path`."""
        body = {"days": days if days is not None else ABSENT}
        path = f"{self._one(booking)}/card-links"
        return read(CardLink, self._link.change("POST", path, body, **call))


class WebhookEndpoints(webhooks.WebhookEndpoints):
    """Addresses that are told of events."""

    def rotate_secret(
        self, endpoint: WebhookEndpoint, *, keep_hours: int | None = None, **call: Unpack[WriteOptions]
    ) -> WebhookEndpoint:
        """Get another secret; the former one stays valid for some hours, 24 without a number."""
        body = {"keep_hours": keep_hours if keep_hours is not None else ABSENT}
        return self._edit("POST", endpoint, "/secret", body, **call)

    def deliveries(self, **filters: Unpack[WebhookDeliveriesFilters]) -> Iterator[WebhookDelivery]:
        """Walk what was told, the newest first; `state="parked"` is what was given up."""
        return self._link.walk("/webhook-deliveries", WebhookDelivery, **filters)

    def test(self, endpoint: WebhookEndpoint | UUID | str, **call: Unpack[WriteOptions]) -> WebhookDelivery:
        """Send an endpoint a `webhook-endpoint.tested`, whichever types it subscribes to."""
        path = f"{self._one(endpoint)}/test"
        return read(WebhookDelivery, self._link.change("POST", path, {}, **call))

    def replay(self, delivery: WebhookDelivery | UUID | str, **call: Unpack[WriteOptions]) -> WebhookDelivery:
        """Send something now: what is on its way, was delivered or was parked."""
        identifier = delivery.id if isinstance(delivery, WebhookDelivery) else delivery
        path = f"/webhook-deliveries/{id_of(identifier)}/replay"
        return read(WebhookDelivery, self._link.change("POST", path, {}, **call))


class EventFeed:
    """Everything that happened, for programs that keep themselves up to date."""

    def __init__(self, link: Link) -> None:
        self._link = link

    def page(self, cursor: str | None = None, **filters: Unpack[EventsFilters]) -> Events:
        """Read one page; keep its `cursor` and ask again with it."""
        return read(Events, self._link.ask("/events", cursor=cursor, **filters))

    def since(self, cursor: str | None = None, **filters: Unpack[EventsFilters]) -> Iterator[Event]:
        """Walk what happened after a place in the feed, to its present end."""
        while True:
            page = self.page(cursor, **filters)
            yield from page.items
            if page.next is None:
                return
            cursor = page.next
