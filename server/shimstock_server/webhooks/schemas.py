"""Schemas of endpoints, deliveries and the feed."""

from __future__ import annotations

from typing import Any, ClassVar

from shimstock_server.database.words import DeliveryState
from shimstock_server.web.fields import (
    Choice,
    Id,
    Instant,
    ListOf,
    MapOf,
    Nested,
    StrictField,
    StrictSchema,
    Text,
    Truth,
    Whole,
)
from shimstock_server.web.paging import PageQuery
from shimstock_server.web.typed import without_defaults

from .events import EVENT_TYPES, EventType


class EndpointIn(StrictSchema):
    """An address to be told of events."""

    EXAMPLE: ClassVar[dict[str, Any]] = {
        "url": "https://shop.example/shimstock",
        "types": ["booking.cancelled", "job.moved", "reminder.due"],
    }

    url = Text(
        max=2000,
        required=True,
        metadata={"description": "https://… on the public internet; the operator may allow the own network."},
    )
    description = Text(max=200, load_default=None, allow_none=True)
    types = ListOf(
        Text(max=64),
        max=100,
        unique=True,
        load_default=list,
        metadata={"description": "The types of event to be told of; empty for all that this key may hear."},
    )


class EndpointChange(without_defaults(EndpointIn, "EndpointFields", "")):  # type: ignore[misc]
    """A change of an endpoint."""

    active = Truth(
        metadata={
            "description": "false stops telling; true sends what was on its way then, at once. What happens "
            "in between is not told later: it is in `GET /v1/events`."
        }
    )


class EndpointOut(StrictSchema):
    """An address that is told of events."""

    id = Id()
    version = Whole()
    created_at = Instant()
    updated_at = Instant()
    url = Text(max=2000)
    description = Text(allow_none=True)
    types = ListOf(Text(), metadata={"description": "Empty for all that its key may hear."})
    active = Truth()
    disabled_reason = Text(
        allow_none=True,
        metadata={"description": "switched-off, or gone when the endpoint answered 410."},
    )
    former_secret_until = Instant(
        allow_none=True, metadata={"description": "Until then messages carry two signatures."}
    )


class NewEndpointOut(EndpointOut):
    """An endpoint with its new secret."""

    secret = Text(
        allow_none=True,
        metadata={
            "secret": True,
            "description": "whsec_…, shown once; null in the kept answer of a repeated request.",
        },
    )


class RotationIn(StrictSchema):
    """How long the former secret stays valid."""

    keep_hours = Whole(
        0, 168, load_default=24, metadata={"description": "0 when it has leaked: it ends at once [h]."}
    )


class ObjectOut(StrictSchema):
    """What an event happened to."""

    type = Text(metadata={"description": "What stands before the point in the event's type: booking, job …"})
    id = Id()
    sequence = Whole(
        metadata={"description": "1, 2, 3 … for each object: the order in which it happened to it."}
    )


class EventObjectOut(ObjectOut):
    """What an event happened to, and its version then."""

    version = Whole(allow_none=True)


class AttemptOut(StrictSchema):
    """One attempt to deliver."""

    at = Instant()
    status = Whole(allow_none=True)
    error = Text(allow_none=True)
    answer = Text(
        allow_none=True,
        metadata={
            "description": "The beginning of what the endpoint answered. Null for a website's endpoint where "
            "the operator lets webhooks into the own network."
        },
    )
    milliseconds = Whole()


class DeliveryOut(StrictSchema):
    """One event on its way to one endpoint."""

    id = Id()
    created_at = Instant()
    endpoint_id = Id()
    event_id = Id(metadata={"description": "Stands in the webhook-id header."})
    type = Text()
    object = Nested(ObjectOut)
    state = Choice(DeliveryState)
    attempts = Whole(metadata={"description": "Since it was put on its way."})
    due_at = Instant(allow_none=True, metadata={"description": "When it is tried next."})
    ended_at = Instant(allow_none=True)
    last_status = Whole(allow_none=True)
    last_error = Text(allow_none=True)
    last_answer = Text(allow_none=True, metadata={"description": "The beginning of it."})
    log = ListOf(Nested(AttemptOut), metadata={"description": "Every attempt, the oldest first."})


class DeliveryQuery(PageQuery):
    """Which deliveries."""

    endpoint_id = Id()
    state = Choice(DeliveryState)
    object_id = Id(metadata={"description": "Of one booking, job or other object."})


class Anything(StrictField):
    """An id, a state, a number or a truth, as the type of event has it."""

    def _serialize(self, value: Any, *_: Any, **__: Any) -> Any:
        return value

    def openapi(self) -> dict[str, Any]:
        """Return the JSON Schema of this field."""
        return {"type": ["string", "number", "boolean", "null"]}


class EventOut(StrictSchema):
    """Something that happened; `webhooks` in this document describes the data of each type."""

    id = Id()
    type = Text()
    timestamp = Instant(metadata={"description": "When it happened."})
    object = Nested(EventObjectOut)
    data = MapOf(Anything())


class FeedQuery(PageQuery):
    """Which part of the feed."""

    type = ListOf(Text(max=64), max=50)


class FeedOut(StrictSchema):
    """A page of the feed."""

    is_page = True
    items = ListOf(Nested(EventOut), required=True)
    next = Text(
        max=600,
        required=True,
        allow_none=True,
        metadata={"description": "The cursor of the next page; null when nothing more has happened."},
    )
    cursor = Text(
        max=600,
        required=True,
        metadata={"description": "Where to go on later: keep it, and ask again with it."},
    )


def body_schema(kind: EventType) -> type[StrictSchema]:
    """Return the schema of the body of one type of event."""
    data = type(
        kind.component.removesuffix("Event") + "EventData",
        (StrictSchema,),
        {**kind.data, "__doc__": f"What `{kind.name}` carries.", "__module__": __name__},
    )
    members = {
        "id": Id(
            metadata={
                "x-name": "EventId",
                "description": "The same as the webhook-id header, on every attempt.",
            }
        ),
        "type": Choice((kind.name,)),
        "timestamp": Instant(metadata={"x-name": "EventTime", "description": "When it happened."}),
        "object": Nested(EventObjectOut),
        "data": Nested(data),
        "__doc__": kind.tells,
        "__module__": __name__,
    }
    return type(kind.component, (StrictSchema,), members)


BODIES = {name: body_schema(kind) for name, kind in EVENT_TYPES.items()}
"""The schema of the body of each type of event."""
