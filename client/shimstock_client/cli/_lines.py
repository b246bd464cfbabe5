"""What a line at the prompt means: a reading, a number for the one asked for, or a word about the sheet."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

from .._quantity import Quantity
from .._trade import FINDINGS
from ._measures import Expected, NotUnderstood, Units, read_measure
from ._typed import describe, read_reading
from ._unsent import UnsentSheet

if TYPE_CHECKING:
    from .. import ReadingWanted

HELP = """\
A reading:      relief 0.45          action bass 8/64in     action treble 2.2mm   nut bass 10thou
                intonation 3 +2.5    pickup neck bass 2.0   break 2 0             relief zero  (touches)
                … at 9   … held 1-22   … with feeler leaves   … sure (looked at twice)   … # a note
                … accept # why (leave it as it is: too close to call, or out of spec)
Asked for:      type the number alone, or press Enter to leave it out
The sheet:      list   undo   drop 2   with feeler leaves   air 21C 45%   on back   off pitch   at pitch
                found fret-high fret 7 # lifts at the treble end      note …
The end:        send   keep (sends it later: shimstock send)   throw away"""

_BARE = re.compile(r"\s*(?:[+\-−–.,\d]|zero\b|touches\b)", re.IGNORECASE)
_AIR = re.compile(
    r"(?P<temperature>\S+(?:\s?[cf°]\S*)?)\s*(?:,|and)?\s+(?P<humidity>[\d.,]+\s*%?(?:\s*rh)?)$",
    re.IGNORECASE,
)


def take_line(sheet: UnsentSheet, line: str, units: Units, asked: ReadingWanted | None = None) -> str:
    """Take one line into the sheet and say what was understood.

    Raises
    ------
    NotUnderstood
        Naming what would be right; the sheet is as it was.
    """
    text = line.strip()
    word, _, rest = text.partition(" ")
    about = _ABOUT.get(word.lower())
    if about is not None and (rest or word.lower() in {"undo"}):
        return about(sheet, rest.strip())
    if text.lower() in _CONDITIONS:
        return _condition(sheet, text.lower())
    if asked is not None and _BARE.match(text):
        reading = read_reading(f"{_place(asked)} {text}", units)
        _as_asked(reading, asked)
    else:
        reading = _other_reading(text, units, asked)
    sheet.readings.append(reading)
    return describe(reading)


def _other_reading(text: str, units: Units, asked: ReadingWanted | None) -> dict[str, Any]:
    try:
        return read_reading(text, units)
    except NotUnderstood as error:
        if asked is None:
            raise
        name = asked.quantity.replace("-", " ")
        raise NotUnderstood(f"{error}. For the {name} that is asked for type the number alone") from error


def _place(asked: ReadingWanted) -> str:
    where = asked.side or (f"string {asked.string}" if asked.string is not None else "")
    return f"{asked.quantity} {where}"


def _as_asked(reading: dict[str, Any], asked: ReadingWanted) -> None:
    if asked.pickup is not None:
        reading["pickup"] = asked.pickup
    if asked.fret is not None:
        reading.setdefault("fret", asked.fret)
    if asked.held:
        reading.setdefault("held", list(asked.held))
    if asked.method == "straightedge":
        reading.setdefault("method", asked.method)


def _undo(sheet: UnsentSheet, _: str) -> str:
    if not sheet.readings:
        raise NotUnderstood("undo: there is no reading yet")
    return f"taken back: {describe(sheet.readings.pop())}"


def _drop(sheet: UnsentSheet, rest: str) -> str:
    if not rest.isdecimal() or not 1 <= int(rest) <= len(sheet.readings):
        raise NotUnderstood(f"drop: which reading, 1 to {len(sheet.readings)}? list shows them")
    return f"taken back: {describe(sheet.readings.pop(int(rest) - 1))}"


def _with(sheet: UnsentSheet, rest: str) -> str:
    sheet.tools.append(rest)
    return f"measured with {rest} from the next reading on, where it fits"


def _note(sheet: UnsentSheet, rest: str) -> str:
    sheet.more["note"] = f"{sheet.more['note']}\n{rest}" if sheet.more.get("note") else rest
    return "noted"


def read_air(text: str) -> dict[str, Any]:
    """Read the room's air: "21C 45%".

    Raises
    ------
    NotUnderstood
        Naming what would be right.
    """
    match = _AIR.match(text.strip())
    if match is None:
        raise NotUnderstood(f"air: temperature and humidity were expected, e.g. 21C 45%; not {text!r}")
    temperature = read_measure(
        match["temperature"].rstrip(","), Expected("temperature", "temperature", "degC")
    )
    humidity = read_measure(re.sub(r"rh\Z", "", match["humidity"], flags=re.IGNORECASE),
                            Expected("humidity", "humidity", "percent"))  # fmt: skip
    return {"temperature": temperature.wire(), "relative_humidity": humidity.wire()}


def _air(sheet: UnsentSheet, rest: str) -> str:
    sheet.more["room"] = room = read_air(rest)
    return f"room: {_told(room['temperature'])}, {_told(room['relative_humidity'])}"


def _told(quantity: Mapping[str, Any]) -> str:
    return str(Quantity(quantity["value"], quantity["unit"]))


def read_finding(text: str) -> dict[str, Any]:
    """Read a finding: "fret-high fret 7 # lifts at the treble end".

    Raises
    ------
    NotUnderstood
        Listing what a look over can find.
    """
    head, _, note = text.partition("#")
    finding: dict[str, Any] = {}
    for name in ("fret", "string"):
        place = re.search(rf"(?<![\w-]){name}\s+(\d+)", head, re.IGNORECASE)
        if place is not None:
            finding[name] = int(place[1])
            head = head[: place.start()] + head[place.end() :]
    code = "-".join(head.lower().split())
    found = [one for one in FINDINGS if one == code] or [
        one for one in FINDINGS if code and one.startswith(code)
    ]
    if len(found) != 1:
        raise NotUnderstood(f"found: {head.strip()!r} is not one of {', '.join(FINDINGS)}")
    finding["code"] = found[0]
    if note.strip():
        finding["note"] = note.strip()
    return finding


def _found(sheet: UnsentSheet, rest: str) -> str:
    finding = read_finding(rest)
    sheet.findings.append(finding)
    return "found: " + ", ".join(
        f"{value}" if name == "code" else f"{name} {value}" for name, value in finding.items()
    )


_ABOUT: dict[str, Callable[[UnsentSheet, str], str]] = {
    "undo": _undo,
    "drop": _drop,
    "with": _with,
    "note": _note,
    "air": _air,
    "found": _found,
}
_CONDITIONS: dict[str, tuple[str, Any, str]] = {
    "on back": ("position", "on-back", "lying on its back"),
    "playing": ("position", "playing", "in playing position"),
    "off pitch": ("at_pitch", False, "not at pitch: kept, but no plan is built on it"),
    "at pitch": ("at_pitch", True, "all strings within 5 cents of their pitch"),
    "cold": ("acclimatised", False, "not yet as warm as the room: no verdict on it"),
    "acclimatised": ("acclimatised", True, "as warm as the room"),
}


def _condition(sheet: UnsentSheet, text: str) -> str:
    name, value, told = _CONDITIONS[text]
    if name == "at_pitch":
        sheet.at_pitch = bool(value)
    else:
        sheet.more[name] = value
    return told
