"""Checks of hygrometers over saturated salts, and the correction that a reading takes from them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

import numpy as np
from sqlalchemy import select
from sqlalchemy.orm import Session

from shimstock_calc.errors import CalculationError
from shimstock_calc.hygrometer import UNCHECKED, hygrometer_check, salts
from shimstock_server.database.tables.seasons import Hygrometer, HygrometerSaltCheck
from shimstock_server.web.context import Actor
from shimstock_server.web.problems import InvalidFields
from shimstock_server.web.typed import kept

SALTS = tuple(salts())
"""Chemical formulas with a published fixed point."""
_FIELDS = {"temperature", "low_salt", "high_salt", "low_reading", "high_reading"}


def record_check(
    session: Session, hygrometer: Hygrometer, body: Mapping[str, Any], *, actor: Actor
) -> HygrometerSaltCheck:
    """Keep what a hygrometer showed over two salts, with the correction that follows.

    Raises
    ------
    InvalidFields
        When the readings fit no hygrometer at rest over these salts; at the field.
    """
    values, _ = kept(dict(body))
    try:
        found = hygrometer_check(
            values["low_reading"],
            values["high_reading"],
            values["temperature"],
            values["low_salt"],
            values["high_salt"],
        )
    except CalculationError as error:
        at = error.field if error.field in _FIELDS else "high_reading"
        raise InvalidFields.at(f"/{at}", error.message) from None
    row = HygrometerSaltCheck(
        hygrometer_id=hygrometer.id,
        checked_at=body["checked_at"],
        temperature=values["temperature"],
        low_salt=values["low_salt"],
        low_reading=values["low_reading"],
        high_salt=values["high_salt"],
        high_reading=values["high_reading"],
        gain=float(found.gain),
        offset=float(found.offset),
        uncertainty=float(found.uncertainty),
        meaning=found.text,
        technician_id=actor.technician_id,
    )
    session.add(row)
    session.flush()
    return row


@dataclass(frozen=True)
class Corrected:
    """A humidity behind what a hygrometer showed, how sure it is, and the check it owes to [% RH]."""

    relative_humidity: float
    uncertainty: float
    check_id: UUID | None


class Corrections:
    """The corrections of one hygrometer, each from its check until the next one."""

    def __init__(self, session: Session, hygrometer_id: UUID | None) -> None:
        self._checks: list[HygrometerSaltCheck] = []
        if hygrometer_id is not None:
            self._checks = list(
                session.scalars(
                    select(HygrometerSaltCheck)
                    .where(HygrometerSaltCheck.hygrometer_id == hygrometer_id)
                    .order_by(HygrometerSaltCheck.checked_at, HygrometerSaltCheck.id)
                )
            )

    def at(self, instant: datetime, shown: float) -> Corrected:
        """Return the humidity behind what was shown at an instant; uncorrected before the first check."""
        check = next((each for each in reversed(self._checks) if each.checked_at <= instant), None)
        if check is None:
            return Corrected(shown, UNCHECKED, None)
        humidity = float(np.clip(check.gain * shown + check.offset, 0.0, 100.0))
        return Corrected(humidity, check.uncertainty, check.id)
