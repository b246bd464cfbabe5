"""Do two benches measure the same thing? Gauge repeatability and reproducibility, in numbers and in words."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import fdtrc, ndtr

from ._checks import FloatArray, finite, for_few, positive, within
from .components import NestedSpread, OneWay, crossed, nested_components, one_way
from .errors import Contradiction, Missing, OutOfRange

__all__ = [
    "POOLING_ALPHA",
    "Agreement",
    "AnovaRow",
    "NestedSpread",
    "OneWay",
    "Variances",
    "bench_agreement",
    "crossed",
    "nested_components",
    "one_way",
    "range_constants",
    "smallest_tolerance",
]

POOLING_ALPHA = 0.25
GOOD, BEARABLE = 10.0, 30.0
"""Percent of the whole spread or of the tolerance: good below the first, not enough above the second."""
SPREAD = 6.0
"""Standard deviations that a tolerance is compared with."""

AgreementMethod = Literal["anova", "average-range"]


@dataclass(frozen=True)
class AnovaRow:
    """One line of the table of variances.

    Parameters
    ----------
    source : str
        `pieces`, `benches`, `pieces × benches` or `repeats` [-].
    squares : float
        Sum of squares [unit squared].
    freedom : int
        Degrees of freedom [-].
    mean_square : float
        Sum of squares over its degrees of freedom [unit squared].
    ratio, probability : float or None
        F against the line it is tested on, and the chance of one as large; None where nothing is tested [-].
    """

    source: str
    squares: float
    freedom: int
    mean_square: float
    ratio: float | None
    probability: float | None


@dataclass(frozen=True)
class Variances:
    """Components of variance, negative ones clamped to 0.

    Parameters
    ----------
    repeatability : float
        The same bench, the same piece, again [unit squared].
    benches, interaction : float
        Between benches, and benches that differ from piece to piece [unit squared].
    pieces : float
        Between the pieces themselves [unit squared].
    """

    repeatability: float
    benches: float
    interaction: float
    pieces: float

    @property
    def reproducibility(self) -> float:
        """Benches and their interaction with the pieces together [unit squared]."""
        return self.benches + self.interaction

    @property
    def agreement(self) -> float:
        """Repeatability and reproducibility together [unit squared]."""
        return self.repeatability + self.reproducibility

    @property
    def total(self) -> float:
        """Everything [unit squared]."""
        return self.agreement + self.pieces


@dataclass(frozen=True)
class Agreement:
    """How well benches agree.

    Parameters
    ----------
    method : str
        `anova` or `average-range` [-].
    variances : Variances
        Where the spread comes from.
    table : tuple of AnovaRow
        The analysis of variance; empty for the average-range method.
    pooled : bool
        Whether the interaction was counted as repeatability [-].
    percent_of_total : float
        Spread of the measurement over the whole spread, 100·√(agreement/total) [%].
    percent_of_tolerance : float or None
        Six standard deviations of the measurement over the tolerance [%].
    classes : int or None
        How many kinds of pieces it can tell apart, 1.41·pieces/agreement, cut off; None = no end [-].
    bench_offsets : array of shape (benches,)
        By how much each bench reads above the mean of all [unit].
    offset_uncertainty : float
        Standard uncertainty of such an offset, larger for few readings [unit].
    bench_repeatability : array of shape (benches,)
        Repeatability of each bench by itself [unit].
    difference_limit : float
        Two benches' readings of one piece differ by less, 95 times in 100 [unit].
    words : tuple of str
        What it means for the shop.
    """

    method: str
    variances: Variances
    table: tuple[AnovaRow, ...]
    pooled: bool
    percent_of_total: float
    percent_of_tolerance: float | None
    classes: int | None
    bench_offsets: FloatArray
    offset_uncertainty: float
    bench_repeatability: FloatArray
    difference_limit: float
    words: tuple[str, ...]


def bench_agreement(
    readings: ArrayLike,
    *,
    method: AgreementMethod = "anova",
    tolerance: float | None = None,
    pooling_alpha: float = POOLING_ALPHA,
    benches: Sequence[str] | None = None,
    write: Callable[[float], str] = "{:.3g}".format,
) -> Agreement:
    """Judge how well benches agree, from a study in which every bench read every piece several times.

    Parameters
    ----------
    readings : array of shape (pieces, benches, trials)
        At least 2 of each; see `crossed` [any unit].
    method : str
        `anova` or `average-range` [-].
    tolerance : float, optional
        Upper minus lower limit of the quantity's spec [same unit].
    pooling_alpha : float
        The interaction is counted as repeatability when its probability lies above this, 0 to 1 [-].
    benches : sequence of str, optional
        Names for the words [-].
    write : function
        Puts a length, or whatever was read, into the words; a bare number by default [-].

    Returns
    -------
    Agreement
        Components, percentages and words.

    Raises
    ------
    Missing
        When there are fewer than two pieces, benches or trials.
    Contradiction
        When names and benches differ in number.
    OutOfRange
        When a value is not finite, nothing varies, or the tolerance is not above zero.

    Notes
    -----
    AIAG, *Measurement Systems Analysis*, 4th ed. (2010), ch. III-B: crossed two-way analysis of variance with
    random effects, and the average and range method with K1 = 1/d2 and K2, K3 = 1/d2* for any size.
    95 % difference limit 1.96·√2·√agreement as the reproducibility limit of ISO 5725-1. Uncertainty of an
    offset: see `for_few`.
    """
    table = finite(readings, "readings")
    if table.ndim != 3 or min(table.shape) < 2:
        raise Missing("readings must hold at least 2 pieces × 2 benches × 2 trials", "readings")
    names = (
        tuple(benches) if benches is not None else tuple(f"bench {n}" for n in range(1, table.shape[1] + 1))
    )
    if len(names) != table.shape[1]:
        raise Contradiction(f"benches must name all {table.shape[1]} benches", "benches")
    table = table - table.ravel()[0]
    if np.ptp(table) == 0:
        raise OutOfRange("readings are all the same: nothing can be told from them", "readings")
    if method == "anova":
        lines = _anova(table)
        alpha = float(within(pooling_alpha, "pooling_alpha", 0.0, 1.0))
        interaction = lines[2].probability
        pooled = interaction is not None and interaction > alpha
        variances = _components(table.shape, lines, pooled)
        rows = _tested(lines, pooled)
    elif method == "average-range":
        variances, rows, pooled = _average_range(table), (), True
    else:
        raise OutOfRange(f"method must be anova or average-range; not {method!r}", "method")
    spread = variances.agreement**0.5
    of_tolerance = None
    if tolerance is not None:
        of_tolerance = 100.0 * SPREAD * spread / float(positive(tolerance, "tolerance"))
    of_total = 100.0 * (variances.agreement / variances.total) ** 0.5
    classes = int(1.41 * variances.pieces**0.5 / spread) if spread > 0 else None
    offsets = table.mean(axis=(0, 2)) - table.mean()
    parts, benches_read, trials = table.shape
    freedom = parts * benches_read * (trials - 1)
    if method == "anova":
        freedom = lines[2].freedom + (freedom if pooled else 0)
    # the variance of a bench's mean over all pieces, less the part of it that is in the mean of all benches
    of_mean = variances.interaction / parts + variances.repeatability / (parts * trials)
    own = np.sqrt(table.var(axis=2, ddof=1).mean(axis=0))
    return Agreement(
        method=method,
        variances=variances,
        table=rows,
        pooled=pooled,
        percent_of_total=of_total,
        percent_of_tolerance=of_tolerance,
        classes=classes,
        bench_offsets=offsets,
        offset_uncertainty=(of_mean * (1.0 - 1.0 / benches_read) * for_few(freedom)) ** 0.5,
        bench_repeatability=own,
        difference_limit=1.96 * 2.0**0.5 * spread,
        words=_words(variances, (of_total, of_tolerance), names, offsets, write),
    )


def _row(source: str, squares: float, freedom: int) -> AnovaRow:
    return AnovaRow(source, squares, freedom, squares / freedom, None, None)


def _test(row: AnovaRow, mean_square: float, freedom: int) -> AnovaRow:
    if mean_square <= 0:
        return row
    ratio = row.mean_square / mean_square
    chance = float(fdtrc(row.freedom, freedom, ratio))
    return AnovaRow(row.source, row.squares, row.freedom, row.mean_square, ratio, chance)


def _anova(table: FloatArray) -> list[AnovaRow]:
    parts, operators, trials = table.shape
    cells = table.mean(axis=2)
    part_off = cells.mean(axis=1, keepdims=True) - cells.mean()
    operator_off = cells.mean(axis=0, keepdims=True) - cells.mean()
    rest = cells - cells.mean() - part_off - operator_off
    lines = [
        _row("pieces", float(operators * trials * (part_off**2).sum()), parts - 1),
        _row("benches", float(parts * trials * (operator_off**2).sum()), operators - 1),
        _row("pieces × benches", float(trials * (rest**2).sum()), (parts - 1) * (operators - 1)),
        _row(
            "repeats", float(((table - cells[..., np.newaxis]) ** 2).sum()), parts * operators * (trials - 1)
        ),
    ]
    lines[2] = _test(lines[2], lines[3].mean_square, lines[3].freedom)
    return lines


def _error(lines: Sequence[AnovaRow], pooled: bool) -> tuple[float, int]:
    """Mean square and freedom against which pieces and benches are tested."""
    interaction, repeats = lines[2], lines[3]
    if not pooled:
        return interaction.mean_square, interaction.freedom
    freedom = interaction.freedom + repeats.freedom
    return (interaction.squares + repeats.squares) / freedom, freedom


def _tested(lines: Sequence[AnovaRow], pooled: bool) -> tuple[AnovaRow, ...]:
    against = _error(lines, pooled)
    return (_test(lines[0], *against), _test(lines[1], *against), lines[2], lines[3])


def _components(shape: tuple[int, ...], lines: Sequence[AnovaRow], pooled: bool) -> Variances:
    parts, operators, trials = shape
    against, _ = _error(lines, pooled)
    repeats = against if pooled else lines[3].mean_square
    return Variances(
        repeatability=repeats,
        benches=max(0.0, (lines[1].mean_square - against) / (parts * trials)),
        interaction=0.0 if pooled else max(0.0, (against - repeats) / trials),
        pieces=max(0.0, (lines[0].mean_square - against) / (operators * trials)),
    )


@cache
def range_constants(size: int) -> tuple[float, float]:
    """Mean and standard deviation of the range of a normal sample, d2 and d3.

    Parameters
    ----------
    size : int
        How many readings, 2 to 100 [-].

    Returns
    -------
    tuple of two floats
        d2 and d3, in standard deviations [-].

    Raises
    ------
    OutOfRange
        When the size lies outside its range.

    Notes
    -----
    L. H. C. Tippett, *On the extreme individuals and the range of samples taken from a normal population*,
    Biometrika 17, 364 (1925), by quadrature.

    >>> d2, d3 = range_constants(3)
    >>> round(d2, 3), round(d3, 3)
    (1.693, 0.888)
    """
    count = int(within(size, "size", 2, 100))
    low = np.linspace(-8.5, 8.5, 681)
    below = ndtr(low)
    mean = np.trapezoid(1.0 - below**count - ndtr(-low) ** count, low)
    gap = np.linspace(0.0, 17.0, 681)[:, np.newaxis]
    top = ndtr(low + gap)
    inner: FloatArray = np.asarray(
        np.trapezoid(1.0 - top**count - ndtr(-low) ** count + (top - below) ** count, low, axis=1)
    )
    # the outer integrand ends flat far out but starts at the mean range: Simpson's rule there
    square = 2.0 * float(
        (inner[0:-1:2] + 4.0 * inner[1::2] + inner[2::2]).sum() * (gap[1, 0] - gap[0, 0]) / 3.0
    )
    return float(mean), float(np.sqrt(square - mean**2))


def _single_range_factor(size: int) -> float:
    """K2 and K3: 1/d2* = 1/√(d2² + d3²), a sample's range to its sd, to the four printed places."""
    d2, d3 = range_constants(size)
    return round(float((d2**2 + d3**2) ** -0.5), 4)


