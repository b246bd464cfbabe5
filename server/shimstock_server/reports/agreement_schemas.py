"""The report on the benches as it is asked for and answered."""

from __future__ import annotations

from shimstock_server.database.words import Quantity
from shimstock_server.learning import CheckPieceOut
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
)
from shimstock_server.web.quantities import QuantityOut

TABLES = ("studies", "readings", "repeats", "checks")


class BenchAgreementReportQuery(StrictSchema):
    """Which table of the report, for a CSV."""

    table = Choice(TABLES, metadata={"description": "With `Accept: text/csv`."})


class BenchRepeatsOut(StrictSchema):
    """How well a bench repeats a quantity with a tool, by its newest study; its readings carry it."""

    quantity = Choice(Quantity, required=True)
    tool = Text(max=200, required=True, allow_none=True)
    repeatability = QuantityOut(kind_from="kind", required=True)
    difference = QuantityOut(
        kind_from="kind",
        required=True,
        metadata={"description": "By how much it read above the mean of all benches."},
    )
    study = Text(max=200, required=True)
    found_at = Instant(required=True)


class BenchStandingOut(StrictSchema):
    """How a bench stands."""

    bench_id = Id(required=True)
    name = Text(max=200, required=True)
    drifting = Truth(required=True)
    checked_on = Day(required=True, allow_none=True)
    checked_today = Truth(required=True)
    pieces = ListOf(Nested(CheckPieceOut), required=True)
    repeats = ListOf(Nested(BenchRepeatsOut), required=True)


class StudyInShortOut(StrictSchema):
    """The newest study of a quantity, in words."""

    study_id = Id(required=True)
    name = Text(max=200, required=True)
    quantity = Choice(Quantity, required=True)
    ended_at = Instant(required=True)
    percent_of_total = Number(required=True)
    percent_of_tolerance = Number(required=True, allow_none=True)
    words = ListOf(Text(max=1000), required=True)


class BenchAgreementOut(StrictSchema):
    """Do the benches measure the same thing, and do they still?"""

    studies = ListOf(Nested(StudyInShortOut), required=True)
    benches = ListOf(Nested(BenchStandingOut), required=True)
