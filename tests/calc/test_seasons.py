"""The drift of a setup with the seasons, its band, and the day that asks for a recheck."""

from __future__ import annotations

import doctest
import tracemalloc

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import norm

from shimstock_calc import air, sensitivity
from shimstock_calc.climate import equilibrium_year, room_year
from shimstock_calc.errors import CalculationError
from shimstock_calc.moisture import (
    TimeConstant,
    moisture_response,
    steady_year,
    time_constant,
    with_hysteresis,
)
from shimstock_calc.recheck import (
    BY_MOISTURE,
    BY_SPEC,
    NO_RECHECK,
    Quantity,
    earliest_rows,
    recheck_days,
    recheck_reason,
    watch,
)
from shimstock_calc.seasons import Watched, seasonal_drift
from shimstock_calc.sensitivity import (
    RELIEF_PRIOR,
    SADDLE_PRIOR,
    Contribution,
    Sensitivity,
    action_contributions,
    relief_contributions,
    saddle_contributions,
    sensitivity_slope,
)
from tests.depth import amount
from tests.reference.load import table

NORMALS = table("climate_monthly")
STEADY = np.full(365, 8.0)
W = 2.0 * np.pi / 365.0
SWING = 9.0 + 3.0 * np.sin(W * (np.arange(365) + 0.5 - 120.0))  # driest in January, dampest in July
FAST = TimeConstant(1.0, 1.0, 1.0)
NECK = time_constant("neck")
TOP = time_constant("acoustic top")
WINTER, SUMMER = 30, 212


def home_year(place):
    rows = [row for row in NORMALS if row["dataset"].startswith(place)]
    temperature = [float(row["T_mean_C"]) for row in rows]
    pressure = [float(row["pv_mean_Pa_AE_water"]) for row in rows]
    return equilibrium_year(room_year(temperature, pressure, air.HOME))


def relief(value=0.20, uncertainty=0.03, prior=RELIEF_PRIOR, tau=NECK):
    return Quantity("relief", value, uncertainty, 0.10, 0.30, relief_contributions(tau, prior))


def rows(count, **changes):
    rng = np.random.default_rng(3)
    mid = rng.uniform(1.0, 40.0, (count, 2))
    fields = {
        "value": rng.normal(0.2, 0.04, count),
        "uncertainty": 0.03,
        "lower": 0.1,
        "upper": 0.3,
        "tau": np.stack([0.4 * mid, mid, 3.0 * mid], axis=-1),
        "sensitivity": rng.normal(0.0, 0.01, (count, 2)),
        "sensitivity_sd": 0.03,
        "day_of_year": rng.integers(1, 366, count),
        "place": rng.integers(0, 2, count),
    }
    return Watched(**(fields | changes))


def test_in_a_room_that_never_changes_nothing_drifts():
    drift = seasonal_drift(STEADY, watch([relief()], 100), air_sd=0.0)
    assert drift.expected[0] == pytest.approx(np.full(366, 0.20), abs=1e-12)
    assert drift.sd[0] == pytest.approx(np.full(366, 0.03), abs=1e-9)
    assert recheck_days(STEADY, watch([relief()], 100)).cause[0] == NO_RECHECK


def test_on_the_day_of_the_reading_the_probability_is_that_of_the_reading():
    # JCGM 106:2012, by scipy.stats.norm
    drift = seasonal_drift(SWING, watch([relief(0.27)], 100))
    inside = norm.cdf((0.30 - 0.27) / 0.03) - norm.cdf((0.10 - 0.27) / 0.03)
    assert drift.probability_out[0, 0] == pytest.approx(1.0 - inside, abs=1e-12)


