"""Checking a bench's hygrometer over saturated salts, and correcting what it shows."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from ._checks import FloatArray, within
from ._tables import table
from .errors import Contradiction, Missing

UNCHECKED, CHECKED = 4.0, 1.5  # % RH, standard uncertainty; judgement
LEAST_APART = 20.0  # % RH between the two salts; closer points make the slope a guess
GAIN_LOW, GAIN_HIGH = 0.67, 1.5  # a sensor outside is broken, or the salts had not come to rest; judgement


@dataclass(frozen=True)
class Salt:
    """A saturated salt solution: its name, coefficients, and the temperatures they hold for [degC]."""

    name: str
    coefficients: tuple[float, float, float, float]
    coldest: float
    warmest: float


def salts() -> dict[str, Salt]:
    """Salts with a published fixed point.

    Returns
    -------
    dict of str to Salt
        By chemical formula.

    Notes
    -----
    L. Greenspan, *Humidity fixed points of binary saturated aqueous solutions*, J. Res. NBS 81A(1), 89
    (1977).

    >>> salts()["NaCl"].warmest
    80.0
    """
    found = {}
    for row in table("saturated_salts"):
        coldest, warmest = (float(bound) for bound in row["range_C"].split(".."))
        a = (float(row["a0"]), float(row["a1"]), float(row["a2"]), float(row["a3"]))
        found[row["salt"]] = Salt(row["salt"], a, coldest, warmest)
    return found


def salt_humidity(salt: str, temperature: ArrayLike) -> FloatArray:
    """Relative humidity over a saturated salt solution at rest.

    Parameters
    ----------
    salt : str
        Chemical formula as in `salts`: MgCl2, NaCl …
    temperature : float or array
        Of solution and air, within the salt's range [degC].

    Returns
    -------
    array
        [% RH]

    Raises
    ------
    Missing
        When the salt has no published fixed point here.
    OutOfRange
        When the temperature lies outside the salt's range.

    Notes
    -----
    Greenspan (1977): RH = a0 + a1 t + a2 t^2 + a3 t^3.

    >>> round(float(salt_humidity("MgCl2", 25.0)), 2), round(float(salt_humidity("NaCl", 25.0)), 2)
    (32.79, 75.3)
    """
    known = salts()
    if salt not in known:
        raise Missing(f"salt must be one of {', '.join(known)}; {salt!r} was given", "salt")
    chosen = known[salt]
    t = within(temperature, "temperature", chosen.coldest, chosen.warmest, "degC")
    a0, a1, a2, a3 = chosen.coefficients
    return np.asarray(a0 + a1 * t + a2 * t**2 + a3 * t**3, dtype=np.float64)


@dataclass(frozen=True)
class HygrometerCheck:
    """Straight line from what a hygrometer shows to what is.

    Parameters
    ----------
    gain, offset : float
        corrected = gain · shown + offset [-], [% RH].
    low, high : float
        True humidity at the two salts [% RH].
    low_error, high_error : float
        Shown less true at the two salts; positive = shows too damp [% RH].
    uncertainty : float
        Standard uncertainty of a corrected reading between the salts [% RH].
    text : str
        What it means for the bench.
    """

    gain: float
    offset: float
    low: float
    high: float
    low_error: float
    high_error: float
    uncertainty: float
    text: str

    def corrected(self, shown: ArrayLike) -> FloatArray:
        """Humidity behind what the hygrometer shows, kept within 0 to 100 [% RH]."""
        reading = within(shown, "relative_humidity", 0.0, 100.0, "% RH")
        return np.clip(self.gain * reading + self.offset, 0.0, 100.0)

    def shown(self, relative_humidity: ArrayLike) -> FloatArray:
        """What the hygrometer shows in air of a humidity: the correction asked the other way round [% RH]."""
        true = within(relative_humidity, "relative_humidity", 0.0, 100.0, "% RH")
        return np.asarray((true - self.offset) / self.gain, dtype=np.float64)

    def extrapolates(self, shown: ArrayLike) -> bool:
        """Whether a reading lies outside the two salts by more than 5 % RH, where nothing was checked."""
        true = self.corrected(shown)
        return bool((true < self.low - 5.0).any() or (true > self.high + 5.0).any())


def hygrometer_check(
    low_reading: float,
    high_reading: float,
    temperature: float,
    low_salt: str = "MgCl2",
    high_salt: str = "NaCl",
) -> HygrometerCheck:
    """Correction of a hygrometer from its readings over two saturated salts.

    Parameters
    ----------
    low_reading, high_reading : float
        Shown over the drier and the damper salt, at rest [% RH].
    temperature : float
        Of salts and air [degC].
    low_salt, high_salt : str
        Chemical formulas as in `salts`.

    Returns
    -------
    HygrometerCheck
        Gain, offset, the errors found and the uncertainty left.

    Raises
    ------
    Missing
        When a salt has no published fixed point here.
    OutOfRange
        When the temperature lies outside a salt's range or a reading outside 0 to 100.
    Contradiction
        When the salts are too close together, or the readings cannot come from a working hygrometer.

    Notes
    -----
    Line through two fixed points of Greenspan (1977). Uncertainty 4 % RH unchecked, 1.5 checked:
    judgement. A sealed box and several hours are needed at each salt; keep the salts off skin, metal and
    wood.

    >>> check = hygrometer_check(36.8, 79.3, 25.0)
    >>> round(float(check.corrected(54.0)), 1)
    50.0
    """
    low = float(salt_humidity(low_salt, temperature))
    high = float(salt_humidity(high_salt, temperature))
    if high - low < LEAST_APART:
        raise Contradiction(
            f"high_salt must lie at least {LEAST_APART:g} % RH above low_salt; {high - low:.1f} is too close",
            "high_salt",
        )
    shown_low = float(within(low_reading, "low_reading", 0.0, 100.0, "% RH"))
    shown_high = float(within(high_reading, "high_reading", 0.0, 100.0, "% RH"))
    if shown_high <= shown_low:
        raise Contradiction(
            "high_reading must lie above low_reading: were the salts swapped, or not yet at rest?",
            "high_reading",
        )
    gain = (high - low) / (shown_high - shown_low)
    if not GAIN_LOW <= gain <= GAIN_HIGH:
        raise Contradiction(
            f"the readings span {shown_high - shown_low:.0f} % RH where the salts span {high - low:.0f}: "
            "wait until both have come to rest, or replace the hygrometer",
            "high_reading",
        )
    offset = low - gain * shown_low
    worst = max(abs(shown_low - low), abs(shown_high - high))
    return HygrometerCheck(
        gain, offset, low, high, shown_low - low, shown_high - high, CHECKED, _meaning(worst, shown_low - low)
    )


def _meaning(worst: float, low_error: float) -> str:
    if worst <= 2.0 * CHECKED:
        return f"within {worst:.1f} % RH of both salts: as good as its correction"
    side = "too damp" if low_error > 0 else "too dry"
    if worst <= 2.0 * UNCHECKED:
        return f"off by up to {worst:.1f} % RH ({side} at the dry end): use the correction"
    return f"off by up to {worst:.1f} % RH ({side} at the dry end): use the correction and replace it soon"


def one_point_error(reading: float, salt: str, temperature: float) -> float:
    """Error that a single salt shows.

    Parameters
    ----------
    reading : float
        Shown over the salt, at rest [% RH].
    salt : str
        Chemical formula as in `salts`.
    temperature : float
        Of salt and air [degC].

    Returns
    -------
    float
        Shown less true; positive = shows too damp [% RH].

    Raises
    ------
    Missing, OutOfRange
        As `salt_humidity`; also when the reading lies outside 0 to 100.

    Notes
    -----
    Greenspan (1977). One point tells the error there, not the slope.

    >>> round(one_point_error(78.0, "NaCl", 25.0), 2)
    2.7
    """
    shown = float(within(reading, "reading", 0.0, 100.0, "% RH"))
    return shown - float(salt_humidity(salt, temperature))
