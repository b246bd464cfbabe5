"""The recommendation as it is answered."""

from __future__ import annotations

from typing import get_args

from shimstock_calc.plan.outputs import SlipCode, StepKind, VerdictWord
from shimstock_server.database.words import ConsentKind, Part, Quantity, Side
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
from shimstock_server.web.quantities import QuantityOut

from .schemas import ReadingSheetOut

VERDICTS = get_args(VerdictWord)
STEP_KINDS = get_args(StepKind)
SLIPS = get_args(SlipCode)


class ReadingRefOut(StrictSchema):
    """Which reading: the sheet, and its place on it."""

    sheet_id = Text(max=100, allow_none=True)
    number = Whole(allow_none=True)


class PlaceOut(StrictSchema):
    """A quantity at a place of the instrument."""

    quantity = Choice(Quantity, required=True)
    side = Choice(Side, allow_none=True)
    string = Whole(allow_none=True)
    pickup = Text(max=100, allow_none=True)


class BelievedOut(StrictSchema):
    """What all readings, adjustments and hours of the job together say of one quantity."""

    value = QuantityOut(kind_from="kind", required=True)
    uncertainty = QuantityOut(
        kind_from="kind", required=True, metadata={"description": "Standard deviation of the value."}
    )
    probability = Number(
        required=True, metadata={"description": "That the true value lies inside the limits."}
    )


class VerdictOut(PlaceOut):
    """One item of the spec against its newest reading, converted to the spec's frets."""

    fret = Whole(allow_none=True)
    held = ListOf(Whole(), required=True)
    target = QuantityOut(kind_from="kind", required=True)
    lower = QuantityOut(kind_from="kind", allow_none=True)
    upper = QuantityOut(kind_from="kind", allow_none=True)
    source = Text(max=200, required=True)
    reading = Nested(ReadingRefOut, allow_none=True, required=True)
    value = QuantityOut(kind_from="kind", allow_none=True)
    uncertainty = QuantityOut(kind_from="kind", allow_none=True)
    uncertainty_source = Text(
        max=400,
        allow_none=True,
        metadata={"description": "What the uncertainty comes from: a bench study, the tool, its step."},
    )
    probability = Number(
        allow_none=True, metadata={"description": "That the true value lies inside the limits."}
    )
    verdict = Choice(VERDICTS, allow_none=True)
    usable = Truth(required=True)
    stale = Truth(
        required=True,
        metadata={
            "description": "Older than an adjustment that affects it: `now` is a forecast until it is read."
        },
    )
    zero_or_less = Truth(required=True)
    accepted = Truth(
        required=True,
        metadata={"description": "The technician left it so: nothing is planned for it, the verdict stays."},
    )
    taken_off = QuantityOut(
        kind_from="kind",
        required=True,
        metadata={"description": "By how much the bench's tool is known to read too high: not in `value`."},
    )
    reason = Text(max=2000, allow_none=True)
    now = Nested(
        BelievedOut,
        allow_none=True,
        metadata={"description": "As it is now, forecast where it moved since it was read; null: not known."},
    )
    tomorrow = Nested(
        BelievedOut,
        allow_none=True,
        metadata={"description": "As it will be a day later when nothing more is done; null: not known."},
    )


class ChangeOut(PlaceOut):
    """What a step does to one quantity."""

    before = QuantityOut(kind_from="kind", required=True)
    after = QuantityOut(kind_from="kind", required=True)
    target = QuantityOut(kind_from="kind", allow_none=True)
    lower = QuantityOut(kind_from="kind", allow_none=True)
    upper = QuantityOut(kind_from="kind", allow_none=True)
    uncertainty = QuantityOut(kind_from="kind", allow_none=True)


