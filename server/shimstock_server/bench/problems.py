"""What can stand in the way of readings and adjustments."""

from __future__ import annotations

from shimstock_server.web.problems import Conflict


class SheetSuperseded(Conflict):
    """That sheet was corrected already; correct the sheet that replaced it."""

    code = "sheet-superseded"
    title = "Sheet corrected already"


class AdjustmentWithdrawn(Conflict):
    """That adjustment was taken back already; correct the one that replaced it."""

    code = "adjustment-withdrawn"
    title = "Adjustment taken back already"


class ConsentNeeded(Conflict):
    """This cannot be undone, and the owner has not said yes to it."""

    code = "consent-needed"
    title = "Consent needed"


class InstrumentUnknown(Conflict):
    """This job has no instrument yet; receive it first."""

    code = "instrument-unknown"
    title = "No instrument yet"
