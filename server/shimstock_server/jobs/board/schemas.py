"""What the board looks like from outside."""

from __future__ import annotations

from shimstock_server.database.words import JobState, Kind, Skill, WaitingFor
from shimstock_server.web.fields import (
    Choice,
    Day,
    Id,
    Instant,
    ListOf,
    Nested,
    StrictSchema,
    Text,
    Truth,
    Whole,
)


class BoardEntryOut(StrictSchema):
    """A job on the board: its ticket and its instrument, never its owner."""

    job_id = Id(required=True)
    number = Whole(required=True, metadata={"description": "The number on the ticket."})
    maker = Text(max=200, allow_none=True, metadata={"description": "Of the instrument's model."})
    model = Text(max=200, allow_none=True, metadata={"description": "The name of the instrument's model."})
    kind = Choice(Kind, allow_none=True)
    state = Choice(JobState, required=True)
    waiting_for = Choice(WaitingFor, allow_none=True)
    technician = Text(
        max=200, allow_none=True, metadata={"description": "Who holds the job, or worked on it last."}
    )
    bench_id = Id(allow_none=True)
    bench = Text(max=200, allow_none=True)
    since = Instant(allow_none=True, metadata={"description": "Since when it is held."})
    stale = Truth(required=True, metadata={"description": "Held since before the shop last opened."})
    available_at = Instant(allow_none=True, metadata={"description": "Until when it settles."})
    due = Truth(required=True, metadata={"description": "It settles, and can be looked at again now."})
    due_since = Instant(
        allow_none=True, metadata={"description": "Since when it is due; not before the shop opened."}
    )
    priority = Whole(required=True)
    promised_on = Day(allow_none=True)
    promise = Choice(
        ("late", "today"), allow_none=True, metadata={"description": "Whether its promised day is near."}
    )
    skills = ListOf(Choice(Skill), required=True)


class BoardBenchOut(StrictSchema):
    """A bench and what lies on it; null is away from any bench."""

    bench_id = Id(allow_none=True)
    bench = Text(max=200, allow_none=True)
    jobs = ListOf(Nested(BoardEntryOut), required=True)


class BoardShopOut(StrictSchema):
    """Whose board it is."""

    name = Text(max=200, required=True)
    zone = Text(max=64, required=True)


class BoardCountsOut(StrictSchema):
    """How many there are in all."""

    queued = Whole(required=True)
    ready = Whole(required=True)


class BoardOut(StrictSchema):
    """The board: lists of 100 rows at the most."""

    shop = Nested(BoardShopOut, required=True)
    day = Day(required=True, metadata={"description": "Today, in the shop's time zone."})
    benches = ListOf(Nested(BoardBenchOut), required=True)
    settling = ListOf(Nested(BoardEntryOut), required=True, metadata={"description": "The first due first."})
    queue = ListOf(
        Nested(BoardEntryOut),
        required=True,
        metadata={"description": "In the order in which jobs are offered, whatever skills they need."},
    )
    waiting = ListOf(Nested(BoardEntryOut), required=True)
    received = ListOf(
        Nested(BoardEntryOut), required=True, metadata={"description": "Checked in, not in the queue yet."}
    )
    promised = ListOf(
        Nested(BoardEntryOut),
        required=True,
        metadata={"description": "Promised for today or earlier and not ready, the earliest first."},
    )
    counts = Nested(BoardCountsOut, required=True)
