"""Reports as they are asked for and answered."""

from __future__ import annotations

from shimstock_server.database.words import Kind, Quantity, ReportState
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
from shimstock_server.web.quantities import QuantityOut

TABLES = ("quantities", "bins", "steps", "findings", "season", "jobs")

_MANY = 100_000


class PeriodQuery(StrictSchema):
    """Days of the shop's calendar, both included; a year up to today when left out."""

    first = Day(metadata={"description": "The first day; a year before the last when left out."})
    last = Day(metadata={"description": "The last day; today when left out."})


class ReportPeriodOut(StrictSchema):
    """Days of the shop's calendar, both included."""

    first = Day(required=True)
    last = Day(required=True)
    zone = Text(max=64, required=True)


class RankingQuery(PeriodQuery):
    """Which models."""

    maker = Text(max=200)
    kind = Choice(Kind)
    limit = Whole(1, 500, load_default=100)


class RankedModelOut(StrictSchema):
    """What a model's jobs took."""

    rank = Whole(required=True)
    model_id = Id(required=True)
    maker = Text(max=200, required=True)
    name = Text(max=200, required=True)
    kind = Choice(Kind, required=True)
    jobs = Whole(required=True)
    came_back = Whole(
        required=True,
        metadata={"description": "Checked in again within 90 days of being ready."},
    )
    bench_minutes_mean = QuantityOut("duration", required=True)
    bench_minutes_total = QuantityOut("duration", required=True)
    turnaround_mean = QuantityOut("period", required=True)
    parts_mean = Number(required=True, metadata={"description": "Price of the parts of a job."})
    cost_mean = Number(
        required=True,
        allow_none=True,
        metadata={"description": "Bench minutes at the shop's rate and parts; null without a rate."},
    )
    received_in_spec = Number(required=True, allow_none=True)
    returned_in_spec = Number(required=True, allow_none=True)


class RankingOut(StrictSchema):
    """The models by what a job on them costs, the dearest first."""

    period = Nested(ReportPeriodOut, required=True)
    currency = Text(max=3, required=True)
    ranked_by = Choice(("cost", "bench-minutes"), required=True)
    waiting = Whole(
        required=True,
        metadata={"description": "Jobs that changed since they were counted; a worker counts them."},
    )
    items = ListOf(Nested(RankedModelOut), required=True)


class ReportSpreadOut(StrictSchema):
    """A time over jobs."""

    mean = QuantityOut(kind_from="kind", allow_none=True, required=True)
    median = QuantityOut(kind_from="kind", allow_none=True, required=True)
    p90 = QuantityOut(kind_from="kind", allow_none=True, required=True)


class ReportJobsOut(StrictSchema):
    """What the jobs took."""

    count = Whole(required=True)
    came_back = Whole(required=True)
    restrung = Whole(required=True)
    gauge_changed = Whole(
        required=True,
        metadata={"description": "Got another set of strings than the one that they came in with."},
    )
    bench_minutes = Nested(ReportSpreadOut, required=True)
    turnaround = Nested(ReportSpreadOut, required=True)
    parts_mean = Number(required=True, allow_none=True)
    cost_mean = Number(required=True, allow_none=True)


class ReportVerdictsOut(StrictSchema):
    """Readings of jobs that are done against the spec that each job began with."""

    in_spec = Whole(required=True)
    too_close = Whole(required=True)
    out_of_spec = Whole(required=True)
    share_in_spec = Number(required=True, allow_none=True)


class ReportSpecOut(StrictSchema):
    """Today's target for new jobs on this model."""

    target = QuantityOut(kind_from="kind", required=True)
    lower = QuantityOut(kind_from="kind", required=True, allow_none=True)
    upper = QuantityOut(kind_from="kind", required=True, allow_none=True)
    scope = Text(max=20, required=True)
    converted = Truth(
        required=True,
        metadata={"description": "The spec states it for another hold; it was brought to this one."},
    )


class ReportQuantilesOut(StrictSchema):
    """Values below which 5 to 95 % of the readings lie, to the width of a bin."""

    p05 = QuantityOut(kind_from="kind", required=True, allow_none=True)
    p10 = QuantityOut(kind_from="kind", required=True, allow_none=True)
    p25 = QuantityOut(kind_from="kind", required=True, allow_none=True)
    median = QuantityOut(kind_from="kind", required=True, allow_none=True)
    p75 = QuantityOut(kind_from="kind", required=True, allow_none=True)
    p90 = QuantityOut(kind_from="kind", required=True, allow_none=True)
    p95 = QuantityOut(kind_from="kind", required=True, allow_none=True)


class ReportCapabilityOut(StrictSchema):
    """Cpk against today's limits, with its 95 % interval."""

    index = Number(required=True)
    lower = Number(required=True)
    upper = Number(required=True)


class CountedBinOut(StrictSchema):
    """Readings in a bin of 0.01 mm or 0.5 cents."""

    middle = QuantityOut(kind_from="kind", required=True)
    count = Whole(required=True)


class ReportStageOut(StrictSchema):
    """The readings of one stage.

    `final` are those that instruments went out with, `kept` those of them whose jobs did not come back.
    """

    stage = Text(max=20, required=True)
    count = Whole(required=True)
    zero_or_less = Whole(required=True)
    mean = QuantityOut(kind_from="kind", required=True, allow_none=True)
    sd = QuantityOut(kind_from="kind", required=True, allow_none=True)
    lowest = QuantityOut(kind_from="kind", required=True, allow_none=True)
    highest = QuantityOut(kind_from="kind", required=True, allow_none=True)
    quantiles = Nested(ReportQuantilesOut, required=True)
    in_spec = Whole(required=True)
    too_close = Whole(required=True)
    out_of_spec = Whole(required=True)
    share_in_spec = Number(required=True, allow_none=True)
    capability = Nested(ReportCapabilityOut, required=True, allow_none=True)
    bins = ListOf(Nested(CountedBinOut), max=_MANY, required=True)


