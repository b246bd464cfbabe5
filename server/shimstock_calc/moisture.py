"""How slowly wood follows its air: time constants by part and finish, and the lagged moisture."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from ._checks import FloatArray, finite, positive, within
from ._tables import table
from .errors import Contradiction, Missing, OutOfRange

YEAR = 365.25  # days
REFERENCE_FINISH = ("lacquer", 2)  # what the finished rows of the table stand for; slab diffusion agrees
CLOSED_CASE = "case around the instrument"
BARE_SHARE = {"acoustic top": 0.5}  # share of the surface that no finish covers: a top is bare inside
SORPTION_RATIO = 0.85
"""Moisture of wood that took it up over that of wood that gave it off, in the same air: Wood Handbook, ch. 4,
sorption hysteresis (from memory) [-]."""


@dataclass(frozen=True)
class TimeConstant:
    """Days in which a part makes good 63 % of a change of its air: lowest, likeliest and highest [days]."""

    low: float
    mid: float
    high: float

    def __post_init__(self) -> None:
        for name in ("low", "mid", "high"):
            within(positive(getattr(self, name), "tau", "days"), "tau", None, 36525.0, "days")
        if not self.low <= self.mid <= self.high:
            raise Contradiction("tau must rise from its low to its middle and its high value", "tau")

    def scaled(self, factor: float) -> TimeConstant:
        """Return the same range times a factor [-], to two digits: more than that is not known of it."""
        low, mid, high = (float(f"{days * factor:.2g}") for days in (self.low, self.mid, self.high))
        return TimeConstant(low, mid, high)

    def plus(self, other: TimeConstant) -> TimeConstant:
        """Return the range of two delays after each other."""
        return TimeConstant(self.low + other.low, self.mid + other.mid, self.high + other.high)

    def as_array(self) -> FloatArray:
        """Return low, mid, high as an array [days]."""
        return np.array([self.low, self.mid, self.high])


def part_names() -> list[str]:
    """Parts that `time_constant` knows.

    Returns
    -------
    list of str
        In the table's order.
    """
    names = dict.fromkeys(row["part"] for row in table("moisture_response"))
    return [name for name in names if name != CLOSED_CASE]


def finish_names() -> list[tuple[str, int]]:
    """Finishes that `time_constant` knows, with their coats.

    Returns
    -------
    list of tuple of str and int
        From the most open to the tightest.
    """
    rows = sorted(table("finish_time_constants"), key=lambda row: float(row["tau_days"]))
    return [(row["finish"], int(row["coats"])) for row in rows]


def finish_time_constant(finish: str, coats: int | None = None) -> float:
    """Time constant of the handbook's test block under a finish.

    Parameters
    ----------
    finish : str
        As in `finish_names`; `none` for bare wood.
    coats : int, optional
        When the table holds several; the nearest one is taken; by default the first.

    Returns
    -------
    float
        [days]

    Raises
    ------
    Missing
        When the finish is not in the table.

    Notes
    -----
    Joint first-order fit to the moisture-excluding effectiveness of *Wood Handbook*, USDA FPL-GTR-190 (2010),
    Table 16-3.

    >>> finish_time_constant("lacquer")
    4.7
    """
    rows = [row for row in table("finish_time_constants") if row["finish"] == finish.strip().casefold()]
    if not rows:
        names = ", ".join(dict.fromkeys(name for name, _ in finish_names()))
        raise Missing(f"finish must be one of {names}; {finish!r} was given", "finish")
    if coats is not None:
        rows.sort(key=lambda row: abs(int(row["coats"]) - coats))
    return float(rows[0]["tau_days"])


def time_constant(
    part: str, finish: str | None = None, coats: int | None = None, in_case: bool = False
) -> TimeConstant:
    """How slowly a part of an instrument follows its air.

    Parameters
    ----------
    part : str
        As in `part_names`: neck, fingerboard, acoustic top, solid body.
    finish : str, optional
        As in `finish_names`; by default what the part commonly wears.
    coats : int, optional
        Of that finish.
    in_case : bool
        Whether it lives in a closed case, which adds its own delay.

    Returns
    -------
    TimeConstant
        Low, mid, high [days].

    Raises
    ------
    Missing
        When part or finish is not in the tables.

    Notes
    -----
    Derived from slab diffusion, tau = L^2 / (pi^2 D) with D = 1e-10 m2/s (J. Crank, *The Mathematics of
    Diffusion*), and *Wood Handbook* Table 16-3; no published figure for an instrument was found. Another
    finish scales the part's range by its row of the finish table over that of two coats of lacquer (over
    bare wood for a bare part). A top is bare inside, so a finish acts on half of its surface; bare and oiled
    necks have a row of their own.

    >>> time_constant("neck")
    TimeConstant(low=7.0, mid=19.0, high=60.0)
    >>> time_constant("neck", "shellac").mid
    34.0
    """
    name = part.strip().casefold()
    if name not in part_names():
        raise Missing(f"part must be one of {', '.join(part_names())}; {part!r} was given", "part")
    rows = [row for row in table("moisture_response") if row["part"] == name]
    row = rows[0]
    if finish is not None and len(rows) > 1 and _is_open(finish):
        row, finish = rows[1], None
    found = _range(row)
    if finish is not None:
        found = found.scaled(_finish_factor(row, finish, coats))
    if in_case:
        case = next(row for row in table("moisture_response") if row["part"] == CLOSED_CASE)
        found = found.plus(_range(case))
    return found


def _range(row: dict[str, str]) -> TimeConstant:
    return TimeConstant(float(row["tau_days_low"]), float(row["tau_days"]), float(row["tau_days_high"]))


def _is_open(finish: str) -> bool:
    """Whether the table's row of unfinished or oiled wood speaks of it."""
    finish_time_constant(finish)
    return finish.strip().casefold() == "none" or finish.strip().casefold().endswith(" oil")