def test_damper_air_lifts_an_acoustics_saddle_and_its_action():
    # +0.1 mm per % MC at the saddle (judgement), half of it at the 12th fret
    saddle = Quantity("saddle height", 8.0, 0.03, None, None, saddle_contributions(TOP))
    action = Quantity("action", 2.4, 0.03, 2.1, 2.7, action_contributions(NECK, 1.6, TOP))
    drift = seasonal_drift(SWING, watch([saddle, action], WINTER))
    summer = SUMMER - WINTER
    moved = drift.moisture_change[0, 0, summer]
    assert moved > 4.0
    assert drift.expected[0, summer] - 8.0 == pytest.approx(0.1 * moved, rel=1e-9)
    assert drift.expected[1, summer] - 2.4 == pytest.approx(0.05 * moved, rel=1e-9)
    dry = seasonal_drift(SWING, watch([saddle, action], SUMMER))
    assert dry.expected[0, 365 - summer] < 8.0
    assert dry.expected[1, 365 - summer] < 2.4


def test_the_necks_prior_has_no_sign_and_its_band_widens_as_the_wood_moves():
    drift = seasonal_drift(SWING, watch([relief()], WINTER), air_sd=0.0)
    assert drift.expected[0] == pytest.approx(np.full(366, 0.20), abs=1e-12)
    summer = drift.sd[0, SUMMER - WINTER]
    moved = drift.moisture_change[0, 0, SUMMER - WINTER]
    assert summer**2 - 0.03**2 > (0.03 * moved) ** 2
    mirrored = seasonal_drift(SWING, watch([relief(0.40 - 0.26)], WINTER))
    same = seasonal_drift(SWING, watch([relief(0.26)], WINTER))
    assert mirrored.probability_out[0] == pytest.approx(same.probability_out[0], abs=1e-12)


@given(st.floats(-0.05, 0.05), st.floats(0.0, 0.05), st.floats(0.02, 0.05), st.integers(1, 365))
@settings(max_examples=amount(8, deep=100))
def test_the_probability_agrees_with_drawing_at_random(mean, sd, uncertainty, day):
    # Monte Carlo, JCGM 101:2008, 200 000 draws of reading and sensitivity
    rng = np.random.default_rng(11)
    quantity = relief(0.22, uncertainty, Sensitivity(mean, sd), FAST)
    drift = seasonal_drift(SWING, watch([quantity], day), air_sd=0.0, sorption_ratio=1.0)
    at = 150
    drawn = rng.normal(0.22, uncertainty, 200_000) + (
        rng.normal(mean, sd, 200_000) * drift.moisture_change[0, 0, at]
    )
    outside = np.mean((drawn < 0.10) | (drawn > 0.30))
    assert drift.probability_out[0, at] == pytest.approx(outside, abs=0.006)


def test_moisture_follows_the_lagged_year_of_the_place():
    drift = seasonal_drift(SWING, watch([relief()], 91), sorption_ratio=1.0)
    year = steady_year(SWING, NECK.mid)
    days = (90 + np.arange(366)) % 365
    assert drift.moisture_change[0, 0] == pytest.approx(year[days] - year[90], abs=1e-10)
    # Wood Handbook, ch. 4 (from memory): 0.85
    halfway = with_hysteresis(year, 0.85)
    drift = seasonal_drift(SWING, watch([relief()], 91))
    assert drift.moisture_change[0, 0] == pytest.approx(halfway[days] - halfway[90], abs=1e-10)


def test_hysteresis_takes_from_the_swing_and_widens_the_band():
    # a rectangular distribution over the two ends, JCGM 100:2008, 4.3.7: its half width over the root of 3
    certain = relief(uncertainty=0.0, prior=Sensitivity(0.05, 0.0), tau=TimeConstant(19.0, 19.0, 19.0))
    none, all_ = (
        seasonal_drift(SWING, watch([certain], WINTER), air_sd=0.0, sorption_ratio=ratio)
        for ratio in (1.0, 0.85)
    )
    summer = SUMMER - WINTER
    assert 0.0 < all_.moisture_change[0, 0, summer] < none.moisture_change[0, 0, summer]
    lost = none.moisture_change[0, 0] - all_.moisture_change[0, 0]
    assert all_.sd[0] == pytest.approx(0.05 * np.abs(lost) / 3.0**0.5, abs=1e-9)
    assert none.sd[0] == pytest.approx(np.zeros(366), abs=1e-9)