def _average_range(table: FloatArray) -> Variances:
    parts, operators, trials = table.shape
    repeats = float(np.ptp(table, axis=2).mean()) * round(1.0 / range_constants(trials)[0], 4)
    between = float(np.ptp(table.mean(axis=(0, 2)))) * _single_range_factor(operators)
    pieces = float(np.ptp(table.mean(axis=(1, 2)))) * _single_range_factor(parts)
    return Variances(
        repeatability=repeats**2,
        benches=max(0.0, between**2 - repeats**2 / (parts * trials)),
        interaction=0.0,
        pieces=pieces**2,
    )


def smallest_tolerance(agreement_sd: ArrayLike, percent: float = BEARABLE) -> FloatArray:
    """Narrowest tolerance that a measurement can serve.

    Parameters
    ----------
    agreement_sd : float or array
        Standard deviation of repeatability and reproducibility together [any unit].
    percent : float
        Share of the tolerance that six of them may take, above 0 [%].

    Returns
    -------
    float or array
        Upper minus lower limit [same unit].

    Raises
    ------
    OutOfRange
        When a value is not above zero.

    Notes
    -----
    Inverse of `percent_of_tolerance`.

    >>> round(float(smallest_tolerance(0.01)), 3)
    0.2
    """
    return SPREAD * positive(agreement_sd, "agreement_sd") * 100.0 / positive(percent, "percent", "%")