def _finish_factor(row: dict[str, str], finish: str, coats: int | None) -> float:
    """Ratio of the delays under the finish named and under the one the row stands for."""
    bare = finish_time_constant("none")
    worn = bare if row["finish"].startswith("bare") else finish_time_constant(*REFERENCE_FINISH)
    open_share = BARE_SHARE.get(row["part"], 0.0)

    def pace(tau: float) -> float:
        return open_share / bare + (1.0 - open_share) / tau

    return pace(worn) / pace(finish_time_constant(finish, coats))


def moisture_response(
    start: ArrayLike, equilibrium: ArrayLike, tau: ArrayLike, step: ArrayLike = 1.0
) -> FloatArray:
    """Moisture of wood that follows its air with a lag.

    Parameters
    ----------
    start : float or array, shape (…)
        Moisture before the first step [% MC].
    equilibrium : array, shape (…, steps)
        Moisture that the air of each step would settle the wood at [% MC].
    tau : float or array, shape (…), broadcast with `start`
        Time constant; above 0 [days].
    step : float or array, shape (steps,)
        Length of each step; above 0 [days].

    Returns
    -------
    array, shape (…, steps)
        Moisture at the end of each step [% MC].

    Raises
    ------
    OutOfRange
        When an input is not finite or a time is not above 0.

    Notes
    -----
    First order: M(t+dt) = EMC + (M - EMC) exp(-dt/tau); exact when the air is constant within a step.

    >>> round(float(moisture_response(6.0, [10.0], 2.0, 2.0)[0]), 3)
    8.528
    """
    air = finite(equilibrium, "equilibrium")
    if air.ndim == 0:
        raise OutOfRange("equilibrium must be a list, one value a step", "equilibrium")
    begin = finite(start, "start")
    slow = positive(tau, "tau", "days")
    shape = np.broadcast_shapes(begin.shape, slow.shape, air.shape[:-1])
    length = np.broadcast_to(positive(step, "step", "days"), air.shape[-1:])
    moisture = np.broadcast_to(begin, shape).copy()
    slow = np.broadcast_to(slow, shape)
    out = np.empty((air.shape[-1], *shape))
    even = bool((length == length[0]).all()) if length.size else True
    keep = np.exp(-length[0] / slow) if even and length.size else slow
    for i in range(air.shape[-1]):
        if not even:
            keep = np.exp(-length[i] / slow)
        moisture = air[..., i] + (moisture - air[..., i]) * keep
        out[i] = moisture
    return np.moveaxis(out, 0, -1)


def steady_year(equilibrium: ArrayLike, tau: ArrayLike) -> FloatArray:
    """Moisture of wood that has lived through the same year many times.

    Parameters
    ----------
    equilibrium : array, shape (…, days)
        A whole year, one value a day [% MC].
    tau : float or array, shape (…), broadcast
        Time constant; above 0 [days].

    Returns
    -------
    array, shape (…, days)
        Moisture at the end of each day [% MC].

    Raises
    ------
    OutOfRange
        When an input is not finite or tau is not above 0.

    Notes
    -----
    The start is the one that the year returns to: with M_year = a M_0 + b and a = exp(-days/tau), M_0 = b /
    (1 - a).

    >>> round(float(steady_year([8.0] * 365, 19.0)[100]), 9)
    8.0
    """
    air = finite(equilibrium, "equilibrium")
    slow = positive(tau, "tau", "days")
    shape = np.broadcast_shapes(slow.shape, air.shape[:-1])
    from_zero = moisture_response(np.zeros(shape), air, slow)[..., -1]
    start = from_zero / -np.expm1(-air.shape[-1] / slow)
    return moisture_response(start, air, slow)


