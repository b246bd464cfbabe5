"""Room air from outdoor air, and the warnings a bench gets about its room."""

from __future__ import annotations

import doctest

import numpy as np
import psychrolib
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from shimstock_calc import air, room
from shimstock_calc.errors import CalculationError
from tests.reference.load import table

psychrolib.SetUnitSystem(psychrolib.SI)
WARMED = table("indoor_humidity")
CLIMATE = table("climate_monthly")
HOUSES = table("measured_houses")


@pytest.mark.parametrize("row", WARMED, ids=lambda row: f"{row['outdoor_degC']}/{row['outdoor_rh']}")
def test_outdoor_air_warmed_to_the_room(row):
    # Alduchov & Eskridge, J. Appl. Meteor. 35, 601 (1996), over water
    pressure = air.vapour_pressure(float(row["outdoor_degC"]), float(row["outdoor_rh"]))
    humidity = air.warmed_humidity(pressure + float(row["excess_Pa"]), float(row["indoor_degC"]))
    assert humidity == pytest.approx(float(row["indoor_rh_over_water"]), abs=1e-9)


@pytest.mark.parametrize("row", WARMED, ids=lambda row: f"{row['outdoor_degC']}/{row['outdoor_rh']}")
def test_psychrolib_agrees_over_water_and_differs_over_ice(row):
    # psychrolib 2.5.0 (ASHRAE Handbook Fundamentals 2017 ch. 1): ice branch below 0 degC
    outdoors, indoors = float(row["outdoor_degC"]), float(row["indoor_degC"])
    pressure = psychrolib.GetVapPresFromRelHum(outdoors, float(row["outdoor_rh"]) / 100.0)
    oracle = 100.0 * (pressure + float(row["excess_Pa"])) / psychrolib.GetSatVapPres(indoors)
    assert oracle == pytest.approx(float(row["indoor_rh_psychrolib_ice_below_0"]), abs=1e-9)
    ours = float(row["indoor_rh_over_water"])
    if outdoors >= 0.0:
        assert ours == pytest.approx(oracle, rel=0.003)
    elif float(row["excess_Pa"]) == 0.0:
        assert ours > oracle * 1.08  # over ice the same reported humidity would hold less vapour


@pytest.mark.parametrize(
    "outdoors, humidity, expected", [(-10, 80, 9.24), (-15, 70, 5.405), (0, 90, 22.15), (10, 75, 37.05)]
)
def test_warmed_to_21_degrees_without_excess(outdoors, humidity, expected):
    # Alduchov & Eskridge (1996) over water; 4 digits
    room_air = air.indoor_humidity(
        outdoors, humidity, profile=air.RoomProfile(moisture_excess=0.0), indoor_temperature=21.0
    )
    assert room_air.relative_humidity == pytest.approx(expected, abs=0.005)


@pytest.mark.parametrize("excess, column", [(0.0, "RHin_at_21C_no_source"), (2.0, "RHin_at_21C_plus_2g_m3")])
def test_indoor_columns_of_the_typical_years(excess, column):
    # NREL TMY3 monthly means; vapour pressure printed to 0.001 Pa, humidity to 0.001 %
    pressure = np.array([float(row["pv_mean_Pa_AE_water"]) for row in CLIMATE])
    expected = np.minimum([float(row[column]) for row in CLIMATE], 100.0)
    humidity = air.warmed_humidity(pressure + air.excess_pressure(excess, 21.0), 21.0)
    assert humidity == pytest.approx(expected, abs=0.0006)


def test_normals_of_humidity_or_dew_point_give_the_room_within_6_percent():
    # NREL TMY3: means of humidity, dew point and vapour pressure of the same hours; the mean of a curved
    # function is not the function of the means
    temperature = [float(row["T_mean_C"]) for row in CLIMATE]
    printed = np.array([float(row["pv_mean_Pa_AE_water"]) for row in CLIMATE])
    by_humidity = air.vapour_pressure(temperature, [float(row["RH_mean_percent"]) for row in CLIMATE])
    by_dew_point = air.vapour_pressure(temperature, dew_point=[float(row["Td_mean_C"]) for row in CLIMATE])
    for estimate in (by_humidity, by_dew_point):
        indoors = 100.0 * (estimate - printed) / air.saturation_pressure(21.0)
        assert np.abs(indoors).max() < 6.0
        assert np.median(np.abs(indoors)) < 1.5
    assert np.median(by_dew_point / printed) < 1.0


@given(st.floats(0.1, 60.0))
def test_saturation_over_water_agrees_with_psychrolib(temperature):
    # psychrolib 2.5.0 over water
    assert air.saturation_pressure(temperature) == pytest.approx(
        psychrolib.GetSatVapPres(temperature), rel=0.004
    )


