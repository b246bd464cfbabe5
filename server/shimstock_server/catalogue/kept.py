"""From what was sent to what is kept: plain values in the kept units, and beside them what was typed."""

from __future__ import annotations

from collections.abc import Mapping
from enum import Enum
from typing import Any

from shimstock_server.web.quantities import Quantity

Typed = dict[str, dict[str, Any]]


def kept(sent: Any) -> tuple[Any, Typed]:
    """Split what was sent into plain values and the quantities as typed.

    Parameters
    ----------
    sent : dict, list or value
        As deserialised: quantities inside at any depth.

    Returns
    -------
    values
        The same shape with floats in the kept units and words as text.
    typed : dict
        Path of each quantity (`bridge/post_spacing`) to the value and unit that were typed.

    Examples
    --------
    >>> from shimstock_server.web.units import Unit
    >>> kept({"bridge": {"post_spacing": Quantity(74.0, 74, Unit.MM)}})
    ({'bridge': {'post_spacing': 74.0}}, {'bridge/post_spacing': {'value': 74, 'unit': 'mm'}})
    """
    typed: Typed = {}
    return _plain(sent, "", typed), typed


def _plain(sent: Any, path: str, typed: Typed) -> Any:
    if isinstance(sent, Quantity):
        typed[path] = {"value": sent.typed_value, "unit": str(sent.typed_unit)}
        return sent.value
    if isinstance(sent, Enum):
        return sent.value
    if isinstance(sent, Mapping):
        return {name: _plain(below, _join(path, name), typed) for name, below in sent.items()}
    if isinstance(sent, (list, tuple)):
        return [_plain(below, _join(path, n), typed) for n, below in enumerate(sent)]
    return sent


def _join(path: str, name: object) -> str:
    return f"{path}/{name}" if path else str(name)


def retyped(before: Mapping[str, Any], changed: Mapping[str, Any], typed: Typed) -> dict[str, Any]:
    """Return what was typed after a change: fields that were sent lose what they had and take what is new."""
    left = {path: value for path, value in before.items() if path.split("/", 1)[0] not in changed}
    return left | typed