@given(st.floats(0.5, 0.99), st.floats(0.0, 0.01), st.integers(1, 365))
@settings(max_examples=amount(10, deep=100))
def test_more_hysteresis_never_moves_the_wood_more(ratio, less, day):
    many, few = (
        np.ptp(seasonal_drift(SWING, watch([relief()], day), sorption_ratio=each).moisture_change[0, 0])
        for each in (ratio, ratio + less)
    )
    assert many <= few + 1e-9


@given(st.floats(4.0, 14.0), st.integers(1, 366))
def test_an_instrument_that_comes_from_elsewhere_settles_into_its_place(start, day):
    drift = seasonal_drift(SWING, watch([relief()], day, start_moisture=start), 200, sorption_ratio=1.0)
    first = min(day, 365) - 1
    coming = SWING[(first + 1 + np.arange(200)) % 365]
    exact = moisture_response(start, coming, NECK.mid)
    assert drift.moisture_change[0, 0, 1:] == pytest.approx(exact - start, abs=1e-9)


def test_a_wider_range_of_time_constants_widens_the_band():
    narrow = relief(prior=Sensitivity(0.05, 0.0), tau=TimeConstant(19.0, 19.0, 19.0))
    wide = relief(prior=Sensitivity(0.05, 0.0), tau=NECK)
    sd = seasonal_drift(SWING, watch([narrow, wide], 91), air_sd=0.0, sorption_ratio=1.0).sd
    assert sd[0] == pytest.approx(np.full(366, 0.03), abs=1e-9)
    assert sd[1, 60] > 0.036


def test_no_recheck_comes_before_day_14_not_even_when_already_out():
    # judgement
    found = recheck_days(SWING, watch([relief(0.50)], WINTER))
    assert (found.day[0], found.cause[0]) == (14, BY_SPEC)
    assert recheck_days(SWING, watch([relief(0.50)], WINTER), earliest=30).day[0] == 30


def test_two_percent_of_moisture_is_reason_enough():
    # judgement
    deaf = relief(prior=Sensitivity(0.0, 0.0))
    found = recheck_days(SWING, watch([deaf], WINTER))
    curve = seasonal_drift(SWING, watch([deaf], WINTER)).moisture_change[0, 0]
    assert found.cause[0] == BY_MOISTURE
    assert abs(curve[found.day[0]]) > 2.0 >= np.abs(curve[: found.day[0]]).max()
    calm = recheck_days(8.0 + (SWING - 9.0) / 4.0, watch([deaf], WINTER))
    assert (calm.day[0], calm.cause[0]) == (-1, NO_RECHECK)


def test_the_day_is_the_first_that_reaches_the_threshold():
    quantity = relief(0.24)
    found = recheck_days(SWING, watch([quantity], WINTER), moisture_limit=50.0)
    out = seasonal_drift(SWING, watch([quantity], WINTER)).probability_out[0]
    day = int(found.day[0])
    assert found.cause[0] == BY_SPEC
    assert out[day] >= 0.25 > out[14:day].max()
    assert found.probability_out[0] == pytest.approx(out[day], abs=1e-12)


@given(st.floats(0.05, 0.45), st.floats(0.05, 0.45))
def test_a_more_patient_shop_is_never_called_sooner(one, other):
    low, high = sorted((one, other))
    days = [
        recheck_days(SWING, watch([relief(0.24)], WINTER), limit, moisture_limit=50.0).day[0]
        for limit in (low, high)
    ]
    assert days[1] == -1 or 0 <= days[0] <= days[1]


def test_an_instrument_set_up_in_a_northern_summer_is_seen_again_before_the_dry_season_is_over():
    # NREL TMY3 Chicago, heated home; limits and priors: judgement
    action = Quantity("action bass side", 2.4, 0.03, 2.1, 2.7, action_contributions(NECK, 1.6, TOP))
    found = recheck_days(home_year("Chicago"), watch([relief(), action], SUMMER))
    assert (found.cause != NO_RECHECK).all()
    assert 14 <= found.day.min() < 120
    assert found.moisture_change[int(found.day.argmin())] < -1.0


