"""Typical years in EPW, the open weather format of building simulation: hours in, monthly normals out.

The format: Crawley, D. B., Hand, J. W. & Lawrie, L. K., *Improving the weather information available to
simulation programs*, Proc. Building Simulation 1999; EnergyPlus, *Auxiliary Programs*, "EnergyPlus weather
file (EPW) data dictionary".
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from shimstock_calc.air import saturation_pressure
from shimstock_calc.climate import MONTH_DAYS
from shimstock_server.web.fields import ValidationError, clean_text
from shimstock_server.web.problems import InvalidFields

from .text_tables import read_number

HOURS_OF_A_DAY = 18
"""Hours with air that let a day count; judgement."""
COLDEST, WARMEST = -60.0, 42.0
"""Of a month's mean of days; the hottest places stay below (judgement) [degC]."""
DAYS_OF_A_MONTH = 20
"""Days that let a month count; judgement."""
HEADER_LINES = 8
LONGEST_HEAD = 2000
"""Characters of the first line that are read."""
LEAP_DAY = (2, 29)
COLUMNS = 9
"""As far as the hour's relative humidity; a line has 35 columns and more."""
# Missing values and bounds of the data dictionary: field N6 dry bulb, N7 dew point, N8 relative humidity.
DRY_BULB = (99.9, -70.0, 70.0)
DEW_POINT = (99.9, -70.0, 70.0)
HUMIDITY = (999.0, 0.0, 110.0)
Hour = tuple[int, int, int, float, float, float]
"""Month, day, hour; dry bulb [degC], dew point [degC], humidity [% RH]."""


@dataclass(frozen=True)
class TypicalYear:
    """What a typical year says of its place.

    Attributes
    ----------
    name, place, source : str
        From its LOCATION line.
    temperature, vapour_pressure : list of float
        Monthly means, January to December [degC], [Pa].
    details : dict
        Position, hours and days used, what was left out.
    """

    name: str
    place: str
    source: str
    temperature: list[float]
    vapour_pressure: list[float]
    details: dict[str, Any]


def read_epw(text: str) -> TypicalYear:
    """Read an EPW file and take its monthly means.

    Raises
    ------
    InvalidFields
        When it is no EPW file, or a month has too few days.

    Notes
    -----
    The daily rule. The vapour pressure of each hour comes from its dew point, else from its relative humidity
    over water; a dew point above the temperature counts as saturated air. An hour without either, or outside
    nature, is left out and counted, as are the hours of 29 February. A day with at least 18 hours counts, by
    its mean; a month with at least 20 days counts, by the mean of its days. Fewer days: the file is refused
    and the months are named.
    """
    lines = text.splitlines()
    head = next(csv.reader(io.StringIO(lines[0][:LONGEST_HEAD])), []) if lines else []
    if len(head) < 10 or head[0].strip().upper() != "LOCATION":
        raise InvalidFields.at(
            "/lines/1", "an EPW file begins with LOCATION,city,state,country,source,station,latitude,…"
        )
    hours = np.full((12, 31, 24, 2), np.nan)
    left_out = _fill(hours, lines[HEADER_LINES:])
    days = _day_means(hours)
    counted = (~np.isnan(days[..., 0])).sum(axis=1)
    _refuse_other_units(days[..., 0])
    short = [month + 1 for month in range(12) if counted[month] < DAYS_OF_A_MONTH]
    if short:
        raise InvalidFields(
            f"A month needs {DAYS_OF_A_MONTH} days with {HOURS_OF_A_DAY} hours each; nothing was stored.",
            errors=[
                {"pointer": f"/months/{month}", "message": f"has {int(counted[month - 1])} days that count"}
                for month in short
            ],
        )
    means = np.nanmean(days, axis=1)
    city, country, maker, station = (_printed(head[n]) for n in (1, 3, 4, 5))
    return TypicalYear(
        name=" ".join(part for part in (city, station) if part) or "typical year",
        place=city,
        source=f"EPW typical year, {maker or 'source not named'}, station {station or 'not named'}",
        temperature=[float(value) for value in means[:, 0]],
        vapour_pressure=[float(value) for value in means[:, 1]],
        details={
            "country": country,
            "latitude": _within(head[6], 90.0),
            "longitude": _within(head[7], 180.0),
            "hours_used": int((~np.isnan(hours[..., 0])).sum()),
            "hours_left_out": left_out,
            "days_used": [int(count) for count in counted],
        },
    )


def _printed(text: str) -> str:
    try:
        return clean_text("".join(each for each in text if each.isprintable()), max=LONGEST_HEAD)
    except ValidationError as error:
        raise InvalidFields.at("/lines/1", str(error.messages[0])) from None


