"""How slowly the parts of an instrument follow the air around them."""

from __future__ import annotations

from typing import Any

import numpy as np

from shimstock_calc import moisture, wood
from shimstock_calc.errors import Contradiction, Missing
from shimstock_calc.moisture import TimeConstant
from shimstock_server.web.fields import Choice, ListOf, Nested, StrictSchema, Truth, Whole

from .entry import Calculation, Given, OneOf, Way
from .fields import Question, Result, asked, calculated, told

FINISHES = tuple(dict.fromkeys(name for name, _ in moisture.finish_names()))
PARTS = tuple(moisture.part_names())
RESPONSE_SOURCE = (
    "Time constants: slab diffusion, J. Crank, The Mathematics of Diffusion, and the finishes of USDA Wood "
    "Handbook, FPL-GTR-190 (2010), Table 16-3; no published figure for an instrument was found"
)


def finish_field(about: str) -> Choice:
    """Return the field of a finish."""
    return Choice(FINISHES, metadata={"description": f"{about}; what it commonly wears else."})


def coats_field() -> Whole:
    """Return the field of how many coats a finish has."""
    return Whole(0, 20, metadata={"description": "Coats of it; the nearest number in the table is taken."})


class AirStepIn(StrictSchema):
    """A time of steady air."""

    lasting = asked("period", 0.01, 3650.0, "How long", required=True)
    relative_humidity = asked("relative-humidity", 0.0, 100.0, "Humidity of the air", required=True)
    temperature = asked("temperature", -50.0, 100.0, "Temperature of the air", required=True)


class MoistureResponseQuestion(Question):
    """A part of an instrument, its moisture, and the air that it lives in."""

    part = Choice(PARTS, metadata={"description": "Which part."})
    time_constant = asked(
        "period", 0.01, 3650.0, "Time in which it makes good 63 % of a change, instead of the part"
    )
    finish = finish_field("Finish of the part")
    coats = coats_field()
    in_case = Truth(load_default=False, metadata={"description": "Whether it lives in a closed case."})
    moisture = asked("moisture", 0.0, 40.0, "Moisture at the start")
    steps = ListOf(
        Nested(AirStepIn), min=1, max=500,
        metadata={"description": "The air around it, one time of steady air after the other."},
    )  # fmt: skip
    moisture_at_rest = asked("moisture", 0.0, 40.0, "Moisture that the air would settle it at")
    after = asked("period", 0.01, 3650.0, "Time after which its moisture is asked")
    wanted_moisture = asked("moisture", 0.0, 40.0, "Moisture that it shall reach")
    share = asked("share", 0.0, 99.99, "Share of a change that it shall have made good")
    swing = asked("period", 0.01, 3660.0, "Period of a regular swing of its air: a day, a year")


class TimeRangeOut(StrictSchema):
    """A time, with the range that it may take."""

    low = told("period", "Shortest")
    likely = told("period", "Likeliest")
    high = told("period", "Longest")


class MoistureRangeOut(StrictSchema):
    """Moisture at the end of a step, under each time constant."""

    quickest = told("moisture", "Under the shortest time constant")
    likely = told("moisture", "Under the likeliest")
    slowest = told("moisture", "Under the longest")


class SwingOut(StrictSchema):
    """What a part makes of a regular swing."""

    gain = told("share", "Share of the swing that it follows")
    delay = told("period", "How much later it turns")


class MoistureResponseResult(Result):
    """How slowly a part follows, and where it comes to."""

    calculated = calculated("moisture", "time", "swing")
    time_constant = Nested(TimeRangeOut)
    moistures = ListOf(Nested(MoistureRangeOut), metadata={"description": "At the end of each step."})
    time = Nested(
        TimeRangeOut, allow_none=True, metadata={"description": "How long until it has come that far."}
    )
    swings = ListOf(
        Nested(SwingOut), metadata={"description": "Under the shortest, likeliest, longest time constant."}
    )


def _tau(given: Given) -> TimeConstant:
    if "time_constant" in given:
        one = given["time_constant"]
        wrong = [name for name in ("finish", "coats") if name in given]
        if wrong or given["in_case"]:
            raise Contradiction("leave it out beside time_constant", wrong[0] if wrong else "in_case")
        return TimeConstant(one, one, one)
    if "coats" in given and "finish" not in given:
        raise Missing("finish is needed beside coats", "finish")
    return moisture.time_constant(given["part"], given.get("finish"), given.get("coats"), given["in_case"])


