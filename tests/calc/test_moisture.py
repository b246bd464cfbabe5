"""How slowly wood follows its air, against the exact solution and the tables it was derived from."""

from __future__ import annotations

import doctest
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp
from scipy.optimize import least_squares

from shimstock_calc import moisture
from shimstock_calc.errors import CalculationError
from shimstock_calc.moisture import (
    TimeConstant,
    days_to_follow,
    finish_names,
    finish_time_constant,
    moisture_response,
    part_names,
    sine_response,
    steady_year,
    time_constant,
    with_hysteresis,
)
from tests.reference.load import table

PARTS = table("moisture_response")
FINISHES = table("finish_time_constants")
EFFECTIVENESS = table("finish_moisture_excluding_effectiveness")
IN_TABLE_16_3 = {
    "linseed oil": "linseed oil",
    "tung oil": "tung oil [2]",
    "lacquer": "lacquer [2]",
    "spar varnish": "spar varnish [2]",
    "shellac": "shellac [2]",
    "urethane varnish": "urethane varnish (oil-modified)",
    "polyurethane varnish": "polyurethane varnish [2]",
    "two-part polyurethane gloss": "polyurethane paint, gloss, 2-component",
    "two-part epoxy": "two-part epoxy [2]",
}
DAYS = np.array([1.0, 7.0, 14.0])


def effectiveness(tau, bare):
    """Share of moisture kept out, in percent, when finished and bare blocks follow their air first order."""
    return 100.0 * (1.0 - (1.0 - np.exp(-DAYS / tau)) / (1.0 - np.exp(-DAYS / bare)))


def printed_effectiveness(finish, coats):
    name = IN_TABLE_16_3[finish]
    row = next(row for row in EFFECTIVENESS if row["finish"] == name and int(row["coats"]) == coats)
    return np.array([float(row[f"MEE_{day}d"]) for day in (1, 7, 14)])


@pytest.mark.parametrize("row", FINISHES, ids=lambda row: f"{row['finish']}-{row['coats']}")
def test_every_finish_of_the_table_is_shipped(row):
    assert finish_time_constant(row["finish"], int(row["coats"])) == float(row["tau_days"])
    assert (row["finish"], int(row["coats"])) in finish_names()


@pytest.mark.parametrize("finish, coats", [name for name in finish_names() if name[0] != "none"])
def test_a_finishs_time_constant_meets_the_moisture_it_keeps_out(finish, coats):
    # Wood Handbook FPL-GTR-190 (2010), Table 16-3; Feist, Little & Wennesheimer, FPL-RP-462 (1985)
    printed = printed_effectiveness(finish, coats)
    bare, tau = finish_time_constant("none"), finish_time_constant(finish, coats)
    found = effectiveness(tau, bare)
    assert found == pytest.approx(printed, abs=3.0)
    refit = least_squares(lambda tau: effectiveness(tau[0], bare) - printed, [5.0], bounds=(0.1, 1000.0)).x[0]
    assert tau == pytest.approx(refit, rel=0.05)


def test_every_row_of_table_16_3_fits_a_first_order_lag_of_its_own():
    # same table: one time constant a finish explains all three days within 3 percent of moisture
    bare = finish_time_constant("none")
    for row in EFFECTIVENESS:
        printed = np.array([float(row[f"MEE_{day}d"]) for day in (1, 7, 14)])
        fit = least_squares(
            lambda tau, printed=printed: effectiveness(tau[0], bare) - printed, [3.0], bounds=(0.1, 1000.0)
        )
        assert np.abs(fit.fun).max() < 3.0
        assert (np.diff(printed) <= 0.0).all()


def test_more_coats_keep_more_moisture_out():
    # Wood Handbook Table 16-3, urethane varnish with 1 to 6 coats
    taus = [finish_time_constant("urethane varnish", coats) for coats in range(1, 7)]
    assert (np.diff(taus) > 0.0).all()
    assert finish_time_constant("urethane varnish", 9) == taus[-1]  # the nearest that the table holds


@pytest.mark.parametrize("row", PARTS, ids=lambda row: f"{row['part']}-{row['finish']}")
def test_every_part_of_the_table_is_shipped(row):
    expected = TimeConstant(float(row["tau_days_low"]), float(row["tau_days"]), float(row["tau_days_high"]))
    if row["part"] == moisture.CLOSED_CASE:
        bare, cased = time_constant("neck"), time_constant("neck", in_case=True)
        assert cased.as_array() - bare.as_array() == pytest.approx(expected.as_array())
    else:
        finish = "none" if row["finish"].startswith("unfinished") else None
        assert time_constant(row["part"], finish) == expected


