"""Studies and check pieces as they are asked for and answered."""

from __future__ import annotations

from shimstock_server.database.words import Quantity, Side, StudyState
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
from shimstock_server.web.quantities import AnyQuantity, QuantityOut

CLIENT_MADE = "Made by the client: the same content sent again under it is kept once."
CONFIRMED = "It lies outside the plausible range, and was looked at twice."

MOST_SEED = 2**53 - 1
"""Largest whole number that every reader of JSON takes exactly (RFC 8259, section 6) [-]."""


class StudyPieceIn(StrictSchema):
    """Something that every reader reads: an instrument and a place on it, or a piece with a name."""

    name = Text(max=200, required=True)
    instrument_id = Id(load_default=None, allow_none=True)
    side = Choice(Side, load_default=None, allow_none=True)
    string = Whole(1, 14, load_default=None, allow_none=True)
    pickup = Text(max=100, load_default=None, allow_none=True)
    fret = Whole(1, 36, load_default=None, allow_none=True)
    held = ListOf(Whole(0, 36), max=2, load_default=None, allow_none=True)


class StudyPieceOut(StrictSchema):
    """Something that every reader reads."""

    name = Text(max=200, required=True)
    instrument_id = Id(required=True, allow_none=True)
    side = Choice(Side, required=True, allow_none=True)
    string = Whole(required=True, allow_none=True)
    pickup = Text(max=100, required=True, allow_none=True)
    fret = Whole(required=True, allow_none=True)
    held = ListOf(Whole(), required=True, allow_none=True)


class StudyReaderIn(StrictSchema):
    """Who reads: a bench, and if need be a technician and a tool."""

    bench_id = Id(required=True)
    technician_id = Id(load_default=None, allow_none=True)
    tool_id = Id(load_default=None, allow_none=True)


class StudyReaderOut(StrictSchema):
    """Who reads, and how much is left to read."""

    name = Text(max=700, required=True)
    bench_id = Id(required=True)
    technician_id = Id(required=True, allow_none=True)
    tool_id = Id(required=True, allow_none=True)
    left = Whole(required=True)
    here = Truth(required=True, metadata={"description": "Whether it is the bench whose key asks."})


class StudyIn(StrictSchema):
    """A study: at least two pieces, two readers and two trials; ten, three and three are usual."""

    name = Text(max=200, required=True)
    quantity = Choice(Quantity, required=True)
    pieces = ListOf(Nested(StudyPieceIn), min=2, max=50, required=True)
    readers = ListOf(Nested(StudyReaderIn), min=2, max=20, required=True)
    trials = Whole(2, 10, load_default=3)
    tolerance = AnyQuantity(
        load_default=None,
        allow_none=True,
        metadata={"description": "Upper less lower limit of the spec that the readings serve."},
    )
    seed = Whole(
        0,
        MOST_SEED,
        load_default=None,
        allow_none=True,
        metadata={"description": "What the order is drawn from; drawn by the service when left out."},
    )
    note = Text(max=4000, multiline=True, load_default=None, allow_none=True)


class StudyOut(StrictSchema):
    """A study and how far it is. Values are not shown while it is open."""

    id = Id(required=True)
    name = Text(max=200, required=True)
    quantity = Choice(Quantity, required=True)
    state = Choice(StudyState, required=True)
    pieces = ListOf(Nested(StudyPieceOut), required=True)
    readers = ListOf(Nested(StudyReaderOut), required=True)
    trials = Whole(required=True)
    tolerance = QuantityOut(kind_from="kind", required=True, allow_none=True)
    seed = Whole(0, MOST_SEED, required=True)
    readings = Whole(required=True)
    taken = Whole(required=True)
    note = Text(max=4000, multiline=True, required=True, allow_none=True)
    created_at = Instant(required=True)
    updated_at = Instant(required=True)
    ended_at = Instant(required=True, allow_none=True)
    version = Whole(required=True)


StudyPage = page_of(StudyOut)


class StudyQuery(PageQuery):
    """Which studies."""

    state = Choice(StudyState)
    quantity = Choice(Quantity)


class NextReadingQuery(StrictSchema):
    """Who asks: the number of a reader in the study's list, from 0."""

    reader = Whole(0, 19, required=True)


