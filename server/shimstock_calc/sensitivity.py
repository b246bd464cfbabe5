"""How strongly a setup answers the moisture of its wood: stated priors, and what readings teach."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from ._checks import finite, within
from .errors import Contradiction, Missing
from .moisture import TimeConstant


@dataclass(frozen=True)
class Sensitivity:
    """Change of a quantity per percent of moisture.

    Parameters
    ----------
    mean, sd : float
        [mm/% MC], or the quantity's own unit per % MC.
    basis : str
        Learned or prior, in words.
    """

    mean: float
    sd: float
    basis: str = "given"

    def __post_init__(self) -> None:
        finite(self.mean, "sensitivity")
        within(self.sd, "sensitivity_sd", 0.0)

    def scaled(self, factor: float) -> Sensitivity:
        """Return what a quantity feels that moves by `factor` with this one [-]."""
        return Sensitivity(self.mean * factor, self.sd * abs(factor), self.basis)


# Board and neck swell against each other at different speeds: the sign is not known beforehand.
RELIEF_PRIOR = Sensitivity(0.0, 0.03, "prior: relief of a neck, either way; judgement")
SADDLE_PRIOR = Sensitivity(
    0.1, 0.1, "prior: a damp top lifts its saddle, common practice; how far, judgement"
)


@dataclass(frozen=True)
class Contribution:
    """What the moisture of one part does to a quantity: how slowly it follows, how strongly it acts."""

    tau: TimeConstant
    sensitivity: Sensitivity


def relief_contributions(
    neck: TimeConstant, sensitivity: Sensitivity = RELIEF_PRIOR
) -> tuple[Contribution, ...]:
    """What moves relief: the neck alone.

    Parameters
    ----------
    neck : TimeConstant
        [days]
    sensitivity : Sensitivity
        Of relief to the neck's moisture [mm/% MC].

    Returns
    -------
    tuple of Contribution
        One.
    """
    return (Contribution(neck, sensitivity),)


def saddle_contributions(
    top: TimeConstant, sensitivity: Sensitivity = SADDLE_PRIOR
) -> tuple[Contribution, ...]:
    """What moves an acoustic's saddle height: the top alone.

    Parameters
    ----------
    top : TimeConstant
        [days]
    sensitivity : Sensitivity
        Of saddle height to the top's moisture [mm/% MC].

    Returns
    -------
    tuple of Contribution
        One.
    """
    return (Contribution(top, sensitivity),)


def action_contributions(
    neck: TimeConstant,
    coupling: float,
    top: TimeConstant | None = None,
    *,
    relief_sensitivity: Sensitivity = RELIEF_PRIOR,
    saddle_sensitivity: Sensitivity = SADDLE_PRIOR,
) -> tuple[Contribution, ...]:
    """What moves the action at the 12th fret: relief by the neck's geometry, and half of the saddle's lift.

    Parameters
    ----------
    neck : TimeConstant
        [days]
    coupling : float
        Change of action per change of relief, from the neck model [-].
    top : TimeConstant, optional
        Of an acoustic's top; None for a solid body [days].
    relief_sensitivity, saddle_sensitivity : Sensitivity
        [mm/% MC]

    Returns
    -------
    tuple of Contribution
        One, or two with a top.

    Raises
    ------
    OutOfRange
        When the coupling lies outside 0 to 5.

    Notes
    -----
    A saddle raised by h raises the 12th fret's action by h/2.
    """
    through_neck = relief_sensitivity.scaled(float(within(coupling, "coupling", 0.0, 5.0)))
    found = [Contribution(neck, through_neck)]
    if top is not None:
        found.append(Contribution(top, saddle_sensitivity.scaled(0.5)))
    return tuple(found)


def sensitivity_slope(moisture: ArrayLike, value: ArrayLike, uncertainty: ArrayLike) -> tuple[float, float]:
    """Sensitivity of one instrument from its own readings, to be pooled with those of its model.

    Parameters
    ----------
    moisture : array, shape (n,)
        Of the part at each reading, lagged [% MC].
    value : array, shape (n,)
        Readings with no adjustment between them [the quantity's unit].
    uncertainty : float or array, shape (n,)
        Standard uncertainty of each; above 0 [the quantity's unit].

    Returns
    -------
    tuple of float
        Slope per % MC and its variance.

    Raises
    ------
    Missing
        When there are fewer than two readings, or the moisture hardly moved (less than 0.5 % MC).
    Contradiction
        When the lists differ in length.

    Notes
    -----
    Weighted straight line; the variance is that of the readings' uncertainties, or of the scatter about the
    line where that is larger.

    >>> slope, variance = sensitivity_slope([6.0, 8.0, 10.0], [0.20, 0.26, 0.32], 0.02)
    >>> round(slope, 3), round(variance**0.5, 4)
    (0.03, 0.0071)
    """
    x, y = finite(moisture, "moisture"), finite(value, "value")
    if x.ndim != 1 or x.shape != y.shape:
        raise Contradiction("moisture and value must be lists of one length", "value")
    if x.size < 2 or np.ptp(x) < 0.5:
        raise Missing("moisture must differ by at least 0.5 % MC between two or more readings", "moisture")
    u = np.broadcast_to(within(uncertainty, "uncertainty", 1e-9), x.shape)
    weight = 1.0 / u**2
    centred = x - np.average(x, weights=weight)
    spread = float((weight * centred**2).sum())
    slope = float((weight * centred * y).sum()) / spread
    residual = y - np.average(y, weights=weight) - slope * centred
    scatter = float((weight * residual**2).sum()) / (x.size - 2) if x.size > 2 else 1.0
    return slope, max(scatter, 1.0) / spread