class SuggestedSpecOut(StrictSchema):
    """Median and 10 to 90 % of the final readings of jobs that did not come back, from 10 readings on."""

    target = QuantityOut(kind_from="kind", required=True)
    lower = QuantityOut(kind_from="kind", required=True)
    upper = QuantityOut(kind_from="kind", required=True)
    readings = Whole(required=True)


class ReportQuantityOut(StrictSchema):
    """A quantity at a place, read at the same frets."""

    quantity = Choice(Quantity, required=True)
    place = Text(max=120, min=0, required=True)
    frets = Text(max=40, min=0, required=True)
    resolution = QuantityOut(
        kind_from="kind",
        required=True,
        metadata={"description": "Width of the bins that quantiles are taken from: none is finer."},
    )
    spec = Nested(ReportSpecOut, required=True, allow_none=True)
    stages = ListOf(Nested(ReportStageOut), required=True)
    suggestion = Nested(SuggestedSpecOut, required=True, allow_none=True)


class ReportTallyOut(StrictSchema):
    """A step that was done, or something that was found."""

    name = Text(max=60, required=True)
    jobs = Whole(
        required=True,
        metadata={"description": "Of the jobs done in these days, in how many it was done or found."},
    )
    per_job = Number(required=True, allow_none=True, metadata={"description": "That share of the jobs done."})
    count = Whole(required=True, metadata={"description": "How often in these days, in any job."})
    way_mean = QuantityOut(kind_from="unit_kind", required=True, allow_none=True)
    way_sd = QuantityOut(kind_from="unit_kind", required=True, allow_none=True)


class ReportSeasonOut(StrictSchema):
    """Readings as received in one month of the year; `room-moisture` is what the air brings wood to."""

    month = Whole(1, 12, required=True)
    quantity = Text(max=40, required=True)
    place = Text(max=120, min=0, required=True)
    frets = Text(max=40, min=0, required=True)
    count = Whole(required=True)
    mean = QuantityOut(kind_from="kind", required=True)
    p10 = QuantityOut(kind_from="kind", required=True)
    median = QuantityOut(kind_from="kind", required=True)
    p90 = QuantityOut(kind_from="kind", required=True)


class ReportMoistureOut(StrictSchema):
    """How readings as received follow the moisture that the room's air brings wood to."""

    quantity = Text(max=40, required=True)
    place = Text(max=120, min=0, required=True)
    frets = Text(max=40, min=0, required=True)
    months = Whole(required=True, metadata={"description": "Months that the line is drawn through."})
    per_percent = QuantityOut(
        kind_from="kind", required=True, metadata={"description": "Change for each 1 % of moisture more."}
    )
    uncertainty = QuantityOut(
        kind_from="kind", required=True, metadata={"description": "Standard error of that change."}
    )


class ModelReportOut(StrictSchema):
    """What the shop knows of a model: what came in, what was done, how it went out, what it took."""

    model_id = Id(required=True)
    maker = Text(max=200, required=True)
    name = Text(max=200, required=True)
    kind = Choice(Kind, required=True)
    period = Nested(ReportPeriodOut, required=True)
    currency = Text(max=3, required=True)
    jobs = Nested(ReportJobsOut, required=True)
    received = Nested(ReportVerdictsOut, required=True)
    returned = Nested(ReportVerdictsOut, required=True)
    quantities = ListOf(Nested(ReportQuantityOut), max=_MANY, required=True)
    steps = ListOf(Nested(ReportTallyOut), required=True)
    findings = ListOf(Nested(ReportTallyOut), required=True)
    season = ListOf(Nested(ReportSeasonOut), max=_MANY, required=True)
    against_moisture = ListOf(Nested(ReportMoistureOut), max=_MANY, required=True)


class ModelReportQuery(PeriodQuery):
    """Which days, and which table of a CSV."""

    table = Choice(TABLES, metadata={"description": "With `Accept: text/csv`: which table."})


class ReportRunIn(PeriodQuery):
    """A long report: all models, those of a maker, those of a kind."""

    maker = Text(max=200, load_default=None, allow_none=True)
    kind = Choice(Kind, load_default=None, allow_none=True)


class ReportRunOut(StrictSchema):
    """How far a long report is."""

    id = Id(required=True)
    state = Choice(ReportState, required=True)
    maker = Text(max=200, required=True, allow_none=True)
    kind = Choice(Kind, required=True, allow_none=True)
    period = Nested(ReportPeriodOut, required=True)
    done = Whole(required=True, metadata={"description": "Models that are done."})
    total = Whole(required=True, allow_none=True, metadata={"description": "Null until it has begun."})
    created_at = Instant(required=True)
    ended_at = Instant(required=True, allow_none=True)
    error = Text(max=1000, required=True, allow_none=True)


ReportRunPage = page_of(ReportRunOut)
ModelReportPage = page_of(ModelReportOut)


class ReportRunQuery(PageQuery):
    """Which runs."""

    state = Choice(ReportState)


class RunReportsQuery(PageQuery):
    """The finished models of a run, and which table of a CSV."""

    table = Choice(TABLES, metadata={"description": "With `Accept: text/csv`: which table."})
