"""How much harder new strings pull than those before them."""

from __future__ import annotations

from collections.abc import Iterable
from uuid import UUID

from sqlalchemy.orm import Session

from shimstock_calc.plan.geometry import total_pull
from shimstock_server.catalogue import InstrumentIncomplete, plan_string_set, strung
from shimstock_server.database.tables.bench import Adjustment, ReadingSheet
from shimstock_server.database.tables.owners import Instrument
from shimstock_server.database.words import Part


def pull_changes(
    session: Session, instrument: Instrument, sheets: Iterable[ReadingSheet], done: Iterable[Adjustment]
) -> dict[str, float]:
    """How much harder the strings pull after each change of strings of a job [N], by the adjustment's id.

    Parameters
    ----------
    sheets, done : iterable
        What was read and done on the job; a sheet keeps the set that was on the instrument.

    Returns
    -------
    dict of str to float
        Changes whose pull is not known, and all where the tuning changed too, are missing.
    """
    changes = [each for each in done if each.part is Part.STRINGS]
    if not changes or any(each.tuning_id is not None for each in changes):
        return {}
    found: dict[str, float] = {}
    fitted: UUID | None = None
    entries: list[ReadingSheet | Adjustment] = [*sheets, *changes]
    for entry in sorted(
        entries, key=lambda each: (each.counts_at, isinstance(each, Adjustment), str(each.id))
    ):
        before, fitted = fitted, entry.string_set_id or fitted
        if not isinstance(entry, Adjustment):
            continue
        if entry.string_set_id is None or before == fitted:
            found[str(entry.id)] = 0.0
        elif before is not None:
            old, new = _pull(session, instrument, before), _pull(session, instrument, entry.string_set_id)
            if old is not None and new is not None:
                found[str(entry.id)] = new - old
    return found


def _pull(session: Session, instrument: Instrument, string_set: UUID) -> float | None:
    _, tuning = strung(session, instrument)
    if tuning is None:
        return None
    model = instrument.model
    try:
        strings = plan_string_set(session, string_set, tuning, model.courses).strings
    except InstrumentIncomplete:
        return None
    return total_pull(strings, model.scale_bass, model.scale_treble)