def _within(text: str, most: float) -> float | None:
    number = read_number(text)
    return None if number is None or abs(number) > most else number


def _refuse_other_units(days: np.ndarray[Any, np.dtype[np.float64]]) -> None:
    """Refuse months that no place has: hours in degF are the usual reason."""
    errors = {}
    for month, found in enumerate(days, 1):
        known = found[~np.isnan(found)]
        if known.size and not COLDEST <= (mean := float(known.mean())) <= WARMEST:
            errors[f"/months/{month}"] = (
                f"a mean lies from {COLDEST:g} to {WARMEST:g} degC; this one is {mean:.1f}: "
                "are the file's hours in degF?"
            )
    if errors:
        raise InvalidFields.of(errors)


def _fill(hours: np.ndarray[Any, np.dtype[np.float64]], lines: Sequence[str]) -> int:
    """Put each hour's temperature and vapour pressure into its place; return how many were left out."""
    found, leap_hours = _each_once(lines)
    if not found:
        raise InvalidFields.at(f"/lines/{HEADER_LINES + 1}", "no hours follow the eight lines of the header")
    values = np.array([each[3:] for each in found])
    dry, dew, humidity = values.T
    with np.errstate(invalid="ignore"):
        usable = ~np.isnan(dry) & ~(np.isnan(dew) & np.isnan(humidity))
    pressure = np.full(dry.shape, np.nan)
    by_dew = usable & ~np.isnan(dew)
    pressure[by_dew] = saturation_pressure(np.minimum(dew[by_dew], dry[by_dew]))
    by_humidity = usable & np.isnan(dew)
    pressure[by_humidity] = (
        saturation_pressure(dry[by_humidity]) * np.minimum(humidity[by_humidity], 100.0) / 100.0
    )
    for (month, day, at, *_), warm, vapour, good in zip(found, dry, pressure, usable, strict=True):
        if good:
            hours[month - 1, day - 1, at - 1] = warm, vapour
    return int((~usable).sum()) + leap_hours


def _each_once(lines: Sequence[str]) -> tuple[list[Hour], int]:
    """Return the hours of a year of 365 days, and how many stand on 29 February."""
    found: dict[tuple[int, int, int], tuple[int, Hour]] = {}
    leap_hours = 0
    for number, hour in _hours(lines):
        at = hour[:3]
        if hour[:2] == LEAP_DAY:
            leap_hours += 1
        elif at in found:
            month, day, clock = at
            raise InvalidFields.at(
                f"/lines/{number}",
                f"month {month}, day {day}, hour {clock} stands in line {found[at][0]} already: "
                "a typical year has each hour once",
            )
        else:
            found[at] = number, hour
    return [hour for _, hour in found.values()], leap_hours


def _hours(lines: Sequence[str]) -> Iterator[tuple[int, Hour]]:
    for number, line in enumerate(lines, HEADER_LINES + 1):
        if not line.strip():
            continue
        cells = line.split(",", COLUMNS)
        try:
            month, day, hour = (int(cell) for cell in cells[1:4])
        except ValueError:
            raise InvalidFields.at(
                f"/lines/{number}", "an hour was expected: year,month,day,hour,minute,…"
            ) from None
        if len(cells) < COLUMNS or not (1 <= month <= 12 and 1 <= hour <= 24 and 1 <= day <= 31):
            raise InvalidFields.at(
                f"/lines/{number}", "an hour has month 1 to 12, day 1 to 31, hour 1 to 24, and its values"
            )
        if day > MONTH_DAYS[month - 1] and (month, day) != LEAP_DAY:
            raise InvalidFields.at(f"/lines/{number}", f"month {month} has no day {day}")
        dry, dew, humidity = (
            _value(cell, *bounds)
            for cell, bounds in zip(cells[6:9], (DRY_BULB, DEW_POINT, HUMIDITY), strict=True)
        )
        yield number, (month, day, hour, dry, dew, humidity)


def _value(cell: str, missing: float, low: float, high: float) -> float:
    number = read_number(cell)
    return float("nan") if number is None or number == missing or not low <= number <= high else number


def _day_means(
    hours: np.ndarray[Any, np.dtype[np.float64]],
) -> np.ndarray[Any, np.dtype[np.float64]]:
    enough = (~np.isnan(hours[..., 0])).sum(axis=2) >= HOURS_OF_A_DAY
    days = np.full((12, 31, 2), np.nan)
    days[enough] = np.nanmean(hours[enough], axis=1)
    return days
