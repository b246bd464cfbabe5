"""Probability of conformity against JCGM 106, scipy, and a bench's own tools."""

from __future__ import annotations

import math

import numpy as np
import pytest
import scipy.stats
from hypothesis import given
from hypothesis import strategies as st

from shimstock_calc import conformity as c
from shimstock_calc.errors import Contradiction, Missing, OutOfRange
from tests.reference import load


@pytest.mark.parametrize("row", load.rows("conformity"), ids=lambda row: row["case"])
def test_published_probabilities(row):
    # JCGM 106:2012 clause 7, see tests/reference/README.md; printed to two digits
    lower = float(row["T_L"]) if row["T_L"] else None
    upper = float(row["T_U"]) if row["T_U"] else None
    probability = c.probability_in_spec(float(row["estimate_y"]), lower, upper, float(row["u"]))
    assert probability == pytest.approx(float(row["published_pc"]), abs=0.005)


def test_the_two_sided_example_to_four_digits():
    # JCGM 106:2012 clause 7, exact arithmetic
    assert c.probability_in_spec(13.6, 12.5, 16.3, 1.8) == pytest.approx(0.6626, abs=5e-5)


@given(st.floats(-5, 5), st.floats(-3, 3), st.floats(0.01, 4), st.floats(0.05, 3))
def test_normal_probability_agrees_with_scipy(value, lower, width, u):
    # oracle: norm of scipy.stats
    error = scipy.stats.norm(loc=value, scale=u)
    expected = error.cdf(lower + width) - error.cdf(lower)
    assert c.probability_in_spec(value, lower, lower + width, u) == pytest.approx(expected, abs=1e-12)
    assert c.probability_in_spec(value, lower, None, u) == pytest.approx(error.sf(lower), abs=1e-12)
    assert c.probability_in_spec(value, None, lower, u) == pytest.approx(error.cdf(lower), abs=1e-12)


@given(st.floats(-5, 5), st.floats(-3, 3), st.floats(0.01, 4), st.floats(0.05, 3))
def test_rectangular_probability_agrees_with_scipy(value, lower, width, step):
    # oracle: uniform of scipy.stats
    error = scipy.stats.uniform(loc=value - step / 2, scale=step)
    expected = error.cdf(lower + width) - error.cdf(lower)
    assert c.probability_in_spec(value, lower, lower + width, resolution=step) == pytest.approx(
        expected, abs=1e-12
    )


@pytest.mark.parametrize(
    "repeatability, resolution, expected",
    [
        (0.03, 0.05, 0.03),
        (0.01, 0.05, 0.05 / math.sqrt(12)),
        (None, 0.25, 0.25 / math.sqrt(12)),
        (0.3, None, 0.3),
    ],
)
def test_uncertainty_is_the_larger_of_scatter_and_step(repeatability, resolution, expected):
    # JCGM 100:2008 F.2.2.1
    assert c.standard_uncertainty(repeatability, resolution) == pytest.approx(expected)


def test_a_converted_reading_carries_its_factor():
    assert c.standard_uncertainty(0.02, 0.01, factor=-1.473) == pytest.approx(0.02946, abs=1e-9)


def test_repeating_helps_down_to_the_resolution():
    spread = c.standard_uncertainty(0.03, 0.05, repeats=np.array([1, 4, 9]))
    np.testing.assert_allclose(spread, [0.03, 0.015, 0.05 / math.sqrt(12)])


@pytest.mark.parametrize(
    "target, half, u, low, high",
    [
        # computed, JCGM 106:2012 7.3 with 95 %, for a bench's tools and the demo shop's limits
        (0.20, 0.10, 0.03, 0.150, 0.250),
        (1.70, 0.25, 0.08, 1.59, 1.81),
        (2.40, 0.30, 0.115, 2.29, 2.51),
        (0.0, 3.0, 1.0, -1.35, 1.35),
    ],
)
def test_bands_that_a_tool_can_call_in_spec(target, half, u, low, high):
    first, last = c.surely_in_spec(target - half, target + half, u)
    # rounded inward to hundredths, so that every place shown is sure
    assert math.ceil(first * 100) / 100 == low
    assert math.floor(last * 100) / 100 == high
    assert c.probability_in_spec([first, last], target - half, target + half, u) == pytest.approx(0.95)