class PartMoveOut(StrictSchema):
    """One part to turn, file, shim or shift. Signs as for adjustments."""

    part = Choice(Part, required=True)
    direction = Text(max=100, required=True)
    seen = Text(
        max=200, min=0, required=True, metadata={"description": "Which way it turns, and seen from where."}
    )
    turns = QuantityOut("turns", allow_none=True)
    amount = QuantityOut(kind_from="amount_kind", allow_none=True)
    wanted = QuantityOut(
        kind_from="wanted_kind", allow_none=True, metadata={"description": "Unrounded, before limits."}
    )
    total_turns = QuantityOut("turns", allow_none=True)
    side = Choice(Side, allow_none=True)
    string = Whole(allow_none=True)
    pickup = Text(max=100, allow_none=True)


class ShownOut(StrictSchema):
    """What a tool should show."""

    value = QuantityOut(kind_from="kind", required=True)
    uncertainty = QuantityOut(
        kind_from="kind",
        required=True,
        metadata={"description": "Standard deviation, the tool's own noise included."},
    )


class WorthOut(StrictSchema):
    """Bench minutes that something saves on average, against those that it costs."""

    saves = QuantityOut("duration", required=True)
    costs = QuantityOut("duration", required=True)


class ReadingWantedOut(PlaceOut):
    """A reading to take."""

    fret = Whole(allow_none=True)
    held = ListOf(Whole(), required=True)
    method = Text(max=40, allow_none=True)
    why = Text(max=500, min=0, required=True)
    finest = Truth(metadata={"description": "With the finest tool at hand, not the usual one."})
    expected_now = Nested(
        ShownOut,
        allow_none=True,
        metadata={
            "description": "What the tool should show at once after a step to do now, before the neck has "
            "come to rest; the changes of a step are values at rest. null: not known, or no such step."
        },
    )


class NotAskedOut(PlaceOut):
    """A quantity in some doubt that is left alone for now, as no reading of it is worth its minutes."""

    probability = Number(required=True, metadata={"description": "That it will be in spec tomorrow."})
    worth = Nested(
        WorthOut,
        allow_none=True,
        metadata={"description": "Of another reading; null: it is as good as surely in spec."},
    )


class SlipOut(StrictSchema):
    """What may be behind a reading that does not fit."""

    code = Choice(
        SLIPS,
        required=True,
        metadata={
            "description": "This reading is wrong, another one is, something moved that was not recorded, or "
            "nothing is wrong."
        },
    )
    reading = Nested(ReadingRefOut, allow_none=True, metadata={"description": "The one that would be wrong."})
    probability = Number(required=True, metadata={"description": "All of them add up to one."})


class MeantOut(StrictSchema):
    """The slip of the hand that would explain a reading, and what was meant then."""

    code = Choice(
        ("unit", "string", "digit"),
        required=True,
        metadata={
            "description": "The unit was mistaken; a neighbour string or the other side was read; a digit "
            "was swapped or left out, or the sign."
        },
    )
    value = QuantityOut(kind_from="kind", required=True)
    text = Text(max=500, required=True)


class OtherReadingOut(PlaceOut):
    """The reading that a surprising one contradicts."""

    reading = Nested(ReadingRefOut, required=True)
    value = QuantityOut(
        kind_from="kind", allow_none=True, metadata={"description": "null: the string touched."}
    )


class SurpriseOut(PlaceOut):
    """A reading that does not fit the others. It is kept and counted all the same."""

    reading = Nested(ReadingRefOut, required=True)
    value = QuantityOut(
        kind_from="kind", required=True, metadata={"description": "0 also where the string touched."}
    )
    expected = Nested(
        ShownOut,
        allow_none=True,
        metadata={"description": "null: it contradicts readings of other quantities."},
    )
    other = Nested(OtherReadingOut, allow_none=True)
    slips = ListOf(Nested(SlipOut), required=True)
    meant = Nested(MeantOut, allow_none=True)
    open = Truth(
        required=True,
        metadata={
            "description": "It is read again before any further step; a reading with `confirmed` is not."
        },
    )
    set_aside = Nested(
        ReadingRefOut,
        allow_none=True,
        metadata={"description": "The reading that counts no more; null: every one counts."},
    )
    text = Text(max=2000, required=True)


