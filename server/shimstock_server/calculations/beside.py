"""Quantities whose kind a field beside them names, alone and in lists: for studies and summaries."""

from __future__ import annotations

from typing import Any

from shimstock_server.web.fields import ListOf, ValidationError
from shimstock_server.web.quantities import KINDS, Quantity
from shimstock_server.web.typed import QuantityBeside

from .fields import AskedBeside

# A difference of temperatures is told in another way than a temperature.
SPREADABLE = tuple(name for name in KINDS if name != "temperature")
"""Kinds whose spread can be told in the unit of their values."""
MOST = 1e8
"""Readings beyond it are none; in the unit that is kept."""


class AnythingBeside(AskedBeside):
    """A quantity of any kind, of the one that a field beside it names.

    Parameters
    ----------
    about : str
        What it is.
    low : float
        Lower bound in the unit that is kept; the upper one is `MOST`.
    **options
        `kind_from` names another field than `quantity`.
    """

    def __init__(self, about: str, *, low: float = -MOST, **options: Any) -> None:
        super().__init__(tuple(KINDS), low, MOST, about, **options)
        said = f"{about}; of the kind that `{self.kind_from}` names, {low:g} to {MOST:g}."
        self.metadata = {**self.metadata, "description": said}

    def _deserialize(self, value: Any, attr: str | None, data: Any, **options: Any) -> Quantity:
        quantity = QuantityBeside._deserialize(self, value, attr, data, **options)
        if not self.min <= quantity.value <= self.max:
            raise ValidationError({"value": [f"must be from {self.min:g} to {self.max:g} in the kept unit"]})
        return quantity


class ListBeside(ListOf):
    """A list of quantities, or of lists of them, of the kind that a field beside the outermost names."""

    def _deserialize(self, value: Any, attr: str | None, data: Any, **_: Any) -> list[Any]:
        if not isinstance(value, list):
            raise ValidationError("must be a list")
        if not self.min <= len(value) <= self.max:
            raise ValidationError(
                f"must have {self.min} to {self.max} entries; it has {len(value)}"
                if self.max > self.min
                else f"must have {self.min} entries; it has {len(value)}"
            )
        loaded, wrong = [], {}
        for place, entry in enumerate(value):
            try:
                loaded.append(self.inner.deserialize(entry, attr, data))
            except ValidationError as error:
                wrong[place] = error.messages
        if wrong:
            raise ValidationError(dict(wrong))
        return loaded