@given(st.floats(-5, 5), st.floats(0.2, 4), st.floats(0.01, 3), st.floats(0.55, 0.999))
def test_the_band_is_the_inverse_of_the_probability(lower, width, u, sure):
    first, last = c.surely_in_spec(lower, lower + width, u, sure)
    if np.isnan(first):
        assert c.probability_in_spec(lower + width / 2, lower, lower + width, u) < sure
        assert u > c.largest_uncertainty(lower, lower + width, sure) - 1e-12
    else:
        assert c.probability_in_spec(first, lower, lower + width, u) == pytest.approx(sure, abs=1e-9)
        assert first + last == pytest.approx(2 * lower + width, abs=1e-9)
        assert u <= c.largest_uncertainty(lower, lower + width, sure) + 1e-12


def test_one_sided_bands_keep_their_open_side():
    first, last = c.surely_in_spec(2.0, None, 0.1)
    assert first == pytest.approx(2.0 + 1.6448536 * 0.1)
    assert last == np.inf
    first, last = c.surely_in_spec([2.0, 1.0], [3.0, 1.1], 0.1)
    assert np.isnan(first).tolist() == [False, True]


@pytest.mark.parametrize(
    "probability, word",
    [
        (1.0, "in spec"),
        (0.95, "in spec"),
        (0.9499, "too close to call"),
        (0.0501, "too close to call"),
        (0.05, "out of spec"),
        (0.0, "out of spec"),
    ],
)
def test_verdicts_at_their_edges(probability, word):
    assert c.verdict(probability) == word


def test_cents_readings_of_a_restrung_guitar():
    # limits ± 3 c, repeatability 1.0 c (common practice, no published source)
    probability = c.probability_in_spec([2.2, 5.5, 1.8, -6.0], -3.0, 3.0, 1.0)
    np.testing.assert_allclose(probability[[0, 2]], [0.79, 0.88], atol=0.005)
    assert c.verdicts(probability).tolist() == [
        "too close to call",
        "out of spec",
        "too close to call",
        "out of spec",
    ]


def test_a_finer_tool_makes_a_good_reading_surer():
    spread = np.array([0.02, 0.05, 0.1, 0.2])
    probability = c.probability_in_spec(0.2, 0.1, 0.3, spread)
    assert (np.diff(probability) < 0).all()


def test_zero_or_less_is_out_of_spec_only_when_nothing_kinder_would_pass():
    assert c.verdict_at_most(0.0, 0.10, 0.30, 0.03) == "out of spec"
    assert c.verdict_at_most(0.0, 0.02, 0.30, 0.03) == "too close to call"
    assert c.verdict_at_most(0.0, -0.10, 0.10, 0.03) == "too close to call"
    assert c.verdict_at_most(0.0, None, 0.10, 0.03) == "too close to call"
    assert c.verdict_at_most(0.0, 0.10, None, 0.03) == "out of spec"


def test_repeats_that_decide():
    needed = c.repeats_to_decide(2.2, -3.0, 3.0, 1.0)
    assert needed is not None
    chances = c.probability_in_spec(2.2, -3.0, 3.0, c.standard_uncertainty(1.0, repeats=[needed - 1, needed]))
    assert chances[0] < 0.95 <= chances[1]
    assert c.repeats_to_decide(0.299, 0.1, 0.3, 0.03, resolution=0.05) is None


def test_a_hopeless_reading_keeps_its_digits():
    # oracle: norm of scipy.stats
    expected = scipy.stats.norm.sf(20.0)
    assert c.probability_in_spec(0.0, 20.0, 40.0, 1.0) == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize(
    "call, error, field",
    [
        (c.standard_uncertainty, Missing, "repeatability"),
        (lambda: c.standard_uncertainty(0.0), OutOfRange, "repeatability"),
        (lambda: c.standard_uncertainty(None, -1.0), OutOfRange, "resolution"),
        (lambda: c.probability_in_spec(1.0, None, None, 0.1), Missing, "lower"),
        (lambda: c.probability_in_spec(1.0, 2.0, 1.0, 0.1), Contradiction, "lower"),
        (lambda: c.probability_in_spec(1.0, 0.0, 1.0), Missing, "uncertainty"),
        (lambda: c.probability_in_spec(float("nan"), 0.0, 1.0, 0.1), OutOfRange, "value"),
        (lambda: c.probability_in_spec(1.0, float("inf"), None, 0.1), OutOfRange, "lower"),
        (lambda: c.probability_in_spec(1.0, 0.0, 1.0, 0.0), OutOfRange, "uncertainty"),
        (lambda: c.verdict(1.1), OutOfRange, "probability"),
        (lambda: c.verdict(0.9, 0.5), OutOfRange, "sure"),
    ],
)
def test_bad_input_names_its_field(call, error, field):
    with pytest.raises(error) as caught:
        call()
    assert caught.value.field == field