class ToolDriftOut(StrictSchema):
    """A tool of the bench that was out of its limits when its check piece was last read."""

    check_piece_id = Id(required=True)
    check_piece = Text(max=200, required=True)
    tool_id = Id(allow_none=True, required=True)
    tool = Text(max=200, allow_none=True, required=True)
    quantity = Choice(Quantity, required=True)
    verdict = Text(max=60, required=True)
    mean = QuantityOut(kind_from="kind", required=True)
    deviation = QuantityOut(kind_from="kind", required=True, allow_none=True)
    limit = QuantityOut(
        kind_from="kind",
        required=True,
        metadata={"description": "Of the mean, or of the deviation where it repeats badly."},
    )
    beyond = QuantityOut(
        kind_from="kind", required=True, metadata={"description": "How far it was beyond that limit."}
    )
    since = Day(required=True, metadata={"description": "Day of the first check since which it is out."})
    checked_at = Instant(required=True)
    text = Text(max=2000, required=True)


class PostedSheetOut(ReadingSheetOut):
    """A sheet as it is kept, and what does not fit on it."""

    surprises = ListOf(
        Nested(SurpriseOut),
        required=True,
        metadata={
            "description": "Readings of this sheet that do not fit the job's others; empty also where "
            "nothing can be said yet."
        },
    )
    drifts = ListOf(
        Nested(ToolDriftOut),
        required=True,
        metadata={"description": "Tools of this sheet that were out of their limits at their last check."},
    )


class CodedTextOut(StrictSchema):
    """Something to say, with a code for programs."""

    code = Text(max=60, required=True)
    text = Text(max=2000, required=True)


class StepOut(StrictSchema):
    """One step of the plan."""

    number = Whole(required=True)
    kind = Choice(STEP_KINDS, required=True)
    part = Choice(Part, allow_none=True)
    what = Text(max=2000, required=True)
    moves = ListOf(Nested(PartMoveOut), required=True)
    changes = ListOf(Nested(ChangeOut), required=True)
    total = ListOf(Nested(ChangeOut), required=True)
    forecasts = ListOf(Nested(ChangeOut), required=True)
    total_forecasts = ListOf(Nested(ChangeOut), required=True)
    probability = Number(allow_none=True)
    confidence = Text(max=2000, allow_none=True)
    why = Text(max=2000, allow_none=True)
    cautions = ListOf(Nested(CodedTextOut), required=True)
    readings_next = ListOf(Nested(ReadingWantedOut), required=True)
    irreversible = Truth(required=True, metadata={"description": "It cannot be undone."})
    needs_consent = Choice(
        ("general", "named"),
        allow_none=True,
        metadata={"description": "The least consent that covers it: a general one, or one that names it."},
    )
    consent_step = Choice(
        ConsentKind, allow_none=True, metadata={"description": "What a consent for it has to name."}
    )
    blocked_by = ListOf(
        Nested(CodedTextOut), required=True, metadata={"description": "What it waits for; empty: nothing."}
    )
    do_now = Truth(
        required=True,
        metadata={"description": "To be done now; steps that change something later are forecasts."},
    )
    changes_instrument = Truth(required=True)
    worth = Nested(
        WorthOut,
        allow_none=True,
        metadata={
            "description": "Why it is a step, for the quantity that gains most; null: a rule asks for it, or "
            "what a step before it changes."
        },
    )


class PlanNoteOut(CodedTextOut):
    """What must be said besides, with the alternatives."""

    alternatives = ListOf(Text(max=2000), required=True)
    quote = Truth(required=True, metadata={"description": "The alternatives go beyond a setup: quote them."})


class PlanSettlingOut(StrictSchema):
    """Whether relief has settled."""

    state = Choice(("not needed", "settled", "waiting"), required=True)
    reason = Text(max=2000, allow_none=True)


