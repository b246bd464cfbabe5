"""Notes, frequencies and cents."""

from __future__ import annotations

import re

import numpy as np
from numpy.typing import ArrayLike

from ._checks import FloatArray, finite, plain, positive, within
from .errors import OutOfRange

STANDARD_REFERENCE = 440.0
"""A4, ISO 16:1975 [Hz]."""

LOWEST_NOTE, HIGHEST_NOTE = 0, 127

_LETTERS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
_ACCIDENTALS = {"#": 1, "♯": 1, "b": -1, "♭": -1}
_SPELLING = re.compile(r"([A-Ga-g])([#♯b♭]{0,2})(-?\d{1,2})")
_SHARPS = ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B")
_FLATS = ("C", "Db", "D", "Eb", "E", "F", "Gb", "G", "Ab", "A", "Bb", "B")


def note_number(note: str) -> float:
    """Number of a note: semitones above C-1, so that A4 is 69.

    Parameters
    ----------
    note : str
        Letter, accidentals and octave in scientific pitch notation: `E4`, `F#3`, `Bb2`, `C♯4` [-].

    Returns
    -------
    float
        Note number, 0 to 127 [-].

    Raises
    ------
    OutOfRange
        When the name is not a note, or lies outside 0 to 127.

    Notes
    -----
    Octave numbers change at C (scientific pitch notation); numbering as in the MIDI 1.0 specification.

    >>> note_number("E4"), note_number("Bb2"), note_number("B#3")
    (64.0, 46.0, 60.0)
    """
    match = _SPELLING.fullmatch(note.strip()) if isinstance(note, str) else None
    if match is None:
        raise OutOfRange(
            f"note must be a letter, accidentals and an octave, like E4 or Bb2; not {note!r}", "note"
        )
    letter, accidentals, octave = match.groups()
    number = (
        12 * (int(octave) + 1) + _LETTERS[letter.upper()] + sum(_ACCIDENTALS[sign] for sign in accidentals)
    )
    return float(within(float(number), "note", LOWEST_NOTE, HIGHEST_NOTE))


def note_name(number: float, flats: bool = False) -> str:
    """Name of the nearest note.

    Parameters
    ----------
    number : float
        Note number, 0 to 127; rounded to the nearest semitone [-].
    flats : bool
        Spell with flats in place of sharps [-].

    Returns
    -------
    str
        Scientific pitch notation.

    Raises
    ------
    OutOfRange
        When the number is not finite or outside 0 to 127.

    >>> note_name(64), note_name(46), note_name(46, flats=True)
    ('E4', 'A#2', 'Bb2')
    """
    semitone = round(float(within(number, "number", LOWEST_NOTE, HIGHEST_NOTE)))
    octave, step = divmod(semitone, 12)
    return f"{(_FLATS if flats else _SHARPS)[step]}{octave - 1}"


def _numbers(note: str | ArrayLike) -> FloatArray:
    if isinstance(note, str):
        return np.asarray(note_number(note))
    if isinstance(note, (list, tuple)) and any(isinstance(each, str) for each in note):
        return np.array([note_number(each) if isinstance(each, str) else float(each) for each in note])
    return within(note, "note", LOWEST_NOTE, HIGHEST_NOTE)


def _reference(reference: ArrayLike) -> FloatArray:
    return within(reference, "reference", 380.0, 480.0, "Hz")


def frequency(note: str | ArrayLike, reference: ArrayLike = STANDARD_REFERENCE) -> FloatArray:
    """Frequency of a note in equal temperament.

    Parameters
    ----------
    note : str, float, list of either, or array
        Name or note number; fractions of a semitone allowed [-].
    reference : float or array, broadcast with `note`
        Pitch of A4; 380 to 480 [Hz].

    Returns
    -------
    float or array
        Frequency [Hz].

    Raises
    ------
    OutOfRange
        When a note or the reference pitch lies outside its range.

    Notes
    -----
    440·2^((m - 69)/12); reference pitch A4 = 440 Hz, ISO 16:1975.

    >>> round(float(frequency("E4")), 4)
    329.6276
    """
    return plain(_reference(reference) * np.exp2((_numbers(note) - 69.0) / 12.0))


