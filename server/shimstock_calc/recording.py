"""The pitch of a plucked string in a recording: its partials measured, their stretch fitted."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ._checks import FloatArray
from .errors import Missing, OutOfRange

LOWEST, HIGHEST = 25.0, 2200.0
"""Fundamentals that are looked for: from below the low B of a bass to beyond a mandolin's 12th fret [Hz]."""
SHORTEST, LONGEST = 0.4, 6.0
"""How long a recording lasts [s]."""
SLOWEST, FASTEST = 8_000, 96_000
"""Samples a second [Hz]."""

_ATTACK = 0.08
"""What is left out after the loudest moment: a pluck is noise, and stretches the string [s]; judgement."""
_FRAME = 0.02
"""Length of a frame of which the loudness is taken [s]."""
_LEAST, _LONG_ENOUGH, _NEARLY_ALL = 0.3, 3.0, 0.97
"""What is listened to at the least and at the most [s], and how much of the note's energy [-]; judgement."""
_WIDTH = 7.0
"""Standard deviations of the Gaussian window in the length listened to; judgement."""
_MOST_PARTIALS, _FIRST_FEW, _TELLING, _ROUNDS = 16, 4, 3, 8
_HIGHEST_PARTIAL = 6_000.0
_CLEAR = 6.0
"""A partial counts when its peak stands this many times above the noise around it; judgement."""
_MODES = 0.05
"""How far resonances of the body shift a partial without showing [cents]; judgement."""
_USUAL_STRETCH, _STRETCH_SPREAD = 1e-4, 3e-4
"""Inharmonicity before a string is heard [-]; judgement: two partials do not tell it."""
_PERIODIC = 0.2
"""Least likeness of one period to the next in a note [-]; judgement."""
_CANDIDATES, _MULTIPLES, _COUNTED = 6, (1.0, 2.0, 3.0), 8
"""How many periods are tried, with which multiples, on how many partials [-]; judgement."""
_STIFFEST = 0.01
"""Inharmonicity that no string of an instrument reaches [-]; judgement."""
_MISSED = 2.0
"""What a partial that is not there costs, in the logarithm of a clear one [-]; judgement."""
_UNSURE = 3.0
"""Standard uncertainty from which no pitch is told [cents]; judgement."""
_QUARTILE = math.sqrt(-2.0 * math.log(0.75))
"""Lower quartile of Rayleigh's distribution, for noise of standard deviation 1 in each part [-]."""
_NO_STRING = "no string is heard clearly in the recording: pluck one string, damp the others and let it ring"
_CLIPPED = 0.002
"""Share of samples at full scale from which a recording counts as overdriven [-]; judgement."""


@dataclass(frozen=True)
class StringSound:
    """What a recording says about a string.

    Attributes
    ----------
    pitch : float
        Frequency of the lowest partial, which is what a tuner shows [Hz].
    uncertainty : float
        Standard uncertainty of the pitch [cents].
    inharmonicity : float
        B of f_n = n·f0·√(1 + B·n²); NaN with fewer than three partials [-].
    inharmonicity_uncertainty : float
        Standard uncertainty of B [-].
    partials : tuple of int
        Numbers of the partials that were measured [-].
    seconds : float
        How much of the recording was listened to [s].
    """

    pitch: float
    uncertainty: float
    inharmonicity: float
    inharmonicity_uncertainty: float
    partials: tuple[int, ...]
    seconds: float


def string_sound(samples: FloatArray, rate: float, expected: float | None = None) -> StringSound:
    """Pitch and stretch of one plucked string.

    Parameters
    ----------
    samples : array of shape (n,)
        Sound pressure or voltage, full scale 1; 0.4 to 6 s of it [-].
    rate : float
        Samples a second, 8,000 to 96,000 [Hz].
    expected : float, optional
        About what it should sound at; the pitch is looked for within a fourth of it [Hz].

    Returns
    -------
    StringSound
        Pitch, inharmonicity and their uncertainties.

    Raises
    ------
    OutOfRange
        When the recording is too short, too long or overdriven.
    Missing
        When no string is heard in it.

    Notes
    -----
    A Gaussian window makes the logarithm of a partial's spectrum a parabola, decaying or not, so that three
    points give its frequency: M. Gasior & J. L. Gonzalez, AIP Conference Proceedings 732, 276 (2004), from
    memory. Noise moves that peak by its width over √2 times its size in noise. The partials are fitted with
    f_n = n·f0·√(1 + B·n²) (H. Fletcher, JASA 36, 203 (1964)): (f_n/n)² is a straight line over n².
    """
    heard = _heard(np.asarray(samples, dtype=float), float(rate))
    spectrum = _Spectrum.of(heard, rate)
    highest = min(_HIGHEST_PARTIAL, 0.45 * rate)
    first = max(_likely(heard, rate, expected), key=lambda each: _clearness(spectrum, each, highest))
    found = _partials(spectrum, float(first), highest)
    return _fitted(*found, heard.size / rate)


