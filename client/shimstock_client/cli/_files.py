"""Readings from a file: JSON, CSV, or plain lines in the short form."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any
from uuid import UUID

from .._quantity import Quantity, QuantityDict
from .._wire import parse_json, read_as
from ._measures import NotUnderstood, Units, read_measure
from ._typed import check_place, expected_of, read_reading, split_quantity, take_touching

SHEET_FIELDS: dict[str, Any] = {
    "id": str, "stage": str, "taken_at": str, "position": str, "at_pitch": bool, "acclimatised": bool,
    "room": dict, "tool_id": str, "findings": list[dict[str, Any]], "looked_over": bool, "note": str,
    "supersedes": str, "supersedes_reason": str, "confirm_clock": bool, "readings": list[Any],
}  # fmt: skip
READING_FIELDS: dict[str, Any] = {
    "quantity": str, "side": str, "string": int, "pickup": str, "value": Any, "unit": str, "fret": int,
    "held": list[int], "capo": int, "method": str, "tool": str, "tool_id": str, "zero_or_less": bool,
    "confirmed": bool, "accepted": bool, "note": str,
}  # fmt: skip
_WHOLE = ("string", "fret", "capo")
_TRUTHS = ("zero_or_less", "confirmed", "accepted")
_YES = {
    "yes": True,
    "y": True,
    "true": True,
    "1": True,
    "x": True,
    "no": False,
    "n": False,
    "false": False,
    "0": False,
}


class BadFile(ValueError):  # noqa: N818 - named after its cause
    """The file cannot be taken; every wrong place is named at once."""

    def __init__(self, problems: Sequence[str]) -> None:
        super().__init__("\n".join(problems))
        self.problems = tuple(problems)


@dataclass
class FileContent:
    """What a file held: readings, and for a JSON sheet its other fields."""

    readings: list[dict[str, Any]] = field(default_factory=list)
    more: dict[str, Any] = field(default_factory=dict)


def read_file(text: str, units: Units = "mm", *, name: str = "the file") -> FileContent:
    """Read a file's readings; what kind of file it is, its first character and line tell.

    Parameters
    ----------
    text : str
        The file's content [-].
    units : "mm" or "inch"
        Decides the unit of numbers that have none [-].
    name : str
        For messages [-].

    Returns
    -------
    FileContent
        Readings as they travel [-].

    Raises
    ------
    BadFile
        Naming every line or reading that cannot be taken, and what would be right.
    """
    text = text.removeprefix("\N{ZERO WIDTH NO-BREAK SPACE}")
    start = text.lstrip()
    if not start:
        raise BadFile([f"{name} is empty"])
    if start[0] in "{[":
        return _read_json(text, units, name)
    header = start.splitlines()[0].lower()
    if "quantity" in header and any(mark in header for mark in ",;\t"):
        return FileContent(_read_csv(text.lstrip("\r\n"), units))
    return FileContent(_read_lines(text, units))


def _read_lines(text: str, units: Units) -> list[dict[str, Any]]:
    readings: list[dict[str, Any]] = []
    problems: list[str] = []
    for number, line in enumerate(text.splitlines(), 1):
        if not line.strip() or line.lstrip().startswith("#"):
            continue
        try:
            readings.append(read_reading(line, units))
        except NotUnderstood as error:
            problems.append(f"line {number}: {error}")
    return _all_or_nothing(readings, problems)


def _read_csv(text: str, units: Units) -> list[dict[str, Any]]:
    delimiter = max(",;\t", key=text.splitlines()[0].count)
    rows = csv.DictReader(io.StringIO(text), delimiter=delimiter, skipinitialspace=True)
    names = [str(name).strip().lower().replace(" ", "_").replace("-", "_") for name in rows.fieldnames or ()]
    unknown = [name for name in names if name not in READING_FIELDS]
    if unknown:
        raise BadFile(
            [f"line 1: unknown column {', '.join(unknown)}; known are {', '.join(sorted(READING_FIELDS))}"]
        )
    rows.fieldnames = names
    readings: list[dict[str, Any]] = []
    problems: list[str] = []
    for row in rows:
        if None in row:
            problems.append(f"line {rows.line_num}: more cells than the first line has columns")
            continue
        cells = {name: cell.strip() for name, cell in row.items() if cell is not None and cell.strip()}
        if not cells:
            continue
        try:
            readings.append(_from_cells(cells, units))
        except NotUnderstood as error:
            problems.append(f"line {rows.line_num}: {error}")
    return _all_or_nothing(readings, problems)


def _from_cells(cells: Mapping[str, str], units: Units) -> dict[str, Any]:
    reading: dict[str, Any] = {}
    for name, cell in cells.items():
        if name in _WHOLE:
            reading[name] = _whole(name, cell)
        elif name in _TRUTHS:
            if cell.lower() not in _YES:
                raise NotUnderstood(f"{name}: yes or no was expected, not {cell!r}")
            reading[name] = _YES[cell.lower()]
        elif name == "held":
            reading[name] = [_whole(name, one) for one in cell.replace("–", "-").replace("-", " ").split()]
        elif name not in {"value", "unit"}:
            reading[name] = cell
    if "value" in cells:
        reading["value"] = cells["value"] + (f" {cells['unit']}" if "unit" in cells else "")
    return _checked(reading, units)


def _whole(name: str, cell: str) -> int:
    if not cell.isdecimal() or len(cell) > 4:
        raise NotUnderstood(f"{name}: a whole number was expected, not {cell!r}")
    return int(cell)


def _read_json(text: str, units: Units, name: str) -> FileContent:
    try:
        content = parse_json(text)
    except ValueError as error:
        raise BadFile([f"{name} is no JSON: {error}"]) from error
    sheet: dict[str, Any] = {"readings": content} if isinstance(content, list) else content
    unknown = [key for key in sheet if key not in SHEET_FIELDS]
    if unknown:
        raise BadFile([f"unknown field {', '.join(unknown)}; a sheet has {', '.join(sorted(SHEET_FIELDS))}"])
    try:
        sheet = {key: read_as(SHEET_FIELDS[key], value, f"/{key}") for key, value in sheet.items()}
        if sheet.get("id") is not None:
            UUID(sheet["id"])
    except ValueError as error:
        raise BadFile([str(error)]) from error
    listed = sheet.pop("readings", None) or []
    readings: list[dict[str, Any]] = []
    problems: list[str] = []
    for index, one in enumerate(listed):
        try:
            readings.append(_from_object(one, units))
        except NotUnderstood as error:
            problems.append(f"/readings/{index}: {error}")
    return FileContent(_all_or_nothing(readings, problems), sheet)


def _from_object(one: Any, units: Units) -> dict[str, Any]:
    if isinstance(one, str):
        return read_reading(one, units)
    if not isinstance(one, dict):
        raise NotUnderstood("an object was expected, or a text such as 'relief 0.45'")
    unknown = [key for key in one if key not in READING_FIELDS]
    if unknown:
        known = ", ".join(sorted(READING_FIELDS))
        raise NotUnderstood(f"unknown field {', '.join(unknown)}; a reading has {known}")
    try:
        one = {name: read_as(READING_FIELDS[name], value, name) for name, value in one.items()}
    except ValueError as error:
        raise NotUnderstood(str(error)) from error
    reading = {name: value for name, value in one.items() if value is not None and name != "unit"}
    if one.get("unit") is not None and not isinstance(one.get("value"), dict):
        reading["value"] = f"{one.get('value')} {one['unit']}"
    return _checked(reading, units)


def _checked(reading: dict[str, Any], units: Units) -> dict[str, Any]:
    if "quantity" not in reading:
        raise NotUnderstood("quantity: which one? e.g. relief")
    quantity, rest = split_quantity(str(reading["quantity"]))
    if rest:
        raise NotUnderstood(f"quantity: {reading['quantity']!r} is more than a quantity")
    reading["quantity"] = quantity
    value = reading.get("value")
    if isinstance(value, int | float) and not isinstance(value, bool):
        value = repr(value)
    if isinstance(value, str):
        reading["value"] = read_measure(value, expected_of(quantity, units)).wire()
    elif isinstance(value, dict):
        reading["value"] = _checked_object(value)
    elif value is not None:
        raise NotUnderstood(f"value: a number with its unit was expected, not {value!r:.60}")
    elif not reading.get("zero_or_less"):
        raise NotUnderstood(f"value: the value of {quantity} is missing")
    take_touching(reading)
    check_place(reading)
    return reading


def _checked_object(value: dict[str, Any]) -> QuantityDict:
    try:
        return Quantity(**value).wire()
    except (TypeError, ValueError) as error:
        raise NotUnderstood(f'value: {{"value": 0.45, "unit": "mm"}} was expected ({error})') from error


def _all_or_nothing(readings: list[dict[str, Any]], problems: list[str]) -> list[dict[str, Any]]:
    if problems:
        raise BadFile(problems)
    return readings
