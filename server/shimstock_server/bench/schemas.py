"""What is sent from a bench, and what it is told."""

from __future__ import annotations

from typing import Any, ClassVar

from shimstock_server.database.words import FindingCode, Method, Part, Position, Quantity, Side, Stage
from shimstock_server.jobs import RoomIn, RoomTypedOut
from shimstock_server.web.fields import (
    Choice,
    Id,
    Instant,
    ListOf,
    Nested,
    StrictSchema,
    Text,
    Truth,
    Whole,
)
from shimstock_server.web.paging import PageQuery, page_of
from shimstock_server.web.quantities import AnyQuantity, QuantityIn, QuantityOut, TypedOut

HIGHEST_FRET = 36
MOST_STRINGS = 14


class ReadingIn(StrictSchema):
    """One reading. What is left out is taken from the setup spec: hold frets, reading fret, method."""

    quantity = Choice(Quantity, required=True)
    side = Choice(Side, load_default=None, allow_none=True)
    string = Whole(load_default=None, allow_none=True)
    pickup = Text(max=100, load_default=None, allow_none=True)
    fret = Whole(load_default=None, allow_none=True)
    held = ListOf(Whole(), max=2, load_default=None, allow_none=True)
    capo = Whole(load_default=None, allow_none=True)
    method = Choice(Method, load_default=None, allow_none=True)
    value = AnyQuantity(load_default=None, allow_none=True)
    zero_or_less = Truth(
        load_default=False,
        metadata={"description": "Relief by the string method: the string touches."},
    )
    tool_id = Id(load_default=None, allow_none=True)
    confirmed = Truth(
        load_default=False,
        metadata={
            "description": "It was looked at twice: a value outside the plausible range, or one that does "
            "not fit the readings before it. It is not asked again, and counts as two readings where "
            "something is to be filed."
        },
    )
    accepted = Truth(
        load_default=False,
        metadata={
            "description": "The technician leaves it as it was read; needs a note that says why. It keeps "
            "its verdict, too close to call or out of spec, but the plan has no step for it unless an "
            "earlier step changes it, counts it as done with, and lets what waits for relief go on. A relief "
            "of zero or less is never taken as accepted."
        },
    )
    note = Text(max=1000, multiline=True, load_default=None, allow_none=True)


class FindingIn(StrictSchema):
    """Something that the look over found."""

    code = Choice(FindingCode, required=True)
    fret = Whole(min=0, max=HIGHEST_FRET, load_default=None, allow_none=True)
    string = Whole(min=1, max=MOST_STRINGS, load_default=None, allow_none=True)
    note = Text(max=500, multiline=True, load_default=None, allow_none=True)


class FindingOut(StrictSchema):
    """Something that the look over found."""

    code = Choice(FindingCode, required=True)
    fret = Whole(allow_none=True)
    string = Whole(allow_none=True)
    note = Text(max=500, allow_none=True)


class ReadingSheetIn(StrictSchema):
    """Readings taken at one bench, by one technician, at one time, in one condition."""

    EXAMPLE: ClassVar[dict[str, Any]] = {
        "id": "01a20f00-0000-7000-8000-000000000001",
        "stage": "as-received",
        "taken_at": "2026-03-02T12:00:00Z",
        "at_pitch": True,
        "room": {
            "temperature": {"value": 21, "unit": "degC"},
            "relative_humidity": {"value": 45, "unit": "percent"},
        },
        "readings": [
            {
                "quantity": "relief",
                "side": "bass",
                "value": {"value": 0.45, "unit": "mm"},
                "tool_id": "01a20f00-0000-7000-8000-000000000002",
            },
            {
                "quantity": "action",
                "side": "bass",
                "value": {"value": 2.2, "unit": "mm"},
                "tool_id": "01a20f00-0000-7000-8000-000000000003",
            },
            {
                "quantity": "action",
                "side": "treble",
                "value": {"value": 75, "unit": "thou"},
                "tool_id": "01a20f00-0000-7000-8000-000000000003",
            },
        ],
    }

    id = Id(required=True, metadata={"description": "Made by the client, a UUIDv7 by preference."})
    stage = Choice(Stage, required=True)
    taken_at = Instant(required=True)
    position = Choice(Position, load_default=Position.PLAYING)
    at_pitch = Truth(
        required=True,
        metadata={
            "description": "Every string within 5 cents of its pitch; otherwise no plan is built on it."
        },
    )
    acclimatised = Truth(load_default=True)
    room = Nested(RoomIn, load_default=None, allow_none=True)
    tool_id = Id(
        load_default=None,
        allow_none=True,
        metadata={"description": "For the readings that name no tool and that it can measure."},
    )
    findings = ListOf(Nested(FindingIn), max=100, load_default=list)
    looked_over = Truth(
        load_default=False,
        metadata={
            "description": "Frets, twist, cracks, bridge, neck angle, rod, nut and tuners were looked at; "
            "true by itself when something was found."
        },
    )
    note = Text(max=4000, multiline=True, load_default=None, allow_none=True)
    supersedes = Id(load_default=None, allow_none=True)
    supersedes_reason = Text(max=1000, load_default=None, allow_none=True)
    confirm_clock = Truth(load_default=False)
    readings = ListOf(Nested(ReadingIn), max=500, required=True)


