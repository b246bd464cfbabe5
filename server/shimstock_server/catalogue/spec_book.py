"""The targets of many instruments at once: every spec is read a single time, every mixture merged once."""

from __future__ import annotations

from collections.abc import Sequence
from uuid import UUID

from sqlalchemy.orm import Session

from shimstock_calc.plan import model as plan
from shimstock_server.database.tables.owners import Instrument

from .resolving import current_at, frame_of, general_places, place, resolved, spec_items

AT_ONCE = 5000
"""Places that one query names."""


class SpecBook:
    """The current specs of some instruments and jobs.

    Parameters
    ----------
    session : Session
        To read with, also later.
    instruments : sequence of Instrument
        With their models.
    job_ids : sequence of UUID
        Whose own targets are wanted too.
    """

    def __init__(self, session: Session, instruments: Sequence[Instrument], job_ids: Sequence[UUID]) -> None:
        self._session = session
        places = dict.fromkeys(each for one in instruments for each in _places(one))
        places |= dict.fromkeys(place(job_id=job_id) for job_id in job_ids)
        listed = list(places)
        self._at = {
            row.place: row
            for start in range(0, len(listed), AT_ONCE)
            for row in current_at(session, listed[start : start + AT_ONCE])
        }
        self._merged: dict[tuple[UUID, ...], tuple[plan.SpecItem, ...]] = {}

    def of(self, instrument: Instrument, job_id: UUID) -> tuple[plan.SpecItem, ...]:
        """Return the targets of an instrument as they are now, with what was asked for on a job."""
        at = (*_places(instrument), place(job_id=job_id))
        rows = [self._at[each] for each in at if each in self._at]
        key = (instrument.model_id, *(row.id for row in rows))
        if key not in self._merged:
            frame = frame_of(self._session, instrument.model_id)
            self._merged[key] = spec_items(resolved(rows, frame))
        return self._merged[key]


def _places(instrument: Instrument) -> list[str]:
    return general_places(instrument.model.kind, instrument.model_id, instrument.id)
