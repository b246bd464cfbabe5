"""Mergeable statistics against NIST certified values, numpy, and the rules of merging."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.stats
from hypothesis import given
from hypothesis import strategies as st

from shimstock_calc import summary as s
from shimstock_calc.errors import Contradiction, Missing, OutOfRange
from tests.reference import load


def univariate(name):
    return np.array(load.column("nist_strd_univariate", "y", dataset=name))


@pytest.mark.parametrize(
    "name, digits", [("Lew", 1e-13), ("NumAcc1", 1e-15), ("NumAcc2", 1e-12), ("NumAcc3", 1e-8)]
)
def test_certified_means_and_deviations(name, digits):
    # NIST StRD univariate: certified to 15 digits; NumAcc3's own digits end at 1e-9 of its deviation
    row = load.rows("nist_strd_univariate_certified", dataset=name)[0]
    moments = s.Moments.of(univariate(name))
    assert moments.count == int(row["n"])
    assert moments.mean == pytest.approx(float(row["certified_mean"]), rel=1e-15)
    assert moments.sd == pytest.approx(float(row["certified_sd"]), rel=digits)


@pytest.mark.parametrize(
    "name, digits", [("Lew", 1e-13), ("NumAcc1", 1e-14), ("NumAcc2", 1e-12), ("NumAcc3", 1e-7)]
)
def test_certified_values_survive_merging_one_by_one(name, digits):
    # NIST StRD univariate
    row = load.rows("nist_strd_univariate_certified", dataset=name)[0]
    moments = s.merge(s.Moments.of([value]) for value in univariate(name))
    assert moments.mean == pytest.approx(float(row["certified_mean"]), rel=1e-13)
    assert moments.sd == pytest.approx(float(row["certified_sd"]), rel=digits)


readings = st.lists(st.floats(-60, 60).map(lambda value: round(value, 3)), max_size=30)


@given(readings, readings, readings)
def test_merging_in_any_order_is_summing_up_at_once(one, two, three):
    whole = s.Moments.of(one + two + three)
    left = s.Moments.of(one).merged(s.Moments.of(two)).merged(s.Moments.of(three))
    right = s.Moments.of(three).merged(s.Moments.of(one).merged(s.Moments.of(two)))
    for merged in (left, right):
        assert merged.count == whole.count
        assert merged.mean == pytest.approx(whole.mean, abs=1e-9)
        assert merged.squares == pytest.approx(whole.squares, rel=1e-9, abs=1e-9)


@given(readings, readings)
def test_what_was_merged_can_be_taken_out(kept, superseded):
    both = s.Moments.of(kept).merged(s.Moments.of(superseded))
    left = both.without(s.Moments.of(superseded))
    assert left.count == len(kept)
    assert left.mean == pytest.approx(s.Moments.of(kept).mean, abs=1e-7)
    assert left.squares == pytest.approx(s.Moments.of(kept).squares, rel=1e-6, abs=1e-6)


def test_deviation_agrees_with_numpy():
    values = np.random.default_rng(0).normal(0.2, 0.05, 1000)
    moments = s.Moments.of(values)
    assert moments.sd == pytest.approx(values.std(ddof=1), rel=1e-12)
    assert moments.standard_error == pytest.approx(scipy.stats.sem(values), rel=1e-12)


def test_few_readings_have_no_deviation():
    assert s.Moments.of([]).count == 0
    assert np.isnan(s.Moments.of([]).sd)
    assert np.isnan(s.Moments.of([1.0]).standard_error)


@given(st.lists(st.floats(-2, 2), min_size=1, max_size=200), st.floats(0, 1))
def test_quantiles_lie_within_a_bin_of_the_exact_one(values, share):
    bins = s.Bins.of(values, 0.01)
    ordered = np.sort(values)
    # the exact quantile at that share lies between the two readings around it
    below = ordered[max(int(np.ceil(share * len(values))) - 1, 0)]
    above = ordered[min(int(np.floor(share * len(values))), len(values) - 1)]
    assert below - 0.01 <= bins.quantile(share) <= above + 0.01


def test_quantiles_rise_and_agree_with_numpy():
    values = np.random.default_rng(3).normal(1.7, 0.2, 20_000)
    shares = np.linspace(0, 1, 101)
    found = s.Bins.of(values, 0.01).quantile(shares)
    assert (np.diff(found) >= 0).all()
    np.testing.assert_allclose(found[1:-1], np.quantile(values, shares[1:-1]), atol=0.01)


@given(readings, readings)
def test_bins_merge_and_subtract_exactly(one, two):
    first, second = s.Bins.of(one, 0.5), s.Bins.of(two, 0.5)
    both = first.merged(second)
    assert both == second.merged(first)
    assert both == s.Bins.of(one + two, 0.5)
    assert both.without(second) == first
    assert both.count == len(one) + len(two)


def test_a_reading_stands_in_the_bin_of_its_own_value():
    bins = s.Bins.of(np.arange(-300, 301) / 100, 0.01)
    assert bins.counts == dict.fromkeys(range(-300, 301), 1)


def test_share_within_limits():
    values = np.random.default_rng(5).normal(0.2, 0.05, 20_000)
    bins = s.Bins.of(values, 0.01)
    exact = np.mean((values >= 0.10) & (values <= 0.30))
    assert bins.share_within(0.10, 0.30) == pytest.approx(exact, abs=0.005)
    assert bins.share_within(None, None) == pytest.approx(1.0)
    low, high = bins.quantile([0.1, 0.9])
    assert bins.share_within(low, high) == pytest.approx(0.8, abs=1e-6)


@pytest.mark.parametrize(
    "name, through_origin, digits",
    [("Norris", False, 1e-10), ("NoInt1", True, 1e-12), ("NoInt2", True, 1e-12)],
)
def test_certified_lines(name, through_origin, digits):
    # NIST StRD linear regression
    data = load.rows("nist_strd_linreg", dataset=name)
    x, y = [float(row["x"]) for row in data], [float(row["y"]) for row in data]
    line = s.LineSums.of(x, y).line(through_origin)
    certified = {row["term"]: row for row in load.rows("nist_strd_linreg_certified", dataset=name)}
    slope = certified["B1"]
    assert line.slope == pytest.approx(float(slope["certified_estimate"]), rel=1e-13)
    assert line.slope_sd == pytest.approx(float(slope["certified_se"]), rel=digits)
    assert line.residual_sd == pytest.approx(float(slope["certified_residual_sd"]), rel=digits)
    assert line.explained == pytest.approx(float(slope["certified_R2"]), rel=1e-12)
    if not through_origin:
        assert line.intercept == pytest.approx(float(certified["B0"]["certified_estimate"]), rel=1e-11)
        assert line.intercept_sd == pytest.approx(float(certified["B0"]["certified_se"]), rel=digits)


points = st.lists(st.tuples(st.floats(-50, 50), st.floats(-50, 50)), max_size=15)


def sums(pairs):
    return s.LineSums.of([x for x, _ in pairs], [y for _, y in pairs])


@given(points, points)
def test_line_sums_merge_and_subtract(one, two):
    both = sums(one).merged(sums(two))
    whole = sums(one + two)
    left = both.without(sums(two))
    for name in ("count", "mean_x", "mean_y", "xx", "xy", "yy"):
        assert getattr(both, name) == pytest.approx(getattr(whole, name), rel=1e-8, abs=1e-7)
        assert getattr(left, name) == pytest.approx(getattr(sums(one), name), rel=1e-6, abs=1e-6)


def test_a_line_agrees_with_scipy():
    # oracle: linregress of scipy.stats
    rng = np.random.default_rng(8)
    x = rng.normal(1e4, 3.0, 200)
    y = 0.5 - 0.4 * x + rng.normal(0, 0.1, 200)
    line, oracle = s.LineSums.of(x, y).line(), scipy.stats.linregress(x, y)
    assert line.slope == pytest.approx(oracle.slope, rel=1e-9)
    assert line.slope_sd == pytest.approx(oracle.stderr, rel=1e-6)
    assert line.intercept_sd == pytest.approx(oracle.intercept_stderr, rel=1e-6)
    assert line.explained == pytest.approx(oracle.rvalue**2, rel=1e-9)


@pytest.mark.parametrize(
    "call, error, field",
    [
        (lambda: s.Moments.of([1.0, float("nan")]), OutOfRange, "values"),
        (lambda: s.Moments.of([1.0]).without(s.Moments.of([1.0, 2.0])), Contradiction, "other"),
        (lambda: s.Moments.of([1.0, 1.1]).without(s.Moments.of([99.0])), Contradiction, "other"),
        (lambda: s.Bins.of([1.0], 0.0), OutOfRange, "width"),
        (lambda: s.Bins.of([1e9], 1e-12), OutOfRange, "width"),
        (lambda: s.Bins.of([1.0], 0.1).merged(s.Bins.of([1.0], 0.2)), Contradiction, "width"),
        (lambda: s.Bins.of([1.0], 0.1).without(s.Bins.of([2.0], 0.1)), Contradiction, "other"),
        (lambda: s.Bins.of([], 0.1).quantile(0.5), Missing, "values"),
        (lambda: s.Bins.of([1.0], 0.1).quantile(1.5), OutOfRange, "share"),
        (lambda: s.Bins.of([1.0], 0.1).share_within(2.0, 1.0), Contradiction, "lower"),
        (lambda: s.LineSums.of([1.0], [1.0, 2.0]), Contradiction, "y"),
        (lambda: s.LineSums.of([1.0, 1.0], [1.0, 2.0]).line(), Missing, "x"),
        (lambda: s.LineSums.of([], []).line(), Missing, "x"),
    ],
)
def test_bad_input_names_its_field(call, error, field):
    with pytest.raises(error) as caught:
        call()
    assert caught.value.field == field
