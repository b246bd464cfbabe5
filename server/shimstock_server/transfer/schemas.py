"""Imports as they are sent and answered."""

from __future__ import annotations

from shimstock_server.web.fields import ListOf, Nested, StrictSchema, Text, Truth, Whole

MOST = 100_000


class EarlierReadingsIn(StrictSchema):
    """Readings from before this service, as the text of a CSV file with a header line."""

    csv = Text(max=900_000, multiline=True, required=True)
    dry_run = Truth(
        load_default=True, metadata={"description": "Check every row and keep nothing; so by default."}
    )


class RowProblemOut(StrictSchema):
    """Something that stands against a row."""

    row = Whole(required=True, metadata={"description": "Line of the file; the header is 1."})
    column = Text(max=200, required=True, allow_none=True)
    message = Text(max=4000, required=True)


class EarlierReadingsOut(StrictSchema):
    """What a file holds, what was kept, and every problem by row."""

    rows = Whole(required=True)
    sheets = Whole(required=True)
    readings = Whole(required=True)
    kept = Truth(required=True, metadata={"description": "False after a dry run or with any problem."})
    problems = ListOf(Nested(RowProblemOut), max=MOST, required=True)
