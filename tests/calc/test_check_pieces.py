"""Check pieces: control limits against published formulae, scipy, and simulated benches."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.stats

from shimstock_calc import check_pieces as c
from shimstock_calc.errors import Contradiction, Missing, OutOfRange
from tests.reference import load

ROWS = load.rows("nist_mpc441")
MEANS = [float(row["average"]) for row in ROWS]
SPREADS = [float(row["sd_6reps"]) for row in ROWS]


def test_limits_follow_the_handbook():
    # NIST/SEMATECH e-Handbook 2.2.2.1 and 2.2.3.1; F from scipy.stats
    limits = c.control_limits(MEANS, SPREADS, 6, width=2.0)
    sd = np.std(MEANS, ddof=1)
    assert limits.upper == pytest.approx(np.mean(MEANS) + 2 * sd)
    assert limits.lower == pytest.approx(np.mean(MEANS) - 2 * sd)
    # s1 0.07871 is printed in 2.4.4 for these very days
    assert limits.repetition_sd == pytest.approx(0.07871, abs=6e-6)
    factor = scipy.stats.f.ppf(0.95, 5, 12 * 5)
    assert limits.spread_upper == pytest.approx(limits.repetition_sd * factor**0.5)


def test_a_days_reading_is_judged_by_its_mean_and_its_spread():
    limits = c.control_limits(MEANS, SPREADS, 6)
    assert c.check_reading(limits.mean, limits, 0.05) == "in control"
    assert c.check_reading(limits.upper + 1e-6, limits) == "reads high"
    assert c.check_reading(limits.lower - 1e-6, limits, 0.05) == "reads low"
    assert c.check_reading(limits.mean, limits, limits.spread_upper + 1e-6) == "repeats badly"
    assert c.check_reading(99.0, limits, 9.0) == "reads high and repeats badly"


def test_false_alarms_are_as_rare_as_stated():
    rng = np.random.default_rng(9)
    alarms = []
    for _ in range(400):
        history = rng.normal(0.3, 0.03, (40, 5))
        limits = c.control_limits(history.mean(axis=1), history.std(axis=1, ddof=1), 5)
        today = rng.normal(0.3, 0.03, (20, 5))
        for day in today:
            alarms.append(c.check_reading(day.mean(), limits, day.std(ddof=1)))
    assert np.mean(["badly" in alarm for alarm in alarms]) == pytest.approx(0.05, abs=0.01)
    assert np.mean(["reads" in alarm for alarm in alarms]) < 0.01


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
