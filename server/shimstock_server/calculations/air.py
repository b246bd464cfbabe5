"""From the weather outdoors to the air of a room."""

from __future__ import annotations

from typing import Any

from shimstock_calc import air, room, wood
from shimstock_calc.air import RoomProfile
from shimstock_server.web.fields import Choice, Truth

from .entry import Calculation, Given, OneOf, Way
from .fields import Question, Result, asked, calculated, told
from .remarks import sentences

PROFILES = {"shop": air.SHOP, "home": air.HOME}
AIR_SOURCE = "O. A. Alduchov & R. E. Eskridge, J. Appl. Meteor. 35, 601 (1996), Eq. (21), over water"
ROOM_SOURCE = (
    "Temperature of the room: EN 15026:2007, Annex C (read in open implementations of the standard); "
    f"± {air.WARM_ROOM_SD:g} °C while it is not heated (judgement)",
    "Vapour added indoors tapers from 0 to 20 °C outdoors: EN ISO 13788, humidity classes (from memory)",
    "Vapour added indoors: two occupied houses had means of 2.9 to 3.3 g/m³ in cold weather (data set "
    "trh-1, A. Laukkarinen, CC-BY 4.0); 2 g/m³ in a shop: judgement",
)


class RoomFields(Question):
    """How a room is kept."""

    room = Choice(
        tuple(PROFILES), load_default="shop",
        metadata={"description": "Kind of room: a shop adds 2 g/m³ of vapour in cold weather, a home 3."},
    )  # fmt: skip
    moisture_excess = asked(
        "vapour-density", 0.0, 20.0, "Vapour added indoors in cold weather, instead of the room's own"
    )
    heating_set_point = asked("temperature", 0.0, 35.0, "Below it the room is heated; 20 °C else")
    cools = Truth(load_default=False, metadata={"description": "Whether the room is cooled in summer."})
    cooling_set_point = asked("temperature", 10.0, 40.0, "Highest temperature of a cooled room; 24 °C else")
    cooling_dew_point = asked("temperature", -10.0, 30.0, "Highest dew point of a cooled room; 13 °C else")
    humidifier = asked("relative-humidity", 5.0, 95.0, "Lowest humidity, where a humidifier keeps it")
    dehumidifier = asked("relative-humidity", 5.0, 95.0, "Highest humidity, where a dehumidifier keeps it")


def profile_of(given: Given) -> RoomProfile:
    """Return how the room of a question is kept."""
    usual = PROFILES[given["room"]]
    return RoomProfile(
        moisture_excess=given.get("moisture_excess", usual.moisture_excess),
        heating_set_point=given.get("heating_set_point", usual.heating_set_point),
        cools=given["cools"],
        cooling_set_point=given.get("cooling_set_point", usual.cooling_set_point),
        cooling_dew_point=given.get("cooling_dew_point", usual.cooling_dew_point),
        humidifier=given.get("humidifier"),
        dehumidifier=given.get("dehumidifier"),
    )


class IndoorHumidityQuestion(RoomFields):
    """The weather and how the room is kept; or the room's air and what is wanted."""

    outdoor_temperature = asked(
        "temperature", air.COLDEST, air.WARMEST, "Temperature outdoors, mean of the day"
    )
    outdoor_relative_humidity = asked("relative-humidity", 0.0, 100.0, "Humidity outdoors, over water")
    outdoor_dew_point = asked(
        "temperature", air.COLDEST, air.WARMEST, "Dew point outdoors, instead of the humidity"
    )
    temperature = asked("temperature", -10.0, air.WARMEST, "Temperature of the room, where it is known")
    relative_humidity = asked("relative-humidity", 0.0, 100.0, "Humidity of the room as read")
    wanted_relative_humidity = asked("relative-humidity", 1.0, 95.0, "Humidity that the room shall have")


class IndoorHumidityResult(Result):
    """Air of a room."""

    calculated = calculated("relative_humidity", "vapour_to_add", "moisture_excess")
    temperature = told("temperature", "Temperature of the room")
    relative_humidity = told("relative-humidity", "Humidity of the room")
    dew_point = told("temperature", "Dew point of the room; null where its air is bone-dry", maybe=True)
    moisture = told("moisture", "What wood settles at in this air")
    wanted_relative_humidity = told("relative-humidity", "Humidity that the room shall have", maybe=True)
    vapour_to_add = told(
        "vapour-density",
        "Vapour to add to the air that is there, and again at every change of air; negative = to take out",
        maybe=True,
    )
    moisture_excess = told("vapour-density", "Vapour of the room beyond that outdoors", maybe=True)


