"""The pitch of a recorded string, against strings whose pitch and stretch are known, and against librosa."""

from __future__ import annotations

import math

import librosa
import numpy as np
import pytest

from shimstock_calc.errors import Missing, OutOfRange
from shimstock_calc.pitch import cents, frequency
from shimstock_calc.recording import StringSound, string_sound
from tests.calc.plucked import Sound, plucked
from tests.depth import amount

HEARD = amount(50, deep=3_000)
RATES = (8_000, 11_025, 16_000, 22_050, 44_100, 48_000, 96_000)
LOWEST, HIGHEST = 30.87, 1318.5
"""The low B of a bass, and the 12th fret of a mandolin's E [Hz]: equal temperament."""


def _any_string(seed: int, quieter: float) -> tuple[float, float, StringSound]:
    rng = np.random.default_rng(seed)
    pitch = math.exp(rng.uniform(math.log(LOWEST), math.log(HIGHEST)))
    stretch = math.exp(rng.uniform(math.log(1e-5), math.log(8e-4)))
    rate = int(rng.choice(RATES))
    sound = plucked(
        rng, pitch, stretch, rate=rate, seconds=rng.uniform(1.0, 6.0), decay=rng.uniform(0.5, 4.0),
        quieter=quieter, begin=rng.uniform(0.0, 0.2),
    )  # fmt: skip
    return pitch, stretch, string_sound(sound, rate)


@pytest.mark.parametrize("quieter", [20.0, 30.0, 40.0])
def test_any_string_is_heard_within_0_3_cents_at_20_db_and_better(quieter: float):
    # stretched partials: H. Fletcher, JASA 36, 203 (1964); 0.3 cents is what the service promises (judgement)
    errors, sure, stretch_sure = [], 0, []
    for seed in range(HEARD):
        pitch, stretch, heard = _any_string(seed, quieter)
        error = float(cents(heard.pitch, pitch))
        errors.append(abs(error))
        sure += abs(error) <= 2.0 * heard.uncertainty
        if not math.isnan(heard.inharmonicity):
            stretch_sure.append(abs(heard.inharmonicity - stretch) <= 2.0 * heard.inharmonicity_uncertainty)
    assert max(errors) < 0.3
    assert sure >= 0.95 * HEARD  # two standard uncertainties: JCGM 100:2008, G.6.6
    assert np.mean(stretch_sure) >= 0.9


def test_the_stretch_of_a_wound_bass_string_comes_out():
    # B from the string's own formula: Fletcher 1964, as the calculation string-inharmonicity has it
    heard = string_sound(plucked(np.random.default_rng(4), 41.2, 4e-4, quieter=40.0), 44_100)
    assert heard.inharmonicity == pytest.approx(4e-4, rel=0.05)
    assert set(heard.partials) >= {1, 2, 3, 4, 5}


@pytest.mark.parametrize("note", ["E1", "E2", "A2", "D3", "B3", "E4", "E5"])
def test_librosa_hears_the_same_within_its_grid(note: str):
    # independent voice: librosa.autocorrelate, whose highest maximum is a period; its grid is a sample
    pitch = float(frequency(note)) * 2 ** (7 / 1200)
    sound = plucked(np.random.default_rng(8), pitch, 1e-5, rate=22_050, quieter=40.0)
    heard = string_sound(sound, 22_050).pitch
    likeness = librosa.autocorrelate(sound[6_000:20_000], max_size=1_000)
    near = int(22_050 / heard)
    period = near // 2 + int(np.argmax(likeness[near // 2 : near * 3 // 2]))
    assert abs(22_050 / heard - period) <= 1.0


def test_hum_of_the_mains_moves_a_note_less_than_it_says():
    # 50 Hz hum (IEC 60038) at a tenth of the note's loudest, and a note that lies near it
    for seed in range(12):
        rng = np.random.default_rng(seed)
        pitch = float(rng.uniform(80.0, 350.0))
        sound = plucked(rng, pitch, 1e-4, decay=1.0, quieter=40.0)
        sound += 0.05 * np.sin(2.0 * math.pi * 50.0 * np.arange(sound.size) / 44_100)
        heard = string_sound(sound, 44_100, pitch * 2 ** (40 / 1200))
        assert abs(float(cents(heard.pitch, pitch))) <= max(0.3, 3.0 * heard.uncertainty)


def test_two_strings_at_once_are_refused():
    rng = np.random.default_rng(2)
    both = plucked(rng, 110.0, 1e-5) + plucked(rng, 220.0 * 2 ** (20 / 1200), 1e-5)
    with pytest.raises(Missing, match="damp the others"):
        string_sound(both, 44_100)


def _noise() -> Sound:
    return np.random.default_rng(1).normal(0.0, 0.1, 44_100)


@pytest.mark.parametrize(
    ("sound", "error", "words"),
    [
        (np.zeros(44_100), Missing, "silent"),
        (_noise(), Missing, "no string is heard clearly"),
        (np.eye(1, 44_100, 4_000)[0], Missing, "no string is heard clearly"),
        (plucked(np.random.default_rng(1), 110.0, 1e-4)[:4_000], OutOfRange, r"lasts 0\.09 s"),
        (plucked(np.random.default_rng(1), 110.0, 1e-4, seconds=2.0, begin=1.9), OutOfRange, "too late"),
        (np.clip(8.0 * plucked(np.random.default_rng(1), 110.0, 1e-4), -1.0, 1.0), OutOfRange, "overdriven"),
    ],
)  # fmt: skip
def test_what_is_no_string_is_refused_in_a_sentence(sound: Sound, error: type[Exception], words: str):
    with pytest.raises(error, match=words):
        string_sound(sound, 44_100)


def test_rates_beyond_those_of_recorders_are_refused():
    with pytest.raises(OutOfRange, match="samples a second"):
        string_sound(_noise(), 4_000)
