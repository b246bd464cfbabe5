"""What a job looks like from outside."""

from __future__ import annotations

from typing import Any, ClassVar

from shimstock_server.database.words import ConsentKind, JobState, Quantity, SettleLook, Skill, WaitingFor
from shimstock_server.web.fields import (
    Choice,
    Day,
    Id,
    Instant,
    ListOf,
    Nested,
    Number,
    StrictSchema,
    Text,
    Truth,
    Whole,
)
from shimstock_server.web.paging import PageQuery, page_of
from shimstock_server.web.quantities import QuantityIn, QuantityOut, TypedOut

HOW = ("in-person", "phone", "e-mail", "written", "website")


class RoomIn(StrictSchema):
    """The room's air."""

    temperature = QuantityIn("temperature", required=True, min=5.0, max=40.0)
    relative_humidity = QuantityIn("relative-humidity", required=True, min=5.0, max=98.0)


class RoomTypedOut(StrictSchema):
    """The room's air as it was typed."""

    temperature = TypedOut("temperature_value", "temperature_unit")
    relative_humidity = TypedOut("relative_humidity_value", "relative_humidity_unit")


class RoomOut(StrictSchema):
    """The room's air."""

    temperature = QuantityOut("temperature")
    relative_humidity = QuantityOut("relative-humidity")
    typed = Nested(RoomTypedOut)


class WantsIn(StrictSchema):
    """What the player wants."""

    restring = Truth(load_default=False, metadata={"description": "New strings are wanted."})
    string_set_id = Id(load_default=None, allow_none=True)
    tuning_id = Id(load_default=None, allow_none=True)
    playing_style = Text(max=500, load_default=None, allow_none=True)
    note = Text(max=2000, multiline=True, load_default=None, allow_none=True)


class WantsOut(StrictSchema):
    """What the player wants."""

    restring = Truth()
    string_set_id = Id(allow_none=True)
    tuning_id = Id(allow_none=True)
    playing_style = Text(max=500, allow_none=True)
    note = Text(max=2000, multiline=True, allow_none=True)


class ConsentIn(StrictSchema):
    """What the owner said about steps that cannot be undone."""

    EXAMPLE: ClassVar[dict[str, Any]] = {
        "covers": "general",
        "given": True,
        "given_by": "Ansel Drumgoolde",
        "how": "in-person",
    }

    covers = Choice(ConsentKind, required=True)
    given = Truth(required=True, metadata={"description": "false: the owner said no."})
    given_by = Text(max=200, required=True)
    how = Choice(HOW, required=True)
    note = Text(max=1000, multiline=True, load_default=None, allow_none=True)
    given_at = Instant(load_default=None, allow_none=True)


class ConsentOut(StrictSchema):
    """What the owner said about steps that cannot be undone."""

    id = Id(required=True)
    job_id = Id(required=True)
    covers = Choice(ConsentKind, required=True)
    given = Truth(required=True)
    given_by = Text(max=200, required=True)
    how = Choice(HOW, required=True)
    note = Text(max=1000, allow_none=True)
    given_at = Instant(required=True)
    withdrawn_at = Instant(allow_none=True)
    withdrawn_reason = Text(max=1000, allow_none=True)
    created_at = Instant(required=True)


class ConsentList(StrictSchema):
    """Every consent of a job, the oldest first."""

    items = ListOf(Nested(ConsentOut), required=True)


class WithdrawalIn(StrictSchema):
    """Why a consent is taken back."""

    reason = Text(max=1000, load_default=None, allow_none=True)


class SpecRenewalIn(StrictSchema):
    """Why a job follows today's setup specs."""

    reason = Text(max=1000, required=True)


class JobIn(StrictSchema):
    """A new work order."""

    EXAMPLE: ClassVar[dict[str, Any]] = {
        "instrument_id": "01a20f00-0000-7000-8000-000000000001",
        "complaints": "stiff to play up the neck",
        "promised_on": "2026-03-06",
        "consents": [
            {"covers": "general", "given": True, "given_by": "Ansel Drumgoolde", "how": "in-person"}
        ],
    }

    instrument_id = Id(load_default=None, allow_none=True)
    owner_id = Id(load_default=None, allow_none=True)
    state = Choice((JobState.RECEIVED.value, JobState.BOOKED.value), load_default=JobState.RECEIVED.value)
    priority = Whole(min=0, max=9, load_default=5, metadata={"description": "9 goes first."})
    promised_on = Day(load_default=None, allow_none=True)
    complaints = Text(max=4000, multiline=True, load_default=None, allow_none=True)
    condition = Text(max=4000, multiline=True, load_default=None, allow_none=True)
    wants = Nested(WantsIn, load_default=dict)
    room = Nested(RoomIn, load_default=None, allow_none=True)
    skills = ListOf(Choice(Skill), max=20, unique=True, load_default=list)
    services = ListOf(Text(max=100), max=20, load_default=list)
    estimated_minutes = Whole(min=1, max=10_000, load_default=None, allow_none=True)
    follows_id = Id(load_default=None, allow_none=True)
    consents = ListOf(Nested(ConsentIn), max=20, load_default=list)


