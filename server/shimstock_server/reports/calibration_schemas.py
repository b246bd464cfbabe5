"""The report on forecasts as it is asked for and answered."""

from __future__ import annotations

from shimstock_server.web.fields import Choice, Id, ListOf, Nested, Number, StrictSchema, Text, Whole

from .calibration import WAYS
from .schemas import PeriodQuery, ReportPeriodOut

TABLES = ("coverage", "scatter", "forecasts")


class CalibrationQuery(PeriodQuery):
    """Of which days, and for a CSV which table."""

    table = Choice(TABLES, metadata={"description": "With `Accept: text/csv`."})


class StatedShareOut(StrictSchema):
    """How many readings fell inside an interval that was stated."""

    stated = Number(required=True, metadata={"description": "Share that the interval states."})
    inside = Whole(required=True)
    of = Whole(required=True)
    seen = Number(required=True, metadata={"description": "Share of the readings that fell inside."})
    lower = Number(
        required=True, metadata={"description": "Of the true share, with 95 % confidence (Wilson)."}
    )
    upper = Number(required=True)


class CalibrationGroupOut(StrictSchema):
    """Readings alike in one thing."""

    by = Choice(tuple(WAYS), required=True)
    id = Id(required=True, allow_none=True, metadata={"description": "Of the tool, bench or model."})
    name = Text(max=500, required=True)
    shares = ListOf(
        Nested(StatedShareOut),
        required=True,
        metadata={"description": "At 50, 80 and 95 %; without readings none."},
    )
    doubtful = ListOf(
        Nested(StatedShareOut),
        required=True,
        metadata={
            "description": "The same of readings that were taken because an earlier one was in doubt, or "
            "once more where one still stood."
        },
    )


class ToolNoiseOut(StrictSchema):
    """How much more a tool scatters on a bench than is declared; the plans of new jobs reckon with it."""

    bench_id = Id(required=True)
    bench = Text(max=200, required=True)
    tool_id = Id(required=True)
    tool = Text(max=200, required=True)
    factor = Number(required=True, metadata={"description": "From 0.5 to 3; with few readings near 1."})
    readings = Whole(required=True)
    words = Text(max=1000, required=True)


class CalibrationOut(StrictSchema):
    """Did readings fall where they were expected?"""

    period = Nested(ReportPeriodOut, required=True)
    groups = ListOf(Nested(CalibrationGroupOut), required=True)
    noises = ListOf(Nested(ToolNoiseOut), required=True)