@pytest.mark.parametrize(
    "row", [r for r in PARTS if r["part"] in {"neck", "solid body"}], ids=lambda r: r["finish"]
)
def test_bare_thick_parts_agree_with_slab_diffusion(row):
    # J. Crank, The Mathematics of Diffusion: tau = L^2 / (pi^2 D), D = 1e-10 m2/s (0.5 to 2e-10)
    slab = (float(row["thickness_mm"]) * 1e-3) ** 2 / (math.pi**2 * 1e-10) / 86400.0
    bare = time_constant(row["part"], "none")
    assert bare.mid == pytest.approx(slab, rel=0.20)
    assert bare.low < slab * 2.0
    assert bare.high > slab / 2.0


@pytest.mark.parametrize("part", ["neck", "fingerboard", "acoustic top", "solid body"])
def test_a_tighter_finish_slows_every_part(part):
    taus = [time_constant(part, name, coats).mid for name, coats in finish_names()]
    order = np.argsort([finish_time_constant(name, coats) for name, coats in finish_names()])
    assert (np.diff(np.array(taus)[order]) >= 0.0).all()
    assert part in part_names()


def test_a_finish_does_little_to_a_top_that_is_bare_inside():
    assert time_constant("acoustic top", "two-part epoxy").mid < 2.0
    assert time_constant("neck", "two-part epoxy").mid > 100.0


def test_a_yearly_sine_through_14_days():
    # first-order system in closed form: gain 0.9722, lag 13.74 days
    gain, lag = sine_response(14.0)
    assert gain == pytest.approx(0.9722, abs=5e-5)
    assert lag == pytest.approx(13.74, abs=5e-3)


@pytest.mark.parametrize("tau", [1.0, 14.0, 60.0])
def test_a_simulated_sine_comes_out_with_that_gain_and_lag(tau):
    steps = 12
    t = np.arange(365 * steps * 4) / steps
    mid = t + 0.5 / steps
    w = 2.0 * np.pi / 365.0
    found = moisture_response(8.0, 8.0 + 2.0 * np.sin(w * mid), tau, 1.0 / steps)[-365 * steps :]
    end = (t + 1.0 / steps)[-365 * steps :]
    a = 2.0 * np.mean((found - 8.0) * np.sin(w * end))
    b = 2.0 * np.mean((found - 8.0) * np.cos(w * end))
    gain, lag = sine_response(tau, 365.0)
    assert math.hypot(a, b) / 2.0 == pytest.approx(float(gain), abs=2e-5)
    assert math.atan2(-b, a) / w == pytest.approx(float(lag), abs=2e-3)


@given(
    st.lists(st.floats(3.0, 20.0), min_size=1, max_size=12),
    st.floats(3.0, 20.0),
    st.floats(0.3, 60.0),
    st.floats(0.1, 20.0),
)
def test_halving_the_steps_of_constant_air_changes_nothing(air, start, tau, step):
    whole = moisture_response(start, air, tau, step)
    halves = moisture_response(start, np.repeat(air, 2), tau, step / 2.0)[1::2]
    assert whole == pytest.approx(halves, abs=1e-9)


@given(st.lists(st.floats(3.0, 20.0), min_size=1, max_size=30), st.floats(3.0, 20.0), st.floats(0.3, 60.0))
def test_moisture_stays_between_its_start_and_its_air(air, start, tau):
    found = moisture_response(start, air, tau)
    assert found.min() >= min(start, *air) - 1e-9
    assert found.max() <= max(start, *air) + 1e-9


def test_uneven_steps_agree_with_an_ode_solver():
    # scipy.integrate.solve_ivp, piece by piece
    air, steps, tau = np.array([10.0, 6.0, 12.0, 8.0]), np.array([0.5, 3.0, 10.0, 1.0]), 5.0
    value, oracle = 7.0, []
    for equilibrium, length in zip(air, steps, strict=True):
        solved = solve_ivp(
            lambda t, m, e=equilibrium: (e - m) / tau, (0.0, length), [value], rtol=1e-10, atol=1e-12
        )
        value = float(solved.y[0, -1])
        oracle.append(value)
    assert moisture_response(7.0, air, tau, steps) == pytest.approx(oracle, abs=1e-8)


def test_many_instruments_at_once_are_as_one_by_one():
    rng = np.random.default_rng(7)
    air = rng.uniform(4.0, 14.0, (5, 40))
    start, tau = rng.uniform(5.0, 10.0, 5), rng.uniform(0.5, 40.0, 5)
    together = moisture_response(start, air, tau)
    assert together.shape == (5, 40)
    for i in range(5):
        assert together[i] == pytest.approx(moisture_response(start[i], air[i], tau[i]), abs=1e-12)


