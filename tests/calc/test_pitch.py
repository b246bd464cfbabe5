"""Notes, frequencies and cents against ISO 16, librosa and exact intervals."""

from __future__ import annotations

import librosa
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shimstock_calc import pitch
from shimstock_calc.errors import OutOfRange


def test_standard_pitch_is_440_hz():
    # ISO 16:1975
    assert pitch.frequency("A4") == 440.0


def test_every_note_agrees_with_librosa():
    # oracle: librosa.midi_to_hz, librosa.midi_to_note, librosa.note_to_midi
    numbers = np.arange(128)
    np.testing.assert_allclose(pitch.frequency(numbers), librosa.midi_to_hz(numbers), rtol=1e-13)
    for number in numbers:
        assert pitch.note_name(number) == librosa.midi_to_note(number, unicode=False)
        assert pitch.note_number(librosa.midi_to_note(number)) == number


@pytest.mark.parametrize(
    "name",
    [
        "E2",
        "A2",
        "D3",
        "G3",
        "B3",
        "E4",
        "Bb2",
        "Eb4",
        "C#3",
        "F♯3",
        "B♭1",
        "b0",
        "Cb4",
        "B#3",
        "F##2",
        "Abb3",
    ],
)
def test_spellings_agree_with_librosa(name):
    # oracle: note_to_midi of librosa
    assert pitch.note_number(name) == librosa.note_to_midi(name)


@pytest.mark.parametrize(
    "ratio, expected", [(2.0, 1200.0), (3 / 2, 701.955), (5 / 4, 386.314), (2 ** (1 / 12), 100.0)]
)
def test_cents_of_exact_intervals(ratio, expected):
    # Ellis in Helmholtz, On the Sensations of Tone (1885), App. XX: fifth, major third (from memory)
    assert pitch.cents(ratio * 110.0, 110.0) == pytest.approx(expected, abs=5e-4)


def test_sharp_is_positive():
    assert pitch.cents(441.0, 440.0) > 0 > pitch.cents(439.0, 440.0)
    assert pitch.shifted(440.0, +1.0) > 440.0 > pitch.shifted(440.0, -1.0)
    assert pitch.nearest_note(441.0) == ("A4", pytest.approx(3.930, abs=1e-3))


@given(st.floats(0, 127), st.floats(380, 480))
def test_note_and_frequency_round_trip(number, reference):
    sounding = pitch.frequency(number, reference)
    assert pitch.note_at(sounding, reference) == pytest.approx(number, abs=1e-9)
    assert pitch.reference_for(sounding, number) == pytest.approx(reference, rel=1e-12)


@given(st.floats(20, 2000), st.floats(-2400, 2400))
def test_cents_and_shifted_round_trip(start, interval):
    assert pitch.cents(pitch.shifted(start, interval), start) == pytest.approx(interval, abs=1e-8)


def test_a_tuning_comes_as_an_array():
    np.testing.assert_allclose(
        pitch.frequency(["E4", "B3", "G3", "D3", "A2", "E2"]),
        librosa.note_to_hz(["E4", "B3", "G3", "D3", "A2", "E2"]),
    )


@pytest.mark.parametrize("name", ["", "H2", "E", "E#b#3", "4E", "E99", "E-3", None, 3.0])
def test_what_is_no_note_is_refused_by_name(name):
    with pytest.raises(OutOfRange, match="note must be") as caught:
        pitch.note_number(name)
    assert caught.value.field == "note"


@pytest.mark.parametrize(
    "call, field",
    [
        (lambda: pitch.frequency("A4", 44.0), "reference"),
        (lambda: pitch.frequency(float("nan")), "note"),
        (lambda: pitch.cents(0.0, 440.0), "frequency"),
        (lambda: pitch.cents(440.0, -1.0), "reference_frequency"),
        (lambda: pitch.shifted(440.0, float("inf")), "cents"),
        (lambda: pitch.note_name(300), "number"),
    ],
)
def test_impossible_values_name_their_field(call, field):
    with pytest.raises(OutOfRange) as caught:
        call()
    assert caught.value.field == field
