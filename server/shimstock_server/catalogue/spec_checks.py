"""What cannot stand in a setup spec: each message names the field and what would be right."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from shimstock_server.database.words import Quantity
from shimstock_server.web.quantities import KINDS

PLAUSIBLE: dict[Quantity, tuple[float, float]] = {quantity: quantity.term.aims for quantity in Quantity}
"""Where a target can lie [mm, cents]."""


@dataclass(frozen=True)
class Frame:
    """The instrument that a spec is for, as far as it is known.

    Parameters
    ----------
    strings, frets : int or None
        How many it has.
    pickups : tuple of str or None
        Names of its pickups.
    """

    strings: int | None = None
    frets: int | None = None
    pickups: tuple[str, ...] | None = None


def spec_errors(items: Sequence[Mapping[str, Any]], frame: Frame) -> dict[str, str]:
    """Return what cannot stand in a spec: pointer to message.

    Parameters
    ----------
    items : sequence of mapping
        Values in mm and cents.
    frame : Frame
        The instrument they are for.
    """
    errors: dict[str, str] = {}
    seen: set[tuple[Any, ...]] = set()
    for n, item in enumerate(items):
        found = _place_errors(item) | _fret_errors(item) | _limit_errors(item) | _frame_errors(item, frame)
        key = (item["quantity"], item.get("side"), item.get("string"), item.get("pickup"))
        if key in seen:
            found.setdefault("/quantity", f"{item['quantity']} of the same place is there twice")
        seen.add(key)
        errors |= {f"/items/{n}{below}": told for below, told in found.items()}
    return errors


def _place_errors(item: Mapping[str, Any]) -> dict[str, str]:
    quantity = Quantity(item["quantity"])
    words = KINDS[quantity.value].words
    given = [place for place in ("side", "string", "pickup") if item.get(place) is not None]
    errors = {
        f"/{place}": f"{words} is not told apart by {place}; leave it out"
        for place in given
        if place not in quantity.term.told_apart_by
    }
    if "side" in given and "string" in given:
        errors.setdefault("/string", "name a side or a string, not both")
    return errors


def _fret_errors(item: Mapping[str, Any]) -> dict[str, str]:
    quantity, held, fret = Quantity(item["quantity"]), item.get("held") or [], item.get("fret")
    errors: dict[str, str] = {}
    if quantity is Quantity.RELIEF:
        if len(held) == 1 or (len(held) == 2 and held[0] >= held[1]):
            errors["/held"] = (
                "relief is read with the string held at two frets, the lower first, such as [1, 22]"
            )
        elif fret is not None and not (held[0] if held else 1) < fret < (held[1] if held else 99):
            errors["/fret"] = "relief is read between the two frets at which the string is held"
    elif quantity is Quantity.PICKUP_HEIGHT:
        if len(held) > 1:
            errors["/held"] = "pickup height is read with the string held at one fret, normally the last"
    elif quantity is Quantity.NUT_ACTION:
        if held and list(held) != [3]:
            errors["/held"] = "nut action is read with the string open, or held at fret 3"
    elif held:
        errors["/held"] = f"{KINDS[quantity.value].words} is read without holding the string; leave it out"
    if (
        fret is not None
        and quantity.term.fret is None
        and not (quantity is Quantity.NUT_ACTION and fret == 1)
    ):
        errors["/fret"] = f"{KINDS[quantity.value].words} is not read at a fret of one's choice; leave it out"
    return errors


def _limit_errors(item: Mapping[str, Any]) -> dict[str, str]:
    quantity = Quantity(item["quantity"])
    kind = KINDS[quantity.value]
    errors: dict[str, str] = {}
    low, high = PLAUSIBLE[quantity]
    for field in ("target", "lower", "upper"):
        value = item.get(field)
        if value is not None and not low <= value <= high:
            errors[f"/{field}"] = (
                f"{kind.words} lies from {low:g} to {high:g} {kind.unit}; {value:g} was given"
            )
    target, lower, upper = item["target"], item.get("lower"), item.get("upper")
    if lower is None and upper is None:
        errors.setdefault("/lower", "give a lower or an upper limit: a target alone decides nothing")
    if lower is not None and upper is not None and lower > upper:
        errors.setdefault("/lower", f"the lower limit, {lower:g}, lies above the upper, {upper:g}")
    elif lower is not None and target < lower:
        errors.setdefault("/target", f"the target, {target:g}, lies below the lower limit, {lower:g}")
    elif upper is not None and target > upper:
        errors.setdefault("/target", f"the target, {target:g}, lies above the upper limit, {upper:g}")
    return errors


def _frame_errors(item: Mapping[str, Any], frame: Frame) -> dict[str, str]:
    errors: dict[str, str] = {}
    if frame.strings is not None and (item.get("string") or 0) > frame.strings:
        errors["/string"] = (
            f"this instrument has {frame.strings} strings, 1 to {frame.strings}; {item['string']} was given"
        )
    if frame.frets is not None:
        if (item.get("fret") or 0) > frame.frets:
            errors["/fret"] = f"this board has {frame.frets} frets; {item['fret']} was given"
        for n, fret in enumerate(item.get("held") or []):
            if fret > frame.frets:
                errors[f"/held/{n}"] = f"this board has {frame.frets} frets; {fret} was given"
    if frame.pickups is not None and item.get("pickup") is not None and item["pickup"] not in frame.pickups:
        known = ", ".join(frame.pickups) or "none"
        errors["/pickup"] = f"this instrument has no such pickup; it has: {known}"
    return errors