class NextReadingOut(StrictSchema):
    """What a reader reads next."""

    number = Whole(required=True, metadata={"description": "Its place in the order; named with the reading."})
    reader = Whole(required=True)
    piece = Whole(required=True)
    trial = Whole(required=True)
    what = Nested(StudyPieceOut, required=True)
    left = Whole(required=True)


class StudyReadingIn(StrictSchema):
    """The reading that was next."""

    id = Id(load_default=None, allow_none=True, metadata={"description": CLIENT_MADE})
    number = Whole(1, 2000, required=True)
    value = AnyQuantity(required=True)
    confirmed = Truth(load_default=False, metadata={"description": CONFIRMED})
    taken_at = Instant(load_default=None, allow_none=True)


class StudyReadingTakenOut(StrictSchema):
    """That a reading is kept, and what comes next for its reader."""

    number = Whole(required=True)
    next = Nested(NextReadingOut, required=True, allow_none=True)


class StudyEndIn(StrictSchema):
    """Whether the study is given up instead of judged."""

    abandon = Truth(load_default=False)
    as_it_stands = Truth(
        load_default=False,
        metadata={
            "description": "Judge the readers and rounds that are complete, without the others: at least two "
            "readers who read every piece twice."
        },
    )


class AgreementReaderOut(StrictSchema):
    """How a reader compares with the others."""

    name = Text(max=700, required=True)
    difference = QuantityOut(kind_from="kind", required=True)
    repeatability = QuantityOut(kind_from="kind", required=True)


class VarianceRowOut(StrictSchema):
    """A line of the analysis of variance, in kept units squared."""

    source = Text(max=40, required=True)
    squares = Number(required=True)
    freedom = Whole(required=True)
    mean_square = Number(required=True)
    ratio = Number(required=True, allow_none=True)
    probability = Number(required=True, allow_none=True)


class AgreementMethodOut(StrictSchema):
    """Standard deviations and shares by one method."""

    method = Text(max=20, required=True)
    repeatability = QuantityOut(kind_from="kind", required=True)
    reproducibility = QuantityOut(kind_from="kind", required=True)
    agreement = QuantityOut(kind_from="kind", required=True)
    pieces = QuantityOut(kind_from="kind", required=True)
    total = QuantityOut(kind_from="kind", required=True)
    interaction_pooled = Truth(required=True)
    percent_of_total = Number(required=True)
    percent_of_tolerance = Number(required=True, allow_none=True)
    classes = Whole(required=True, allow_none=True)
    difference_limit = QuantityOut(kind_from="kind", required=True)
    readers = ListOf(Nested(AgreementReaderOut), required=True)
    table = ListOf(Nested(VarianceRowOut), required=True)


class AgreementReadingOut(StrictSchema):
    """A reading of the study."""

    number = Whole(required=True)
    piece = Whole(required=True)
    reader = Whole(required=True)
    trial = Whole(required=True)
    value = QuantityOut(kind_from="kind", required=True)
    judged = Truth(required=True, metadata={"description": "Whether it belongs to the part that was judged."})


class StudyAgreementOut(StrictSchema):
    """What a study says: by analysis of variance, by average and range, and in words."""

    study_id = Id(required=True)
    quantity = Choice(Quantity, required=True)
    tolerance = QuantityOut(kind_from="kind", required=True, allow_none=True)
    methods = ListOf(Nested(AgreementMethodOut), required=True)
    words = ListOf(Text(max=1000), required=True)
    readings = ListOf(Nested(AgreementReadingOut), max=2000, required=True)


class CheckPieceIn(StrictSchema):
    """A thing that one bench reads every day."""

    name = Text(max=200, required=True)
    bench_id = Id(
        load_default=None,
        allow_none=True,
        metadata={"description": "The bench whose key asks when left out."},
    )
    quantity = Choice(Quantity, required=True)
    tool_id = Id(load_default=None, allow_none=True)
    stated = AnyQuantity(
        load_default=None,
        allow_none=True,
        metadata={
            "description": "What it is known to measure. What the bench reads beyond it is taken off its "
            "readings with this tool, from the fifth day on."
        },
    )
    confirmed = Truth(load_default=False, metadata={"description": CONFIRMED})
    repetitions = Whole(1, 20, load_default=3)
    note = Text(max=1000, multiline=True, load_default=None, allow_none=True)