def note_at(frequency: ArrayLike, reference: ArrayLike = STANDARD_REFERENCE) -> FloatArray:
    """Note number of a frequency, with fractions of a semitone.

    Parameters
    ----------
    frequency : float or array
        What sounds [Hz].
    reference : float or array, broadcast with `frequency`
        Pitch of A4; 380 to 480 [Hz].

    Returns
    -------
    float or array
        Note number [-].

    Raises
    ------
    OutOfRange
        When a frequency is not above zero.

    Notes
    -----
    Inverse of `frequency`.

    >>> float(note_at(440.0))
    69.0
    """
    return plain(69.0 + 12.0 * np.log2(positive(frequency, "frequency", "Hz") / _reference(reference)))


def nearest_note(frequency: float, reference: float = STANDARD_REFERENCE) -> tuple[str, float]:
    """Nearest note of a frequency, and how far off it sounds.

    Parameters
    ----------
    frequency : float
        What sounds [Hz].
    reference : float
        Pitch of A4; 380 to 480 [Hz].

    Returns
    -------
    tuple of str and float
        Name [-] and deviation, positive = sharp, -50 to 50 [cents].

    Raises
    ------
    OutOfRange
        When the frequency is not above zero or lies outside the notes 0 to 127.

    >>> nearest_note(440.0)
    ('A4', 0.0)
    """
    number = float(note_at(frequency, reference))
    name = note_name(number)
    return name, 100.0 * (number - note_number(name))


def reference_for(frequency: ArrayLike, note: str | ArrayLike) -> FloatArray:
    """Reference pitch at which a note sounds at a given frequency.

    Parameters
    ----------
    frequency : float or array
        What sounds [Hz].
    note : str, float or array, broadcast with `frequency`
        The note it is meant to be [-].

    Returns
    -------
    float or array
        Pitch of A4 [Hz].

    Raises
    ------
    OutOfRange
        When a frequency is not above zero.

    Notes
    -----
    Inverse of `frequency` for its second parameter.

    >>> round(float(reference_for(81.6, "E2")), 1)
    435.7
    """
    return plain(positive(frequency, "frequency", "Hz") / np.exp2((_numbers(note) - 69.0) / 12.0))


def cents(frequency: ArrayLike, reference_frequency: ArrayLike) -> FloatArray:
    """Interval between two frequencies.

    Parameters
    ----------
    frequency : float or array
        What sounds [Hz].
    reference_frequency : float or array, broadcast with `frequency`
        What it is compared with [Hz].

    Returns
    -------
    float or array
        Interval; positive = sharp [cents].

    Raises
    ------
    OutOfRange
        When a frequency is not above zero.

    Notes
    -----
    1200·log2(f/f_ref): A. J. Ellis's cent, as appended to H. Helmholtz, *On the Sensations of Tone* (1885).

    >>> round(float(cents(3.0, 2.0)), 3)
    701.955
    """
    ratio = positive(frequency, "frequency", "Hz") / positive(
        reference_frequency, "reference_frequency", "Hz"
    )
    return plain(1200.0 * np.log2(ratio))


def shifted(reference_frequency: ArrayLike, cents: ArrayLike) -> FloatArray:
    """Frequency that lies a number of cents above another.

    Parameters
    ----------
    reference_frequency : float or array
        Where to start [Hz].
    cents : float or array, broadcast with `reference_frequency`
        Interval; positive = sharp; -12000 to 12000 [cents].

    Returns
    -------
    float or array
        Frequency [Hz].

    Raises
    ------
    OutOfRange
        When the frequency is not above zero or the interval lies outside its range.

    Notes
    -----
    Inverse of `cents`.

    >>> float(shifted(220.0, 1200.0))
    440.0
    """
    interval = within(finite(cents, "cents"), "cents", -12000.0, 12000.0, "cents")
    return plain(positive(reference_frequency, "reference_frequency", "Hz") * np.exp2(interval / 1200.0))
