"""Why a reminder stands, in one sentence with its numbers, in the reader's units."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

from shimstock_server.web.quantities import write

from .climates import MONTHS

LEARNED = {
    "instrument": "learned from this instrument",
    "model": "learned from instruments of its model",
    "shop": "learned from this shop's instruments",
}
UNLEARNED = {
    "neck": "how this neck answers is not learned yet, so it may go either way",
    "top": "how this top answers is not learned yet: it is taken to rise in damp air, as tops do",
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
    expected = _together(write(kind, reason["expected"], units), "±", write(kind, reason["sd"], units))
    reading = "recheck" if reason.get("stage") == "recheck" else "final reading"
    began = f"{name} was {value} at the {reading} on {read_on}"
    spec = _spec(kind, reason, units)
    out = _chance(reason["probability_out"])
    if reason["due_on"] is None:
        return (
            f"{began}; within a year no recheck is called for: at its worst {_lowered(name)} is expected at "
            f"{expected}, spec {spec}, with a chance of {out} to be outside."
        )
    due_on = day_in_words(date.fromisoformat(reason["due_on"]))
    moved = reason["moisture_change"]
    taken = f"{'gives' if moved > 0 else 'takes'} {abs(moved):.1f} % moisture {_way(reason, moved)}"
    room = f"the room at about {reason['room_humidity']:.0f} % RH ({AIR[reason['air']]})"
    told = f"{began}; by {due_on} {room} {taken}; {_lowered(name)} expected {expected}, spec {spec}"
    if reason["cause"] == "spec":
        return f"{told}: a chance of {out} to be outside ({_learned(reason)})."
    return (
        f"{told}: likely still inside (a chance of {out} to be outside), "
        "but the wood has moved far enough to look."
    )


def _learned(reason: Mapping[str, Any]) -> str:
    answer = reason["sensitivity"]
    if answer["level"] in LEARNED:
        return f"its answer to moisture is {LEARNED[answer['level']]}"
    return UNLEARNED[answer.get("part", "neck")]


def _together(value: str, sign: str, other: str) -> str:
    """Write two values with their unit once: 0.27 ± 0.04 mm.

    >>> _together("0.27 mm", "±", "0.04 mm"), _together("4.3/64 in", "±", "0.5/64 in")
    ('0.27 ± 0.04 mm', '4.3/64 in ± 0.5/64 in')
    """
    number, _, unit = value.partition(" ")
    return (
        f"{number} {sign} {other}"
        if unit and other.endswith(f" {unit}") and "/" not in number
        else (f"{value} {sign} {other}")
    )


def _chance(probability: float) -> str:
    """Write a chance; one that is nearly nothing or nearly certain is not told as either.

    >>> _chance(0.262), _chance(0.002), _chance(0.999)
    ('26 %', 'less than 1 %', 'more than 99 %')
    """
    if probability < 0.01:
        return "less than 1 %"
    return "more than 99 %" if probability > 0.99 else f"{100.0 * probability:.0f} %"


def _lowered(name: str) -> str:
    return name[0].lower() + name[1:]


def _way(reason: Mapping[str, Any], moved: float) -> str:
    part = {"neck": "the neck", "top": "the top"}.get(reason["part"], "its wood")
    return f"to {part}" if moved > 0 else f"from {part}"


def _place(reason: Mapping[str, Any]) -> str:
    name = reason["quantity"].replace("-", " ").capitalize()
    if reason.get("side"):
        return f"{name} on the {reason['side']} side"
    return f"{name} of string {reason['string']}" if reason.get("string") else name


def _spec(kind: str, reason: Mapping[str, Any], units: str) -> str:
    low, high = reason["lower"], reason["upper"]
    if low is not None and high is not None:
        return _together(write(kind, low, units), "…", write(kind, high, units))
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
