"""How often readings fall inside their forecasts, and how much a tool scatters."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from statsmodels.stats.proportion import proportion_confint

from shimstock_calc.belief.calibration import Error, coverage, noise_factor
from shimstock_calc.errors import OutOfRange

DIAL = {"repeatability": 0.02, "resolution": 0.01}


def errors(factor: float, count: int, seed: int, slips: float = 0.0) -> list[Error]:
    """Errors of a tool that scatters `factor` times what it states, beside levels of another spread each."""
    rng = np.random.default_rng(seed)
    found = []
    for level in rng.uniform(0.0, 0.02, count):
        spread = math.sqrt(level**2 + (factor * 0.02) ** 2 + 0.01**2 / 12.0)
        away = float(rng.normal(0.0, spread)) if rng.random() >= slips else float(rng.uniform(-1.0, 1.0))
        found.append(Error(away, float(level) ** 2, **DIAL))
    return found


@pytest.mark.parametrize("inside", [0, 5, 19, 20])
def test_bounds_of_a_share_are_wilsons(inside):
    distances = [0.1] * inside + [9.0] * (20 - inside)
    for each in coverage(distances):
        assert (each.inside, each.of) == (inside, 20)
        assert (each.lower, each.upper) == pytest.approx(
            proportion_confint(inside, 20, method="wilson"), abs=1e-9
        )


def test_normal_errors_fall_inside_as_often_as_stated():
    # quantiles of the normal distribution: 0.674, 1.282 and 1.960 (from memory, any table)
    distances = np.random.default_rng(5).normal(size=20_000).tolist()
    assert [each.seen for each in coverage(distances)] == pytest.approx([0.50, 0.80, 0.95], abs=0.01)


def test_without_readings_nothing_is_said():
    assert coverage([]) == ()
    assert noise_factor([]) == 1.0


@pytest.mark.parametrize("factor", [0.5, 0.75, 1.0, 2.0])
def test_ten_jobs_tell_how_much_a_tool_scatters(factor):
    found = [noise_factor(errors(factor, 200, seed)) for seed in range(20)]
    assert np.mean(found) == pytest.approx(factor, rel=0.15)
    assert np.std(found) < 0.15 * max(factor, 0.8)


def test_a_reading_that_is_simply_wrong_does_not_make_a_tool_noisy():
    found = [noise_factor(errors(1.0, 200, seed, slips=0.01)) for seed in range(20)]
    assert np.mean(found) == pytest.approx(1.0, rel=0.15)


@pytest.mark.parametrize("factor, bound", [(0.01, 0.5), (9.0, 3.0)])
def test_a_factor_stays_within_its_bounds(factor, bound):
    assert noise_factor(errors(factor, 400, 1)) == pytest.approx(bound, abs=0.12)


@given(st.permutations(errors(1.3, 30, 2)))
def test_the_order_of_readings_does_not_matter(mixed):
    assert noise_factor(mixed) == noise_factor(errors(1.3, 30, 2))


@pytest.mark.parametrize("wrong", [{"level": -1.0}, {"repeatability": -0.1}, {"resolution": -0.1}])
def test_what_cannot_be_negative_is_named(wrong):
    with pytest.raises(OutOfRange, match="must not be negative"):
        noise_factor([Error(**{"away": 0.0, "level": 0.0, **DIAL, **wrong})])
