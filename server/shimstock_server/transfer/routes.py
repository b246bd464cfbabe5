"""Exports and imports over HTTP."""

from __future__ import annotations

from typing import Any

from shimstock_server.shop import ShopNotSetUp
from shimstock_server.web.blueprint import Answer, Blueprint
from shimstock_server.web.context import current

from . import schemas
from .earlier import Result, import_readings
from .exporting import export_bytes

blueprint = Blueprint("exports and imports", "Everything that the shop owns as open files; earlier readings")
ZIP = "application/zip"
MANAGER = ("manager",)


@blueprint.operation("GET", "/exports", scopes=MANAGER, types=(ZIP,))
def get_export() -> Answer:
    """Read everything that the shop owns: JSON lines a table with a manifest, and all readings as CSV.

    It holds the names of the shop's customers. `shimstock-admin export` writes the same for a large shop, and
    `shimstock-admin import` puts it into an empty service.
    """
    text = export_bytes(current.session, now=current.now)
    name = f"shimstock-{current.now:%Y-%m-%d}.zip"
    return Answer(
        text=text, media_type=ZIP, headers={"Content-Disposition": f'attachment; filename="{name}"'}
    )


@blueprint.operation(
    "POST", "/imports/readings", scopes=MANAGER, body=schemas.EarlierReadingsIn,
    answer=schemas.EarlierReadingsOut, writes=True, creates="key", conflicts=(ShopNotSetUp,),
)  # fmt: skip
def post_earlier_readings(body: dict[str, Any]) -> Answer:
    """Import readings from before this service; with a problem in any row, all are told and nothing is kept.

    Columns, in any order: instrument_id, or serial with maker and model; taken_at (with its offset), stage,
    quantity, side, string, pickup, fret, held_low, held_high, capo, method, value, unit, zero_or_less, tool
    (by name), confirmed, note; at_pitch, acclimatised, position, temperature, temperature_unit, humidity.
    Separated by commas; or by semicolons or tabs, and then numbers may have a decimal comma. Rows with the
    same instrument, time and stage are one sheet; a file has 500 sheets at most. `dry_run` is true unless it
    is sent as false.
    """
    kept = False
    trial = current.session.begin_nested()
    result = import_readings(current.session, body["csv"], actor=current.actor, now=current.now)
    if body["dry_run"] or result.problems:
        trial.rollback()
        # nothing in this transaction counts any more but the answer
        current.session.expire_all()
    else:
        trial.commit()
        kept = True
    return Answer(_show(result, kept=kept))


def _show(result: Result, *, kept: bool) -> dict[str, Any]:
    return {
        "rows": result.rows,
        "sheets": result.sheets,
        "readings": result.readings,
        "kept": kept,
        "problems": result.problems,
    }