def test_a_humidified_room_puts_the_recheck_off():
    rows_ = [row for row in NORMALS if row["dataset"].startswith("Chicago")]
    normals = [[float(row[name]) for row in rows_] for name in ("T_mean_C", "pv_mean_Pa_AE_water")]
    kept = air.RoomProfile(3.0, humidifier=42.0, dehumidifier=52.0)
    calm = recheck_days(equilibrium_year(room_year(*normals, kept)), watch([relief()], SUMMER))
    plain = recheck_days(home_year("Chicago"), watch([relief()], SUMMER))
    assert plain.day[0] > 0
    assert calm.day[0] == -1 or calm.day[0] > plain.day[0]


def test_many_rows_are_worked_as_each_alone_and_across_pieces():
    years = np.stack([SWING, STEADY])
    many = rows(700)
    together = recheck_days(years, many)
    for i in (0, 255, 256, 511, 512, 699):
        alone = recheck_days(
            years,
            Watched(
                [np.asarray(many.value)[i]],
                0.03,
                0.1,
                0.3,
                np.asarray(many.tau)[i : i + 1],
                np.asarray(many.sensitivity)[i : i + 1],
                0.03,
                np.asarray(many.day_of_year)[i : i + 1],
                np.asarray(many.place)[i : i + 1],
            ),
        )
        assert alone.day[0] == together.day[i]
        assert alone.probability_out[0] == pytest.approx(together.probability_out[i], abs=1e-12)


def test_ten_thousand_instruments_need_no_more_memory_than_a_thousand():
    years = np.stack([SWING, STEADY])
    peaks = []
    for count in (1_000, 10_000):
        many = rows(count)
        tracemalloc.start()
        found = recheck_days(years, many)
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
        assert found.day.shape == (count,)
    assert peaks[1] < peaks[0] + 10e6  # the rows themselves; all curves at once would take 200 MB more


def test_the_earliest_row_of_each_instrument_decides():
    quantities = [relief(), relief(0.29), relief(prior=Sensitivity(0.0, 0.0))]
    found = recheck_days(SWING, watch(quantities, WINTER))
    decided = earliest_rows(found, [7, 7, 9])
    assert decided == {7: 1, 9: 2}


@pytest.mark.parametrize(
    "quantity, words",
    [
        (relief(0.29), "chance of"),
        (relief(prior=Sensitivity(0.0, 0.0)), "since the last final reading"),
        (Quantity("relief", 0.2, 0.01, None, 0.9, relief_contributions(NECK)), "taken up"),
        (Quantity("relief", 0.92, 0.01, 0.9, None, relief_contributions(NECK)), "of at least 0.90 mm"),
    ],
)
def test_the_reason_is_said_in_words(quantity, words):
    found = recheck_days(SWING, watch([quantity], WINTER))
    reason = recheck_reason(quantity, found, 0)
    assert words in reason
    assert "relief" in reason


def test_no_recheck_is_said_in_words_too():
    found = recheck_days(STEADY, watch([relief()], WINTER))
    assert "no recheck needed" in recheck_reason(relief(), found, 0)


def test_the_stated_priors():
    # judgement
    assert (RELIEF_PRIOR.mean, RELIEF_PRIOR.sd) == (0.0, 0.03)
    assert (SADDLE_PRIOR.mean, SADDLE_PRIOR.sd) == (0.1, 0.1)
    neck, top = action_contributions(NECK, 1.67, TOP)
    assert (neck.sensitivity.mean, neck.sensitivity.sd) == (0.0, pytest.approx(0.0501))
    assert (top.sensitivity.mean, top.sensitivity.sd) == (0.05, 0.05)
    assert len(action_contributions(NECK, 1.67)) == 1


