"""What a sheet is answered with: its readings that do not fit the job's others; what was expected is kept."""

from __future__ import annotations

from typing import Any

from sqlalchemy.orm import Session

from shimstock_calc.errors import CalculationError
from shimstock_calc.plan.build import check
from shimstock_calc.plan.draft import Draft
from shimstock_server.catalogue import InstrumentIncomplete
from shimstock_server.database.tables.bench import ReadingSheet
from shimstock_server.database.tables.jobs import Job
from shimstock_server.learning import keep_forecasts
from shimstock_server.shop import ShopNotSetUp

from .recommendation import gather
from .rendering import show_surprise, writer


def surprises_on(
    session: Session, job: Job, sheet: ReadingSheet, units: str, *, new: bool
) -> list[dict[str, Any]]:
    """Readings of a sheet that do not fit; none where the job cannot be reckoned with yet.

    What the readings of a new sheet were expected to show is kept beside them.
    """
    if not sheet.readings:
        return []
    try:
        source = gather(session, job)
        check(source)
        if new:
            keep_forecasts(session, source, sheet)
        found = Draft(source).surprises
    except (CalculationError, InstrumentIncomplete, ShopNotSetUp):
        return []  # a sheet is kept whatever the catalogue or the spec lacks
    ids = {f"{sheet.id}/{reading.number}" for reading in sheet.readings}
    speak = writer(units)
    return [
        show_surprise(each, speak)
        for each in found
        if each.reading in ids or (each.other is not None and each.other.reading in ids)
    ]