def _grade(percent: float) -> str:
    if percent < GOOD:
        return "good"
    return "usable with care" if percent <= BEARABLE else "not good enough"


def _words(
    variances: Variances,
    percents: tuple[float, float | None],
    names: Sequence[str],
    offsets: FloatArray,
    write: Callable[[float], str],
) -> tuple[str, ...]:
    of_total, of_tolerance = percents
    told = [
        f"Against the differences between the pieces: {of_total:.1f} % of the whole spread is the "
        f"measurement's, {_grade(of_total)}."
    ]
    if of_tolerance is None:
        told.append("Against the spec: no tolerance was given.")
    else:
        told.append(
            f"Against the spec: the measurement takes {of_tolerance:.1f} % of the tolerance, "
            f"{_grade(of_tolerance)}."
        )
    if variances.agreement == 0.0:
        told.append("No reading of a piece differed from another: a finer tool would tell more.")
        return tuple(told)
    limit = 1.96 * 2.0**0.5 * variances.agreement**0.5
    told.append(f"Two benches reading the same piece differ by less than {write(limit)}, 95 times in 100.")
    if variances.reproducibility > variances.repeatability:
        high, low = int(np.argmax(offsets)), int(np.argmin(offsets))
        told.append(
            f"Most of it lies between the benches ({names[high]} reads highest, {names[low]} lowest, "
            f"{write(offsets[high] - offsets[low])} apart): compare tools and habits."
        )
    else:
        told.append("Most of it lies within one bench: repeat the reading, or take a finer tool.")
    if variances.interaction > 0:
        told.append("Benches differ from piece to piece: look at how each holds the instrument.")
    return tuple(told)
