"""The pitch of a string from a recording of it, which is read, answered and forgotten."""

from __future__ import annotations

import io
import math
import struct
import warnings
from typing import Any

import numpy as np
from numpy.typing import NDArray

from shimstock_calc import pitch
from shimstock_calc.errors import CalculationError
from shimstock_calc.recording import FASTEST, LONGEST, SHORTEST, SLOWEST, string_sound
from shimstock_server.web.blueprint import Answer, Blueprint
from shimstock_server.web.fields import ListOf, Number, StrictSchema, Text, Whole
from shimstock_server.web.problems import CannotCalculate, InvalidFields

from .fields import told

blueprint = Blueprint("recordings", "What a recording of a string says; it is never kept.")

_SOURCES = (
    "Partials: M. Gasior & J. L. Gonzalez, AIP Conference Proceedings 732, 276 (2004), from memory",
    "Their stretch in a stiff string: H. Fletcher, JASA 36, 203 (1964)",
    "The period: P. McLeod & G. Wyvill, A smarter way to find pitch, ICMC (2005), from memory",
)
_BROKEN = (ValueError, EOFError, struct.error, ArithmeticError, LookupError, TypeError, UnboundLocalError)
"""What reading a file that is no WAV, or a damaged one, ends with."""


class RecordingQuery(StrictSchema):
    """What the string should sound like, when that is known."""

    note = Text(
        max=6,
        metadata={
            "description": "The note that it should be, such as E2: it is looked for near it. Left out: any."
        },
    )
    reference_pitch = Number(
        min=380.0, max=480.0, load_default=440.0, metadata={"description": "Pitch of A4 [Hz]."}
    )


class StringSoundOut(StrictSchema):
    """Pitch and stretch of a string that was heard."""

    note_name = Text(metadata={"description": "The note asked for, or the nearest."})
    pitch = told("pitch", "Frequency of the lowest partial, which is what a tuner shows")
    intonation = told("intonation", "How far it lies from the note; positive = sharp")
    uncertainty = told("intonation", "Standard uncertainty of the pitch")
    inharmonicity = Number(
        allow_none=True,
        metadata={"description": "B of f_n = n·f0·√(1 + B·n²); null with fewer than three partials."},
    )
    inharmonicity_uncertainty = Number(
        allow_none=True, metadata={"description": "Standard uncertainty of the inharmonicity."}
    )
    partials = ListOf(Whole(min=1), metadata={"description": "The partials that were measured."})
    seconds = Number(metadata={"description": "How much of the recording was listened to [s]."})
    source = ListOf(Text(max=500), metadata={"description": "Where the method is published."})


@blueprint.operation(
    "POST", "/calculations/pitch-from-recording", scopes=(), query=RecordingQuery, answer=StringSoundOut,
    conflicts=(CannotCalculate,), binary=("audio/wav",),
)  # fmt: skip
def post_recording(query: dict[str, Any], data: bytes) -> Answer:
    """Tell the pitch of one plucked string from a recording.

    A WAV file of 16 or 24 bits, 8 to 96 kHz, 0.4 to 6 s and at most 4 MiB, of one string that is plucked once
    and rings; of several channels the loudest is heard. It is not kept. Pluck the open string or the note at
    the 12th fret without bending it, and let it ring for two seconds: a hard pluck begins sharp.
    """
    samples, rate = _samples(data)
    try:
        note = query.get("note")
        number = pitch.note_number(note) if note else None
        near = None if number is None else float(pitch.frequency(number, query["reference_pitch"]))
    except CalculationError as error:
        raise InvalidFields.at("/query/note", error.message) from None
    try:
        heard = string_sound(samples, rate, near)
    except CalculationError as error:
        raise CannotCalculate(
            error.message, errors=[{"pointer": "", "message": error.message}], reason=error.code
        ) from None
    nearest, off = pitch.nearest_note(heard.pitch, query["reference_pitch"])
    return Answer(
        {
            "note_name": note or nearest,
            "pitch": heard.pitch,
            "intonation": off if near is None else float(pitch.cents(heard.pitch, near)),
            "uncertainty": heard.uncertainty,
            "inharmonicity": _known(heard.inharmonicity),
            "inharmonicity_uncertainty": _known(heard.inharmonicity_uncertainty),
            "partials": heard.partials,
            "seconds": round(heard.seconds, 3),
            "source": _SOURCES,
        }
    )


def _known(number: float) -> float | None:
    return None if math.isnan(number) else float(f"{number:.4g}")


def _samples(data: bytes) -> tuple[NDArray[np.float64], float]:
    """Return the loudest channel, full scale 1, and its samples a second."""
    from scipy.io import wavfile

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", wavfile.WavFileWarning)  # chunks beside the sound do not matter
            rate, whole = wavfile.read(io.BytesIO(data))
    except _BROKEN:
        raise InvalidFields.at("", "is no WAV file, or a damaged one: record WAV of 16 or 24 bits") from None
    if whole.dtype not in (np.int16, np.int32):
        raise InvalidFields.at("", "holds samples of another kind: record WAV of 16 or 24 bits")
    if not SLOWEST <= rate <= FASTEST:
        raise InvalidFields.at("", f"has {rate} samples a second: record 8,000 to 96,000, such as 44,100")
    if not SHORTEST * rate <= len(whole) <= LONGEST * rate:
        raise InvalidFields.at(
            "", f"lasts {len(whole) / rate:.2f} s: record {SHORTEST:g} to {LONGEST:g} s of one string"
        )
    channels = whole.reshape(len(whole), -1) / float(-np.iinfo(whole.dtype).min)
    return channels[:, int(np.argmax(np.std(channels, axis=0)))], float(rate)
