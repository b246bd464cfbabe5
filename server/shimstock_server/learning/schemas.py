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
    samples = Whole(required=True)
    learned_at = Instant(required=True)


AdjustmentResponsePage = page_of(AdjustmentResponseOut)


class ResponseSampleQuery(PageQuery):
    """Which samples."""

    kind = Choice(ResponseKind)
    model_id = Id()
    job_id = Id()
    flagged = Truth(metadata={"description": "Only those that somebody should look at, or only the others."})
    reviewed = Truth(metadata={"description": "Only those that somebody has looked at, or only the others."})


class ResponseSampleOut(StrictSchema):
    """One run of adjustments with a reading before and a settled one after, brought to one hold."""

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
            "description": "What it says by itself [mm/turn, mm/N, or mm per mm of relief]; "
            "null when nothing can be learned from it."
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
    """What somebody decided who looked at a flagged sample."""

    leave_out = Truth(
        load_default=False,
        metadata={"description": "Learn nothing from it, even where the service would use it."},
    )
    note = Text(max=1000, load_default=None, allow_none=True)