class CheckPieceChange(StrictSchema):
    """What can change; after a repair or with a new tool limits are drawn anew from a day on."""

    name = Text(max=200)
    active = Truth()
    limits_from = Day(allow_none=True)
    note = Text(max=1000, multiline=True, allow_none=True)


class CheckValueOut(StrictSchema):
    """One reading of a check."""

    value = QuantityOut(kind_from="kind", required=True)


class CheckReadingOut(StrictSchema):
    """A day's check and its verdict."""

    id = Id(required=True)
    piece_id = Id(required=True)
    day = Day(required=True)
    taken_at = Instant(required=True)
    values = ListOf(Nested(CheckValueOut), required=True)
    mean = QuantityOut(kind_from="kind", required=True)
    deviation = QuantityOut(kind_from="kind", required=True, allow_none=True)
    verdict = Text(max=60, required=True)
    confirmed = Truth(required=True)
    technician_id = Id(required=True, allow_none=True)
    note = Text(max=1000, multiline=True, required=True, allow_none=True)


class ControlLimitsOut(StrictSchema):
    """Limits of a day's mean and spread, from the bench's own history.

    As rare a false alarm as 3 standard deviations give (0.27 %) and one day in a hundred for the spread, with
    few days allowed for. Days that were out count once the bench has read within its limits again.
    """

    mean = QuantityOut(kind_from="kind", required=True)
    lower = QuantityOut(kind_from="kind", required=True)
    upper = QuantityOut(kind_from="kind", required=True)
    mean_sd = QuantityOut(kind_from="kind", required=True)
    repetition_sd = QuantityOut(kind_from="kind", required=True, allow_none=True)
    spread_upper = QuantityOut(kind_from="kind", required=True, allow_none=True)
    days = Whole(required=True)
    bias = QuantityOut(kind_from="kind", required=True, allow_none=True)
    bias_uncertainty = QuantityOut(kind_from="kind", required=True, allow_none=True)
    bias_probability = Number(required=True, allow_none=True)


class CheckPieceOut(StrictSchema):
    """A check piece, its limits and where its bench stands."""

    id = Id(required=True)
    name = Text(max=200, required=True)
    bench_id = Id(required=True)
    quantity = Choice(Quantity, required=True)
    tool_id = Id(required=True, allow_none=True)
    stated = QuantityOut(kind_from="kind", required=True, allow_none=True)
    repetitions = Whole(required=True)
    limits_from = Day(required=True, allow_none=True)
    active = Truth(required=True)
    note = Text(max=1000, multiline=True, required=True, allow_none=True)
    limits = Nested(
        ControlLimitsOut,
        required=True,
        allow_none=True,
        metadata={"description": "Null until there are checks of five days; from the first fifty at most."},
    )
    days_to_limits = Whole(
        required=True,
        metadata={"description": "Days of checks that are missing before there are limits."},
    )
    newest = Nested(CheckReadingOut, required=True, allow_none=True)
    drifting = Truth(
        required=True, metadata={"description": "The newest check reads higher or lower than it used to."}
    )
    repeats_badly = Truth(
        required=True, metadata={"description": "The newest check's readings differ more than they used to."}
    )
    created_at = Instant(required=True)
    updated_at = Instant(required=True)
    version = Whole(required=True)


CheckPiecePage = page_of(CheckPieceOut)
CheckReadingPage = page_of(CheckReadingOut)


class CheckPieceQuery(PageQuery):
    """Which pieces."""

    bench_id = Id()
    active = Truth()
    here = Truth(metadata={"description": "Only those of the bench whose key asks, or only the others."})


class CheckReadingIn(StrictSchema):
    """A day's check: as many readings as the piece asks for."""

    id = Id(load_default=None, allow_none=True, metadata={"description": CLIENT_MADE})
    values = ListOf(AnyQuantity(), min=1, max=20, required=True)
    confirmed = Truth(load_default=False, metadata={"description": CONFIRMED})
    taken_at = Instant(load_default=None, allow_none=True)
    note = Text(max=1000, multiline=True, load_default=None, allow_none=True)


class CheckReadingQuery(PageQuery):
    """A page of a piece's checks."""
