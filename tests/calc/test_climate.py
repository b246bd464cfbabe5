"""A smooth year from monthly normals that keeps their means, and a year from a room's own log."""

from __future__ import annotations

import doctest

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shimstock_calc import air, climate
from shimstock_calc.climate import (
    daily_from_monthly,
    equilibrium_year,
    month_of_day,
    monthly_means,
    room_year,
    room_year_from_log,
)
from shimstock_calc.errors import CalculationError
from tests.reference.load import table

NORMALS = table("climate_monthly")
PLACES = sorted({row["dataset"] for row in NORMALS})


def column(place, name):
    return np.array([float(row[name]) for row in NORMALS if row["dataset"] == place])


@given(st.lists(st.floats(-30.0, 40.0), min_size=12, max_size=12))
def test_monthly_means_are_kept(means):
    daily = daily_from_monthly(means)
    assert daily.shape == (365,)
    assert monthly_means(daily) == pytest.approx(means, abs=1e-8)


@given(st.lists(st.floats(0.0, 3000.0), min_size=12, max_size=12))
def test_a_lowest_value_is_kept_together_with_the_means(means):
    daily = daily_from_monthly(means, lowest=0.0)
    assert daily.min() >= -1e-9
    assert monthly_means(daily) == pytest.approx(means, abs=1e-6)


@given(st.lists(st.floats(-30.0, 40.0), min_size=12, max_size=12))
def test_the_year_closes_and_has_no_jumps(means):
    daily = daily_from_monthly(means)
    steps = np.abs(np.diff(np.append(daily, daily[0])))
    assert steps.max() <= 0.25 * max(np.ptp(means), 1e-9)


def test_equal_months_give_equal_days():
    assert daily_from_monthly([7.5] * 12) == pytest.approx([7.5] * 365, abs=1e-12)
    assert daily_from_monthly([7.5] * 12, lowest=7.5) == pytest.approx([7.5] * 365, abs=1e-9)


def test_a_sine_of_monthly_means_comes_back_as_that_sine():
    w = 2.0 * np.pi / 365.0
    true = 10.0 + 12.0 * np.sin(w * (np.arange(365) + 0.5 - 110.0))
    assert daily_from_monthly(monthly_means(true)) == pytest.approx(true, abs=0.15)


def test_many_places_at_once_are_as_one_by_one():
    means = np.array([column(place, "pv_mean_Pa_AE_water") for place in PLACES])
    together = daily_from_monthly(means, lowest=1.0)
    assert together.shape == (5, 365)
    for i in range(5):
        assert together[i] == pytest.approx(daily_from_monthly(means[i], lowest=1.0), abs=1e-9)


@pytest.mark.parametrize("place", PLACES)
def test_typical_years_keep_their_monthly_means_and_their_seasons(place):
    # NREL TMY3 typical years: monthly means of temperature and vapour pressure
    temperature, pressure = column(place, "T_mean_C"), column(place, "pv_mean_Pa_AE_water")
    assert monthly_means(daily_from_monthly(temperature)) == pytest.approx(temperature, abs=1e-9)
    assert monthly_means(daily_from_monthly(pressure, 1.0)) == pytest.approx(pressure, abs=1e-6)
    room = room_year(temperature, pressure)
    inside = monthly_means(room.relative_humidity)
    printed = column(place, "RHin_at_21C_plus_2g_m3")
    cold = temperature < 0.0
    # the table warms to 21 degC, a shop to 20: a twentieth more humid; months move within themselves
    assert inside[cold] == pytest.approx(printed[cold] * 1.06, abs=2.5)


def test_a_heated_northern_room_is_driest_in_winter_and_its_wood_follows():
    # NREL TMY3 Chicago; common knowledge of the trade, no published source
    place = next(name for name in PLACES if name.startswith("Chicago"))
    room = room_year(column(place, "T_mean_C"), column(place, "pv_mean_Pa_AE_water"))
    moisture = monthly_means(equilibrium_year(room))
    assert moisture[[0, 1, 11]].max() < 6.5
    assert moisture[[6, 7]].min() > 10.5
    damped = room_year(
        column(place, "T_mean_C"),
        column(place, "pv_mean_Pa_AE_water"),
        air.RoomProfile(2.0, humidifier=40.0, dehumidifier=55.0),
    )
    assert np.ptp(equilibrium_year(damped)) < 3.0 < np.ptp(equilibrium_year(room))


def test_months_of_the_log_replace_the_normals_and_the_others_stay():
    place = PLACES[0]
    normal = room_year(column(place, "T_mean_C"), column(place, "pv_mean_Pa_AE_water"))
    days = np.arange(1.0, 60.0)  # January and February
    logged = room_year_from_log(days, np.full(59, 22.0), np.full(59, 45.0), normal)
    assert monthly_means(logged.temperature)[:2] == pytest.approx([22.0, 22.0], abs=1e-9)
    assert monthly_means(logged.temperature)[5:9] == pytest.approx(
        monthly_means(normal.temperature)[5:9], abs=1e-9
    )
    assert monthly_means(logged.relative_humidity)[0] == pytest.approx(45.0, abs=4.0)
    few = room_year_from_log(days[:5], np.full(5, 30.0), np.full(5, 45.0), normal)
    assert monthly_means(few.temperature) == pytest.approx(monthly_means(normal.temperature), abs=1e-9)


def test_a_steady_logged_year_comes_back_as_it_was():
    normal = room_year(np.full(12, 10.0), np.full(12, 800.0))
    days = np.arange(1.0, 367.0)
    logged = room_year_from_log(days, np.full(366, 21.0), np.full(366, 47.0), normal)
    assert logged.temperature == pytest.approx(np.full(365, 21.0), abs=1e-9)
    assert logged.relative_humidity == pytest.approx(np.full(365, 47.0), abs=1e-9)


def test_months_of_days():
    assert list(month_of_day([1, 31, 32, 59, 60, 365, 366])) == [0, 0, 1, 1, 2, 11, 11]


@pytest.mark.parametrize(
    "call, field",
    [
        (lambda: daily_from_monthly([1.0] * 11), "monthly"),
        (lambda: daily_from_monthly([float("nan")] * 12), "monthly"),
        (lambda: daily_from_monthly([-1.0] * 12, lowest=0.0), "monthly"),
        (lambda: monthly_means([1.0] * 366), "daily"),
        (lambda: room_year([99.0] * 12, [500.0] * 12), "outdoor_temperature"),
        (lambda: room_year([10.0] * 12, [0.0] * 12), "outdoor_pressure"),
        (lambda: month_of_day(0), "day_of_year"),
        (
            lambda: room_year_from_log([1.0], [20.0, 21.0], [50.0], room_year([9.0] * 12, [500.0] * 12)),
            "day_of_year",
        ),
    ],
)
def test_bad_input_names_its_field(call, field):
    with pytest.raises(CalculationError) as caught:
        call()
    assert caught.value.field == field


def test_examples_in_the_docstrings():
    assert doctest.testmod(climate).failed == 0
