"""How a setup drifts with the seasons, and when to look at it again."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from shimstock_calc import air, climate, moisture, recheck, seasons, sensitivity
from shimstock_calc.air import RoomAir
from shimstock_calc.errors import CalculationError, Contradiction, Missing
from shimstock_calc.recheck import Quantity, Rechecks
from shimstock_calc.sensitivity import Contribution, Sensitivity
from shimstock_server.web.context import current
from shimstock_server.web.fields import Choice, ListOf, Nested, Number, StrictSchema, Text, Truth, Whole
from shimstock_server.web.units import KINDS, convert

from .air import AIR_SOURCE, ROOM_SOURCE, RoomFields, profile_of
from .beside import AnythingBeside, ListBeside
from .entry import AnyOf, Calculation, Given, Way
from .fields import AskedBeside, Result, asked, calculated, told, told_beside
from .moisture import RESPONSE_SOURCE, finish_field
from .remarks import sentences
from .wood import HANDBOOK

WATCHED = ("relief", "action", "saddle-height")
CAUSES = {recheck.NO_RECHECK: "none", recheck.BY_SPEC: "spec", recheck.BY_MOISTURE: "moisture"}
MOST_DAYS = 1100


class WeatherMonthIn(StrictSchema):
    """A month of normal weather outdoors."""

    temperature = asked("temperature", -60.0, 60.0, "Mean temperature", required=True)
    relative_humidity = asked("relative-humidity", 0.0, 100.0, "Mean humidity, over water")
    dew_point = asked("temperature", -60.0, 60.0, "Mean dew point, instead of the humidity")


class RoomLogIn(StrictSchema):
    """A reading of the room's own hygrometer."""

    day_of_year = Whole(1, 366, required=True, metadata={"description": "1 = 1 January, of any year."})
    temperature = asked("temperature", -10.0, 60.0, "Temperature of the room", required=True)
    relative_humidity = asked("relative-humidity", 0.0, 100.0, "Humidity of the room", required=True)


class WatchedIn(StrictSchema):
    """A final reading to watch, and its spec."""

    quantity = Choice(WATCHED, required=True, metadata={"description": "What was read."})
    side = Choice(("bass", "treble"), metadata={"description": "On which side, for its name."})
    value = AskedBeside(WATCHED, -5.0, 30.0, "Final reading", required=True)
    uncertainty = AskedBeside(WATCHED, 1e-3, 5.0, "Its standard uncertainty", required=True)
    lower = AskedBeside(WATCHED, -5.0, 30.0, "Lower limit of the spec")
    upper = AskedBeside(WATCHED, -5.0, 30.0, "Upper limit of the spec")


class SeasonalDriftQuestion(RoomFields):
    """The air that an instrument lives in, its last final readings, and how it answers moisture."""

    months = ListOf(
        Nested(WeatherMonthIn), min=12, max=12,
        metadata={"description": "Normals of the place outdoors, January to December."},
    )  # fmt: skip
    log = ListOf(
        Nested(RoomLogIn), min=1, max=500,
        metadata={
            "description": "The room's own air. A month with fewer than 10 logged days follows `months`."
        },
    )  # fmt: skip
    day_of_year = Whole(1, 366, metadata={"description": "Of the last final readings; 1 = 1 January."})
    quantities = ListOf(
        Nested(WatchedIn), min=1, max=12, metadata={"description": "The last final readings."}
    )
    neck_finish = finish_field("Finish of the neck")
    acoustic = Truth(load_default=False, metadata={"description": "Whether a wooden top carries the saddle."})
    top_finish = finish_field("Finish of that top")
    in_case = Truth(load_default=False, metadata={"description": "Whether it lives in a closed case."})
    moisture = asked("moisture", 0.0, 30.0, "Of the wood at the last final readings, where it is known")
    coupling = Number(
        0, 5, metadata={"description": "Change of action by a change of relief: `action-forecast` tells it."}
    )
    relief_by_moisture = asked("relief", -1.0, 1.0, "Relief for 1 % more moisture of the neck, where learned")
    relief_by_moisture_sd = asked("relief", 0.0, 1.0, "Standard deviation of that")
    saddle_by_moisture = asked("saddle-height", -1.0, 1.0, "Saddle height for 1 % more moisture of the top")
    saddle_by_moisture_sd = asked("saddle-height", 0.0, 1.0, "Standard deviation of that")
    threshold = asked(
        "share", 0.1, 100.0, "Probability of being out of spec that asks for a recheck; 25 % else"
    )
    moisture_limit = asked("moisture", 0.1, 30.0, "Change of moisture that asks for one; 2 % else")
    earliest = Whole(0, 365, load_default=recheck.EARLIEST, metadata={"description": "No day before it."})
    days = Whole(1, MOST_DAYS, load_default=seasons.HORIZON, metadata={"description": "How many days ahead."})
    every = Whole(
        1, MOST_DAYS, load_default=14, metadata={"description": "Days between points of the curve."}
    )
    quantity = Choice(WATCHED, metadata={"description": "What `values` are, to learn how it answers."})
    moistures = ListOf(
        asked("moisture", 0.0, 40.0, "Moisture of the part at a reading", required=True), min=2, max=500,
        metadata={"description": "Moisture of the part at each of the values."},
    )  # fmt: skip
    values = ListBeside(
        AnythingBeside("A reading"), min=2, max=500,
        metadata={"description": "Readings with no adjustment between them."},
    )  # fmt: skip
    uncertainty = AnythingBeside("Standard uncertainty of each of the values", low=1e-3)


