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
from shimstock_calc.wood import wood_moisture
from tests.reference.load import table

psychrolib.SetUnitSystem(psychrolib.SI)
WARMED = table("indoor_humidity")
CLIMATE = table("climate_monthly")
HOUSES = table("measured_houses")
ROOM = table("room_model")
WARM_MEANS = np.linspace(15.0, 20.0, 11)  # daily means outdoors of a northern warm season


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


@pytest.mark.parametrize("row", ROOM, ids=lambda row: row["outdoor_degC"])
def test_temperature_and_excess_of_a_room_by_the_weather(row):
    # EN 15026:2007, Annex C (room_model.csv names where it was read); EN ISO 13788 (from memory)
    outdoors = float(row["outdoor_degC"])
    dry = air.indoor_humidity(outdoors, 50.0, profile=air.RoomProfile(moisture_excess=0.0))
    damp = air.indoor_humidity(outdoors, 50.0, profile=air.RoomProfile(moisture_excess=3.0))
    assert dry.temperature == damp.temperature == pytest.approx(float(row["room_degC"]))
    full = 100.0 * air.excess_pressure(3.0, dry.temperature) / air.saturation_pressure(dry.temperature)
    added = damp.relative_humidity - dry.relative_humidity
    assert added == pytest.approx(float(row["excess_share"]) * float(full), abs=1e-9)


def test_measured_warm_rooms_lie_within_the_models_band():
    # data set trh-1: rooms in warm weather, whose outdoor means the table does not hold; 15 to 20 degC
    # outdoors is what a Finnish warm season has (from memory)
    means = air.room_temperature(WARM_MEANS, air.HOME)
    for row in HOUSES:
        read = float(row["indoor_degC_warm"])
        assert means.min() - air.WARM_ROOM_SD < read < means.max() + air.WARM_ROOM_SD


@pytest.mark.parametrize("row", HOUSES, ids=lambda row: f"{row['house']}-{row['file']}")
def test_a_measured_warm_room_comes_out_at_its_measured_humidity(row):
    # data set trh-1. The table has no outdoor air: it is derived from the table's own excess, so this is
    # circular, and proves the rest alone: the taper of a home's excess, and the model's temperature
    warm, humid = float(row["indoor_degC_warm"]), float(row["indoor_rh_warm"])
    inside = humid / 100.0 * air.saturation_pressure(warm)
    outside = inside - air.excess_pressure(float(row["excess_g_m3_warm_mean"]), warm)
    read = air.indoor_air(WARM_MEANS, outside, air.HOME, indoor_temperature=warm)
    assert read.relative_humidity == pytest.approx(np.full(WARM_MEANS.shape, humid), abs=4.0)
    # with the model's own temperature: where that is as warm as the room was
    means = air.room_temperature(WARM_MEANS, air.HOME)
    alike = np.abs(means - warm) == np.abs(means - warm).min()
    modelled = air.indoor_air(WARM_MEANS, outside, air.HOME)
    assert modelled.relative_humidity[alike] == pytest.approx(humid, abs=4.0)
    # and at every other mean nearer than in a room that stays at 20 degC
    at_20 = air.warmed_humidity(outside, 20.0)
    assert (np.abs(modelled.relative_humidity - humid) < np.abs(at_20 - humid)).all()


@pytest.mark.parametrize(
    "outdoors, heated, cooled",
    [(-5.0, 20.0, 20.0), (14.0, 22.0, 22.0), (22.0, 25.0, 24.0), (31.0, 31.0, 24.0)],
)
def test_the_room_is_heated_to_20_and_cooled_to_24_degrees(outdoors, heated, cooled):
    # set points: common practice, no published source
    assert air.indoor_humidity(outdoors, 60.0).temperature == pytest.approx(heated)
    cools = air.RoomProfile(moisture_excess=2.0, cools=True)
    inside = air.indoor_humidity(outdoors, 60.0, profile=cools)
    assert inside.temperature == pytest.approx(cooled)
    assert inside.dew_point <= 13.0 + 1e-9


