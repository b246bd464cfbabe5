"""The pooling kernel against published shrinkage, statsmodels, and a full multivariate normal."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from statsmodels.stats.meta_analysis import combine_effects

from shimstock_calc import pooling as p
from shimstock_calc.errors import Contradiction, Missing, OutOfRange
from tests.reference import load

Y = np.array(load.column("partial_pooling_raudenbush1985", "yi"))
V = np.array(load.column("partial_pooling_raudenbush1985", "vi"))
PRIOR = p.Prior(-0.40, 0.12)


def test_published_shrunk_estimates():
    # Raudenbush & Bryk (1985); Raudenbush (2009): all 19, REML tau² 0.0188, mean 0.0837
    pooled = p.pool(Y, V)
    assert pooled.between_variance == pytest.approx(0.0188, abs=5e-5)
    assert pooled.mean == pytest.approx(0.0837, abs=5e-5)
    published = load.column("partial_pooling_raudenbush1985", "published_eb_estimate_REML")
    np.testing.assert_allclose(pooled.shrunk, published, atol=6e-5)


def test_published_moment_estimates():
    # same data, DerSimonian-Laird tau² 0.0259, mean 0.0893
    pooled = p.pool(Y, V, "dl")
    assert pooled.between_variance == pytest.approx(0.0259, abs=5e-5)
    assert pooled.mean == pytest.approx(0.0893, abs=5e-5)


samples = st.integers(2, 12).flatmap(
    lambda n: st.tuples(
        arrays(float, n, elements=st.floats(-2, 2)), arrays(float, n, elements=st.floats(0.01, 1))
    )
)


@given(samples)
def test_moment_estimates_agree_with_statsmodels(sample):
    # oracle: combine_effects of statsmodels, method "dl"
    estimates, variances = sample
    with np.errstate(all="ignore"):  # the oracle does not clamp a negative variance
        oracle = combine_effects(estimates, variances, method_re="dl")
    pooled = p.pool(estimates, variances, "dl")
    assert pooled.between_variance == pytest.approx(max(oracle.tau2, 0), abs=1e-10)
    expected = oracle.mean_effect_re if oracle.tau2 > 0 else oracle.mean_effect_fe
    assert pooled.mean == pytest.approx(expected, abs=1e-10)
    assert pooled.heterogeneity == pytest.approx(oracle.q, abs=1e-8)


@given(samples)
def test_restricted_likelihood_is_at_its_top(sample):
    estimates, variances = sample
    found = p.between_variance(estimates, variances)

    def likelihood(spread):
        w = 1 / (variances + spread)
        off = estimates - (w * estimates).sum() / w.sum()
        return 0.5 * (np.log(w).sum() - np.log(w.sum()) - (w * off**2).sum())

    trials = np.concatenate([[0], np.geomspace(1e-7, 20, 80)])
    assert likelihood(found) >= max(likelihood(each) for each in trials) - 1e-9


@given(samples, st.floats(-3, 3), st.floats(0.1, 10))
def test_shift_and_scale_carry_through(sample, shift, scale):
    estimates, variances = sample
    plain, moved = p.pool(estimates, variances), p.pool(shift + scale * estimates, scale**2 * variances)
    assert moved.mean == pytest.approx(shift + scale * plain.mean, abs=1e-4 * scale)
    assert moved.between_variance == pytest.approx(
        scale**2 * plain.between_variance, rel=1e-3, abs=1e-6 * scale**2
    )


def test_shrunk_estimates_lie_between_themselves_and_the_mean():
    pooled = p.pool(Y, V)
    assert (np.abs(pooled.shrunk - pooled.mean) <= np.abs(Y - pooled.mean)).all()
    assert (pooled.shrunk_sd < np.sqrt(V)).all()
    # the surest estimate is drawn least
    drawn = (pooled.shrunk - Y) / (pooled.mean - Y)
    assert np.argmin(drawn) == np.argmin(V)


def test_grouped_variance_is_that_within_the_groups():
    rng = np.random.default_rng(3)
    groups = np.repeat(np.arange(60), 5)
    estimates = rng.normal(0, 3.0, 60)[groups] + rng.normal(0, 0.5, 300) + rng.normal(0, 0.2, 300)
    for method in ("reml", "dl"):
        found = p.between_variance(estimates, np.full(300, 0.04), method, list(groups))
        assert found == pytest.approx(0.25, rel=0.15)


def test_groups_of_one_say_nothing_of_the_spread_within():
    assert p.between_variance([1.0, 5.0], [0.1, 0.1], groups=["a", "b"]) == 0.0


def test_without_samples_the_prior_stands():
    nested = p.pool_nested([], [], [], [], PRIOR)
    assert nested.of("any", "model") == p.Belief(-0.40, 0.12, "prior", 0)


def covariance(instruments, models, between_instruments, between_models, shop):
    """Covariance of the instruments' true values."""
    same_model = np.equal.outer(models, models)
    same = np.equal.outer(instruments, instruments)
    return shop + between_models * same_model + between_instruments * same


