"""The short way of writing a reading: `relief 0.45`, `action bass 8/64in`, `intonation 3 +2.5`."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from .._quantity import Quantity
from .._trade import PLACES, QUANTITIES, READINGS, SIGNED, UNITS
from ._measures import Dimension, Expected, NotUnderstood, Units, read_measure

_TWO_WORDS = {word.replace("-", " "): word for word in QUANTITIES if "-" in word}
_SIDES = {"bass": "bass", "b": "bass", "treble": "treble", "t": "treble"}

_NOTE = re.compile(r"(?:^|\s)(?:#\s*|note\s+)(?P<note>.+)$", re.IGNORECASE)
_TOOL = re.compile(r"(?:^|\s)with\s+(?P<tool>.+)$", re.IGNORECASE)
_HELD = re.compile(r"\bheld\s+(?:at\s+)?(\d+)(?:\s*(?:-|–|to|and|,)\s*(\d+))?(?=\s|$)", re.IGNORECASE)
_PLACES: dict[str, re.Pattern[str]] = {
    "fret": re.compile(r"\b(?:at|fret)\s+(\d+)(?=\s|$)", re.IGNORECASE),
    "capo": re.compile(r"\bcapo\s+(\d+)(?=\s|$)", re.IGNORECASE),
    "string": re.compile(r"\bstring\s+(\d+)(?=\s|$)", re.IGNORECASE),
}
_FLAGS: dict[str, tuple[str, Any]] = {
    "sure": ("confirmed", True),
    "accept": ("accepted", True),
    "accepted": ("accepted", True),
    "straightedge": ("method", "straightedge"),
    "by-string": ("method", "string"),
}
_TOUCHES = re.compile(r"\b(?:zero(?:\s+or\s+less)?|touches)\b", re.IGNORECASE)


def expected_of(quantity: str, units: Units) -> Expected:
    """Tell what a number for this quantity should be, and its unit when none is written."""
    metric, inch = UNITS[quantity]
    dimension: Dimension = "cents" if metric == "cents" else "length"
    return Expected(_plain(quantity), dimension, metric if units == "mm" else inch)


def read_reading(text: str, units: Units = "mm") -> dict[str, Any]:
    """Read one reading from its short form.

    Parameters
    ----------
    text : str
        `QUANTITY [SIDE or STRING] VALUE [at FRET] [held A-B] [capo N] [sure] [accept] [with TOOL]
        [# NOTE]` [-].
    units : "mm" or "inch"
        Decides the unit of a bare number [-].

    Returns
    -------
    dict
        The reading as it travels, with the tool's name under `tool` [-].

    Raises
    ------
    NotUnderstood
        Naming what would be right.

    >>> read_reading("action treble 8/64in")
    {'quantity': 'action', 'side': 'treble', 'value': {'value': 8.0, 'unit': 'in/64'}}
    """
    quantity, rest = split_quantity(text)
    reading: dict[str, Any] = {"quantity": quantity}
    rest = _take_tails(rest, reading)
    rest = _take_places(rest, reading)
    rest = _take_flags(rest, reading)
    touches = _TOUCHES.search(rest)
    if touches is not None:
        rest = _cut(rest, touches)
        reading["zero_or_less"] = True
    words = _take_where(rest.split(), quantity, reading, has_value=touches is None)
    value = " ".join(words)
    if touches is None:
        if not value:
            raise NotUnderstood(f"{_plain(quantity)}: the value is missing; e.g. {READINGS[quantity]}")
        reading["value"] = read_measure(value, expected_of(quantity, units)).wire()
        take_touching(reading)
    elif value:
        raise NotUnderstood(f"{_plain(quantity)}: either a value or zero, not both")
    check_place(reading)
    return reading


def take_touching(reading: dict[str, Any]) -> None:
    """Take a relief of 0 for what the string shows there: zero or less."""
    if reading["quantity"] == "relief" and reading.get("method") != "straightedge":
        value = reading.get("value")
        if isinstance(value, Mapping) and value["value"] == 0:
            del reading["value"]
            reading["zero_or_less"] = True


def split_quantity(text: str) -> tuple[str, str]:
    """Split the quantity from the rest of a line.

    Raises
    ------
    NotUnderstood
        When no quantity stands first; the message lists them.
    """
    words = text.strip().split(maxsplit=2)
    if not words:
        raise NotUnderstood(f"a reading begins with its quantity, e.g. {READINGS['relief']}")
    first = words[0].lower()
    two = f"{first} {words[1].lower()}" if len(words) > 1 else ""
    if two in _TWO_WORDS:
        return _TWO_WORDS[two], words[2] if len(words) > 2 else ""
    meant = {QUANTITIES[name] for name in QUANTITIES if name.startswith(first)}
    if first in QUANTITIES:
        meant = {QUANTITIES[first]}
    if len(meant) != 1 or len(first) < 2:
        names = ", ".join(sorted(set(QUANTITIES.values())))
        raise NotUnderstood(f"{words[0]!r} is no quantity; one of {names}, e.g. {READINGS['action']}")
    return meant.pop(), text.strip()[len(words[0]) :].strip()


def _take_tails(rest: str, reading: dict[str, Any]) -> str:
    note = _NOTE.search(rest)
    if note is not None:
        reading["note"] = note["note"].strip()
        rest = rest[: note.start()]
    tool = _TOOL.search(rest)
    if tool is not None:
        words = tool["tool"].split()
        while len(words) > 1 and words[-1].lower() in _FLAGS:
            name, value = _FLAGS[words.pop().lower()]
            reading[name] = value
        reading["tool"] = " ".join(words)
        rest = rest[: tool.start()]
    return rest


def _take_places(rest: str, reading: dict[str, Any]) -> str:
    held = _HELD.search(rest)
    if held is not None:
        reading["held"] = [int(one) for one in held.groups() if one is not None]
        rest = _cut(rest, held)
    for name, pattern in _PLACES.items():
        found = pattern.search(rest)
        if found is not None:
            reading[name] = int(found[1])
            rest = _cut(rest, found)
    return rest


def _cut(rest: str, found: re.Match[str]) -> str:
    return f"{rest[: found.start()]} {rest[found.end() :]}"


def _take_flags(rest: str, reading: dict[str, Any]) -> str:
    kept = []
    for word in rest.split():
        if word.lower() in _FLAGS:
            name, value = _FLAGS[word.lower()]
            reading[name] = value
        else:
            kept.append(word)
    return " ".join(kept)


def _take_where(words: list[str], quantity: str, reading: dict[str, Any], *, has_value: bool) -> list[str]:
    kept: list[str] = []
    pickup: list[str] = []
    for word in words:
        bare = word.lower().rstrip(":")
        if bare in _SIDES and not kept:
            reading["side"] = _SIDES[bare]
        elif bare == "side" and reading.get("side"):
            continue
        elif quantity == "pickup-height" and not kept and bare.isalpha():
            pickup.append(word)
        else:
            kept.append(word)
    if pickup:
        reading["pickup"] = " ".join(pickup)
    named = "side" in reading or "string" in reading
    takes_string = PLACES[quantity] in ("string", "side or string")
    numbered = bool(kept) and kept[0].isdecimal() and len(kept[0]) < 5
    if takes_string and not named and numbered and len(kept) > has_value:
        reading["string"] = int(kept.pop(0))
    return kept


def check_place(reading: Mapping[str, Any]) -> None:
    """Check that a reading says where it was taken.

    Raises
    ------
    NotUnderstood
        Naming side or string.
    """
    quantity = reading["quantity"]
    side, string = reading.get("side"), reading.get("string")
    example = READINGS[quantity]
    if side is not None and string is not None:
        raise NotUnderstood(f"{_plain(quantity)}: a side or a string, not both; e.g. {example}")
    if PLACES[quantity] == "string" and string is None:
        raise NotUnderstood(f"{_plain(quantity)}: of which string? e.g. {example}")
    if PLACES[quantity] == "side or string" and side is None and string is None:
        raise NotUnderstood(
            f"{_plain(quantity)}: on which side, bass or treble, or of which string? e.g. {example}"
        )
    if PLACES[quantity] == "across" and (side is not None or string is not None):
        raise NotUnderstood(
            f"{_plain(quantity)}: bass side minus treble side, of no side or string by itself; e.g. {example}"
        )
    if reading.get("zero_or_less") and quantity != "relief":
        raise NotUnderstood(f"{_plain(quantity)}: only relief can be 'zero or less' (the string touches)")


def _plain(quantity: str) -> str:
    return quantity.replace("-", " ")


def describe(reading: Mapping[str, Any]) -> str:
    """Say what was understood: "action, bass side: 8/64 in"."""
    parts = [_plain(str(reading["quantity"]))]
    if reading.get("pickup"):
        parts.append(f"{reading['pickup']} pickup")
    if reading.get("side"):
        parts.append(f"{reading['side']} side")
    if reading.get("string") is not None:
        parts.append(f"string {reading['string']}")
    if reading.get("held"):
        at = "at " if len(reading["held"]) == 1 else ""
        parts.append(f"held {at}" + "–".join(str(fret) for fret in reading["held"]))
    if reading.get("fret") is not None:
        parts.append(f"at fret {reading['fret']}")
    if reading.get("capo") is not None:
        parts.append(f"capo at {reading['capo']}")
    if reading.get("method") == "straightedge":
        parts.append("straightedge")
    told = "zero or less" if reading.get("zero_or_less") else _value(reading)
    tails = [
        *(["confirmed"] if reading.get("confirmed") else []),
        *(["accepted"] if reading.get("accepted") else []),
        *([f"with {reading['tool']}"] if reading.get("tool") else []),
        *([f"note: {reading['note']}"] if reading.get("note") else []),
    ]
    return f"{', '.join(parts)}: {told}" + (f" ({'; '.join(tails)})" if tails else "")


def _value(reading: Mapping[str, Any]) -> str:
    value = reading.get("value")
    if not isinstance(value, Mapping):
        return "–"
    told = str(Quantity(value["value"], value["unit"]))
    return f"+{told}" if reading["quantity"] in SIGNED and value["value"] > 0 else told
