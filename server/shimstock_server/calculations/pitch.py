"""Notes, frequencies and cents."""

from __future__ import annotations

from typing import Any

from shimstock_calc import pitch
from shimstock_calc.errors import Contradiction
from shimstock_server.web.fields import Number, Text

from .entry import Calculation, Given, Way
from .fields import Question, Result, asked, calculated, told


def note_field(about: str = "The note", **options: Any) -> Text:
    """Return the field of a note's name."""
    return Text(
        max=6,
        metadata={"description": f"{about}: letter, accidentals and octave, such as E4, F#3 or Bb2."},
        **options,
    )


class PitchQuestion(Question):
    """A note, a frequency, or both to find the reference pitch."""

    note = note_field()
    frequency = asked("pitch", 8.0, 13000.0, "What sounds")
    reference_pitch = asked("pitch", 380.0, 480.0, "Pitch of A4; 440 Hz when left out")


class PitchResult(Result):
    """A note and its frequency."""

    calculated = calculated("frequency", "note", "reference_pitch")
    note_name = Text(metadata={"description": "Letter, accidentals and octave."})
    note_number = Number(metadata={"description": "Semitones above C-1: A4 is 69."})
    frequency = told("pitch", "What sounds")
    intonation = told("intonation", "How far the frequency lies from the note; positive = sharp")
    reference_pitch = told("pitch", "Pitch of A4")


def _reference(given: Given) -> float:
    return float(given.get("reference_pitch", pitch.STANDARD_REFERENCE))


def _frequency(given: Given) -> dict[str, Any]:
    number = pitch.note_number(given["note"])
    return _pitch(given["note"], float(pitch.frequency(number, _reference(given))), 0.0, _reference(given))


def _note(given: Given) -> dict[str, Any]:
    name, off = pitch.nearest_note(given["frequency"], _reference(given))
    return _pitch(name, given["frequency"], off, _reference(given))


def _reference_pitch(given: Given) -> dict[str, Any]:
    found = float(pitch.reference_for(given["frequency"], given["note"]))
    if not 380.0 <= found <= 480.0:
        name, _ = pitch.nearest_note(given["frequency"])
        raise Contradiction(
            f"{given['frequency']:g} Hz is no {given['note']} at any reference pitch of 380 to 480 Hz; "
            f"at 440 Hz it is nearest to {name}",
            "frequency",
        )
    return _pitch(given["note"], given["frequency"], 0.0, found)


def _pitch(note: str, frequency: float, off: float, reference: float) -> dict[str, Any]:
    return {
        "note_name": note,
        "note_number": pitch.note_number(note),
        "frequency": frequency,
        "intonation": off,
        "reference_pitch": reference,
    }


PITCH = Calculation(
    name="pitch",
    title="Frequency of a note, or note of a frequency",
    about=(
        "Give a note to get its frequency, a frequency to get the nearest note and how far off it sounds, or "
        "both to get the pitch of A4 that they belong to. Equal temperament."
    ),
    question=PitchQuestion,
    result=PitchResult,
    ways=(
        Way("frequency", ("note",), _frequency, may=("reference_pitch",)),
        Way("note", ("frequency",), _note, may=("reference_pitch",)),
        Way("reference_pitch", ("note", "frequency"), _reference_pitch),
    ),
    source=("Equal temperament, 440·2^((m - 69)/12) Hz; A4 = 440 Hz: ISO 16:1975",),
    validity="Notes C-1 to G9, reference pitch 380 to 480 Hz.",
    formulas=(pitch.frequency, pitch.nearest_note, pitch.reference_for),
    blame={"number": "frequency", "reference": "reference_pitch"},
)


class CentsQuestion(Question):
    """Two of three: a frequency, what it is compared with, the interval between them."""

    frequency = asked("pitch", 1.0, 20000.0, "What sounds")
    reference_frequency = asked("pitch", 1.0, 20000.0, "What it is compared with")
    cents = asked("intonation", -12000.0, 12000.0, "Interval; positive = sharp")


class CentsResult(Result):
    """Two frequencies and their interval."""

    calculated = calculated("cents", "frequency", "reference_frequency")
    frequency = told("pitch", "What sounds")
    reference_frequency = told("pitch", "What it is compared with")
    cents = told("intonation", "Interval; positive = sharp")


def _cents(given: Given) -> dict[str, Any]:
    return {**given, "cents": float(pitch.cents(given["frequency"], given["reference_frequency"]))}


def _shifted(given: Given) -> dict[str, Any]:
    return {**given, "frequency": float(pitch.shifted(given["reference_frequency"], given["cents"]))}


def _unshifted(given: Given) -> dict[str, Any]:
    return {**given, "reference_frequency": float(pitch.shifted(given["frequency"], -given["cents"]))}


CENTS = Calculation(
    name="cents",
    title="Interval between two frequencies",
    about="Leave out one of frequency, reference frequency and cents; it is calculated from the other two.",
    question=CentsQuestion,
    result=CentsResult,
    ways=(
        Way("cents", ("frequency", "reference_frequency"), _cents),
        Way("frequency", ("reference_frequency", "cents"), _shifted),
        Way("reference_frequency", ("frequency", "cents"), _unshifted),
    ),
    source=("A. J. Ellis's cent, 1200·log2(f/f_ref): H. Helmholtz, On the Sensations of Tone (1885)",),
    validity="Any two frequencies from 1 to 20,000 Hz, up to ten octaves apart.",
    formulas=(pitch.cents, pitch.shifted),
)
