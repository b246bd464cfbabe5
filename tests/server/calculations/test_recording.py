"""POST /v1/calculations/pitch-from-recording: a WAV in, its pitch out, nothing kept."""

from __future__ import annotations

import random
import struct
import time
from typing import Any

import numpy as np
import pytest

from shimstock_calc.pitch import cents, frequency
from tests.calc.plucked import plucked, wav
from tests.depth import amount
from tests.server.clients import Client

PATH = "/v1/calculations/pitch-from-recording"
E2 = float(frequency("E2"))


def _sound(pitch: float = E2, **how: Any) -> Any:
    return plucked(np.random.default_rng(5), pitch, 1e-4, **how)


def _post(calculator: Client, data: bytes, query: str = "", media_type: str = "audio/wav") -> Any:
    return calculator.post(PATH + query, data=data, content_type=media_type)


@pytest.mark.parametrize("bits", [16, 24])
@pytest.mark.parametrize("channels", [1, 2])
@pytest.mark.parametrize("rate", [8_000, 44_100, 96_000])
def test_a_recording_tells_note_pitch_and_stretch(calculator: Client, bits: int, channels: int, rate: int):
    # the sound's own pitch and stretch: H. Fletcher, JASA 36, 203 (1964); WAV written by Python's wave module
    seconds = 6.0 if channels == 1 or rate < 96_000 else 5.0
    data = wav(_sound(E2 * 2 ** (7 / 1200), rate=rate, seconds=seconds), rate, bits=bits, channels=channels)
    answer = _post(calculator, data, "?note=E2")
    assert answer.status_code == 200, answer.get_data(as_text=True)
    heard = answer.get_json()
    assert heard["note_name"] == "E2"
    assert heard["intonation"]["value"] == pytest.approx(7.0, abs=0.3)
    assert heard["intonation"]["unit"] == "cents"
    assert heard["pitch"] == {"value": pytest.approx(E2 * 2 ** (7 / 1200), rel=2e-4), "unit": "Hz"}
    assert 0.0 < heard["uncertainty"]["value"] < 0.5
    assert heard["partials"][:2] == [1, 2]
    assert heard["inharmonicity"] == pytest.approx(1e-4, abs=3 * heard["inharmonicity_uncertainty"])


def test_without_a_note_the_nearest_is_named_at_the_shops_reference_pitch(calculator: Client):
    data = wav(_sound(float(frequency("A3", 432.0))), 44_100)
    assert _post(calculator, data).get_json()["note_name"] == "A3"
    at_432 = _post(calculator, data, "?reference_pitch=432").get_json()
    assert at_432["intonation"]["value"] == pytest.approx(0.0, abs=0.3)


def test_open_string_and_twelfth_fret_give_an_intonation(calculator: Client):
    # the 12th-fret note 6 cents sharp of the octave: what a tuner would read as +6
    low, high = (
        _post(calculator, wav(_sound(pitch), 44_100), f"?note={note}").get_json()
        for pitch, note in ((E2, "E2"), (2 * E2 * 2 ** (6 / 1200), "E3"))
    )
    octave = float(cents(high["pitch"]["value"], low["pitch"]["value"]))
    assert octave - 1200.0 == pytest.approx(6.0, abs=0.3)


def test_the_largest_recording_takes_less_than_half_a_second(calculator: Client):
    data = wav(_sound(rate=96_000, seconds=6.0, decay=0.3), 96_000, bits=24)
    began = time.process_time()
    assert _post(calculator, data).status_code == 200
    assert time.process_time() - began < 0.5


def _chunk(data: bytes, at: int, fmt: str, value: int) -> bytes:
    return data[:at] + struct.pack(fmt, value) + data[at + struct.calcsize(fmt) :]


FINE = wav(_sound(rate=8_000, seconds=1.0), 8_000)


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "is no WAV file"),
        (b"RIFF", "is no WAV file"),
        (b"ID3" + bytes(200), "is no WAV file"),
        (FINE[:40], "is no WAV file"),
        (_chunk(FINE, 20, "<H", 85), "is no WAV file"),  # another coding (RFC 2361, MPEG layer 3)
        (wav(_sound(rate=8_000, seconds=1.0), 4_000), "record 8,000 to 96,000"),
        (wav(_sound(rate=96_000, seconds=1.0), 192_000), "record 8,000 to 96,000"),
        (wav(_sound(rate=8_000, seconds=0.2), 8_000), "record 0.4 to 6 s of one string"),
        (wav(_sound(rate=8_000, seconds=7.0), 8_000), "record 0.4 to 6 s of one string"),
        (wav(np.zeros(8_000), 8_000), "silent"),
    ],
)
def test_what_is_no_recording_of_a_string_is_refused_in_a_sentence(
    calculator: Client, data: bytes, words: str
):
    problem = _post(calculator, data)
    assert problem.status_code == 422
    assert words in problem.get_json()["errors"][0]["message"]


def test_a_wrong_note_names_the_field(calculator: Client):
    problem = _post(calculator, FINE, "?note=H2")
    assert problem.status_code == 422
    assert problem.get_json()["errors"][0]["pointer"] == "/query/note"


def test_other_kinds_and_sizes_are_refused(calculator: Client):
    assert _post(calculator, FINE, media_type="audio/mpeg").status_code == 415
    assert _post(calculator, FINE, media_type="application/json").status_code == 415
    assert _post(calculator, FINE + bytes(4 * 1024 * 1024)).status_code == 413


def test_damaged_files_are_refused_or_heard_and_never_break_the_service(calculator: Client):
    # every byte of the header, changed at random
    rng = random.Random(7)
    for _ in range(amount(300, deep=20_000)):
        data = bytearray(FINE)
        for _ in range(rng.randint(1, 6)):
            data[rng.randrange(0, 48)] = rng.randrange(256)
        assert _post(calculator, bytes(data[: rng.randint(12, len(data))])).status_code in (200, 422)