@given(st.floats(0.3, 300.0))
def test_a_steady_year_returns_to_its_start(tau):
    air = 8.0 + 3.0 * np.sin(np.arange(365) / 58.0)
    year = steady_year(air, tau)
    again = moisture_response(year[-1], air, tau)
    assert again == pytest.approx(year, abs=1e-9)


def test_drier_air_means_less_moisture_and_the_slower_part_less_of_it():
    fast, slow = (moisture_response(9.0, [6.0] * 5, tau)[-1] for tau in (1.0, 20.0))
    assert 6.0 < fast < slow < 9.0


@given(st.floats(0.0, 0.99), st.floats(0.3, 60.0))
def test_days_to_follow_take_the_share_back(share, tau):
    days = float(days_to_follow(share, tau))
    if days > 0.0:
        assert moisture_response(0.0, [1.0], tau, days)[0] == pytest.approx(share, abs=1e-9)


def everything(followed, ratio, **how):
    """Moisture with all of the hysteresis."""
    return 2.0 * with_hysteresis(followed, ratio, **how) - followed


YEARS = st.lists(st.floats(3.0, 16.0), min_size=8, max_size=40).map(np.array)


@given(YEARS, st.floats(0.5, 1.0), st.booleans())
def test_hysteresis_keeps_the_wood_between_wetting_and_drying(followed, ratio, repeats):
    # Wood Handbook, ch. 4 (from memory): wetting over drying is the ratio, Table 4-2 lies midway
    all_of_it = everything(followed, ratio, repeats=repeats)
    drying = followed * 2.0 / (1.0 + ratio)
    assert (all_of_it <= drying + 1e-9).all()
    assert (all_of_it >= ratio * drying - 1e-9).all()
    # between the two it stays where it was
    free = (all_of_it[1:] < drying[1:] - 1e-9) & (all_of_it[1:] > ratio * drying[1:] + 1e-9)
    assert np.diff(all_of_it)[free] == pytest.approx(np.zeros(free.sum()), abs=1e-9)


@given(YEARS)
def test_without_hysteresis_wood_follows_and_with_it_a_steady_room_leaves_it_alone(followed):
    assert with_hysteresis(followed, 1.0) == pytest.approx(followed, abs=1e-12)
    steady = np.full(30, followed[0])
    assert with_hysteresis(steady) == pytest.approx(steady, abs=1e-12)


@given(YEARS)
def test_a_year_with_hysteresis_closes(followed):
    twice = with_hysteresis(np.concatenate([followed, followed]))
    once = with_hysteresis(followed)
    assert twice == pytest.approx(np.concatenate([once, once]), abs=1e-12)


def test_wood_dried_and_wetted_back_to_one_humidity_differs_by_the_ratio():
    # Wood Handbook, ch. 4 (from memory): 0.85
    swing = 9.0 + 4.0 * np.sin(2.0 * np.pi * np.arange(400) / 400.0)
    all_of_it = everything(swing, 0.85)
    wetting, drying = all_of_it[0], all_of_it[200]  # the same 9 % without hysteresis
    assert wetting / drying == pytest.approx(0.85, abs=1e-9)


@pytest.mark.parametrize(
    "call, field",
    [
        (lambda: with_hysteresis([8.0, 9.0], 0.4), "ratio"),
        (lambda: with_hysteresis([8.0, float("nan")]), "moisture"),
        (lambda: moisture_response(8.0, 9.0, 1.0), "equilibrium"),
        (lambda: moisture_response(8.0, [9.0], 0.0), "tau"),
        (lambda: moisture_response(float("nan"), [9.0], 1.0), "start"),
        (lambda: moisture_response(8.0, [9.0], 1.0, -1.0), "step"),
        (lambda: time_constant("strap"), "part"),
        (lambda: time_constant("neck", "honey"), "finish"),
        (lambda: TimeConstant(3.0, 2.0, 4.0), "tau"),
        (lambda: TimeConstant(0.0, 2.0, 4.0), "tau"),
        (lambda: days_to_follow(1.0, 2.0), "share"),
        (lambda: sine_response(-1.0), "tau"),
    ],
)
def test_bad_input_names_its_field(call, field):
    with pytest.raises(CalculationError) as caught:
        call()
    assert caught.value.field == field


def test_examples_in_the_docstrings():
    assert doctest.testmod(moisture).failed == 0
