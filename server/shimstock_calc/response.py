"""How far one turn moves a reading: a stated prior, what adjustments have taught, and how much to turn."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass

from ._checks import finite, positive, within
from .bridge import round_to_eighth
from .errors import OutOfRange
from .pooling import Belief, Method, Nested, Pooled, Prior, between_variance, pool, pool_nested

__all__ = [
    "COMPLIANCE_PRIOR",
    "MOST_TURN",
    "ROD_PRIOR",
    "AdjustmentResponse",
    "AdjustmentSample",
    "FlaggedSample",
    "Pooled",
    "Response",
    "TurnAdvice",
    "adjustment_response",
    "between_variance",
    "change_for",
    "pool",
    "turns_for",
]

MOST_TURN = 0.25
"""Most that a truss rod is turned before tuning and reading again, common practice [turns]."""
LEAST_MOVE = 1.0 / 16.0
"""Turn below which a sample teaches nothing; judgement [turns]."""
TURN_SD = 0.02
"""Standard uncertainty of a turn made by hand against the marks on a wrench; judgement [turns]."""
WRONG_SIGN_LIMIT, IMPLAUSIBLE_LIMIT = 2.0, 3.0
MOST_SAMPLES = 100_000


@dataclass(frozen=True)
class Response:
    """How far a reading follows one unit of adjustment.

    Parameters
    ----------
    mean, sd : float
        Expected response and its standard deviation for one instrument [mm per turn, or as stated].
    source : str
        In words, for the card and the plan [-].
    level : str
        `instrument`, `model`, `shop` or `prior` [-].
    samples : int
        How many samples stand at that level [-].
    """

    mean: float
    sd: float
    source: str
    level: str = "prior"
    samples: int = 0

    @classmethod
    def from_belief(cls, belief: Belief, prior: Response) -> Response:
        """Name a pooled belief in words."""
        if belief.level == "prior":
            return prior
        count = f"{belief.samples} sample{'' if belief.samples == 1 else 's'}"
        place = {"instrument": "of this instrument", "model": "of this model", "shop": "of other models"}
        return cls(
            belief.mean,
            belief.sd,
            f"learned from {count} {place[belief.level]}",
            belief.level,
            belief.samples,
        )


ROD_PRIOR = Response(-0.40, 0.16, "stated prior: no samples yet")
"""One turn of tightening moves relief by -0.40 mm (common practice), sd 0.16 (judgement) [mm/turn]."""

COMPLIANCE_PRIOR = Response(1.1e-3, 0.5e-3, "beam estimate for a maple neck, from memory, within a factor 2")
"""Relief follows one newton of total string pull by 1.1e-3 mm [mm/N]."""


@dataclass(frozen=True)
class AdjustmentSample:
    """One adjustment with a reading before and after.

    Parameters
    ----------
    moved : float
        What was done; positive = tighten [turns].
    before, after : float
        The reading, both at the same hold and reading frets [mm].
    uncertainty_before, uncertainty_after : float
        Standard uncertainties of the two [mm].
    instrument, model : hashable
        Whose it is [-].
    settled : bool
        Whether the second reading had settled [-].
    alone : bool
        Whether nothing else that moves this reading was done in between [-].
    """

    moved: float
    before: float
    after: float
    uncertainty_before: float
    uncertainty_after: float
    instrument: Hashable
    model: Hashable
    settled: bool = True
    alone: bool = True


@dataclass(frozen=True)
class FlaggedSample:
    """A sample that somebody should look at.

    Parameters
    ----------
    index : int
        Its place in the list given [-].
    reason : str
        Why, in words [-].
    used : bool
        Whether it was used all the same [-].
    response : float or None
        What it says by itself [mm per turn].
    """

    index: int
    reason: str
    used: bool
    response: float | None


@dataclass(frozen=True)
class AdjustmentResponse:
    """What the samples say.

    Parameters
    ----------
    nested : Nested
        Beliefs about shop, models and instruments.
    prior : Response
        What was believed before [-].
    flagged : tuple of FlaggedSample
        Samples to look at, in the order given [-].
    used : int
        How many samples were used [-].
    """

    nested: Nested
    prior: Response
    flagged: tuple[FlaggedSample, ...]
    used: int

    def of(self, instrument: Hashable = None, model: Hashable = None) -> Response:
        """Return the response of an instrument: its own, else its model's, else the shop's or the prior."""
        return Response.from_belief(self.nested.of(instrument, model), self.prior)


def _estimate(sample: AdjustmentSample, prior: Response, index: int) -> tuple[float, float]:
    place = f"samples[{index}]"
    moved = float(finite(sample.moved, f"{place}.moved"))
    change = float(finite(sample.after, f"{place}.after")) - float(finite(sample.before, f"{place}.before"))
    noise = (
        float(positive(sample.uncertainty_before, f"{place}.uncertainty_before")) ** 2
        + float(positive(sample.uncertainty_after, f"{place}.uncertainty_after")) ** 2
        + (prior.mean * TURN_SD) ** 2
    )
    return change / moved, noise / moved**2


def _unfit(sample: AdjustmentSample) -> str | None:
    if abs(sample.moved) < LEAST_MOVE:
        return f"moved by less than {LEAST_MOVE:g}: nothing can be learned from it"
    if not sample.settled:
        return "the reading afterwards had not settled"
    if not sample.alone:
        return "something else that moves this reading was done in between"
    return None


def _doubt(response: float, variance: float, prior: Response) -> tuple[str, bool] | None:
    """Why a sample is doubted, and whether it is used all the same; judged against the prior."""
    off = abs(response - prior.mean) / (prior.sd**2 + variance) ** 0.5
    if response * prior.mean <= 0:
        if off <= WRONG_SIGN_LIMIT:
            return "wrong sign, but within the noise of its readings", True
        return (
            "wrong sign, beyond the noise of its readings: is the rod reversed, or was something else moved?",
            False,
        )
    if off > IMPLAUSIBLE_LIMIT:
        return f"implausible: {off:.1f} standard deviations from what is expected", False
    return None


def adjustment_response(
    samples: Sequence[AdjustmentSample],
    prior: Response = ROD_PRIOR,
    *,
    method: Method = "reml",
) -> AdjustmentResponse:
    """Learn how far one turn moves a reading, for every instrument, its model and the shop.

    Parameters
    ----------
    samples : sequence of AdjustmentSample
        Adjustments with a reading before and after; none is an answer too [-].
    prior : Response
        What is believed without samples; its sign is the expected one [mm per turn].
    method : str
        `reml` or `dl` [-].

    Returns
    -------
    AdjustmentResponse
        Ask it with `of(instrument, model)`; `flagged` tells what to look at and what was left out.

    Raises
    ------
    OutOfRange
        When a sample's numbers are not finite or an uncertainty is not above zero.
    Contradiction
        When an instrument stands under two models.

    Notes
    -----
    Each sample is a response (after - before)/moved with the variance of its readings and of the turn; see
    `pooling.pool_nested`. A wrong sign within `WRONG_SIGN_LIMIT` standard deviations of the prior is noise:
    leaving it out would make every learned response too large, so it is used and flagged. Beyond that, and
    beyond `IMPLAUSIBLE_LIMIT` on the right side, samples are flagged and left out (judgement).

    >>> learned = adjustment_response([AdjustmentSample(0.25, 0.45, 0.33, 0.02, 0.02, "one", "kind")])
    >>> response = learned.of("one", "kind")
    >>> round(response.mean, 3), round(response.sd, 3), response.level
    (-0.452, 0.095, 'instrument')
    """
    within(len(samples), "samples", 0, MOST_SAMPLES)
    flagged: list[FlaggedSample] = []
    kept: list[tuple[float, float, AdjustmentSample]] = []
    for index, sample in enumerate(samples):
        unfit = _unfit(sample)
        if unfit is not None:
            flagged.append(FlaggedSample(index, unfit, False, None))
            continue
        response, variance = _estimate(sample, prior, index)
        doubt = _doubt(response, variance, prior)
        if doubt is None and abs(sample.moved) > MOST_TURN + 1e-9:
            doubt = f"larger than {MOST_TURN:g} at once", True
        if doubt is not None:
            flagged.append(FlaggedSample(index, *doubt, response))
        if doubt is None or doubt[1]:
            kept.append((response, variance, sample))
    nested = pool_nested(
        [each[0] for each in kept],
        [each[1] for each in kept],
        [each[2].instrument for each in kept],
        [each[2].model for each in kept],
        Prior(prior.mean, prior.sd),
        method=method,
    )
    return AdjustmentResponse(nested, prior, tuple(flagged), len(kept))


@dataclass(frozen=True)
class TurnAdvice:
    """How much to turn.

    Parameters
    ----------
    now : float
        Before tuning and reading again; at most a quarter turn, in eighths [turns].
    total : float
        Forecast of all of it, in eighths [turns].
    change_now, change_total : float
        Forecast change of the reading [mm].
    sd_now, sd_total : float
        Standard deviation of the forecast [mm].
    """

    now: float
    total: float
    change_now: float
    change_total: float
    sd_now: float
    sd_total: float


def turns_for(change: float, response: Response = ROD_PRIOR, most: float = MOST_TURN) -> TurnAdvice:
    """How much to turn for a wanted change of the reading.

    Parameters
    ----------
    change : float
        Wanted change; negative = less [mm].
    response : Response
        How far one turn moves it [mm per turn].
    most : float
        Most to turn at once, above 0 and never above a quarter turn [turns].

    Returns
    -------
    TurnAdvice
        What to do now and what is forecast in all; positive = tighten.

    Raises
    ------
    OutOfRange
        When the response is zero, or more than a quarter turn at once is asked for.

    Notes
    -----
    Rounded to eighths of a turn, ties toward zero. Whatever the estimate, no step exceeds a quarter turn.

    >>> advice = turns_for(-0.25)
    >>> advice.now, advice.total, round(advice.change_now, 3)
    (0.25, 0.625, -0.1)
    """
    wanted = float(within(change, "change", -10.0, 10.0, "mm"))
    limit = float(within(positive(most, "most", "turns"), "most", 0.0, MOST_TURN, "turns"))
    if response.mean == 0:
        raise OutOfRange("response must not be zero", "response")
    total = round_to_eighth(wanted / response.mean)
    now = max(-limit, min(limit, total))
    first, first_sd = change_for(now, response)
    last, last_sd = change_for(total, response)
    return TurnAdvice(now, total, first, last, first_sd, last_sd)


def change_for(turns: float, response: Response = ROD_PRIOR) -> tuple[float, float]:
    """How far a number of turns moves the reading.

    Parameters
    ----------
    turns : float
        Positive = tighten [turns].
    response : Response
        How far one turn moves it [mm per turn].

    Returns
    -------
    tuple of two floats
        Forecast change and its standard deviation [mm].

    Raises
    ------
    OutOfRange
        When the number of turns is not finite.

    Notes
    -----
    Inverse of `turns_for`, without its rounding and its limit.

    >>> change, sd = change_for(0.25)
    >>> round(change, 3), round(sd, 3)
    (-0.1, 0.04)
    """
    amount = float(finite(turns, "turns"))
    return response.mean * amount, response.sd * abs(amount)
