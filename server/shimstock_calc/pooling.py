"""Partial pooling: what many instruments say of one, and one of many. Normal estimates, normal spread."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ._checks import FloatArray, finite, positive, within
from .errors import Contradiction, Missing, OutOfRange

Method = Literal["reml", "dl"]
Groups = NDArray[np.intp]

PRIOR_WEIGHT = 4.0
"""How many instruments (or models) the stated spreads count for beside what was learned; judgement [-]."""

_GRID = 129


@dataclass(frozen=True)
class Pooled:
    """Estimates drawn toward their common mean.

    Parameters
    ----------
    mean, mean_sd : float
        Common mean and its standard error [unit of the estimates].
    between_variance : float
        tau², variance of the true values about the mean [unit squared].
    shrunk, shrunk_sd : array
        Each estimate drawn toward the mean, and its standard deviation with that of the mean [unit].
    heterogeneity : float
        Cochran's Q; about k - 1 when the estimates differ by their own errors alone [-].
    """

    mean: float
    mean_sd: float
    between_variance: float
    shrunk: FloatArray
    shrunk_sd: FloatArray
    heterogeneity: float


def _pairs(estimates: ArrayLike, variances: ArrayLike) -> tuple[FloatArray, FloatArray]:
    y = np.atleast_1d(finite(estimates, "estimates"))
    v = np.atleast_1d(positive(variances, "variances"))
    if y.ndim != 1 or y.shape != v.shape:
        raise Contradiction("variances must hold one value for each of the estimates", "variances")
    if y.size == 0:
        raise Missing("estimates must hold at least one value", "estimates")
    return y, v


def _sums(values: FloatArray, groups: Groups) -> FloatArray:
    return np.bincount(groups, weights=values).astype(np.float64)


def _score(spread: float, y: FloatArray, v: FloatArray, groups: Groups) -> tuple[float, float]:
    """Restricted log-likelihood and its slope at a variance between, one free mean for each group."""
    w = 1.0 / (v + spread)
    total = _sums(w, groups)
    off = y - (_sums(w * y, groups) / total)[groups]
    likelihood = np.log(w).sum() - np.log(total).sum() - (w * off**2).sum()
    slope = -w.sum() + (_sums(w**2, groups) / total).sum() + (w**2 * off**2).sum()
    return 0.5 * float(likelihood), 0.5 * float(slope)


def _dersimonian_laird(y: FloatArray, v: FloatArray, groups: Groups) -> float:
    w = 1.0 / v
    total = _sums(w, groups)
    off = y - (_sums(w * y, groups) / total)[groups]
    excess = (w * off**2).sum() - (y.size - total.size)
    return max(0.0, float(excess / (w.sum() - (_sums(w**2, groups) / total).sum())))


def _restricted_likelihood(y: FloatArray, v: FloatArray, groups: Groups) -> float:
    """Largest of the likelihood's peaks: its slope is bracketed on a grid, then halved to the last digit."""
    start = _dersimonian_laird(y, v, groups)
    top = max(float(np.ptp(y)) ** 2, 4.0 * start, float(v.min()) * 1e-3)
    grid = [0.0, *np.geomspace(min(float(v.min()) * 1e-4, top * 1e-6), top, _GRID)]
    slopes = [_score(spread, y, v, groups)[1] for spread in grid]
    peaks = [0.0]
    for low, high, before, after in zip(grid, grid[1:], slopes, slopes[1:], strict=False):
        if before > 0.0 >= after:
            peaks.append(_halve(low, high, y, v, groups))
    return max(peaks, key=lambda spread: _score(spread, y, v, groups)[0])


def _halve(low: float, high: float, y: FloatArray, v: FloatArray, groups: Groups) -> float:
    for _ in range(80):
        middle = 0.5 * (low + high)
        if _score(middle, y, v, groups)[1] > 0.0:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


def between_variance(
    estimates: ArrayLike,
    variances: ArrayLike,
    method: Method = "reml",
    groups: Sequence[Hashable] | None = None,
) -> float:
    """Variance of the true values about their mean, beyond the errors of the estimates.

    Parameters
    ----------
    estimates : array of shape (k,)
        Independent estimates [any unit].
    variances : array of shape (k,)
        Their error variances, above 0 [unit squared].
    method : str
        `reml`, restricted maximum likelihood, or `dl`, DerSimonian-Laird [-].
    groups : sequence of length k, optional
        Label of each estimate's group; every group then has a mean of its own and one common variance
        within groups is found [-].

    Returns
    -------
    float
        tau², 0 or more; 0 when no group holds two estimates [unit squared].

    Raises
    ------
    Missing
        When there is no estimate.
    Contradiction
        When the lists differ in length.
    OutOfRange
        When a value is not finite, a variance not above zero, or the method unknown.

    Notes
    -----
    R. DerSimonian & N. Laird, *Meta-analysis in clinical trials*, Controlled Clinical Trials 7, 177 (1986);
    S. W. Raudenbush in *The Handbook of Research Synthesis and Meta-Analysis* (2009), ch. 16, for REML.
    """
    y, v = _pairs(estimates, variances)
    labels = _labels(groups, y.size)
    if method not in ("reml", "dl"):
        raise OutOfRange(f"method must be reml or dl; not {method!r}", "method")
    if y.size <= labels.max() + 1:
        return 0.0
    return float((_restricted_likelihood if method == "reml" else _dersimonian_laird)(y, v, labels))