def _heard(samples: FloatArray, rate: float) -> FloatArray:
    """Return what is listened to: after the pluck, without its mean."""
    if not SLOWEST <= rate <= FASTEST:
        raise OutOfRange(f"the recording has {rate:g} samples a second; 8,000 to 96,000 are taken", "rate")
    seconds = samples.size / rate
    if not SHORTEST <= seconds <= LONGEST:
        raise OutOfRange(
            f"the recording lasts {seconds:.2f} s; record {SHORTEST:g} to {LONGEST:g} s of one string",
            "samples",
        )
    loudest = float(np.max(np.abs(samples)))
    if loudest == 0.0:
        raise Missing("the recording is silent: is the microphone or pickup connected?", "samples")
    if loudest > 0.999 and np.mean(np.abs(samples) > 0.999 * loudest) > _CLIPPED:
        raise OutOfRange("the recording is overdriven: record it again with less level", "samples")
    step = int(_FRAME * rate)
    frames = samples[: samples.size // step * step].reshape(-1, step)
    power = np.mean(np.square(frames - frames.mean()), axis=1)
    power = np.maximum(power - np.quantile(power, 0.1), 0.0)
    begin = int(np.argmax(power)) + 1 + math.ceil(_ATTACK / _FRAME)
    left = np.cumsum(power[begin:])
    if left.size * _FRAME < _LEAST:
        raise OutOfRange(
            "the string is plucked too late in the recording: let it ring for a second or more after it",
            "samples",
        )
    length = float(np.searchsorted(left, _NEARLY_ALL * left[-1])) * _FRAME
    end = begin * step + int(min(max(length, _LEAST), _LONG_ENOUGH) * rate)
    heard = samples[begin * step : end]
    return np.asarray(heard - heard.mean())


@dataclass(frozen=True)
class _Peak:
    """A partial as it was found: where, how surely, how far above the noise."""

    frequency: float
    error: float
    clearness: float


@dataclass(frozen=True)
class _Spectrum:
    """Size of the spectrum under a Gaussian window, at every step [Hz]; `width` is that of a partial [Hz]."""

    size: FloatArray
    step: float
    width: float

    @classmethod
    def of(cls, heard: FloatArray, rate: float) -> _Spectrum:
        from scipy.fft import next_fast_len, rfft

        seconds = heard.size / rate
        deviation = seconds / _WIDTH
        times = (np.arange(heard.size) + 0.5) / rate - seconds / 2.0
        length = next_fast_len(2 * heard.size, real=True)
        size = np.abs(rfft(heard * np.exp(-0.5 * np.square(times / deviation)), length))
        return cls(size, rate / length, 1.0 / (2.0 * math.pi * deviation))

    def peak(self, at: float, reach: float, around: float) -> _Peak | None:
        """Return the highest peak within `reach` of `at`, the noise taken within `around` [Hz]."""
        low, high = self._bins(at, reach)
        if high - low < 3:
            return None
        top = low + int(np.argmax(self.size[low:high]))
        before, here, after = (math.log(max(float(value), 1e-300)) for value in self.size[top - 1 : top + 2])
        bend = before - 2.0 * here + after
        if here <= min(before, after) or bend >= 0.0:
            return None
        first, last = self._bins(at, around)
        noise = float(np.quantile(self.size[first:last], 0.25)) / _QUARTILE
        clearness = math.exp(here) / max(noise, 1e-300)
        frequency = (top + 0.5 * (before - after) / bend) * self.step
        return _Peak(frequency, self.width / (math.sqrt(2.0) * clearness), clearness)

    def _bins(self, at: float, reach: float) -> tuple[int, int]:
        low = max(1, math.floor((at - reach) / self.step))
        return low, min(self.size.size - 1, math.ceil((at + reach) / self.step) + 1)


def _likely(heard: FloatArray, rate: float, expected: float | None) -> FloatArray:
    """Return fundamentals that could be, to about a percent: maxima of the normalised difference function.

    P. McLeod & G. Wyvill, *A smarter way to find pitch*, ICMC (2005), from memory.
    """
    from scipy.fft import irfft, next_fast_len, rfft

    part = heard[: int(min(heard.size, 0.5 * rate))]
    finer = math.ceil(FASTEST / rate)
    length = next_fast_len(2 * part.size, real=True)
    product = finer * irfft(np.square(np.abs(rfft(part, length))), length * finer)
    squares = np.cumsum(np.square(part))
    lags = np.arange(finer, int(min(part.size // 2, rate / LOWEST + 1)) * finer)
    whole = lags // finer
    energy = squares[part.size - 1 - whole] + squares[-1] - squares[whole - 1]
    likeness = 2.0 * product[lags] / np.maximum(energy, 1e-300)
    rate = rate * finer
    low, high = (expected / 1.25, expected * 1.25) if expected else (LOWEST, HIGHEST)
    rising = np.flatnonzero((likeness[1:-1] > likeness[:-2]) & (likeness[1:-1] >= likeness[2:])) + 1
    inside = rising[(lags[rising] >= rate / high) & (lags[rising] <= rate / low)]
    if not inside.size or float(likeness[inside].max()) < _PERIODIC:
        raise Missing(_NO_STRING, "samples")
    highest = inside[np.argsort(likeness[inside])[::-1][:_CANDIDATES]]
    tried = np.outer(rate / lags[highest], _MULTIPLES).ravel()
    return np.asarray(tried[(tried >= low) & (tried <= high)])


def _clearness(spectrum: _Spectrum, fundamental: float, highest: float) -> float:
    """Return how clearly the partials of a fundamental stand out: those of half or twice of it do less so."""
    total = 0.0
    for number in range(1, _COUNTED + 1):
        at = number * fundamental
        if at > highest:
            break
        peak = spectrum.peak(at, min(0.03 * at, 0.4 * fundamental), 0.75 * fundamental)
        clear = peak is not None and peak.clearness >= _CLEAR
        total += math.log(peak.clearness / _CLEAR) if peak and clear else -_MISSED
    return total


def _partials(spectrum: _Spectrum, first: float, highest: float) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return numbers, frequencies and errors [Hz] of the partials, each looked for where the others say."""
    fundamental, stretch = first, 0.0
    found: list[tuple[int, _Peak]] = []
    for number in range(1, _MOST_PARTIALS + 1):
        at = number * fundamental * math.sqrt(1.0 + stretch * number**2)
        if at > highest:
            break
        reach = 0.03 * at if len(found) < 3 else 0.1 * fundamental
        peak = spectrum.peak(at, min(reach, 0.4 * fundamental), 0.75 * fundamental)
        if peak is None or peak.clearness < _CLEAR:
            continue
        found.append((number, peak))
        fundamental, stretch = _line(*_arrays(found))[:2]
        stretch = max(stretch, 0.0)
    there = sum(number <= _FIRST_FEW for number, _ in found)
    if not there or there < min(_FIRST_FEW, highest // first) / 2:
        raise Missing(_NO_STRING, "samples")
    return _arrays(found)


def _arrays(found: list[tuple[int, _Peak]]) -> tuple[FloatArray, FloatArray, FloatArray]:
    return (
        np.array([float(number) for number, _ in found]),
        np.array([peak.frequency for _, peak in found]),
        np.array([peak.error for _, peak in found]),
    )


def _line(
    numbers: FloatArray, frequencies: FloatArray, errors: FloatArray
) -> tuple[float, float, float, float]:
    """Return f0 [Hz], B [-], and the standard uncertainties of the lowest partial [cents] and of B [-].

    Weighted least squares of (f_n/n)² = f0² + f0²·B·n², weights of Student's t with 4 degrees of freedom.
    """
    squares = np.square(frequencies / numbers)
    relative = np.hypot(errors / frequencies, _MODES * math.log(2.0) / 1200.0)
    spread = 2.0 * squares * relative
    usual, doubt = squares[0] * _USUAL_STRETCH, squares[0] * _STRETCH_SPREAD
    weights, scale = 1.0 / np.square(spread), 1.0
    for _ in range(_ROUNDS):
        w, x = weights, np.square(numbers)
        s0, s1, s2 = w.sum(), (w * x).sum(), (w * x * x).sum() + doubt**-2
        t0, t1 = (w * squares).sum(), (w * x * squares).sum() + usual * doubt**-2
        determinant = s0 * s2 - s1 * s1
        level, slope = (s2 * t0 - s1 * t1) / determinant, (s0 * t1 - s1 * t0) / determinant
        misfit = (squares - level - slope * x) / spread
        scale = max(1.0, float(np.median(np.abs(misfit))) / 0.6745)
        weights = 5.0 / (4.0 + np.square(misfit / scale)) / np.square(spread)
    lowest = level + slope
    if min(level, lowest) <= 0.0:
        return math.sqrt(float(np.median(squares))), 0.0, math.inf, math.inf
    variance = (s2 - 2.0 * s1 + s0) / determinant * scale**2
    cents = 600.0 / math.log(2.0) * math.sqrt(variance) / lowest
    return math.sqrt(level), slope / level, cents, math.sqrt(s0 / determinant) * scale / level


def _fitted(numbers: FloatArray, frequencies: FloatArray, errors: FloatArray, seconds: float) -> StringSound:
    fundamental, stretch, cents, doubt = _line(numbers, frequencies, errors)
    if not (cents < _UNSURE and abs(stretch) < _STIFFEST):
        raise Missing(_NO_STRING, "samples")
    known = numbers.size >= _TELLING
    return StringSound(
        pitch=fundamental * math.sqrt(1.0 + stretch),
        uncertainty=math.hypot(cents, _MODES),
        inharmonicity=stretch if known else math.nan,
        inharmonicity_uncertainty=doubt if known else math.nan,
        partials=tuple(int(number) for number in numbers),
        seconds=seconds,
    )
