"""The types of event, with what each carries: ids, states and versions, never names."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from shimstock_server.database.tables.operations import DomainEvent
from shimstock_server.database.words import (
    BookingState,
    ConsentKind,
    JobState,
    Part,
    ReminderKind,
    SpecScope,
    Stage,
)
from shimstock_server.web.fields import (
    Choice,
    Id,
    Instant,
    Number,
    StrictField,
    Text,
    Truth,
    Whole,
    instant_text,
)

_JOB_STATE = {"state": Choice(JobState)}
_CLAIM = {
    "state": Choice(JobState),
    "claim": Id(),
    "technician": Id(),
    "ended_claim": Id(),
    "former_technician": Id(),
}


_REMINDER: dict[str, StrictField] = {
    "kind": Choice(ReminderKind),
    "instrument": Id(),
    "job": Id(
        allow_none=True,
        metadata={"description": "The job it follows: a website knows it by the booking of that job."},
    ),
    "due_at": Instant(),
    "sheet": Id(allow_none=True, metadata={"x-optional": True}),
}


def _booking(**more: StrictField) -> dict[str, StrictField]:
    return {"state": Choice(BookingState), **more}


@dataclass(frozen=True)
class EventType:
    """A type of event."""

    name: str
    tells: str
    data: Mapping[str, StrictField] = field(default_factory=dict)
    for_sites: bool = False
    """Whether a website hears of it, where it is about one of its own bookings."""

    @property
    def component(self) -> str:
        """The name of its schema in the OpenAPI document."""
        return "".join(part.capitalize() for part in self.name.replace(".", "-").split("-")) + "Event"


_ALL = (
    EventType("booking.held", "A slot is held for some minutes.",
              _booking(service=Id(), at=Instant()), for_sites=True),
    EventType("booking.expired", "A hold was not confirmed in time; its slot is free.",
              _booking(), for_sites=True),
    EventType("booking.confirmed", "A booking is firm, and its job is opened.",
              _booking(service=Id(), at=Instant(), job=Id()), for_sites=True),
    EventType("booking.moved", "A booking has another slot.",
              _booking(at=Instant(), job=Id(allow_none=True)), for_sites=True),
    EventType("booking.cancelled", "A booking was cancelled.",
              _booking(job=Id(allow_none=True)), for_sites=True),
    EventType("booking.no-show", "Nobody came.", _booking(job=Id()), for_sites=True),
    EventType("booking.checked-in", "The instrument of a booking was received.",
              _booking(job=Id()), for_sites=True),
    EventType("job.moved", "A job is in another state, such as ready.",
              {**_JOB_STATE, "sequence": Whole(metadata={"description": "Which of the job's moves it is."})},
              for_sites=True),
    EventType("job.handed-over", "A job was handed over to another technician.", _CLAIM),
    EventType("job.taken-over", "A stale claim was taken over by another technician.", _CLAIM),
    EventType("job.consent", "The owner said yes or no to steps that cannot be undone.",
              {"covers": Choice(ConsentKind), "given": Truth()}),
    EventType("job.consent-withdrawn", "The owner took a consent back.", {"covers": Choice(ConsentKind)}),
    EventType("job.quoted", "Work that a setup does not cover was quoted.", {"quote": Id()}),
    EventType("job.quote-answered", "The owner answered a quote.", {"quote": Id(), "approved": Truth()}),
    EventType("job.readings", "A sheet of readings came in.", {"sheet": Id(), "stage": Choice(Stage)}),
    EventType("job.adjusted", "An adjustment was recorded.", {"adjustment": Id(), "part": Choice(Part)}),
    EventType("job.adjustment-withdrawn", "An adjustment that was told was taken back: it was not done so.",
              {"adjustment": Id(), "part": Choice(Part)}),
    EventType("job.part-used", "A part that was used on a job was noted.", {"part": Id()}),
    EventType("job.spec-renewed", "A job follows the setup specs that stand today."),
    EventType("reminder.made", "Something wants to be looked at again, at a time to come.", _REMINDER,
              for_sites=True),
    EventType("reminder.moved", "A reminder has another day.", _REMINDER, for_sites=True),
    EventType("reminder.due", "A reminder has come due: a recheck, or new strings.", _REMINDER,
              for_sites=True),
    EventType("reminder.acknowledged", "Somebody has seen a reminder.", _REMINDER, for_sites=True),
    EventType("reminder.snoozed", "A reminder was put off.", _REMINDER, for_sites=True),
    EventType("reminder.done", "What a reminder asked for was done.", _REMINDER, for_sites=True),
    EventType("reminder.cancelled", "A reminder has lost its reason.", _REMINDER, for_sites=True),
    EventType("room.created", "A room was added."),
    EventType("room.changed", "A room was changed."),
    EventType("room.readings", "Readings of a room's air came in.",
              {"count": Whole(), "last": Instant(allow_none=True)}),
    EventType("room.warning", "A room's air is where it should not be.",
              {"code": Text(), "value": Number(), "instruments": Whole()}),
    EventType("room.warning-ended", "A room's air is back where it should be.", {"code": Text()}),
    EventType("climate.created", "The climate of a place was added."),
    EventType("climate.changed", "The climate of a place was changed."),
    EventType("season-settings.changed", "How the shop forecasts was changed."),
    EventType("card-link.revoked", "An address of an owner's page was revoked.", {"job": Id()}),
    EventType("webhook-endpoint.tested", "A test, sent to the one endpoint that it was asked for."),
    EventType("service.created", "A service was added."),
    EventType("service.changed", "A service was changed."),
    EventType("shop.changed", "The shop's settings were changed."),
    EventType("shop.zone-changed", "The shop's days begin by another zone's clock."),
    EventType("owner.created", "An owner was added."),
    EventType("owner.changed", "An owner was changed."),
    EventType("owner.erased", "An owner was erased: forget what you keep of this id."),
    EventType("instrument.created", "An instrument was added."),
    EventType("instrument.changed", "An instrument was changed."),
    EventType("instrument-model.created", "An instrument model was added."),
    EventType("instrument-model.changed", "An instrument model was changed."),
    EventType("setup-spec.changed", "A setup spec has a new version.",
              {"scope": Choice(SpecScope), "number": Whole()}),
)  # fmt: skip

TEST = "webhook-endpoint.tested"
"""What nobody is told of but the endpoint that was tested."""

EVENT_TYPES: dict[str, EventType] = {each.name: each for each in _ALL}
"""Every type there is, by name."""

FOR_SITES = frozenset(each.name for each in _ALL if each.for_sites)
"""What a website can hear of."""


def message(event: DomainEvent) -> dict[str, Any]:
    """Return an event as it is told: the body of a webhook, and an entry of the feed."""
    data = dict(event.data)
    version = data.pop("version", None)
    return {
        "id": str(event.id),
        "type": event.type,
        "timestamp": instant_text(event.at),
        "object": {
            "type": event.object_type,
            "id": str(event.object_id),
            "sequence": event.sequence,
            "version": version,
        },
        "data": data,
    }