def test_another_set_point_takes_the_place_of_20_degrees():
    cool, warm, hot = (air.RoomProfile(2.0, heating_set_point=point) for point in (15.0, 23.0, 28.0))
    assert air.room_temperature([5.0, 15.0, 20.0], cool).tolist() == [15.0, 20.0, 25.0]
    assert air.room_temperature([5.0, 15.0, 20.0], warm).tolist() == [23.0, 24.0, 25.0]
    assert air.room_temperature([5.0, 15.0, 20.0, 30.0], hot).tolist() == [28.0, 28.0, 28.0, 30.0]


KEPT = st.builds(
    air.RoomProfile,
    moisture_excess=st.floats(0.0, 6.0),
    heating_set_point=st.floats(12.0, 24.0),
    cools=st.booleans(),
    cooling_set_point=st.floats(24.0, 28.0),
    cooling_dew_point=st.floats(5.0, 16.0),
)


@given(KEPT, st.floats(-40.0, 49.9), st.floats(1.0, 3000.0))
def test_no_weather_makes_a_room_jump(kept, outdoors, pressure):
    before, after = (air.indoor_air(each, pressure, kept) for each in (outdoors, outdoors + 0.01))
    assert after.temperature - before.temperature == pytest.approx(0.0, abs=0.0131)
    assert after.relative_humidity - before.relative_humidity == pytest.approx(0.0, abs=0.5)
    damp, damper = (wood_moisture(room.relative_humidity, room.temperature) for room in (before, after))
    assert damper == pytest.approx(damp, abs=0.2)


def test_wood_does_not_jump_when_its_room_begins_to_be_cooled():
    # 95 % RH outdoors; a room cooled from 20 degC outdoors on used to fall from 19.6 to 11.8 % MC
    cools = air.RoomProfile(moisture_excess=3.0, cools=True)
    outdoors = np.linspace(5.0, 35.0, 601)
    room = air.indoor_humidity(outdoors, 95.0, profile=cools)
    assert np.abs(np.diff(wood_moisture(room.relative_humidity, room.temperature))).max() < 0.1


@given(KEPT, st.floats(-40.0, 45.0), st.floats(0.0, 5.0), st.floats(1.0, 3000.0))
def test_warmer_outdoors_is_never_cooler_or_damper_indoors(kept, outdoors, step, pressure):
    cool, warm = (air.indoor_air(each, pressure, kept) for each in (outdoors, outdoors + step))
    assert warm.temperature >= cool.temperature - 1e-9
    assert warm.relative_humidity <= cool.relative_humidity + 1e-9


@given(KEPT, st.floats(-40.0, 50.0), st.floats(1.0, 3000.0), st.floats(0.0, 500.0))
def test_more_vapour_outdoors_is_never_drier_indoors(kept, outdoors, pressure, more):
    less = air.indoor_air(outdoors, pressure, kept).relative_humidity
    assert air.indoor_air(outdoors, pressure + more, kept).relative_humidity >= less - 1e-9


@given(st.floats(0.0, 6.0), st.floats(0.0, 3.0), st.floats(-40.0, 50.0), st.floats(1.0, 3000.0))
def test_more_people_never_make_a_room_drier(excess, more, outdoors, pressure):
    less, damper = (
        air.indoor_air(outdoors, pressure, air.RoomProfile(each)).relative_humidity
        for each in (excess, excess + more)
    )
    assert damper >= less - 1e-9


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
        (lambda: air.indoor_humidity(150.0, 50.0), "outdoor_temperature"),
        (lambda: air.indoor_humidity(-40.1, 50.0), "outdoor_temperature"),
        (lambda: air.indoor_humidity(-39.0, dew_point=-41.0), "dew_point"),
        (lambda: air.indoor_humidity(20.0, 50.0, indoor_temperature=50.1), "indoor_temperature"),
        (lambda: air.room_temperature(61.0), "outdoor_temperature"),
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
    # judgement: more than 10 % RH within 24 h
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