def _labels(groups: Sequence[Hashable] | None, count: int) -> Groups:
    if groups is None:
        return np.zeros(count, dtype=np.intp)
    if len(groups) != count:
        raise Contradiction("groups must hold one label for each of the estimates", "groups")
    first: dict[Hashable, int] = {}
    return np.array([first.setdefault(each, len(first)) for each in groups], dtype=np.intp)


def pool(estimates: ArrayLike, variances: ArrayLike, method: Method = "reml") -> Pooled:
    """Draw independent estimates toward their common mean, each as far as its own error warrants.

    Parameters
    ----------
    estimates : array of shape (k,)
        Independent estimates [any unit].
    variances : array of shape (k,)
        Their error variances, above 0 [unit squared].
    method : str
        `reml` or `dl`; see `between_variance` [-].

    Returns
    -------
    Pooled
        Mean, spread and shrunk estimates.

    Raises
    ------
    Missing, Contradiction, OutOfRange
        As `between_variance`.

    Notes
    -----
    Weights 1/(v + tau²); shrunk estimate y + v/(v + tau²)·(mean - y). S. W. Raudenbush & A. S. Bryk,
    *Empirical Bayes meta-analysis*, J. Educ. Statist. 10, 75 (1985).

    >>> pooled = pool([0.1, 0.5, 0.3], [0.01, 0.02, 0.01])
    >>> round(pooled.mean, 3), round(pooled.between_variance, 4)
    (0.283, 0.0237)
    """
    y, v = _pairs(estimates, variances)
    spread = between_variance(y, v, method)
    w = 1.0 / (v + spread)
    mean = float((w * y).sum() / w.sum())
    mean_variance = float(1.0 / w.sum())
    drawn = v * w
    plain_mean = (y / v).sum() / (1.0 / v).sum()
    return Pooled(
        mean=mean,
        mean_sd=mean_variance**0.5,
        between_variance=spread,
        shrunk=y + drawn * (mean - y),
        shrunk_sd=np.sqrt(spread * drawn + drawn**2 * mean_variance),
        heterogeneity=float(((y - plain_mean) ** 2 / v).sum()),
    )


@dataclass(frozen=True)
class Prior:
    """What is believed of one unknown instrument before anything was learned.

    Parameters
    ----------
    mean : float
        Expected value [any unit].
    sd : float
        Standard deviation of one unknown instrument about it [same unit].
    shop, models, instruments : float
        Shares of that variance: doubt about the shop's mean, spread between models, spread between the
        instruments of a model; they add up to 1 (judgement) [-].
    """

    mean: float
    sd: float
    shop: float = 1.0 / 3.0
    models: float = 1.0 / 3.0
    instruments: float = 1.0 / 3.0

    def __post_init__(self) -> None:
        finite(self.mean, "mean")
        positive(self.sd, "sd")
        shares = within((self.shop, self.models, self.instruments), "prior", 0.0, 1.0)
        if abs(float(shares.sum()) - 1.0) > 1e-9 or self.shop <= 0:
            raise Contradiction("the prior's shares must add up to 1, the shop's above 0", "prior")


@dataclass(frozen=True)
class Belief:
    """What is believed of one instrument, model, or unknown instrument.

    Parameters
    ----------
    mean, sd : float
        Expected value and standard deviation [unit of the estimates].
    level : str
        `instrument`, `model`, `shop` or `prior`: what the nearest samples belong to [-].
    samples : int
        How many samples stand at that level [-].
    """

    mean: float
    sd: float
    level: str
    samples: int


@dataclass(frozen=True)
class Nested:
    """Shop, models and instruments after pooling; made by `pool_nested`.

    Parameters
    ----------
    shop : Belief
        Of an instrument whose model was never seen [unit of the estimates].
    models : dict of label to Belief
        Of an instrument of that model that was never seen [unit of the estimates].
    instruments : dict of label to Belief
        Of that instrument [unit of the estimates].
    between_models, between_instruments : float
        Variances used [unit squared].
    """

    shop: Belief
    models: dict[Hashable, Belief]
    instruments: dict[Hashable, Belief]
    between_models: float
    between_instruments: float

    def of(self, instrument: Hashable = None, model: Hashable = None) -> Belief:
        """Return the belief about an instrument: its own, else its model's, else the shop's."""
        if instrument is not None and instrument in self.instruments:
            return self.instruments[instrument]
        if model is not None and model in self.models:
            return self.models[model]
        return self.shop


def _learned(stated: float, found: float, freedom: int) -> float:
    return (PRIOR_WEIGHT * stated + freedom * found) / (PRIOR_WEIGHT + freedom)