def _weather(given: Given) -> tuple[float, float | None, float | None]:
    return (
        given["outdoor_temperature"],
        given.get("outdoor_relative_humidity"),
        given.get("outdoor_dew_point"),
    )


def _indoors(given: Given) -> dict[str, Any]:
    found = air.indoor_humidity(*_weather(given), profile_of(given), given.get("temperature"))
    told_ = _room(float(found.temperature), float(found.relative_humidity))
    if "temperature" not in given and given["outdoor_temperature"] > air.WARMING[0]:
        told_["note"] = [*told_["note"], _WARM]
    return told_


_WARM = (
    f"The room's temperature is an estimate, ± {air.WARM_ROOM_SD:g} °C in this weather, and 1 °C is about "
    "3 % of relative humidity: give the temperature where it is known."
)


def _room(temperature: float, humidity: float) -> dict[str, Any]:
    pressure = humidity / 100.0 * float(air.saturation_pressure(temperature))
    warnings = [warning.text for warning in room.room_warnings([0.0], [humidity])]
    if humidity >= 100.0:
        warnings.append("vapour would condense in this room: its air is answered as 100 %")
    return {
        "temperature": temperature,
        "relative_humidity": humidity,
        "dew_point": float(air.dew_point(pressure)) if pressure > 1.0 else None,
        "moisture": float(wood.wood_moisture(humidity, temperature)),
        "note": sentences(warnings),
    }


def _vapour_to_add(given: Given) -> dict[str, Any]:
    if "outdoor_temperature" in given:
        found = _indoors(given)
    else:
        found = _room(given["temperature"], given["relative_humidity"])
    wanted = given["wanted_relative_humidity"]
    lacking = air.vapour_to_add(found["temperature"], found["relative_humidity"], wanted)
    return {**found, "wanted_relative_humidity": wanted, "vapour_to_add": float(lacking)}


def _excess(given: Given) -> dict[str, Any]:
    found = _room(given["temperature"], given["relative_humidity"])
    outdoors, inside = air.vapour_pressure(*_weather(given)), found["temperature"]
    # the share of saturation may exceed 100: a cold room below its outdoor dew point
    share = 100.0 * float(outdoors / air.saturation_pressure(inside))
    excess = air.vapour_density(inside, found["relative_humidity"] - share)
    return {**found, "moisture_excess": float(excess)}


_OUTDOORS = ("outdoor_temperature", OneOf("outdoor_relative_humidity", "outdoor_dew_point"))

INDOOR_HUMIDITY = Calculation(
    name="indoor-humidity",
    title="Humidity of a room from the weather outdoors",
    about=(
        "The weather and how the room is kept give its air. A wanted humidity gives how much vapour is to be "
        "added, from the weather or from the room's own reading. The weather with the room's reading gives "
        "the vapour that people and plants add."
    ),
    question=IndoorHumidityQuestion,
    result=IndoorHumidityResult,
    ways=(
        Way("relative_humidity", _OUTDOORS, _indoors, may=("temperature",)),
        Way("vapour_to_add", ("temperature", "relative_humidity", "wanted_relative_humidity"),
            _vapour_to_add, blame={"relative_humidity": "relative_humidity"}),
        Way("vapour_to_add", (*_OUTDOORS, "wanted_relative_humidity"), _vapour_to_add,
            may=("temperature",)),
        Way("moisture_excess", (*_OUTDOORS, "temperature", "relative_humidity"), _excess,
            blame={"relative_humidity": "outdoor_relative_humidity"}),
    ),
    source=(
        AIR_SOURCE,
        "Vapour of an ideal gas, R = 461.5 J/(kg K)",
        *ROOM_SOURCE,
        "Set points: common practice, no published source; 35 to 60 % for a verdict: judgement",
    ),
    validity=(
        "-40 to 50 °C, where the vapour pressure holds within 0.4 %. Humidity outdoors over water, also "
        "below freezing, as weather stations report it. Means of days: a room with its windows shut for "
        "hours."
    ),
    formulas=(air.indoor_humidity, air.indoor_air, air.room_temperature, air.vapour_pressure,
              air.vapour_to_add, air.vapour_density),
    blame={
        "relative_humidity": "outdoor_relative_humidity", "dew_point": "outdoor_dew_point",
        "wanted": "wanted_relative_humidity", "indoor_temperature": "temperature",
    },
)  # fmt: skip
