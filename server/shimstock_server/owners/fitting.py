"""What is on an instrument now."""

from __future__ import annotations

from datetime import date
from uuid import UUID

from sqlalchemy.orm import Session

from shimstock_server.database.tables.owners import Instrument


def fit_strings(
    session: Session,
    instrument: Instrument,
    *,
    string_set_id: UUID | None,
    tuning_id: UUID | None,
    day: date,
) -> None:
    """Note new strings: from now on they are what the instrument is reckoned with.

    Parameters
    ----------
    instrument : Instrument
        That they were put on.
    string_set_id, tuning_id : UUID or None
        What was fitted; None = the same as before.
    day : date
        When, in the shop's zone; the age of the strings counts from here.
    """
    if string_set_id is not None:
        instrument.string_set_id = string_set_id
    if tuning_id is not None:
        instrument.tuning_id = tuning_id
    instrument.strings_fitted_on = day
    session.flush()


def put_back_strings(
    session: Session, instrument: Instrument, fitted: tuple[UUID | None, UUID | None, date | None]
) -> None:
    """Note that a change of strings was none: string set, tuning and day are those before it."""
    instrument.string_set_id, instrument.tuning_id, instrument.strings_fitted_on = fitted
    session.flush()
