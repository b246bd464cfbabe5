"""A bench's hygrometer over saturated salts, and what is behind its readings."""

from __future__ import annotations

from typing import Any

from shimstock_calc import hygrometer
from shimstock_calc.hygrometer import HygrometerCheck
from shimstock_server.web.fields import Choice, Number, Text

from .entry import Calculation, Given, Way
from .fields import Question, Result, asked, calculated, told
from .remarks import sentences

SALTS = tuple(hygrometer.salts())
_CARE = (
    "Keep the salts off skin, metal and wood; a sealed box and several hours at each salt, at a steady "
    "temperature."
)


def _humidity(about: str) -> Any:
    return asked("relative-humidity", 0.0, 100.0, about)


class HygrometerCheckQuestion(Question):
    """Readings over one or two salts, and a reading to correct."""

    temperature = asked("temperature", 0.0, 80.0, "Temperature of salts and air", required=True)
    low_salt = Choice(
        SALTS, load_default="MgCl2", metadata={"description": "The drier salt, by its formula."}
    )
    high_salt = Choice(
        SALTS, load_default="NaCl", metadata={"description": "The damper salt, by its formula."}
    )
    low_reading = _humidity("Shown over the drier salt, at rest")
    high_reading = _humidity("Shown over the damper salt, at rest")
    shown = _humidity("A reading of this hygrometer to correct")
    relative_humidity = _humidity("True humidity, to find what this hygrometer shows in it")
    salt = Choice(SALTS, metadata={"description": "A single salt, by its formula."})
    reading = _humidity("Shown over the single salt, at rest")


class HygrometerCheckResult(Result):
    """What a hygrometer shows, and what is."""

    calculated = calculated("correction", "shown", "error", "relative_humidity")
    gain = Number(allow_none=True, metadata={"description": "corrected = gain · shown + offset."})
    offset = told("relative-humidity", "corrected = gain · shown + offset", maybe=True)
    low = told("relative-humidity", "True humidity over the drier, or the single, salt")
    high = told("relative-humidity", "True humidity over the damper salt", maybe=True)
    low_error = told("relative-humidity", "Shown less true there; positive = shows too damp", maybe=True)
    high_error = told("relative-humidity", "Shown less true there; positive = shows too damp", maybe=True)
    uncertainty = told("relative-humidity", "Standard uncertainty of a corrected reading", maybe=True)
    shown = told("relative-humidity", "What the hygrometer shows", maybe=True)
    relative_humidity = told("relative-humidity", "What is behind it", maybe=True)
    meaning = Text(max=300, allow_none=True, metadata={"description": "What it means for the bench."})


def _check(given: Given) -> HygrometerCheck:
    return hygrometer.hygrometer_check(
        given["low_reading"], given["high_reading"], given["temperature"], given["low_salt"],
        given["high_salt"],
    )  # fmt: skip


def _correction(given: Given) -> dict[str, Any]:
    check = _check(given)
    shown = given.get("shown")
    if shown is None:
        return _result(check)
    return _result(check, shown=shown, relative_humidity=float(check.corrected(shown)))


def _shown(given: Given) -> dict[str, Any]:
    check, true = _check(given), given["relative_humidity"]
    return _result(check, shown=float(check.shown(true)), relative_humidity=true)


def _result(check: HygrometerCheck, **found: float) -> dict[str, Any]:
    note = [_CARE]
    if "shown" in found and check.extrapolates(min(max(found["shown"], 0.0), 100.0)):
        note.append("That reading lies beyond the two salts, where nothing was checked.")
    if not 0.0 <= found.get("shown", 0.0) <= 100.0:
        note.append("A hygrometer cannot show that: it stands at the end of its scale in this air.")
    return {
        "gain": check.gain,
        "offset": check.offset,
        "low": check.low,
        "high": check.high,
        "low_error": check.low_error,
        "high_error": check.high_error,
        "uncertainty": check.uncertainty,
        "meaning": sentences([check.text])[0],
        "note": note,
        **found,
    }


def _error(given: Given) -> dict[str, Any]:
    found = hygrometer.one_point_error(given["reading"], given["salt"], given["temperature"])
    note = [_CARE, "One salt tells the error there; a second one tells whether it grows along the scale."]
    return {"low": given["reading"] - found, "low_error": found, "shown": given["reading"], "note": note}


def _salt(given: Given) -> dict[str, Any]:
    true = float(hygrometer.salt_humidity(given["salt"], given["temperature"]))
    return {"low": true, "relative_humidity": true, "note": [_CARE]}


_READINGS = ("low_reading", "high_reading")

HYGROMETER_CHECK = Calculation(
    name="hygrometer-check",
    title="Correction of a hygrometer over saturated salts",
    about=(
        "Readings over two salts give the line from what a hygrometer shows to what is, and correct a "
        "reading; asked the other way round, what it shows in air of a humidity. One salt gives its error "
        "there; a salt alone gives the humidity over it."
    ),
    question=HygrometerCheckQuestion,
    result=HygrometerCheckResult,
    ways=(
        Way("correction", _READINGS, _correction, may=("shown",)),
        Way("shown", (*_READINGS, "relative_humidity"), _shown),
        Way("error", ("salt", "reading"), _error),
        Way("relative_humidity", ("salt",), _salt),
    ),
    source=(
        "L. Greenspan, Humidity fixed points of binary saturated aqueous solutions, J. Res. NBS 81A(1), 89 "
        "(1977)",
        "Uncertainty 4 % unchecked, 1.5 % checked: judgement",
    ),
    validity="The temperatures that each salt is published for; readings between the two salts.",
    formulas=(hygrometer.salt_humidity, hygrometer.hygrometer_check, hygrometer.one_point_error),
)