@given(st.floats(1.0, 45.0), st.floats(10.0, 100.0))
def test_dew_point_agrees_with_psychrolib_and_comes_back(temperature, humidity):
    dew = air.dew_point(air.vapour_pressure(temperature, humidity))
    if dew > 0.1:
        oracle = psychrolib.GetTDewPointFromRelHum(temperature, humidity / 100.0)
        assert dew == pytest.approx(oracle, abs=0.06)
    again = air.vapour_pressure(temperature, dew_point=np.minimum(dew, temperature))
    assert 100.0 * again / air.saturation_pressure(temperature) == pytest.approx(humidity, abs=1e-6)


def test_the_default_excess_of_a_home_lies_among_the_measured_ones():
    # data set trh-1 (A. Laukkarinen, CC-BY 4.0): two occupied houses, two rooms each
    cold = [float(row["excess_g_m3_cold_mean"]) for row in HOUSES]
    warm = [float(row["excess_g_m3_warm_mean"]) for row in HOUSES]
    assert min(cold) - 0.2 < air.HOME.moisture_excess < max(cold)
    assert air.SHOP.moisture_excess < min(cold)
    assert np.mean(warm) == pytest.approx(0.4, abs=0.35)  # next to nothing is left when it is warm outdoors


@pytest.mark.parametrize("row", HOUSES, ids=lambda row: f"{row['house']}-{row['file']}")
def test_a_measured_cold_room_comes_out_at_its_measured_humidity(row):
    # data set trh-1: what the measured excess leaves of the measured vapour is outdoor air of a cold season
    temperature = float(row["indoor_degC_cold"])
    inside = float(row["indoor_rh_cold"]) / 100.0 * air.saturation_pressure(temperature)
    outside = inside - air.excess_pressure(float(row["excess_g_m3_cold_mean"]), temperature)
    assert -20.0 < float(air.dew_point(outside)) < 0.0
    profile = air.RoomProfile(moisture_excess=float(row["excess_g_m3_cold_mean"]))
    found = air.indoor_air(-1.0, outside, profile, indoor_temperature=temperature)
    assert found.relative_humidity == pytest.approx(float(row["indoor_rh_cold"]), abs=1e-9)


@pytest.mark.parametrize("outdoors, share", [(-10.0, 1.0), (0.0, 1.0), (7.5, 0.5), (15.0, 0.0), (25.0, 0.0)])
def test_the_excess_tapers_from_0_to_15_degrees_outdoors(outdoors, share):
    dry = air.indoor_humidity(outdoors, 50.0, profile=air.RoomProfile(moisture_excess=0.0))
    damp = air.indoor_humidity(outdoors, 50.0, profile=air.RoomProfile(moisture_excess=3.0))
    added = share * air.excess_pressure(3.0, dry.temperature) / air.saturation_pressure(dry.temperature)
    assert damp.relative_humidity - dry.relative_humidity == pytest.approx(100.0 * float(added), abs=1e-9)


@pytest.mark.parametrize(
    "outdoors, heated, cooled", [(-5.0, 20.0, 20.0), (22.0, 22.0, 22.0), (31.0, 31.0, 24.0)]
)
def test_the_room_is_heated_to_20_and_cooled_to_24_degrees(outdoors, heated, cooled):
    # common practice, no published source
    assert air.indoor_humidity(outdoors, 60.0).temperature == pytest.approx(heated)
    cools = air.RoomProfile(moisture_excess=2.0, cools=True)
    inside = air.indoor_humidity(outdoors, 60.0, profile=cools)
    assert inside.temperature == pytest.approx(cooled)
    if outdoors > 20.0:
        assert inside.dew_point <= 13.0 + 1e-9


@given(st.floats(-30.0, 35.0), st.floats(5.0, 100.0))
def test_machines_keep_the_room_between_their_set_points(outdoors, humidity):
    kept = air.RoomProfile(moisture_excess=2.0, humidifier=40.0, dehumidifier=55.0)
    assert 40.0 <= air.indoor_humidity(outdoors, humidity, profile=kept).relative_humidity <= 55.0


@given(st.floats(-30.0, 35.0), st.floats(5.0, 95.0), st.floats(0.5, 5.0))
def test_damper_outdoors_is_never_drier_indoors(outdoors, humidity, step):
    less = air.indoor_humidity(outdoors, humidity).relative_humidity
    assert air.indoor_humidity(outdoors, humidity + step).relative_humidity >= less