class DriftPointOut(StrictSchema):
    """The forecast of a day."""

    day = Whole(metadata={"description": "Days after the last final reading."})
    expected = told_beside("What is expected")
    sd = told_beside("Its standard deviation")
    probability_out = told("share", "Of being outside the spec on that day")
    moisture_change = told("moisture", "Of the part that has moved most, since the last final reading")


class DriftOut(StrictSchema):
    """A quantity through the seasons."""

    quantity = Choice(WATCHED)
    side = Choice(("bass", "treble"), allow_none=True)
    recheck_after = told("period", "When to look again; null within the horizon", maybe=True)
    recheck_day_of_year = Whole(allow_none=True)
    cause = Choice(tuple(CAUSES.values()))
    reason = Text(max=500)
    probability_out = told("share", "Of being outside the spec on that day, or at its worst")
    expected = told_beside("What is expected then")
    sd = told_beside("Its standard deviation")
    curve = ListOf(Nested(DriftPointOut))


class RoomMonthOut(StrictSchema):
    """A month of the room's air."""

    temperature = told("temperature", "Mean temperature")
    relative_humidity = told("relative-humidity", "Mean humidity")
    moisture = told("moisture", "Mean of what its air would settle wood at")


class SeasonalDriftResult(Result):
    """The forecast, or how strongly a quantity answers moisture."""

    calculated = calculated("recheck", "sensitivity")
    recheck_after = told("period", "When to look at the instrument again", maybe=True)
    recheck_day_of_year = Whole(allow_none=True)
    reason = Text(max=500, allow_none=True)
    quantities = ListOf(Nested(DriftOut))
    room = ListOf(Nested(RoomMonthOut), metadata={"description": "January to December."})
    quantity = Choice(WATCHED, allow_none=True)
    sensitivity = told_beside("Change for 1 % more moisture", maybe=True)
    sensitivity_sd = told_beside("Standard deviation of that", maybe=True)


def _room(given: Given) -> RoomAir:
    normal = _normal_year(given["months"], given) if "months" in given else None
    if "log" not in given:
        assert normal is not None  # one of the two is needed
        return normal
    days = np.array([each["day_of_year"] for each in given["log"]])
    if normal is None:
        _refuse_gaps(days)
        one = np.ones(climate.YEAR_DAYS)
        normal = RoomAir(20.0 * one, 50.0 * one, 9.0 * one)  # every month is logged: nothing of it is used
    temperature = [each["temperature"] for each in given["log"]]
    humidity = [each["relative_humidity"] for each in given["log"]]
    return climate.room_year_from_log(days, temperature, humidity, normal)


def _normal_year(months: list[Given], given: Given) -> RoomAir:
    pressures = []
    for place, month in enumerate(months):
        try:
            pressures.append(
                air.vapour_pressure(
                    month["temperature"], month.get("relative_humidity"), month.get("dew_point")
                )
            )
        except CalculationError as error:
            raise type(error)(error.message, f"months.{place}.{error.field}") from None
    temperatures = [month["temperature"] for month in months]
    return climate.room_year(temperatures, np.maximum(pressures, climate.DRIEST), profile_of(given))