class ReadingOut(StrictSchema):
    """One reading, as it counts and as it was typed."""

    number = Whole(required=True, metadata={"description": "Its place on the sheet, from 0."})
    quantity = Choice(Quantity, required=True)
    side = Choice(Side, allow_none=True)
    string = Whole(allow_none=True)
    pickup = Text(max=100, allow_none=True)
    fret = Whole(allow_none=True)
    held = ListOf(Whole(), max=2, required=True)
    capo = Whole(allow_none=True)
    method = Choice(Method, allow_none=True)
    value = QuantityOut(kind_from="kind", required=True)
    typed = TypedOut()
    zero_or_less = Truth(
        required=True, metadata={"description": "The string touched: the value 0 stands for nothing."}
    )
    tool_id = Id(allow_none=True)
    tool_name = Text(max=200, allow_none=True)
    resolution = QuantityOut(kind_from="kind", allow_none=True)
    repeatability = QuantityOut(kind_from="kind", allow_none=True)
    repeatability_source = Text(
        max=300,
        allow_none=True,
        metadata={"description": "Where it was learned; null where it is the tool's own."},
    )
    confirmed = Truth(required=True, metadata={"description": "Looked at twice."})
    accepted = Truth(
        required=True,
        metadata={"description": "Left as it was read, by the technician's decision; the note says why."},
    )
    note = Text(max=1000, allow_none=True)


class SheetRoomOut(StrictSchema):
    """The room's air while the readings were taken."""

    temperature = QuantityOut("temperature")
    relative_humidity = QuantityOut("relative-humidity")
    typed = Nested(RoomTypedOut)


class ReadingSheetOut(StrictSchema):
    """A sheet as it is kept."""

    id = Id(required=True)
    job_id = Id(required=True)
    stage = Choice(Stage, required=True)
    taken_at = Instant(required=True)
    received_at = Instant(required=True)
    bench_id = Id(allow_none=True)
    technician_id = Id(allow_none=True)
    outside_claim = Truth(
        required=True, metadata={"description": "Posted by somebody who did not hold the job."}
    )
    position = Choice(Position, required=True)
    at_pitch = Truth(required=True)
    acclimatised = Truth(required=True)
    room = Nested(SheetRoomOut, allow_none=True, required=True)
    string_set_id = Id(allow_none=True)
    findings = ListOf(Nested(FindingOut), required=True)
    looked_over = Truth(required=True)
    note = Text(max=4000, allow_none=True)
    supersedes = Id(allow_none=True)
    supersedes_reason = Text(max=1000, allow_none=True)
    superseded_by = Id(allow_none=True)
    readings = ListOf(Nested(ReadingOut), required=True)


class ReadingSheetList(StrictSchema):
    """Every sheet of a job, the oldest first, corrected ones included."""

    items = ListOf(Nested(ReadingSheetOut), required=True)


class StandingReadingOut(ReadingOut):
    """One reading of a job that no correction has replaced."""

    sheet_id = Id(required=True)
    stage = Choice(Stage, required=True)
    taken_at = Instant(required=True)
    at_pitch = Truth(required=True)


class StandingReadingList(StrictSchema):
    """The readings of a job that stand, the oldest first."""

    items = ListOf(Nested(StandingReadingOut), required=True)


class ReadingQuery(StrictSchema):
    """Which readings."""

    quantity = Choice(Quantity)
    stage = Choice(Stage)
    newest = Truth(metadata={"description": "Only the newest of each quantity, side, string and pickup."})