def test_beliefs_are_those_of_the_full_multivariate_normal():
    # oracle: conditional mean and variance of a multivariate normal, by linear algebra on the whole matrix
    rng = np.random.default_rng(11)
    instruments = np.array(["a1", "a2", "a3", "b1", "c1", "c2"])
    models = np.array(["a", "a", "a", "b", "c", "c"])
    estimates = rng.normal(-0.4, 0.15, 6)
    variances = rng.uniform(0.002, 0.03, 6)
    nested = p.pool_nested(estimates, variances, list(instruments), list(models), PRIOR)
    shop = PRIOR.shop * PRIOR.sd**2
    spreads = (nested.between_instruments, nested.between_models, shop)
    names = np.append(instruments, ["a9", "z9"])
    kinds = np.append(models, ["a", "z"])
    prior = covariance(names, kinds, *spreads)
    gain = prior[:, :6] @ np.linalg.inv(prior[:6, :6] + np.diag(variances))
    mean = PRIOR.mean + gain @ (estimates - PRIOR.mean)
    sd = np.sqrt(np.diag(prior - gain @ prior[:6]))
    for i, (name, kind) in enumerate(zip(names, kinds, strict=True)):
        belief = nested.of(name, kind)
        assert belief.mean == pytest.approx(mean[i], abs=1e-12)
        assert belief.sd == pytest.approx(sd[i], abs=1e-12)
    assert [nested.of(n, k).level for n, k in (("a1", "a"), ("a9", "a"), ("z9", "z"))] == [
        "instrument",
        "model",
        "shop",
    ]
    assert nested.models["a"].samples == 3


def test_what_is_learned_outweighs_the_prior_in_time():
    rng = np.random.default_rng(5)
    truth_model = rng.normal(-0.60, 0.05, 20)
    models = np.repeat(np.arange(20), 15)
    truth = truth_model[models] + rng.normal(0, 0.03, 300)
    estimates = truth + rng.normal(0, 0.1, 300)
    nested = p.pool_nested(estimates, np.full(300, 0.01), list(range(300)), list(models), PRIOR)
    assert nested.shop.mean == pytest.approx(-0.60, abs=0.03)
    assert nested.between_instruments**0.5 == pytest.approx(0.03, abs=0.012)
    assert nested.between_models**0.5 == pytest.approx(0.05, abs=0.025)
    errors = np.array([nested.of(i).mean for i in range(300)]) - truth
    assert np.sqrt(np.mean(errors**2)) < 0.5 * 0.1
    inside = np.abs(errors) < 1.96 * np.array([nested.of(i).sd for i in range(300)])
    assert 0.90 < inside.mean() <= 1.0


def test_samples_that_disagree_widen_the_belief():
    calm = p.pool_nested([-0.4, -0.41], [0.001, 0.001], ["i", "i"], ["m", "m"], PRIOR).of("i")
    torn = p.pool_nested([-0.1, -0.7], [0.001, 0.001], ["i", "i"], ["m", "m"], PRIOR).of("i")
    assert torn.sd > 1.5 * calm.sd


@given(st.permutations(range(8)))
def test_the_order_of_samples_does_not_matter(order):
    estimates = np.array([-0.3, -0.5, -0.4, -0.45, -0.2, -0.6, -0.35, -0.4])
    variances = np.linspace(0.01, 0.04, 8)
    instruments, models = list("aabbccdd"), list("xxxxyyyy")
    one = p.pool_nested(estimates, variances, instruments, models, PRIOR)
    other = p.pool_nested(
        estimates[list(order)],
        variances[list(order)],
        [instruments[i] for i in order],
        [models[i] for i in order],
        PRIOR,
    )
    for name in "abcd":
        assert other.of(name).mean == pytest.approx(one.of(name).mean, abs=1e-9)
        assert other.of(name).sd == pytest.approx(one.of(name).sd, abs=1e-9)


@pytest.mark.parametrize(
    "call, error, field",
    [
        (lambda: p.pool([], []), Missing, "estimates"),
        (lambda: p.pool([1.0], [0.0]), OutOfRange, "variances"),
        (lambda: p.pool([1.0, float("nan")], [1.0, 1.0]), OutOfRange, "estimates"),
        (lambda: p.pool([1.0, 2.0], [1.0]), Contradiction, "variances"),
        (lambda: p.pool([1.0], [1.0], "guess"), OutOfRange, "method"),
        (lambda: p.between_variance([1.0], [1.0], groups=[]), Contradiction, "groups"),
        (lambda: p.pool_nested([1, 2], [1, 1], ["i", "i"], ["a", "b"], PRIOR), Contradiction, "models"),
        (lambda: p.pool_nested([1, 2], [1, 1], ["i"], ["a", "b"], PRIOR), Contradiction, "groups"),
        (lambda: p.Prior(0.0, 0.0), OutOfRange, "sd"),
        (lambda: p.Prior(0.0, 1.0, 0.5, 0.5, 0.5), Contradiction, "prior"),
    ],
)
def test_bad_input_names_its_field(call, error, field):
    with pytest.raises(error) as caught:
        call()
    assert caught.value.field == field
