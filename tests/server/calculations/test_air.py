"""Indoor humidity over HTTP."""

from __future__ import annotations

from typing import Any

import psychrolib
import pytest

from tests.reference import load
from tests.server.calculations.conftest import Ask, quantity

NO_SOURCE: dict[str, Any] = {"moisture_excess": quantity(0, "g/m3")}


def celsius(value: float) -> dict[str, Any]:
    return quantity(value, "degC")


def percent(value: float) -> dict[str, Any]:
    return quantity(value, "percent")


# pins indoor-humidity: O. A. Alduchov & R. E. Eskridge, J. Appl. Meteor. 35, 601 (1996) over water: every row
#     of tests/reference/indoor_humidity.csv without a source of vapour
@pytest.mark.parametrize(
    "row", [row for row in load.table("indoor_humidity") if float(row["excess_Pa"]) == 0],
    ids=lambda row: f"{row['outdoor_degC']} degC {row['outdoor_rh']} %",
)  # fmt: skip
def test_outdoor_air_warmed_to_the_room(ask: Ask, row: dict[str, str]) -> None:
    found = ask(
        "indoor-humidity", outdoor_temperature=celsius(float(row["outdoor_degC"])),
        outdoor_relative_humidity=percent(float(row["outdoor_rh"])),
        temperature=celsius(float(row["indoor_degC"])), **NO_SOURCE,
    )  # fmt: skip
    assert found["relative_humidity"]["value"] == pytest.approx(float(row["indoor_rh_over_water"]), abs=1e-3)


# pins indoor-humidity: psychrolib, an independent library, above freezing
@pytest.mark.parametrize(("outdoors", "humidity"), [(2.0, 90.0), (10.0, 75.0), (18.0, 60.0)])
def test_psychrolib_agrees(ask: Ask, outdoors: float, humidity: float) -> None:
    psychrolib.SetUnitSystem(psychrolib.SI)
    pressure = psychrolib.GetVapPresFromRelHum(outdoors, humidity / 100)
    found = ask(
        "indoor-humidity", outdoor_temperature=celsius(outdoors),
        outdoor_relative_humidity=percent(humidity), temperature=celsius(21), **NO_SOURCE,
    )  # fmt: skip
    expected = 100 * psychrolib.GetRelHumFromVapPres(21, pressure)
    assert found["relative_humidity"]["value"] == pytest.approx(expected, rel=5e-3)
    dew = psychrolib.GetTDewPointFromVapPres(21, pressure)
    assert found["dew_point"]["value"] == pytest.approx(dew, abs=0.05)


def test_a_dew_point_instead_of_the_humidity(ask: Ask) -> None:
    room = {"outdoor_temperature": celsius(5), "temperature": celsius(21)}
    humid = ask("indoor-humidity", **room, outdoor_relative_humidity=percent(70), **NO_SOURCE)
    dew = ask("indoor-humidity", **room, outdoor_dew_point=humid["dew_point"], **NO_SOURCE)
    assert dew["relative_humidity"]["value"] == pytest.approx(humid["relative_humidity"]["value"], abs=1e-3)


# pins indoor-humidity: two occupied houses, data set trh-1 (A. Laukkarinen, CC-BY 4.0): the measured excess
#     leads back to itself
@pytest.mark.parametrize("row", load.table("measured_houses"), ids=lambda row: row["house"] + row["file"])
def test_the_vapour_that_people_add(ask: Ask, row: dict[str, str]) -> None:
    weather = {"outdoor_temperature": celsius(-5), "outdoor_relative_humidity": percent(85)}
    excess = quantity(float(row["excess_g_m3_cold_mean"]), "g/m3")
    room = ask(
        "indoor-humidity", **weather, temperature=celsius(float(row["indoor_degC_cold"])),
        moisture_excess=excess,
    )  # fmt: skip
    back = ask(
        "indoor-humidity", **weather, temperature=room["temperature"],
        relative_humidity=room["relative_humidity"],
    )  # fmt: skip
    assert back["calculated"] == "moisture_excess"
    assert back["moisture_excess"]["value"] == pytest.approx(excess["value"], abs=1e-4)


# pins indoor-humidity: temperature of a room by the weather, EN 15026:2007, Annex C, and the taper of its
#     moisture excess, EN ISO 13788 (from memory): every row of tests/reference/room_model.csv
@pytest.mark.parametrize("row", load.table("room_model"), ids=lambda row: row["outdoor_degC"])
def test_a_room_by_the_weather(ask: Ask, row: dict[str, str]) -> None:
    weather = {"outdoor_temperature": celsius(float(row["outdoor_degC"])),
               "outdoor_relative_humidity": percent(60)}  # fmt: skip
    dry, home = ask("indoor-humidity", **weather, **NO_SOURCE), ask("indoor-humidity", **weather, room="home")
    assert home["temperature"]["value"] == pytest.approx(float(row["room_degC"]), abs=1e-5)
    back = ask(
        "indoor-humidity", **weather, temperature=home["temperature"],
        relative_humidity=home["relative_humidity"],
    )  # fmt: skip
    assert back["moisture_excess"]["value"] == pytest.approx(3 * float(row["excess_share"]), abs=1e-3)
    estimated = any("estimate" in note for note in dry["note"])
    assert estimated == (float(row["outdoor_degC"]) > 10)