class AdjustmentIn(StrictSchema):
    """What was done.

    Signs: rod and claw positive = tighten; heights positive = raise; saddle position positive = away from
    the nut; filing and sanding: what was taken off, positive.
    """

    EXAMPLE: ClassVar[dict[str, Any]] = {
        "id": "01a20f00-0000-7000-8000-000000000001",
        "claim": "01a20f00-0000-7000-8000-000000000002",
        "done_at": "2026-03-02T12:20:00Z",
        "part": "truss-rod",
        "turns": {"value": 0.25, "unit": "turn"},
        "minutes": 5,
    }

    id = Id(required=True, metadata={"description": "Made by the client, a UUIDv7 by preference."})
    claim = Id(
        load_default=None,
        allow_none=True,
        metadata={
            "description": "Under which it was done; 409 when it has ended. Left out: the one that holds."
        },
    )
    done_at = Instant(required=True)
    part = Choice(Part, required=True)
    side = Choice(Side, load_default=None, allow_none=True)
    string = Whole(load_default=None, allow_none=True)
    pickup = Text(max=100, load_default=None, allow_none=True)
    turns = QuantityIn("turns", min=-50.0, max=50.0, load_default=None, allow_none=True)
    amount = QuantityIn("distance", min=-20.0, max=20.0, load_default=None, allow_none=True)
    string_set_id = Id(load_default=None, allow_none=True)
    tuning_id = Id(load_default=None, allow_none=True)
    minutes = Whole(
        min=0,
        max=1440,
        load_default=None,
        allow_none=True,
        metadata={"description": "That it took; they add up to the job's `worked_minutes`."},
    )
    plan = Text(
        max=64,
        pattern="[0-9a-f]{64}",
        load_default=None,
        allow_none=True,
        metadata={
            "description": "Digest of the plan that it followed; null = the technician's own decision."
        },
    )
    confirmed = Truth(
        load_default=False,
        metadata={
            "description": "Looked at twice: a rod step beyond one turn, or a part that this model is not "
            "known to have. It stands for no consent."
        },
    )
    confirm_clock = Truth(load_default=False)
    supersedes = Id(
        load_default=None,
        allow_none=True,
        metadata={"description": "The adjustment that was told wrongly and counts no more: this one does."},
    )
    supersedes_reason = Text(max=1000, load_default=None, allow_none=True)
    note = Text(max=4000, multiline=True, load_default=None, allow_none=True)


class AdjustmentWithdrawalIn(StrictSchema):
    """Why an adjustment is taken back: it was not done."""

    EXAMPLE: ClassVar[dict[str, Any]] = {"reason": "told of the wrong instrument"}

    reason = Text(max=1000, required=True)


class AdjustmentWithdrawalOut(StrictSchema):
    """Why an adjustment counts no more."""

    reason = Text(max=1000, required=True)
    withdrawn_at = Instant(required=True)
    technician_id = Id(allow_none=True)
    replaced_by_id = Id(
        allow_none=True, metadata={"description": "What was done instead; null when nothing was."}
    )


class AdjustmentTypedOut(StrictSchema):
    """Turns and amount as they were typed."""

    turns = TypedOut("turns_value", "turns_unit", allow_none=True)
    amount = TypedOut("amount_value", "amount_unit", allow_none=True)


class AdjustmentOut(StrictSchema):
    """What was done, as it is kept."""

    id = Id(required=True)
    job_id = Id(required=True)
    claim_id = Id(required=True)
    done_at = Instant(required=True)
    received_at = Instant(required=True)
    bench_id = Id(allow_none=True)
    technician_id = Id(allow_none=True)
    part = Choice(Part, required=True)
    side = Choice(Side, allow_none=True)
    string = Whole(allow_none=True)
    pickup = Text(max=100, allow_none=True)
    turns = QuantityOut("turns", allow_none=True)
    amount = QuantityOut("distance", allow_none=True)
    typed = Nested(AdjustmentTypedOut)
    large_turn = Truth(
        required=True, metadata={"description": "More than a quarter turn of the rod at once."}
    )
    string_set_id = Id(allow_none=True)
    tuning_id = Id(allow_none=True)
    minutes = Whole(allow_none=True)
    consent_id = Id(
        allow_none=True,
        metadata={"description": "The owner's yes that covered it; null for what can be undone."},
    )
    plan = Text(max=64, allow_none=True)
    plan_kept = Truth(
        required=True, metadata={"description": "The plan was the job's newest, and is kept as it was shown."}
    )
    supersedes = Id(allow_none=True, metadata={"description": "The adjustment that this one corrects."})
    withdrawn = Nested(
        AdjustmentWithdrawalOut,
        allow_none=True,
        metadata={"description": "Why it counts no more; null while it does."},
    )
    note = Text(max=4000, allow_none=True)


class AdjustmentList(StrictSchema):
    """Everything done on a job, the first first."""

    items = ListOf(Nested(AdjustmentOut), required=True)


class SettlingQuery(PageQuery):
    """Which settling jobs."""

    due = Truth(metadata={"description": "Only those that can be looked at again now."})


class SettlingOut(StrictSchema):
    """A job that rests until its neck has settled."""

    job_id = Id(required=True)
    number = Whole(required=True)
    available_at = Instant(required=True)
    due = Truth(required=True)
    late_minutes = Whole(
        required=True,
        metadata={"description": "How long it has been due, in opening hours; 0 while it rests."},
    )
    last_technician_id = Id(allow_none=True)
    instrument_id = Id(allow_none=True)


SettlingPage = page_of(SettlingOut)
