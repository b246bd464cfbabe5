"""Values of studies and checks as they come in: of the right dimension, plausible, not ahead of the clock."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from marshmallow import ValidationError

from shimstock_server.catalogue import plausible_range
from shimstock_server.database.words import Kind, Quantity
from shimstock_server.web.problems import ClockAhead, InvalidFields
from shimstock_server.web.quantities import KINDS as KINDS_OF_VALUE
from shimstock_server.web.quantities import Quantity as Value
from shimstock_server.web.quantities import read_quantity
from shimstock_server.web.schemas import field_errors

from .kinds import KINDS

CLOCK_TOLERANCE = timedelta(minutes=5)


def read_value(sent: Any, quantity: Quantity, *where: str | int, low: float | None = None) -> Value:
    """Read a value once its quantity is known.

    Raises
    ------
    InvalidFields
        When it is none, or its unit does not fit.
    """
    try:
        return read_quantity(sent, KINDS_OF_VALUE[KINDS[quantity.value]], low=low)
    except ValidationError as error:
        raise InvalidFields(errors=field_errors(error.messages, *where)) from error


def read_plausible(
    sent: Any, quantity: Quantity, *where: str | int, confirmed: bool, kind: Kind | None = None
) -> Value:
    """Read a value that somebody measured.

    Raises
    ------
    InvalidFields
        When it is none, or not plausible and not confirmed.
    """
    value = read_value(sent, quantity, *where)
    low, high = plausible_range(quantity, kind)
    if not confirmed and not low - 1e-9 <= value.value <= high + 1e-9:
        of = KINDS_OF_VALUE[KINDS[quantity.value]]
        raise InvalidFields.at(
            "/" + "/".join(str(part) for part in (*where, "value")),
            f"{of.words} from {low:g} to {high:g} {of.unit} is plausible; "
            f"{value.typed_value:g} {value.typed_unit} was given: look again, or confirm it",
        )
    return value


def refuse_ahead(instant: datetime, now: datetime) -> None:
    """Refuse a time that lies ahead of the service's clock."""
    if instant > now + CLOCK_TOLERANCE:
        ahead = round((instant - now).total_seconds() / 60)
        raise ClockAhead(
            errors=[
                {
                    "pointer": "/taken_at",
                    "message": f"lies {ahead} minutes ahead of the service's clock: set the bench's clock",
                }
            ]
        )