def _refuse_gaps(days: Any) -> None:
    months = climate.month_of_day(np.unique(days))
    thin = np.flatnonzero(np.bincount(months, minlength=12) < climate.ENOUGH_DAYS)
    if thin.size:
        raise Missing(
            f"the log holds fewer than {climate.ENOUGH_DAYS} days of month "
            f"{', '.join(str(month + 1) for month in thin)}: give months for those",
            "log",
        )


def _own(given: Given, name: str, prior: Sensitivity) -> Sensitivity:
    """Return how a part is said to answer moisture, else the prior."""
    if f"{name}_sd" in given and name not in given:
        raise Missing(f"{name} is needed beside its standard deviation", name)
    if name not in given:
        return prior
    return Sensitivity(given[name], given.get(f"{name}_sd", 0.5 * abs(given[name])))


def _contributions(given: Given, place: int, quantity: str) -> tuple[Contribution, ...]:
    neck = moisture.time_constant("neck", given.get("neck_finish"), in_case=given["in_case"])
    top = None
    if given["acoustic"]:
        top = moisture.time_constant("acoustic top", given.get("top_finish"), in_case=given["in_case"])
    relief = _own(given, "relief_by_moisture", sensitivity.RELIEF_PRIOR)
    saddle = _own(given, "saddle_by_moisture", sensitivity.SADDLE_PRIOR)
    if quantity == "relief":
        return sensitivity.relief_contributions(neck, relief)
    if quantity == "saddle-height":
        if top is None:
            raise Contradiction(
                "only a saddle on a wooden top moves with its moisture: say acoustic, or leave it out",
                f"quantities.{place}.quantity",
            )
        return sensitivity.saddle_contributions(top, saddle)
    if "coupling" not in given:
        raise Missing("coupling is needed to watch the action: action-forecast tells it", "coupling")
    return sensitivity.action_contributions(
        neck, given["coupling"], top, relief_sensitivity=relief, saddle_sensitivity=saddle
    )


def _watched(given: Given) -> list[Quantity]:
    found = []
    for place, each in enumerate(given["quantities"]):
        if each.get("lower", -np.inf) > each.get("upper", np.inf):
            raise Contradiction("lower must not lie above upper", f"quantities.{place}.lower")
        name = each["quantity"].replace("-", " ")
        found.append(
            Quantity(
                f"{name} {each['side']} side" if "side" in each else name,
                each["value"],
                each["uncertainty"],
                each.get("lower"),
                each.get("upper"),
                _contributions(given, place, each["quantity"]),
            )
        )
    return found


def _recheck(given: Given) -> dict[str, Any]:
    quantities = _watched(given)
    room = _room(given)
    rest = climate.equilibrium_year(room)
    watched = recheck.watch(quantities, given["day_of_year"], given.get("moisture"))
    rechecks = recheck.recheck_days(
        rest, watched, given.get("threshold", 100.0 * recheck.THRESHOLD) / 100.0, days=given["days"],
        earliest=min(given["earliest"], given["days"]),
        moisture_limit=given.get("moisture_limit", recheck.MOISTURE_LIMIT),
    )  # fmt: skip
    drift = seasons.seasonal_drift(rest, watched, given["days"])
    told_ = [
        _drift(given, place, quantity, rechecks) | {"curve": _curve(given, place, drift)}
        for place, quantity in enumerate(quantities)
    ]
    first = told_[recheck.earliest_rows(rechecks, [0] * len(quantities))[0]]
    return {
        **{name: first[name] for name in ("recheck_after", "recheck_day_of_year", "reason")},
        "quantities": told_,
        "room": _months(room, rest),
        "note": _notes(given),
    }


def _drift(given: Given, place: int, quantity: Quantity, rechecks: Rechecks) -> dict[str, Any]:
    each = given["quantities"][place]
    day = int(rechecks.day[place])
    return {
        "quantity": each["quantity"],
        "side": each.get("side"),
        "recheck_after": float(day) if day >= 0 else None,
        "recheck_day_of_year": _day_of_year(given["day_of_year"], day) if day >= 0 else None,
        "cause": CAUSES[int(rechecks.cause[place])],
        "reason": _reason(each["quantity"], quantity, rechecks, place),
        "probability_out": 100.0 * float(rechecks.probability_out[place]),
        "expected": float(rechecks.expected[place]),
        "sd": float(rechecks.sd[place]),
    }


def _day_of_year(start: int, after: int) -> int:
    return (min(start, climate.YEAR_DAYS) - 1 + after) % climate.YEAR_DAYS + 1


