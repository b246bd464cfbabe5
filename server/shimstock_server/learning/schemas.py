"""What was learned of adjustments, as it is asked for and answered."""

from __future__ import annotations

from shimstock_server.database.words import ResponseKind, ResponseLevel
from shimstock_server.web.fields import Choice, Id, Instant, ListOf, Number, StrictSchema, Text, Truth, Whole
from shimstock_server.web.paging import PageQuery, page_of
from shimstock_server.web.quantities import QuantityOut


class AdjustmentResponseQuery(PageQuery):
    """Which learned responses."""

    kind = Choice(ResponseKind)
    level = Choice(ResponseLevel)
    model_id = Id(metadata={"description": "Of this model and its instruments."})


class AdjustmentResponseOut(StrictSchema):
    """How far a reading follows an adjustment, as pooled over shop, models and instruments."""

    kind = Choice(ResponseKind, required=True)
    level = Choice(ResponseLevel, required=True)
    model_id = Id(required=True, allow_none=True)
    instrument_id = Id(required=True, allow_none=True)
    mean = QuantityOut(
        kind_from="unit_kind",
        allow_none=True,
        metadata={"description": "Per turn of tightening, or per pull; null for the coupling."},
    )
    sd = QuantityOut(kind_from="unit_kind", allow_none=True)
    mean_number = Number(
        allow_none=True,
        metadata={"description": "Of the coupling: by how much it differs from what the geometry says."},
    )
    sd_number = Number(allow_none=True)
    late_share = Number(
        allow_none=True,
        metadata={"description": "Of the rod: the part of its effect that comes late; null for others."},
    )
    half_time = QuantityOut(
        "duration",
        allow_none=True,
        metadata={"description": "Of the rod: after which time half of that has come."},
    )
    nut_mean_number = Number(
        allow_none=True,
        metadata={"description": "Of the coupling: what mean_number says of action, for nut action."},
    )
    nut_sd_number = Number(allow_none=True)
    samples = Whole(required=True, metadata={"description": "Jobs that it was learned from."})
    learned_at = Instant(required=True)


AdjustmentResponsePage = page_of(AdjustmentResponseOut)


class ResponseSampleQuery(PageQuery):
    """Which samples."""

    kind = Choice(ResponseKind)
    model_id = Id()
    job_id = Id()
    flagged = Truth(metadata={"description": "Only those that a human should look at, or only the others."})
    reviewed = Truth(metadata={"description": "Only those that were looked at, or only the others."})


class ResponseSampleOut(StrictSchema):
    """What a job says of a response: its adjustments, with the readings before and after at one hold.

    Everything that the job read counts, with its hours; the readings shown are those around its adjustments.
    """

    id = Id(required=True)
    kind = Choice(ResponseKind, required=True)
    job_id = Id(required=True)
    instrument_id = Id(required=True)
    model_id = Id(required=True)
    at = Instant(required=True, metadata={"description": "When the reading afterwards was taken."})
    moved = QuantityOut(kind_from="moved_kind", required=True)
    before = QuantityOut(kind_from="value_kind", required=True)
    after = QuantityOut(kind_from="value_kind", required=True)
    before_uncertainty = QuantityOut(kind_from="value_kind", required=True)
    after_uncertainty = QuantityOut(kind_from="value_kind", required=True)
    settled = Truth(required=True)
    alone = Truth(
        required=True, metadata={"description": "Nothing else that moves this reading was done in between."}
    )
    response = Number(
        required=True,
        allow_none=True,
        metadata={
            "description": "What the readings shown say by themselves [mm/turn, mm/N, or mm per mm of "
            "relief]; null when too little was moved."
        },
    )
    expected = Number(required=True, metadata={"description": "What is expected without samples."})
    adjustments = ListOf(Id(), required=True)
    doubt = Text(max=200, required=True, allow_none=True)
    used = Truth(required=True)
    reviewed_at = Instant(required=True, allow_none=True)
    review_note = Text(max=1000, required=True, allow_none=True)


ResponseSamplePage = page_of(ResponseSampleOut)


class SampleReviewIn(StrictSchema):
    """What was decided of a flagged sample that was looked at."""

    leave_out = Truth(
        load_default=False,
        metadata={"description": "Learn nothing from it, even where the service would use it."},
    )
    note = Text(max=1000, load_default=None, allow_none=True)
