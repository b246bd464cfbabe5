"""Notes, frequencies and cents over HTTP."""

from __future__ import annotations

import librosa
import pytest

from tests.server.calculations.conftest import Ask, quantity


# pins pitch: ISO 16:1975, A4 = 440 Hz
def test_the_standard_pitch(ask: Ask) -> None:
    found = ask("pitch", note="A4")
    assert found["frequency"] == quantity(440.0, "Hz")
    assert found["calculated"] == "frequency"


# pins pitch: librosa.note_to_hz, an independent library
@pytest.mark.parametrize("note", ["E4", "B3", "G3", "D3", "A2", "E2", "B0", "F#3", "Bb2", "C♯5"])
def test_notes_agree_with_an_independent_library(ask: Ask, note: str) -> None:
    assert ask("pitch", note=note)["frequency"]["value"] == pytest.approx(librosa.note_to_hz(note), abs=1e-6)


def test_a_frequency_finds_its_note_and_how_far_off_it_is(ask: Ask) -> None:
    # 1200·log2(332/329.6276) = 12.4157 cents, by hand
    found = ask("pitch", frequency=quantity(332, "Hz"))
    assert found["note_name"] == "E4"
    assert found["intonation"]["value"] == pytest.approx(12.416, abs=1e-3)


def test_a_note_and_what_sounds_find_the_reference_pitch(ask: Ask) -> None:
    low = ask("pitch", note="E2", reference_pitch=quantity(435, "Hz"))["frequency"]
    found = ask("pitch", note="E2", frequency=low)
    assert found["calculated"] == "reference_pitch"
    assert found["reference_pitch"]["value"] == pytest.approx(435.0, abs=1e-3)


# pins cents: the fifth 3:2 of 701.955 cents, A. J. Ellis in H. Helmholtz, On the Sensations of Tone (1885)
def test_a_fifth(ask: Ask) -> None:
    found = ask("cents", frequency=quantity(3, "Hz"), reference_frequency=quantity(2, "Hz"))
    assert found["cents"] == {"value": 701.955, "unit": "cents"}


# pins cents: sharp is positive, by definition
def test_sharp_is_positive(ask: Ask) -> None:
    sharp = ask("cents", frequency=quantity(441, "Hz"), reference_frequency=quantity(440, "Hz"))
    assert sharp["cents"]["value"] > 0


@pytest.mark.parametrize("cents", [-1200.0, -3.0, 0.0, 7.0, 702.0])
def test_cents_and_their_inverses(ask: Ask, cents: float) -> None:
    interval, base = quantity(cents, "cents"), quantity(220, "Hz")
    up = ask("cents", reference_frequency=base, cents=interval)["frequency"]
    assert ask("cents", frequency=up, reference_frequency=base)["cents"]["value"] == pytest.approx(
        cents, abs=1e-4
    )
    assert ask("cents", frequency=up, cents=interval)["reference_frequency"]["value"] == pytest.approx(
        220, abs=1e-4
    )
