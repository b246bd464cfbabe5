"""A number with its unit, as a tool shows it and as it travels."""

from __future__ import annotations

import sys
from dataclasses import dataclass
from typing import TypedDict


class QuantityDict(TypedDict):
    """A quantity as it travels."""

    value: float
    unit: str


@dataclass(frozen=True, slots=True)
class Quantity:
    """A number and its unit.

    Parameters
    ----------
    value : float
        What the tool shows [unit].
    unit : str
        One of the service's units: mm, in, thou, in/64, cents, Hz, degC, degF, percent, turn … [-].

    Raises
    ------
    ValueError
        When the value is no finite number, or the unit is empty.

    Examples
    --------
    >>> str(Quantity(8, "in/64"))
    '8/64 in'
    >>> Quantity(0.45, "mm").wire()
    {'value': 0.45, 'unit': 'mm'}
    """

    value: float
    unit: str

    def __post_init__(self) -> None:
        if isinstance(self.value, bool) or not isinstance(self.value, int | float):
            raise ValueError(f"value: a number was expected, not {self.value!r}")
        if not abs(self.value) <= sys.float_info.max:
            raise ValueError(f"value: a finite number was expected, not {self.value!r}")
        if not isinstance(self.unit, str) or not self.unit:
            raise ValueError(f"unit: a unit such as mm, in/64 or cents was expected, not {self.unit!r}")

    def wire(self) -> QuantityDict:
        """Return the quantity as it travels."""
        return {"value": self.value, "unit": self.unit}

    def __str__(self) -> str:
        number = f"{round(self.value, 4):.10g}"
        if self.unit == "in/64":
            return f"{number}/64 in"
        return f"{number} {_SHOWN.get(self.unit, self.unit)}"


_SHOWN = {"percent": "%", "degC": "°C", "degF": "°F"}