class JobPatch(StrictSchema):
    """What changes on a work order."""

    instrument_id = Id(allow_none=False)
    owner_id = Id(allow_none=False)
    priority = Whole(min=0, max=9)
    promised_on = Day(allow_none=True)
    complaints = Text(max=4000, multiline=True, allow_none=True)
    condition = Text(max=4000, multiline=True, allow_none=True)
    wants = Nested(WantsIn)
    room = Nested(RoomIn, allow_none=True)
    skills = ListOf(Choice(Skill), max=20, unique=True)
    services = ListOf(Text(max=100), max=20)
    estimated_minutes = Whole(min=1, max=10_000, allow_none=True)


class AllowedMoveOut(StrictSchema):
    """A move that the job can make now."""

    to = Choice(JobState, required=True)
    needs = ListOf(
        Text(max=40),
        required=True,
        metadata={
            "description": "claim, new-claim, instrument, reason, available-at, waiting-for, "
            "final-readings-or-reason, give-back"
        },
    )


class ClaimOut(StrictSchema):
    """Who holds a job."""

    id = Id(required=True)
    technician_id = Id(required=True)
    technician = Text(max=200, required=True)
    bench_id = Id(allow_none=True)
    since = Instant(required=True)
    last_act_at = Instant(required=True)
    stale = Truth(required=True, metadata={"description": "Its last act lies before the shop last opened."})


class JobOut(StrictSchema):
    """A work order."""

    id = Id(required=True)
    number = Whole(required=True)
    version = Whole(required=True)
    state = Choice(JobState, required=True)
    waiting_for = Choice(WaitingFor, allow_none=True)
    available_at = Instant(allow_none=True)
    due = Truth(required=True, metadata={"description": "It settles, and can be looked at again now."})
    look = Choice(
        SettleLook,
        allow_none=True,
        metadata={
            "description": "Which look at the neck the job settles for, or came back onto a bench for."
        },
    )
    readings_asked = ListOf(
        Choice(Quantity),
        required=True,
        metadata={
            "description": "What that look is for and has not been read since the job was put to rest."
        },
    )
    late_minutes = Whole(
        allow_none=True,
        metadata={
            "description": "How late that look is or was; hours in which the shop is shut do not count."
        },
    )
    allowed_moves = ListOf(Nested(AllowedMoveOut), required=True)
    claim = Nested(ClaimOut, allow_none=True, required=True)
    last_technician_id = Id(allow_none=True)
    instrument_id = Id(allow_none=True)
    owner_id = Id(allow_none=True)
    follows_id = Id(allow_none=True)
    priority = Whole(required=True)
    promised_on = Day(allow_none=True)
    queued_at = Instant(allow_none=True)
    complaints = Text(max=4000, allow_none=True)
    condition = Text(max=4000, allow_none=True)
    wants = Nested(WantsOut, required=True)
    room = Nested(RoomOut, allow_none=True)
    skills = ListOf(Choice(Skill), required=True)
    services = ListOf(Text(max=100), required=True)
    estimated_minutes = Whole(allow_none=True)
    worked_minutes = Whole(required=True)
    created_at = Instant(required=True)
    updated_at = Instant(required=True)


JobPage = page_of(JobOut)


class JobQuery(PageQuery):
    """Which jobs."""

    state = Choice(JobState)
    instrument_id = Id()
    owner_id = Id()
    number = Whole(min=1)


class MoveIn(StrictSchema):
    """Where a job goes next."""

    EXAMPLE: ClassVar[dict[str, Any]] = {
        "to": "settling",
        "claim": "01a20f00-0000-7000-8000-000000000001",
        "available_at": "2026-03-02T13:30:00Z",
    }

    to = Choice(JobState, required=True)
    claim = Id(load_default=None, allow_none=True)
    available_at = Instant(
        load_default=None,
        allow_none=True,
        metadata={
            "description": "From when on a settling job can be looked at again. Left out, the service "
            "proposes it: the shop's first rest after the last rod turn or change of strings, or the next "
            "opening day when the job has rested since; never while the shop is shut."
        },
    )
    look = Choice(
        SettleLook,
        load_default=None,
        allow_none=True,
        metadata={
            "description": "Which look a settling job rests for; left out, `settle-hour` first, then "
            "`settle-day`."
        },
    )
    waiting_for = Choice(WaitingFor, load_default=None, allow_none=True)
    reason = Text(max=1000, multiline=True, load_default=None, allow_none=True)
    minutes = Whole(min=0, max=1440, load_default=None, allow_none=True)


