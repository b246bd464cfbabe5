"""Why a reminder stands, in one sentence with its numbers, in the reader's units."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

from shimstock_server.web.quantities import write

from .climates import MONTHS

SOURCES = {
    "instrument": "learned from this instrument",
    "model": "learned from instruments of its model",
    "shop": "learned from this shop's instruments",
    "prior": "not learned yet, so either way",
}
AIR = {
    "log": "by its own log",
    "log-and-model": "by its own log and the climate's normals",
    "model": "by the climate's normals",
}


def day_in_words(day: date) -> str:
    """Write a day: 24 January 2027.

    >>> day_in_words(date(2027, 1, 24))
    '24 January 2027'
    """
    return f"{day.day} {MONTHS[day.month - 1]} {day.year}"


def seasonal_sentence(reason: Mapping[str, Any], units: str) -> str:
    """Say why an instrument asks for a recheck, or that it does not."""
    kind = reason["quantity"]
    name = _place(reason)
    value = write(kind, reason["value"], units)
    read_on = day_in_words(date.fromisoformat(reason["read_on"]))
    expected = f"{write(kind, reason['expected'], units)} ± {write(kind, reason['sd'], units)}"
    began = f"{name} was {value} at the final reading on {read_on}"
    spec = _spec(kind, reason, units)
    out = f"{100.0 * reason['probability_out']:.0f} %"
    if reason["due_on"] is None:
        return (
            f"{began}; within a year no recheck is called for: {name.lower()} {expected} at its worst, "
            f"spec {spec}, {out} likely to be outside it."
        )
    due_on = day_in_words(date.fromisoformat(reason["due_on"]))
    moved = reason["moisture_change"]
    taken = f"{'gives' if moved > 0 else 'takes'} {abs(moved):.1f} % moisture {_way(reason, moved)}"
    room = f"the room at about {reason['room_humidity']:.0f} % ({AIR[reason['air']]})"
    told = f"{began}; by {due_on} {room} {taken}; {name.lower()} expected {expected}, spec {spec}"
    if reason["cause"] == "spec":
        learned = SOURCES[reason["sensitivity"]["level"]]
        return f"{told}: {out} likely to be outside it (its answer to moisture is {learned})."
    return f"{told}: likely still inside ({out} outside), but the wood has moved far enough to look."


def _way(reason: Mapping[str, Any], moved: float) -> str:
    part = "the neck" if reason["part"] == "neck" else "its wood"
    return f"to {part}" if moved > 0 else f"from {part}"


def _place(reason: Mapping[str, Any]) -> str:
    name = reason["quantity"].replace("-", " ").capitalize()
    if reason.get("side"):
        return f"{name} on the {reason['side']} side"
    return f"{name} of string {reason['string']}" if reason.get("string") else name


def _spec(kind: str, reason: Mapping[str, Any], units: str) -> str:
    low, high = reason["lower"], reason["upper"]
    if low is not None and high is not None:
        return f"{write(kind, low, units)} … {write(kind, high, units)}"
    if low is not None:
        return f"at least {write(kind, low, units)}"
    return f"at most {write(kind, high, units)}" if high is not None else "without limits"


def settle_sentence(reason: Mapping[str, Any]) -> str:
    """Say why a settling neck is looked at again."""
    when = "after its rest" if reason["look"] == "settle-hour" else "on the next day"
    asked = " and ".join(each.replace("-", " ") for each in reason["readings_asked"]) or "relief"
    return (
        f"Job {reason['number']}: the neck answers the rod and new strings slowly; "
        f"look again {when}, and read {asked}."
    )


def strings_sentence(reason: Mapping[str, Any]) -> str:
    """Say why strings are due."""
    fitted = day_in_words(date.fromisoformat(reason["fitted_on"]))
    if reason["by"] == "hours":
        return (
            f"The strings were fitted on {fitted}; played {reason['hours_per_week']:g} h a week they reach "
            f"{reason['string_hours']:g} h, this shop's limit."
        )
    return f"The strings were fitted on {fitted}; {reason['string_days']} days are this shop's limit."


def sentence_of(kind: str, reason: Mapping[str, Any], units: str) -> str:
    """Say why a reminder of any kind stands."""
    if kind == "seasonal":
        return seasonal_sentence(reason, units)
    return strings_sentence(reason) if kind == "strings" else settle_sentence(reason)
