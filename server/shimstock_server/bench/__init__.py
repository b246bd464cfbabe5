"""The bench: what is measured, what is recommended, what is done."""

from . import final_check  # noqa: F401 - it registers itself
from .before_and_after import BeforeAndAfter, before_and_after, repeated, sheet_of, verdicts
from .plan_schemas import BelievedOut
from .problems import InstrumentUnknown
from .recommendation import current_plan, entries_of_job, gather, source_of_readings
from .routes import blueprint
from .schemas import ReadingSheetIn
from .sheets import record_sheet, sheets_of, standing
from .whole_life import WholeLife, whole_life
from .withdrawing import adjustments_of

__all__ = [
    "BeforeAndAfter",
    "BelievedOut",
    "InstrumentUnknown",
    "ReadingSheetIn",
    "WholeLife",
    "adjustments_of",
    "before_and_after",
    "current_plan",
    "entries_of_job",
    "gather",
    "record_sheet",
    "repeated",
    "sheet_of",
    "sheets_of",
    "source_of_readings",
    "standing",
    "verdicts",
    "whole_life",
]

blueprints = (blueprint,)