# pins indoor-humidity: two occupied houses in warm weather, data set trh-1 (A. Laukkarinen, CC-BY 4.0), each
#     room as warm as it was read: within 4 % for outdoor means of 15 to 20 °C. The table has no outdoor air,
#     which is derived from its own excess: this checks the taper alone
@pytest.mark.parametrize("outdoors", [15, 17.5, 20])
@pytest.mark.parametrize("row", load.table("measured_houses"), ids=lambda row: row["house"] + row["file"])
def test_a_measured_room_in_warm_weather(ask: Ask, row: dict[str, str], outdoors: float) -> None:
    psychrolib.SetUnitSystem(psychrolib.SI)
    warm = float(row["indoor_degC_warm"])
    held = float(row["indoor_rh_warm"]) / 100 * psychrolib.GetSatVapPres(warm)
    excess = float(row["excess_g_m3_warm_mean"]) * 1e-3 * 461.5 * (warm + 273.15)
    dew = psychrolib.GetTDewPointFromVapPres(outdoors, held - excess)
    found = ask(
        "indoor-humidity", outdoor_temperature=celsius(outdoors), outdoor_dew_point=celsius(dew),
        temperature=celsius(warm), room="home",
    )  # fmt: skip
    assert found["relative_humidity"]["value"] == pytest.approx(float(row["indoor_rh_warm"]), abs=4)


def test_wood_does_not_jump_when_its_room_begins_to_be_cooled(ask: Ask) -> None:
    settled = [
        ask("indoor-humidity", outdoor_temperature=celsius(outdoors), cools=True,
            outdoor_relative_humidity=percent(95))["moisture"]["value"]
        for outdoors in (17.95, 18.05, 19.95, 20.05, 23.95, 24.05)
    ]  # fmt: skip
    assert settled == pytest.approx([settled[0]] * 6, abs=0.1)


# pins indoor-humidity: vapour of an ideal gas; 20 degC from 25 to 45 % takes 3.45 g/m3, by hand
def test_how_much_vapour_to_add(ask: Ask) -> None:
    air = {"temperature": celsius(20), "relative_humidity": percent(25)}
    found = ask("indoor-humidity", **air, wanted_relative_humidity=percent(45))
    assert found["vapour_to_add"]["value"] == pytest.approx(3.45, abs=5e-3)
    weather = {"outdoor_temperature": celsius(-5), "outdoor_relative_humidity": percent(80)}
    winter = ask("indoor-humidity", **weather, wanted_relative_humidity=percent(45))
    assert winter["calculated"] == "vapour_to_add"
    kept = ask("indoor-humidity", **weather, humidifier=percent(45))
    assert kept["relative_humidity"]["value"] == 45
    assert winter["vapour_to_add"]["value"] > 0


def test_a_home_is_damper_than_a_shop_in_winter(ask: Ask) -> None:
    weather = {"outdoor_temperature": celsius(-5), "outdoor_relative_humidity": percent(80)}
    shop, home = (ask("indoor-humidity", **weather, room=room) for room in ("shop", "home"))
    assert home["relative_humidity"]["value"] > shop["relative_humidity"]["value"]
    assert shop["temperature"]["value"] == 20


def test_a_room_unfit_for_a_verdict_says_so(ask: Ask) -> None:
    weather = {"outdoor_temperature": celsius(-10), "outdoor_relative_humidity": percent(80)}
    assert "no fret or action verdict" in ask("indoor-humidity", **weather, **NO_SOURCE)["note"][0]


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"outdoor_dew_point": celsius(10)}, "/outdoor_dew_point"),
        ({"outdoor_relative_humidity": percent(50), "outdoor_dew_point": celsius(1)}, "/outdoor_dew_point"),
        ({"outdoor_relative_humidity": percent(50), "humidifier": percent(60), "dehumidifier": percent(50)},
         "/humidifier"),
        ({"outdoor_relative_humidity": percent(50), "cools": True, "heating_set_point": celsius(30)},
         "/heating_set_point"),
        ({}, "/outdoor_relative_humidity"),
        ({"outdoor_relative_humidity": percent(50), "outdoor_temperature": celsius(-40.1)},
         "/outdoor_temperature/value"),
        ({"outdoor_relative_humidity": percent(50), "outdoor_temperature": celsius(50.1)},
         "/outdoor_temperature/value"),
        ({"outdoor_dew_point": celsius(-41)}, "/outdoor_dew_point/value"),
        ({"outdoor_relative_humidity": percent(50), "temperature": celsius(51)}, "/temperature/value"),
    ],
)  # fmt: skip
def test_what_does_not_fit_is_named(refuse: Ask, change: dict[str, Any], pointer: str) -> None:
    problem = refuse("indoor-humidity", **{"outdoor_temperature": celsius(5)} | change)
    assert problem["errors"][0]["pointer"] == pointer