def with_hysteresis(
    moisture: ArrayLike, ratio: float = SORPTION_RATIO, *, repeats: bool = True
) -> FloatArray:
    """Moisture of wood that keeps some of it for a while when its air turns.

    Parameters
    ----------
    moisture : array, shape (…, days)
        What it would have without hysteresis, one value a day [% MC].
    ratio : float
        Moisture of wood that took it up over that of wood that gave it off, in the same air; 1 = no
        hysteresis; 0.5 to 1 [-].
    repeats : bool
        Whether the days are a year that repeats; else they begin without hysteresis.

    Returns
    -------
    array, shape (…, days)
        [% MC]

    Raises
    ------
    OutOfRange
        When the ratio lies outside its bounds or a moisture is not finite.

    Notes
    -----
    *Wood Handbook*, ch. 4 (from memory): the ratio is about 0.85, and Table 4-2, with it Eq. (4-5), lies
    midway between the two. With all of the hysteresis the moisture would stay where it is between the two
    curves, the flattest scanning curve that there can be; with none of it, it would follow. The answer lies
    halfway, and the truth anywhere between the two (judgement).

    >>> swing = 8.0 + 2.0 * np.sin(2.0 * np.pi * np.arange(365) / 365.0)
    >>> round(float(np.ptp(swing)), 2), round(float(np.ptp(with_hysteresis(swing))), 2)
    (4.0, 3.35)
    """
    none = np.ascontiguousarray(np.moveaxis(finite(moisture, "moisture"), -1, 0))  # day by day
    part = float(within(ratio, "ratio", 0.5, 1.0))
    least, most = none * (2.0 * part / (1.0 + part)), none * (2.0 / (1.0 + part))
    stays = none[-1 if repeats else 0]
    everything = np.empty_like(none)
    for _ in range(2 if repeats else 1):  # a first year finds where the loop begins
        for day in range(none.shape[0]):
            stays = np.minimum(np.maximum(stays, least[day]), most[day])
            everything[day] = stays
    return np.moveaxis(0.5 * (none + everything), 0, -1)


def sine_response(tau: ArrayLike, period: ArrayLike = YEAR) -> tuple[FloatArray, FloatArray]:
    """What a lag makes of a regular swing of the air.

    Parameters
    ----------
    tau : float or array
        Time constant; above 0 [days].
    period : float or array, broadcast
        Of the swing; above 0 [days].

    Returns
    -------
    tuple of array
        Gain of the swing [-] and its delay [days].

    Raises
    ------
    OutOfRange
        When a time is not above 0.

    Notes
    -----
    First-order system: gain 1/sqrt(1+(w tau)^2), delay atan(w tau)/w, w = 2 pi / period.

    >>> gain, lag = sine_response(14.0)
    >>> round(float(gain), 4), round(float(lag), 2)
    (0.9722, 13.74)
    """
    w = 2.0 * np.pi / positive(period, "period", "days")
    wt = w * positive(tau, "tau", "days")
    return (
        np.asarray(1.0 / np.sqrt(1.0 + wt**2), dtype=np.float64),
        np.asarray(np.arctan(wt) / w, dtype=np.float64),
    )


def days_to_follow(share: ArrayLike, tau: ArrayLike) -> FloatArray:
    """How long a part must rest until it has made good a share of a change of its air.

    Parameters
    ----------
    share : float or array
        Of the change; 0 up to, not including, 1 [-].
    tau : float or array, broadcast
        Time constant; above 0 [days].

    Returns
    -------
    array
        [days]

    Raises
    ------
    OutOfRange
        When an input lies outside the bounds above.

    Notes
    -----
    The first-order response asked the other way round: t = -tau ln(1 - share).

    >>> round(float(days_to_follow(0.95, 1.0)), 1)
    3.0
    """
    part = within(share, "share", 0.0, 1.0)
    if (part >= 1.0).any():
        raise OutOfRange("share must be below 1: a part never quite gets there", "share")
    return np.asarray(-positive(tau, "tau", "days") * np.log1p(-part), dtype=np.float64)
