"""The booking website's part: services, free slots, bookings, the owner's page, webhooks, the feed."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, datetime
from typing import Any
from uuid import UUID

from ._booking_records import (
    Availability,
    Booking,
    CardLink,
    Event,
    Events,
    Service,
    WebhookDelivery,
    WebhookEndpoint,
)
from ._collection import Collection, Link, Listed, etag_of, id_of, read
from ._wire import ABSENT, to_wire


class FreeSlots:
    """When there is room for a service."""

    def __init__(self, link: Link) -> None:
        self._link = link

    def of(
        self, service: Service | UUID | str, first: date | None = None, last: date | None = None
    ) -> Availability:
        """Ask for the free slots from a day to another, both included; without them, of two weeks."""
        answer = self._link.ask("/availability", service_id=id_of(service), first=first, last=last)
        return read(Availability, answer)


class Bookings(Listed[Booking]):
    """Drop-off slots: held, confirmed, moved, cancelled, missed, checked in."""

    def hold(
        self,
        service: Service | UUID | str,
        at: datetime | None,
        *,
        idempotency_key: str | None = None,
    ) -> Booking:
        """Take a slot and hold it for some minutes.

        Raises
        ------
        Conflict
            With `code` ``no-place``: nothing is left; `extra["next_slots"]` lists what is free next.
        """
        body = {"service_id": id_of(service), "at": at}
        answer = self._link.change("POST", self._path, body, idempotency_key=idempotency_key)
        return read(Booking, answer)

    def confirm(
        self,
        booking: Booking | UUID | str,
        *,
        owner: dict[str, Any] | None = None,
        idempotency_key: str | None = None,
        **fields: Any,
    ) -> Booking:
        """Make a hold firm: say who comes with what.

        The answer holds `card_path`, and so does its repetition under the same `idempotency_key`. Where the
        service cannot show it again it is None: then `make_card_link` makes another address.
        """
        body = {"owner": owner if owner is not None else ABSENT, **fields}
        path = f"{self._one(booking)}/confirm"
        return read(Booking, self._link.change("POST", path, body, idempotency_key=idempotency_key))

    def move(self, booking: Booking, at: datetime | None, *, idempotency_key: str | None = None) -> Booking:
        """Give a booking another slot; when that one is taken it stays where it was."""
        return self._act(booking, "move", {"at": at}, idempotency_key)

    def cancel(
        self, booking: Booking, *, reason: str | None = None, idempotency_key: str | None = None
    ) -> Booking:
        """Take a booking back."""
        return self._act(booking, "cancel", {"reason": reason}, idempotency_key)

    def no_show(self, booking: Booking, *, idempotency_key: str | None = None) -> Booking:
        """Note that nobody came; for the shop's own keys."""
        return self._act(booking, "no-show", {}, idempotency_key)

    def check_in(self, booking: Booking, *, idempotency_key: str | None = None, **fields: Any) -> Booking:
        """Receive the instrument: known by its serial number, `instrument_id`, or `new_instrument`."""
        return self._act(booking, "check-in", fields, idempotency_key)

    def make_card_link(
        self, booking: Booking | UUID | str, *, days: int | None = None, idempotency_key: str | None = None
    ) -> CardLink:
        """Make another address of the owner's page; the answer and its repetition hold its `path`."""
        body = {"days": days if days is not None else ABSENT}
        path = f"{self._one(booking)}/card-links"
        return read(CardLink, self._link.change("POST", path, body, idempotency_key=idempotency_key))

    def _act(self, booking: Booking, what: str, body: dict[str, Any], idempotency_key: str | None) -> Booking:
        path = self._one(booking)
        etag = etag_of(self._link, path, booking, Booking)
        answer = self._link.change(
            "POST", f"{path}/{what}", body, if_match=etag, idempotency_key=idempotency_key
        )
        return read(Booking, answer)


class WebhookEndpoints(Collection[WebhookEndpoint]):
    """Addresses that are told of events."""

    def rotate_secret(
        self, endpoint: WebhookEndpoint, *, keep_hours: int | None = None, idempotency_key: str | None = None
    ) -> WebhookEndpoint:
        """Get another secret; the former one stays valid for some hours, 24 without a number."""
        path = self._one(endpoint)
        etag = etag_of(self._link, path, endpoint, WebhookEndpoint)
        body = {"keep_hours": keep_hours if keep_hours is not None else ABSENT}
        answer = self._link.change(
            "POST", f"{path}/secret", body, if_match=etag, idempotency_key=idempotency_key
        )
        return read(WebhookEndpoint, answer)

    def delete(self, endpoint: WebhookEndpoint) -> None:
        """Take one away, with its log."""
        path = self._one(endpoint)
        self._link.change("DELETE", path, if_match=etag_of(self._link, path, endpoint, WebhookEndpoint))

    def deliveries(self, **filters: Any) -> Iterator[WebhookDelivery]:
        """Walk what was told, the newest first; `state="parked"` is what was given up."""
        return self._link.walk("/webhook-deliveries", WebhookDelivery, **filters)

    def test(
        self, endpoint: WebhookEndpoint | UUID | str, *, idempotency_key: str | None = None
    ) -> WebhookDelivery:
        """Send an endpoint a `webhook-endpoint.tested`, whatever types it wants to be told of."""
        path = f"{self._one(endpoint)}/test"
        return read(WebhookDelivery, self._link.change("POST", path, {}, idempotency_key=idempotency_key))

    def replay(
        self, delivery: WebhookDelivery | UUID | str, *, idempotency_key: str | None = None
    ) -> WebhookDelivery:
        """Send something now: what is on its way, was delivered or was parked."""
        identifier = delivery.id if isinstance(delivery, WebhookDelivery) else delivery
        path = f"/webhook-deliveries/{id_of(identifier)}/replay"
        return read(WebhookDelivery, self._link.change("POST", path, {}, idempotency_key=idempotency_key))


class EventFeed:
    """Everything that happened, for programs that keep themselves up to date."""

    def __init__(self, link: Link) -> None:
        self._link = link

    def page(self, cursor: str | None = None, *, limit: int | None = None, type: Any = None) -> Events:  # noqa: A002
        """Read one page; keep its `cursor` and ask again with it."""
        return read(Events, self._link.ask("/events", cursor=cursor, limit=limit, type=to_wire(type)))

    def since(self, cursor: str | None = None, **filters: Any) -> Iterator[Event]:
        """Walk what happened after a place in the feed, to its present end."""
        while True:
            page = self.page(cursor, **filters)
            yield from page.items
            if page.next is None:
                return
            cursor = page.next