def test_the_slope_agrees_with_a_weighted_line_of_statsmodels():
    # statsmodels WLS
    rng = np.random.default_rng(5)
    x = np.linspace(6.0, 11.0, 9)
    u = rng.uniform(0.01, 0.05, 9)
    y = 0.2 + 0.04 * x + rng.normal(0.0, 0.2, 9)
    fit = sm.WLS(y, sm.add_constant(x), weights=1.0 / u**2).fit()
    slope, variance = sensitivity_slope(x, y, u)
    assert slope == pytest.approx(fit.params[1], rel=1e-9)
    assert variance == pytest.approx(fit.bse[1] ** 2, rel=1e-9)  # scatter beyond the readings' own
    exact = 0.2 + 0.04 * x
    slope, variance = sensitivity_slope(x, exact, 0.02)
    assert slope == pytest.approx(0.04, abs=1e-12)
    assert variance == pytest.approx(0.02**2 / ((x - x.mean()) ** 2).sum(), rel=1e-9)


@pytest.mark.parametrize(
    "call, field",
    [
        (lambda: seasonal_drift(np.zeros(12), watch([relief()], 1)), "equilibrium"),
        (lambda: seasonal_drift(STEADY, watch([relief()], 400)), "day_of_year"),
        (lambda: seasonal_drift(STEADY, watch([relief()], 1), days=0), "days"),
        (lambda: seasonal_drift(np.stack([STEADY, STEADY]), rows(501)), "value"),
        (lambda: seasonal_drift(STEADY, rows(3, place=5)), "place"),
        (lambda: seasonal_drift(STEADY, rows(3, place=0, lower=1.0)), "lower"),
        (lambda: seasonal_drift(STEADY, rows(3, place=0, upper=float("nan"))), "upper"),
        (lambda: seasonal_drift(STEADY, rows(3, place=0, uncertainty=-1.0)), "uncertainty"),
        (lambda: seasonal_drift(STEADY, rows(3, place=0, tau=[3.0, 2.0, 1.0])), "tau"),
        (lambda: seasonal_drift(STEADY, rows(3, place=0, tau=5.0)), "tau"),
        (lambda: seasonal_drift(STEADY, rows(3, place=0, sensitivity=np.zeros((3, 9)))), "tau"),
        (lambda: seasonal_drift(STEADY, rows(3, place=0, start_moisture=-2.0)), "start_moisture"),
        (lambda: recheck_days(STEADY, watch([relief()], 1), 0.0), "threshold"),
        (lambda: recheck_days(STEADY, watch([relief()], 1), earliest=999), "earliest"),
        (lambda: recheck_days(STEADY, watch([relief()], 1), sorption_ratio=1.1), "ratio"),
        (lambda: recheck_days(STEADY, rows(0, place=0)), "value"),
        (lambda: watch([], 1), "quantities"),
        (lambda: watch([Quantity("relief", 0.2, 0.1, None, None, ())], 1), "contributions"),
        (lambda: Sensitivity(float("inf"), 0.1), "sensitivity"),
        (lambda: Sensitivity(0.0, -0.1), "sensitivity_sd"),
        (lambda: action_contributions(NECK, 9.0), "coupling"),
        (lambda: sensitivity_slope([7.0, 7.2], [0.1, 0.2], 0.02), "moisture"),
        (lambda: sensitivity_slope([7.0, 9.0], [0.1], 0.02), "value"),
        (lambda: earliest_rows(recheck_days(STEADY, watch([relief()], 1)), [1, 2]), "instrument"),
    ],
)
def test_bad_input_names_its_field(call, field):
    with pytest.raises(CalculationError) as caught:
        call()
    assert caught.value.field == field


def test_a_quantity_with_fewer_parts_is_not_moved_by_the_padding():
    both = watch(
        [relief(), Quantity("action", 2.4, 0.03, 2.1, 2.7, action_contributions(NECK, 1.6, TOP))], 91
    )
    alone = watch([relief()], 91)
    assert seasonal_drift(SWING, both).sd[0] == pytest.approx(seasonal_drift(SWING, alone).sd[0], abs=1e-12)
    assert Contribution(NECK, RELIEF_PRIOR) == relief_contributions(NECK)[0]


def test_examples_in_the_docstrings():
    assert doctest.testmod(sensitivity).failed == 0
