"""Recordings of strings whose pitch and stretch are known, made from their partials."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

Sound = NDArray[np.float64]


def plucked(
    rng: np.random.Generator,
    pitch: float,
    stretch: float,
    *,
    rate: int = 44_100,
    seconds: float = 3.0,
    decay: float = 1.5,
    quieter: float = 20.0,
    begin: float = 0.1,
) -> Sound:
    """Return a plucked string in noise.

    Parameters
    ----------
    rng : generator
        Decides place of the pluck, phases and noise [-].
    pitch : float
        Frequency of the lowest partial [Hz].
    stretch : float
        Inharmonicity B [-].
    rate : int
        Samples a second [Hz].
    seconds, begin : float
        Length, and when it is plucked [s].
    decay : float
        Of the lowest partial; higher ones decay faster [1/s].
    quieter : float
        How far the noise lies below the note, over its whole length [dB].

    Returns
    -------
    array of shape (n,)
        Half of full scale at its loudest.

    Notes
    -----
    f_n = n·f0·√(1 + B·n²): H. Fletcher, JASA 36, 203 (1964). A pluck at a share p of the length gives
    partial n the size sin(π·n·p)/n: N. H. Fletcher & T. D. Rossing, *The Physics of Musical Instruments*,
    2nd ed. (1998), ch. 2.
    """
    times = np.arange(int(seconds * rate)) / rate - begin
    rings = times >= 0.0
    note = np.zeros_like(times)
    lowest, place = pitch / math.sqrt(1.0 + stretch), rng.uniform(0.1, 0.3)
    for number in range(1, 21):
        frequency = number * lowest * math.sqrt(1.0 + stretch * number**2)
        if frequency > 0.45 * rate:
            break
        size = math.sin(math.pi * number * place) / number * rng.uniform(0.3, 1.0)
        fading = np.exp(-times[rings] * decay * (1.0 + 0.15 * number))
        phase = rng.uniform(0.0, 2.0 * math.pi)
        note[rings] += size * fading * np.sin(2.0 * math.pi * frequency * times[rings] + phase)
    loudness = math.sqrt(float(np.mean(np.square(note[rings]))))
    note += rng.normal(0.0, loudness * 10.0 ** (-quieter / 20.0), note.size)
    return np.asarray(0.5 * note / np.max(np.abs(note)))


def wav(sound: Sound, rate: int, *, bits: int = 16, channels: int = 1) -> bytes:
    """Return the sound as a WAV file, written by the standard library."""
    import io
    import wave

    whole = np.repeat(np.round(sound * (2 ** (bits - 1) - 1)).astype("<i4")[:, None], channels, axis=1)
    kept: Any = whole.view(np.uint8).reshape(-1, 4)[:, : bits // 8]
    file = io.BytesIO()
    with wave.open(file, "wb") as writer:
        writer.setnchannels(channels)
        writer.setsampwidth(bits // 8)
        writer.setframerate(rate)
        writer.writeframes(np.ascontiguousarray(kept).tobytes())
    return file.getvalue()