class MoveOut(StrictSchema):
    """A move that a job made."""

    id = Id(required=True)
    sequence = Whole(required=True)
    from_state = Choice(JobState, allow_none=True)
    to_state = Choice(JobState, required=True)
    waiting_for = Choice(WaitingFor, allow_none=True)
    available_at = Instant(allow_none=True)
    look = Choice(SettleLook, allow_none=True)
    readings_asked = ListOf(Choice(Quantity), allow_none=True)
    reason = Text(max=1000, allow_none=True)
    claim_id = Id(allow_none=True)
    technician_id = Id(allow_none=True)
    created_at = Instant(required=True)


class MoveList(StrictSchema):
    """Every move of a job, the first first."""

    items = ListOf(Nested(MoveOut), required=True)


class LookOut(StrictSchema):
    """A look at a settling neck: asked for, due, and what became of it."""

    sequence = Whole(
        allow_none=True,
        metadata={
            "description": "The move that put the job to rest; null for a next-day look nobody asked for."
        },
    )
    look = Choice(SettleLook, allow_none=True)
    rested_from = Instant(required=True)
    available_at = Instant(required=True)
    taken_at = Instant(allow_none=True, metadata={"description": "When the job was next claimed."})
    read_at = Instant(
        allow_none=True,
        metadata={"description": "When relief was first read, at pitch, before the next rest."},
    )
    readings_asked = ListOf(Choice(Quantity), required=True)
    late_minutes = Whole(required=True)
    outcome = Choice(
        ("settling", "due", "on-bench", "read", "early", "skipped"),
        required=True,
        metadata={
            "description": "settling: not due yet; due: nobody has looked; on-bench: claimed, not read yet; "
            "read; early: read before it was due; skipped: the job went on without."
        },
    )


class LookList(StrictSchema):
    """Every look at the neck of this job, the first first."""

    items = ListOf(Nested(LookOut), required=True)


class PastClaimOut(StrictSchema):
    """Who held a job, from when to when."""

    id = Id(required=True)
    technician_id = Id(required=True)
    technician = Text(max=200, required=True)
    bench_id = Id(allow_none=True)
    since = Instant(required=True)
    last_act_at = Instant(required=True)
    ended_at = Instant(allow_none=True)
    end_reason = Text(
        max=40,
        allow_none=True,
        metadata={
            "description": "given-back, handed-over, taken-over, or the state the job left the bench for."
        },
    )
    note = Text(max=1000, allow_none=True)


class PastClaimList(StrictSchema):
    """Every claim on this job, the first first."""

    items = ListOf(Nested(PastClaimOut), required=True)


class ClaimIn(StrictSchema):
    """Taking a named job."""

    take_over = Truth(load_default=False)
    reason = Text(max=1000, load_default=None, allow_none=True)


class ClaimNextIn(StrictSchema):
    """Taking the next job: the key's bench and the technician's skills decide."""


class HandoverIn(StrictSchema):
    """Passing a job on."""

    claim = Id(required=True)
    technician_id = Id(required=True)
    bench_id = Id(load_default=None, allow_none=True)
    note = Text(max=1000, multiline=True, load_default=None, allow_none=True)


class QuoteIn(StrictSchema):
    """Work that a setup does not cover, with its price."""

    work = Text(max=2000, multiline=True, required=True)
    amount = Number(min=0, max=1e7, required=True)
    currency = Text(min=3, max=3, pattern="[A-Z]{3}", load_default=None, allow_none=True)


class QuotePatch(StrictSchema):
    """The owner's answer to a quote."""

    approved = Truth(required=True)
    answered_how = Choice(HOW, required=True)


class QuoteOut(StrictSchema):
    """Work that a setup does not cover, with its price and the owner's answer."""

    id = Id(required=True)
    job_id = Id(required=True)
    version = Whole(required=True)
    work = Text(max=2000, required=True)
    amount = Number(required=True)
    currency = Text(max=3, required=True)
    approved = Truth(allow_none=True)
    answered_at = Instant(allow_none=True)
    answered_how = Choice(HOW, allow_none=True)
    created_at = Instant(required=True)
    updated_at = Instant(required=True)


class QuoteList(StrictSchema):
    """Every quote of a job, the oldest first."""

    items = ListOf(Nested(QuoteOut), required=True)


class JobPartIn(StrictSchema):
    """A part used on a job."""

    name = Text(max=200, required=True)
    quantity = Number(min=0.001, max=10_000, load_default=1.0)
    price = Number(min=0, max=1e7, load_default=None, allow_none=True)
    string_set_id = Id(load_default=None, allow_none=True)


class JobPartOut(StrictSchema):
    """A part used on a job."""

    id = Id(required=True)
    job_id = Id(required=True)
    name = Text(max=200, required=True)
    quantity = Number(required=True)
    price = Number(allow_none=True)
    string_set_id = Id(allow_none=True)
    created_at = Instant(required=True)


class JobPartList(StrictSchema):
    """Every part used on a job, in the order they were noted."""

    items = ListOf(Nested(JobPartOut), required=True)