def _reason(kind: str, quantity: Quantity, rechecks: Rechecks, row: int) -> str:
    """Return why a recheck is due, in the reader's units."""
    kept, unit = KINDS[kind].unit, KINDS[kind].out(current.units)

    def out(value: Any) -> Any:
        return None if value is None else convert(value, kept, unit)

    reader = replace(quantity, lower=out(quantity.lower), upper=out(quantity.upper), unit=str(unit))
    numbers = replace(rechecks, expected=out(rechecks.expected), sd=out(rechecks.sd))
    return sentences([recheck.recheck_reason(reader, numbers, row)])[0]


def _curve(given: Given, place: int, drift: seasons.Drift) -> list[dict[str, Any]]:
    moved = drift.moisture_change[place]
    return [
        {
            "day": day,
            "expected": float(drift.expected[place, day]),
            "sd": float(drift.sd[place, day]),
            "probability_out": 100.0 * float(drift.probability_out[place, day]),
            "moisture_change": float(moved[np.abs(moved[:, day]).argmax(), day]),
            "quantity": given["quantities"][place]["quantity"],
        }
        for day in range(0, given["days"] + 1, given["every"])
    ]


def _months(room: RoomAir, rest: Any) -> list[dict[str, float]]:
    means = [climate.monthly_means(values) for values in (room.temperature, room.relative_humidity, rest)]
    names = ("temperature", "relative_humidity", "moisture")
    return [dict(zip(names, map(float, row), strict=True)) for row in np.stack(means, axis=1)]


def _notes(given: Given) -> list[str]:
    note = []
    if "relief_by_moisture" not in given:
        note.append(
            "How this neck answers moisture is not known, not even which way: the forecast of relief is a "
            "band that widens as the wood moves."
        )
    return note


def _sensitivity(given: Given) -> dict[str, Any]:
    slope, variance = sensitivity.sensitivity_slope(given["moistures"], given["values"], given["uncertainty"])
    return {
        "quantities": [],
        "room": [],
        "quantity": given["quantity"],
        "sensitivity": slope,
        "sensitivity_sd": variance**0.5,
        "note": ["One instrument's own: draw it toward those of its model before you trust it."],
    }


SEASONAL_DRIFT = Calculation(
    name="seasonal-drift",
    title="How a setup drifts with the seasons, and when to look again",
    about=(
        "Twelve months of weather, or the room's own log, give the air through a year, the moisture of the "
        "wood that follows it, and how far each final reading is carried, with its band; the first day on "
        "which a recheck is worth it, and why. Readings at known moistures give how strongly a quantity "
        "answers."
    ),
    question=SeasonalDriftQuestion,
    result=SeasonalDriftResult,
    ways=(
        Way("recheck", (AnyOf("months", "log"), "day_of_year", "quantities"), _recheck,
            blame={"uncertainty": "quantities", "value": "quantities", "lower": "quantities"}),
        Way("sensitivity", ("quantity", "moistures", "values", "uncertainty"), _sensitivity,
            blame={"moisture": "moistures", "value": "values"}),
    ),
    source=(
        AIR_SOURCE,
        *ROOM_SOURCE,
        f"{HANDBOOK}, Eq. (4-5)",
        RESPONSE_SOURCE,
        "Probability on each day: JCGM 106:2012",
        "Hysteresis: wood that took moisture up settles at about 0.85 of what wood settles at that gave it "
        "off, Wood Handbook, ch. 4 (from memory); how much of it a season shows: judgement",
        "Relief 0 ± 0.03 mm and saddle height 0.1 ± 0.1 mm per % of moisture, 25 %, 2 % of moisture and 14 "
        "days: judgement",
    ),
    validity=(
        "A normal year and a room kept as said; a real year strays by about 0.3 % of moisture (judgement). "
        "An instrument that is left as it was at its final readings."
    ),
    formulas=(seasons.seasonal_drift, moisture.with_hysteresis, recheck.recheck_days, climate.room_year,
              air.room_temperature, climate.room_year_from_log,
              sensitivity.action_contributions, sensitivity.sensitivity_slope),
    blame={
        "outdoor_pressure": "months", "outdoor_temperature": "months", "temperature": "months",
        "relative_humidity": "months", "monthly": "months", "sensitivity": "relief_by_moisture",
        "sensitivity_sd": "relief_by_moisture_sd", "start_moisture": "moisture",
        "moisture_excess": "moisture_excess", "equilibrium": "months",
    },
)  # fmt: skip