@given(st.floats(5.0, 35.0), st.floats(5.0, 95.0), st.floats(5.0, 95.0))
def test_the_vapour_added_brings_the_room_to_what_was_wanted(temperature, now, wanted):
    added = air.vapour_to_add(temperature, now, wanted)
    assume(abs(added) <= 10.0)
    pressure = air.vapour_pressure(temperature, now) + air.excess_pressure(added, temperature)
    assert air.warmed_humidity(pressure, temperature) == pytest.approx(wanted, abs=1e-9)
    assert (added > 0.0) == (wanted > now)


def test_the_vapour_content_agrees_with_psychrolib():
    # psychrolib 2.5.0: humidity ratio over the volume of moist air per mass of dry air
    ratio = psychrolib.GetHumRatioFromRelHum(20.0, 0.5, 101325.0)
    content = 1e3 * ratio / psychrolib.GetMoistAirVolume(20.0, ratio, 101325.0)
    assert air.vapour_to_add(20.0, 0.0, 50.0) == pytest.approx(content, rel=0.005)


@pytest.mark.parametrize(
    "call, field",
    [
        (lambda: air.indoor_humidity(5.0), "relative_humidity"),
        (lambda: air.indoor_humidity(5.0, 50.0, 3.0), "dew_point"),
        (lambda: air.indoor_humidity(5.0, dew_point=8.0), "dew_point"),
        (lambda: air.indoor_humidity(5.0, 120.0), "relative_humidity"),
        (lambda: air.indoor_humidity(150.0, 50.0), "temperature"),
        (lambda: air.RoomProfile(moisture_excess=-1.0), "moisture_excess"),
        (lambda: air.RoomProfile(2.0, humidifier=60.0, dehumidifier=50.0), "humidifier"),
        (lambda: air.RoomProfile(2.0, heating_set_point=26.0, cools=True), "heating_set_point"),
        (lambda: air.vapour_to_add(20.0, 50.0, 120.0), "wanted"),
        (lambda: room.room_warnings([], []), "relative_humidity"),
        (lambda: room.room_warnings([0.0, 1.0], [50.0]), "relative_humidity"),
        (lambda: room.room_warnings([2.0, 1.0], [50.0, 50.0]), "hours"),
    ],
)
def test_bad_input_names_its_field(call, field):
    with pytest.raises(CalculationError) as caught:
        call()
    assert caught.value.field == field


def test_the_warning_bands_are_those_of_the_guidance():
    # tests/reference/room_air_guidance.csv, each row with its own source
    rows = {row["guidance"]: row for row in table("room_air_guidance")}
    assert float(rows["no verdict outside"]["rh_low"]) == room.VERDICT_LOW
    assert float(rows["no verdict outside"]["rh_high"]) == room.VERDICT_HIGH
    assert float(rows["mould above"]["rh_high"]) == room.MOULD_ABOVE
    assert float(
        rows["laminates may split below"]["rh_low"] or rows["laminates may split below"]["rh_high"]
    ) == (room.SPLITTING_BELOW)
    for quiet in ("collection environment", "workshop habit"):
        for bound in ("rh_low", "rh_high"):
            assert room.room_warnings([0.0], [float(rows[quiet][bound])]) == []


@pytest.mark.parametrize(
    "humidity, codes",
    [
        (20.0, ["too-dry", "laminates-may-split"]),
        (34.9, ["too-dry"]),
        (35.0, []),
        (47.0, []),
        (60.0, []),
        (60.1, ["too-damp"]),
        (80.0, ["too-damp", "mould"]),
    ],
)
def test_a_single_reading_is_judged_by_its_band(humidity, codes):
    assert [warning.code for warning in room.room_warnings([0.0], [humidity])] == codes


def test_a_swing_counts_only_within_24_hours():
    # common practice, no published source: more than 10 % RH within 24 h
    assert room.room_warnings([0.0, 24.0], [40.0, 50.5])[0].code == "swing"
    assert room.room_warnings([0.0, 24.5], [40.0, 50.5]) == []
    assert room.room_warnings([0.0, 24.0], [40.0, 50.0]) == []


@given(st.lists(st.tuples(st.floats(0.0, 15.0), st.floats(0.0, 100.0)), min_size=1, max_size=40))
def test_the_sliding_window_finds_what_every_pair_finds(steps):
    hours = np.cumsum([step for step, _ in steps])
    humidity = np.array([value for _, value in steps])
    near = np.abs(hours[:, None] - hours[None, :]) <= 24.0
    worst = float((np.abs(humidity[:, None] - humidity[None, :]) * near).max())
    assert room.largest_daily_swing(hours, humidity) == pytest.approx(worst, abs=1e-12)


@pytest.mark.parametrize("module", [air, room])
def test_examples_in_the_docstrings(module):
    assert doctest.testmod(module).failed == 0