def _result(tau: TimeConstant, **found: Any) -> dict[str, Any]:
    note = [] if tau.low == tau.high else [
        "The time constant is derived, not measured on instruments: take its whole range."
    ]  # fmt: skip
    return {"time_constant": _range(tau), "moistures": [], "swings": [], "note": note, **found}


def _range(tau: TimeConstant) -> dict[str, float]:
    return {"low": tau.low, "likely": tau.mid, "high": tau.high}


def _through_air(given: Given) -> dict[str, Any]:
    steps = given["steps"]
    rest = [wood.wood_moisture(step["relative_humidity"], step["temperature"]) for step in steps]
    return _moistures(given, np.array(rest), np.array([step["lasting"] for step in steps]))


def _after(given: Given) -> dict[str, Any]:
    return _moistures(given, np.array([given["moisture_at_rest"]]), np.array([given["after"]]))


def _moistures(given: Given, rest: Any, lasting: Any) -> dict[str, Any]:
    tau = _tau(given)
    found = moisture.moisture_response(given["moisture"], rest, tau.as_array(), lasting)
    rows = [dict(zip(("quickest", "likely", "slowest"), map(float, row), strict=True)) for row in found.T]
    return _result(tau, moistures=rows)


def _time_for_share(given: Given) -> dict[str, Any]:
    return _time(given, given["share"] / 100.0)


def _time_for_moisture(given: Given) -> dict[str, Any]:
    start, rest, wanted = (given[name] for name in ("moisture", "moisture_at_rest", "wanted_moisture"))
    way, part = rest - start, wanted - start
    if part == 0.0:
        return _time(given, 0.0)
    # within a millionth of the rest it never gets there
    if part * way <= 0.0 or abs(part) >= abs(way) * (1.0 - 1e-6):
        raise Contradiction(
            f"wanted_moisture must lie between the moisture at the start, {start:g} %, and that at rest, "
            f"{rest:g} %: it goes from one toward the other and never quite arrives",
            "wanted_moisture",
        )
    return _time(given, part / way)


def _time(given: Given, share: float) -> dict[str, Any]:
    tau = _tau(given)
    low, mid, high = (float(moisture.days_to_follow(share, each)) for each in tau.as_array())
    return _result(tau, time={"low": low, "likely": mid, "high": high})


def _swing(given: Given) -> dict[str, Any]:
    tau = _tau(given)
    gains, delays = moisture.sine_response(tau.as_array(), given["swing"])
    swings = [
        {"gain": 100.0 * float(gain), "delay": float(delay)}
        for gain, delay in zip(gains, delays, strict=True)
    ]
    return _result(tau, swings=swings)


_PART = OneOf("part", "time_constant")

MOISTURE_RESPONSE = Calculation(
    name="moisture-response",
    title="How slowly a part of an instrument follows its air",
    about=(
        "A part with its finish, or a time constant, gives its moisture through one or many times of steady "
        "air; asked the other way round, how long until it has made good a share of a change or reached a "
        "moisture. A regular swing of the air gives how much of it the part follows, and how late."
    ),
    question=MoistureResponseQuestion,
    result=MoistureResponseResult,
    ways=(
        Way("moisture", (_PART, "moisture", "steps"), _through_air),
        Way("moisture", (_PART, "moisture", "moisture_at_rest", "after"), _after),
        Way("time", (_PART, "share"), _time_for_share),
        Way("time", (_PART, "moisture", "moisture_at_rest", "wanted_moisture"), _time_for_moisture),
        Way("swing", (_PART, "swing"), _swing),
    ),
    source=(
        "First-order response M(t + dt) = rest + (M - rest)·exp(-dt/tau): exact for steady air",
        RESPONSE_SOURCE,
    ),
    validity=(
        "Time constants from a third to three times the likeliest: carried as a range. Parts as thick as "
        "usual. Hysteresis is left out: wood whose air turns moves a little later and less than told."
    ),
    formulas=(moisture.time_constant, moisture.moisture_response, moisture.days_to_follow,
              moisture.sine_response),
    blame={"tau": "time_constant"},
)  # fmt: skip
