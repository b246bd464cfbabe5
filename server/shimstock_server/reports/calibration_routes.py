"""Do readings fall where they were expected: data, tables or a page, as `Accept` asks."""

from __future__ import annotations

from typing import Any

from shimstock_server.shop import ShopNotSetUp, settings
from shimstock_server.web.blueprint import Answer, Blueprint
from shimstock_server.web.context import current

from . import calibration_schemas as schemas
from .calibration import calibration
from .calibration_page import calibration_page
from .calibration_tables import HEADERS, table
from .forms import CSV, TYPES, ZIP, in_form
from .period import period_of

blueprint = Blueprint("calibration", "Whether readings fall where they were expected, and how tools scatter")


@blueprint.operation(
    "GET", "/reports/calibration", scopes=("bench", "manager"), query=schemas.CalibrationQuery,
    answer=schemas.CalibrationOut, types=TYPES, conflicts=(ShopNotSetUp,),
)  # fmt: skip
def get_calibration(query: dict[str, Any]) -> Answer:
    """Read how often readings fell inside what was stated before their sheet came.

    A forecast is kept as it was made; readings of a sheet that was corrected do not count, nor does the first
    of a quantity, which had none. Counted at 50, 80 and 95 %: all, and by quantity, tool, bench and model.
    `noises` tells how much more each tool scatters on each bench than is declared. `Accept` chooses:
    `application/json`, `text/html`, `text/csv` with `table`, or `application/zip` for all tables.
    """
    units, period = current.units, period_of(query, settings(current.session), current.now)
    report = calibration(current.session, period, listed=current.media_type in (CSV, ZIP))
    shown = in_form(query, HEADERS, lambda name: table(name, report, units), lambda: calibration_page(report))
    return shown or Answer(report)
