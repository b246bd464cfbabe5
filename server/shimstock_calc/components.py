"""Where variance comes from: one-way groups, and days within runs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import fdtrc

from ._checks import FloatArray, finite, whole, within
from .errors import Contradiction, Missing


@dataclass(frozen=True)
class OneWay:
    """Analysis of variance of readings in groups.

    Parameters
    ----------
    between, within : float
        Sums of squares [unit squared].
    between_freedom, within_freedom : int
        Degrees of freedom [-].
    ratio, probability : float
        F = mean square between over within, and the chance of one as large without any difference; NaN when
        the groups have no spread at all [-].
    within_sd : float
        Standard deviation within groups [unit].
    between_variance : float
        Variance between groups beyond that, 0 or more [unit squared].
    explained : float
        Share of the whole sum of squares that lies between groups; NaN when nothing varies [-].
    """

    between: float
    within: float
    between_freedom: int
    within_freedom: int
    ratio: float
    probability: float
    within_sd: float
    between_variance: float
    explained: float


def one_way(groups: Sequence[ArrayLike]) -> OneWay:
    """Split the variance of readings into that between groups and that within.

    Parameters
    ----------
    groups : sequence of arrays
        Readings group by group; sizes may differ [any unit].

    Returns
    -------
    OneWay
        Sums of squares, F, and variance components.

    Raises
    ------
    Missing
        When there are fewer than two groups, an empty one, or no group with two readings.
    OutOfRange
        When a reading is not finite.

    Notes
    -----
    R. A. Fisher's analysis of variance; a negative component is clamped to 0. All readings are taken from the
    first one, so that a large common part costs no digits.

    >>> split = one_way([[1.0, 2.0, 3.0], [2.0, 3.0, 4.0]])
    >>> split.between, split.within, split.ratio
    (1.5, 4.0, 1.5)
    """
    values = [np.atleast_1d(finite(group, "groups")) for group in groups]
    if len(values) < 2 or any(group.size == 0 for group in values):
        raise Missing("groups must hold at least two groups, none of them empty", "groups")
    sizes = np.array([group.size for group in values])
    inner = int(sizes.sum() - sizes.size)
    if inner < 1:
        raise Missing("at least one group must hold two readings", "groups")
    start = values[0][0]
    values = [group - start for group in values]
    means = np.array([group.mean() for group in values])
    within_ss = float(sum(((group - mean) ** 2).sum() for group, mean in zip(values, means, strict=True)))
    grand = float((sizes * means).sum() / sizes.sum())
    between_ss = float((sizes * (means - grand) ** 2).sum())
    outer = sizes.size - 1
    between_ms, within_ms = between_ss / outer, within_ss / inner
    typical = (sizes.sum() - (sizes**2).sum() / sizes.sum()) / outer
    ratio = between_ms / within_ms if within_ms > 0 else float("nan")
    whole_ss = between_ss + within_ss
    return OneWay(
        between=between_ss,
        within=within_ss,
        between_freedom=outer,
        within_freedom=inner,
        ratio=ratio,
        probability=float(fdtrc(outer, inner, ratio)),
        within_sd=within_ms**0.5,
        between_variance=max(0.0, float((between_ms - within_ms) / typical)),
        explained=between_ss / whole_ss if whole_ss > 0 else float("nan"),
    )


@dataclass(frozen=True)
class NestedSpread:
    """Spread of repeated measurements: repetitions within days within runs.

    Parameters
    ----------
    repetition_sd : float
        Pooled standard deviation of the repetitions, s1 [unit].
    day_average_sd, run_average_sd : float
        Standard deviations of day averages within runs, s2, and of run averages, s3; NaN with one run [unit].
    day_variance, run_variance : float
        Components as computed, perhaps negative; NaN with one run [unit squared].
    day_sd, run_sd : float
        Their square roots, negative ones clamped to 0 [unit].
    """

    repetition_sd: float
    day_average_sd: float
    run_average_sd: float
    day_variance: float
    run_variance: float
    day_sd: float
    run_sd: float


def nested_components(averages: ArrayLike, deviations: ArrayLike, repetitions: int) -> NestedSpread:
    """Split the spread of a check piece's readings into repetition, day and run.

    Parameters
    ----------
    averages : array of shape (runs, days)
        Average of each day's repetitions [any unit].
    deviations : array of shape (runs, days)
        Standard deviation of each day's repetitions [same unit].
    repetitions : int
        How many repetitions a day, at least 2 [-].

    Returns
    -------
    NestedSpread
        Standard deviations and components.

    Raises
    ------
    Missing
        When there are fewer than two days in a run.
    Contradiction
        When the two arrays differ in shape.
    OutOfRange
        When a value is not finite or a deviation negative.

    Notes
    -----
    NIST/SEMATECH e-Handbook of Statistical Methods 2.4.4: variance between days s2² - s1²/J, between runs
    s3² - s2²/K; a negative one is clamped to 0.
    """
    count = whole(repetitions, "repetitions", 2, 1000)
    means, spreads = (
        np.atleast_2d(finite(averages, "averages")),
        np.atleast_2d(within(deviations, "deviations", 0.0)),
    )
    if means.shape != spreads.shape or means.ndim != 2:
        raise Contradiction("deviations must have the same runs and days as averages", "deviations")
    runs, days = means.shape
    if days < 2:
        raise Missing("a run needs at least two days", "averages")
    first = float(np.sqrt((spreads**2).mean()))
    second = float(np.sqrt(means.var(axis=1, ddof=1).mean()))
    third = float(means.mean(axis=1).std(ddof=1)) if runs > 1 else float("nan")
    day = second**2 - first**2 / count
    run = third**2 - second**2 / days
    return NestedSpread(first, second, third, day, run, max(day, 0.0) ** 0.5, _root(run))


def _root(variance: float) -> float:
    return float("nan") if np.isnan(variance) else max(variance, 0.0) ** 0.5


def crossed(rows: Sequence[tuple[str, str, float]]) -> tuple[FloatArray, tuple[str, ...], tuple[str, ...]]:
    """Arrange a study's readings as pieces × benches × trials.

    Parameters
    ----------
    rows : sequence of (piece, bench, reading)
        Every reading once, trials in the order taken [-, -, any unit].

    Returns
    -------
    tuple of array of shape (pieces, benches, trials), names of pieces, names of benches
        In the order in which they first come [unit of the readings].

    Raises
    ------
    Missing
        When there is no reading, or a bench has not read a piece as often as the others.
    OutOfRange
        When a reading is not finite.
    """
    if not rows:
        raise Missing("a study needs readings", "readings")
    pieces = tuple(dict.fromkeys(row[0] for row in rows))
    benches = tuple(dict.fromkeys(row[1] for row in rows))
    cells: dict[tuple[str, str], list[float]] = {}
    for piece, bench, reading in rows:
        cells.setdefault((piece, bench), []).append(float(finite(reading, "readings")))
    trials = max(len(cell) for cell in cells.values())
    for piece in pieces:
        for bench in benches:
            had = len(cells.get((piece, bench), ()))
            if had != trials:
                raise Missing(f"{bench} has read {piece} {had} times, and {trials} are needed", "readings")
    table = np.array([[cells[piece, bench] for bench in benches] for piece in pieces])
    return table, pieces, benches