class PlanSpecItemOut(PlaceOut):
    """A target that the plan worked towards."""

    target = QuantityOut(kind_from="kind", required=True)
    lower = QuantityOut(kind_from="kind", allow_none=True)
    upper = QuantityOut(kind_from="kind", allow_none=True)
    fret = Whole(allow_none=True)
    held = ListOf(Whole(), required=True)
    source = Text(max=200, required=True)


class RodResponseOut(StrictSchema):
    """Change of relief per turn of tightening."""

    mean = QuantityOut("rod-response", required=True)
    sd = QuantityOut("rod-response", required=True)
    samples = Whole(required=True)
    source = Text(max=200, required=True)


class PlanInputsOut(StrictSchema):
    """What the plan was made from; the digest stands for all of it."""

    readings = ListOf(Text(max=100), required=True)
    adjustments = ListOf(Text(max=100), required=True)
    consents = ListOf(Text(max=100), required=True)
    spec = ListOf(Nested(PlanSpecItemOut), required=True)
    rod_response = Nested(RodResponseOut, required=True)
    coupling_sd = Number(required=True)
    restring_wanted = Truth(required=True)


class StateNumberOut(StrictSchema):
    """One number that the plan reckons with."""

    name = Text(max=300, required=True, metadata={"description": "What it means, in words."})
    unit = Text(max=20, required=True, metadata={"description": "mm, cents, mm/turn or mm/mm, always."})
    mean = Number(required=True)
    uncertainty = Number(
        required=True, metadata={"description": "Standard deviation; 100 mm or 10000 cents: not known."}
    )


class StateOut(StrictSchema):
    """All that is believed of the instrument, as numbers that are normal together."""

    time = Instant(required=True, metadata={"description": "That of the newest entry."})
    numbers = ListOf(Nested(StateNumberOut), required=True)
    correlations = ListOf(
        ListOf(Number()),
        required=True,
        metadata={"description": "For each number its correlations with those before it, in their order."},
    )


class RecommendationQuery(StrictSchema):
    """What the answer holds besides."""

    with_ = Choice(
        ("state",),
        data_key="with",
        metadata={"description": "`state`: all numbers from which a bench out of reach could plan on."},
    )


class RecommendationOut(StrictSchema):
    """The ordered plan. It is computed from the readings given; the technician's eye and hand decide."""

    job_id = Id(allow_none=True)
    digest = Text(max=64, required=True)
    verdicts = ListOf(Nested(VerdictOut), required=True)
    steps = ListOf(Nested(StepOut), required=True)
    notes = ListOf(Nested(PlanNoteOut), required=True)
    settling = Nested(PlanSettlingOut, required=True)
    settle_for = QuantityOut(
        "duration",
        allow_none=True,
        metadata={
            "description": "How long the job rests now, counted from its newest entry; null: there is "
            "something else to do first, or the neck has rested."
        },
    )
    rest_until = Instant(
        allow_none=True,
        metadata={
            "description": "When the neck has rested: the last turn of the rod or change of strings and the "
            "shop's rest after it, from what was entered alone. null, as `settle_for`: no rest is due now."
        },
    )
    read_after_rest = ListOf(
        Nested(ReadingWantedOut),
        required=True,
        metadata={"description": "The readings to take then; empty: no rest is due now."},
    )
    not_asked = ListOf(Nested(NotAskedOut), required=True)
    surprises = ListOf(
        Nested(SurpriseOut),
        required=True,
        metadata={"description": "Readings of the job that do not fit the others, settled ones included."},
    )
    complete = Truth(required=True, metadata={"description": "Everything is in spec, or accepted."})
    finished = Truth(
        required=True,
        metadata={"description": "Nothing more can be done here: complete, refused or out of reach."},
    )
    rod_doubt = Number(
        required=True, metadata={"description": "Chance that the truss rod is dead or turns the wrong way."}
    )
    inputs = Nested(PlanInputsOut, required=True)
    state = Nested(StateOut, allow_none=True, metadata={"description": "null: it was not asked for."})
    text = Text(
        max=100_000,
        multiline=True,
        required=True,
        metadata={"description": "The plan as plain text for a terminal."},
    )
