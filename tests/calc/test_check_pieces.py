"""Check pieces: control limits against published formulae, scipy, and simulated benches."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.stats

from shimstock_calc import check_pieces as c
from shimstock_calc.errors import Contradiction, Missing, OutOfRange
from tests.depth import amount
from tests.reference import load

ROWS = load.rows("nist_mpc441")
MEANS = [float(row["average"]) for row in ROWS]
SPREADS = [float(row["sd_6reps"]) for row in ROWS]


def test_limits_follow_the_handbook():
    # NIST/SEMATECH e-Handbook 2.2.2.1 and 2.2.3.1; t and F from scipy.stats
    limits = c.control_limits(MEANS, SPREADS, 6, width=2.0)
    sd = np.std(MEANS, ddof=1)
    beyond = scipy.stats.t.ppf(scipy.stats.norm.cdf(2), 11) * sd * (1 + 1 / 12) ** 0.5
    assert limits.upper == pytest.approx(np.mean(MEANS) + beyond)
    assert limits.lower == pytest.approx(np.mean(MEANS) - beyond)
    # with many days they are the handbook's own mean ± k·s2
    many = c.control_limits(MEANS * 400, width=2.0)
    assert many.upper - many.mean == pytest.approx(2 * np.std(MEANS * 400, ddof=1), rel=1e-3)
    # s1 0.07871 is printed in 2.4.4 for these very days
    assert limits.repetition_sd == pytest.approx(0.07871, abs=6e-6)
    factor = scipy.stats.f.ppf(0.95, 5, 12 * 5)
    assert limits.spread_upper == pytest.approx(limits.repetition_sd * factor**0.5)


def test_the_published_check_standard_of_25_days():
    # NIST/SEMATECH e-Handbook 2.6.2: s1 = 0.06139 with 125 and s2 = 0.02680 with 24 degrees of freedom
    rows = load.rows("nist_mpc62")
    means, spreads = ([float(row[name]) for row in rows] for name in ("average", "sd_6reps"))
    limits = c.control_limits(means, spreads, 6)
    assert (limits.days, limits.repetition_sd) == (25, pytest.approx(0.06139, abs=5e-6))
    assert limits.mean_sd == pytest.approx(0.02680, abs=5e-6)


def test_a_days_reading_is_judged_by_its_mean_and_its_spread():
    limits = c.control_limits(MEANS, SPREADS, 6)
    assert c.check_reading(limits.mean, limits, 0.05) == "in control"
    assert c.check_reading(limits.upper + 1e-6, limits) == "reads high"
    assert c.check_reading(limits.lower - 1e-6, limits, 0.05) == "reads low"
    assert c.check_reading(limits.mean, limits, limits.spread_upper + 1e-6) == "repeats badly"
    assert c.check_reading(99.0, limits, 9.0) == "reads high and repeats badly"


@pytest.mark.parametrize("days", [5, 8, 25])
def test_false_alarms_are_as_rare_as_stated(days, figure):
    # stated: 0.27 % of steady days beyond the limits of the mean (3 standard deviations), 1 % beyond that of
    # the spread, 1.267 % in all; one day of each simulated bench, so that days are independent
    rng, benches = np.random.default_rng(days), amount(12_000, deep=100_000)
    history = rng.normal(0.3, 0.03, (benches, days + 1, 3)) + rng.normal(0.0, 0.02, (benches, days + 1, 1))
    means, spreads = history.mean(axis=2), history.std(axis=2, ddof=1)
    alarms = 0
    for bench in range(benches):
        limits = c.control_limits(means[bench, :-1], spreads[bench, :-1], 3, alpha=0.01)
        alarms += c.check_reading(means[bench, -1], limits, spreads[bench, -1]) != "in control"
    bounds = scipy.stats.binomtest(int(alarms), benches).proportion_ci(0.999)
    stated = 1.0 - (1.0 - 0.01) * (1.0 - 2.0 * scipy.stats.norm.sf(3.0))
    assert stated == pytest.approx(0.01267, abs=5e-6)
    seen = f"{alarms / benches:.2%} false alarms, with 99.9 % {bounds.low:.2%} to {bounds.high:.2%}"
    figure(f"check pieces, limits from {days} days: {seen}")
    assert bounds.low < stated < bounds.high


def test_the_bias_is_known_as_well_as_days_and_steps_allow():
    # half a step of rounding hides when every reading is alike; scatter dithers it away (see rounding_shared)
    alike = c.control_limits([1.0] * 400, resolution=0.05, stated=1.0)
    assert alike.bias_uncertainty == pytest.approx(0.05 / 12**0.5, rel=0.01)
    rng = np.random.default_rng(3)
    read = np.round(rng.normal(1.03, 0.03, (2000, 10)) / 0.05) * 0.05
    limits = [c.control_limits(each, resolution=0.05, stated=1.0) for each in read]
    away = [(each.bias - 0.03) / each.bias_uncertainty for each in limits]
    inside = sum(abs(each) < 1.96 for each in away)
    bounds = scipy.stats.binomtest(inside, len(away)).proportion_ci(0.999)
    assert bounds.low < 0.95 < bounds.high


def test_a_coarse_tool_does_not_draw_limits_of_no_width():
    limits = c.control_limits([0.30] * 6, resolution=0.05)
    assert limits.upper - limits.lower == pytest.approx(6 * 0.05 / 12**0.5)
    assert c.check_reading(0.33, limits) == "in control"
    assert c.check_reading(0.35, limits) == "reads high"


def test_a_bias_against_the_stated_value():
    # oracle: ttest_1samp of scipy.stats
    limits = c.control_limits(MEANS, SPREADS, 6, stated=96.0)
    oracle = scipy.stats.ttest_1samp(MEANS, 96.0)
    assert limits.bias == pytest.approx(np.mean(MEANS) - 96.0)
    assert limits.bias_probability == pytest.approx(oracle.pvalue, rel=1e-9)


def test_one_reading_a_day_has_no_chart_of_spread():
    limits = c.control_limits(MEANS)
    assert (limits.repetition_sd, limits.spread_upper) == (None, None)


@pytest.mark.parametrize(
    "call, error, field",
    [
        (lambda: c.control_limits([1.0] * 4), Missing, "means"),
        (lambda: c.control_limits(MEANS, None, 6), Missing, "deviations"),
        (lambda: c.control_limits(MEANS, SPREADS[:-1], 6), Contradiction, "deviations"),
        (lambda: c.control_limits(MEANS, [-1.0] * 12, 6), OutOfRange, "deviations"),
        (lambda: c.control_limits([float("nan")] * 6), OutOfRange, "means"),
        (lambda: c.control_limits(MEANS, width=0.0), OutOfRange, "width"),
        (lambda: c.control_limits(MEANS, SPREADS, 6, alpha=0.0), OutOfRange, "alpha"),
        (lambda: c.check_reading(float("inf"), c.control_limits(MEANS)), OutOfRange, "mean"),
    ],
)
def test_bad_input_names_its_field(call, error, field):
    with pytest.raises(error) as caught:
        call()
    assert caught.value.field == field