def _combine(y: FloatArray, v: FloatArray, groups: Groups) -> tuple[FloatArray, FloatArray]:
    precision = _sums(1.0 / v, groups)
    return _sums(y / v, groups) / precision, 1.0 / precision


def _own(y: FloatArray, v: FloatArray, groups: Groups) -> tuple[FloatArray, FloatArray]:
    """One estimate for each instrument; its variance grows when its samples disagree (Birge ratio)."""
    mean, variance = _combine(y, v, groups)
    freedom = np.maximum(np.bincount(groups) - 1, 1)
    excess = _sums((y - mean[groups]) ** 2 / v, groups) / freedom
    return mean, variance * np.maximum(excess, 1.0)


def pool_nested(
    estimates: ArrayLike,
    variances: ArrayLike,
    instruments: Sequence[Hashable],
    models: Sequence[Hashable],
    prior: Prior,
    *,
    method: Method = "reml",
) -> Nested:
    """Pool samples of many instruments: shop, then models, then instruments.

    Parameters
    ----------
    estimates : array of shape (n,)
        One sample each, possibly none [any unit].
    variances : array of shape (n,)
        Their error variances, above 0 [unit squared].
    instruments, models : sequences of length n
        Which instrument, of which model, each sample belongs to [-].
    prior : Prior
        What is believed without samples [same unit].
    method : str
        `reml` or `dl` for the two variances [-].

    Returns
    -------
    Nested
        Beliefs; ask it with `of(instrument, model)`.

    Raises
    ------
    Contradiction
        When the lists differ in length or an instrument stands under two models.
    OutOfRange
        When a value is not finite or a variance not above zero.

    Notes
    -----
    Normal at every level: sample ~ instrument ~ model ~ shop ~ prior. The variances between instruments and
    between models are those of `between_variance`, averaged with the prior's, which counts as `PRIOR_WEIGHT`
    of them, so that two instruments that happen to agree do not stop the learning. Given these, the beliefs
    are exact: sums of precisions up the tree, and down again without what came from below.
    Samples of one instrument that disagree by more than their errors widen it (R. T. Birge, *The calculation
    of errors by the method of least squares*, Phys. Rev. 40, 207 (1932)).
    """
    stated = prior.sd**2
    base = Belief(prior.mean, prior.sd, "prior", 0)
    if len(instruments) == 0 and np.size(estimates) == 0:
        return Nested(base, {}, {}, prior.models * stated, prior.instruments * stated)
    y, v = _pairs(estimates, variances)
    sample_of = _labels(instruments, y.size)
    names = list(dict.fromkeys(instruments))
    model_names = list(dict.fromkeys(models))
    model_of = _models_of(sample_of, _labels(models, y.size), len(names))
    counts = np.bincount(sample_of)
    own, own_variance = _own(y, v, sample_of)

    spread = _learned(
        prior.instruments * stated,
        between_variance(own, own_variance, method, [int(each) for each in model_of]),
        len(names) - len(model_names),
    )
    up, up_variance = _combine(own, own_variance + spread, model_of)
    wide = _learned(prior.models * stated, between_variance(up, up_variance, method), len(model_names) - 1)

    shop_precision = 1.0 / (prior.shop * stated) + (1.0 / (up_variance + wide)).sum()
    shop_sum = prior.mean / (prior.shop * stated) + (up / (up_variance + wide)).sum()
    shop = Belief(
        float(shop_sum / shop_precision),
        float((1.0 / shop_precision + wide + spread) ** 0.5),
        "shop",
        int(y.size),
    )
    # down: what the rest of the shop says of a model, and the rest of a model of an instrument
    rest = shop_precision - 1.0 / (up_variance + wide)
    rest_mean = (shop_sum - up / (up_variance + wide)) / rest
    prior_precision = 1.0 / (1.0 / rest + wide)
    model_precision = prior_precision + 1.0 / up_variance
    model_sum = prior_precision * rest_mean + up / up_variance
    model_samples = np.bincount(model_of, weights=counts)
    beliefs = {
        name: Belief(
            float(model_sum[i] / model_precision[i]),
            float((1.0 / model_precision[i] + spread) ** 0.5),
            "model",
            int(model_samples[i]),
        )
        for i, name in enumerate(model_names)
    }
    others = model_precision[model_of] - 1.0 / (own_variance + spread)
    others_mean = (model_sum[model_of] - own / (own_variance + spread)) / others
    from_model = 1.0 / (1.0 / others + spread)
    precision = from_model + 1.0 / own_variance
    mean = (from_model * others_mean + own / own_variance) / precision
    singles = {
        name: Belief(float(mean[i]), float(precision[i] ** -0.5), "instrument", int(counts[i]))
        for i, name in enumerate(names)
    }
    return Nested(shop, beliefs, singles, wide, spread)


def _models_of(sample_of: Groups, sample_model: Groups, count: int) -> Groups:
    model_of = np.zeros(count, dtype=np.intp)
    model_of[sample_of] = sample_model
    if (model_of[sample_of] != sample_model).any():
        raise Contradiction("an instrument belongs to one model only", "models")
    return model_of
