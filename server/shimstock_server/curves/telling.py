"""A map and a curve as their schemas dump them, in the units that are kept."""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Mapping
from typing import Any
from uuid import UUID

from shimstock_calc.plan.model import Instrument

from .heights import Heights
from .playing import Clearance
from .tuning import StringCurve, Tuning, rms

RANKS = "It ranks places; it does not promise freedom from buzz. The ear decides."
IDEAL = (
    "Swing of an ideal string, plucked at a fifth of its length from the bridge; forces are a judgement, not "
    "a measurement."
)
START = "A place to start from: the last word has the tuner."
UNPROVEN = (
    "The source measured nylon strings. On steel trust how far a saddle should move more than where it "
    "should stand: wound strings commonly need less."
)
UNWEIGHED = (
    "The pull of a string is not known: how far the strings may be drawn aside is told, not how hard, and "
    "the margins are those at rest."
)
SOURCES = (
    "M. B. Anderson & R. G. Beausoleil, Classical guitar intonation and compensation: the well-tempered "
    "guitar, J. Acoust. Soc. Am. 156(1), 683 (2024)",
    "The neck as a beam of constant curvature from nut to body joint: common approximation",
)


def clearance_data(
    instrument_id: UUID, name: str, instrument: Instrument, clearance: Clearance, touch: str
) -> dict[str, Any]:
    """Return the clearance map as its schema dumps it."""
    heights, found = clearance.heights, clearance.found
    margins = clearance.margins
    strings = []
    for place in range(len(heights.numbers)):
        positions = [
            {
                "position": position,
                "touches": int(found.touching_fret[place, position]) or None,
                "margin": _known(margins[place, position]),
                "free_force": None if found.free_force is None else _known(found.free_force[place, position]),
                "free_amplitude": _known(found.free_amplitude[place, position]),
            }
            for position in range(instrument.frets)
        ]
        strings.append(
            _string(instrument, heights, place)
            | {
                "tension": clearance.pulls[place],
                "pluck_distance": clearance.distance[place],
                "positions": positions,
            }
        )
    numbered = [vars(place) | {"string": heights.numbers[place.string - 1]} for place in clearance.tightest]
    return _head(instrument_id, name, heights) | {
        "touch": touch,
        "force": clearance.force,
        "strings": strings,
        "tightest": numbered,
        "note": [RANKS, IDEAL] if clearance.force is not None else [RANKS, IDEAL, UNWEIGHED],
    }


def intonation_data(instrument_id: UUID, name: str, instrument: Instrument, tuning: Tuning) -> dict[str, Any]:
    """Return the intonation curves as their schema dumps them."""
    return _head(instrument_id, name, tuning.heights) | {
        "strings": [_curve(instrument, curve) for curve in tuning.curves],
        "not_known": [{"string": number, "why": why} for number, why in tuning.unknown.items()],
        "source": list(SOURCES),
        "note": [START, UNPROVEN] if instrument.built_for == "steel" else [START],
    }


def _head(instrument_id: UUID, name: str, heights: Heights) -> dict[str, Any]:
    return {
        "instrument_id": instrument_id,
        "instrument": name,
        "read_at": heights.read_at,
        "readings": [vars(used) for used in heights.used],
    }


def note_of(instrument: Instrument, number: int) -> str | None:
    """Return the open note of a string."""
    return next((string.note for string in instrument.strings if string.number == number), None)


def _string(instrument: Instrument, heights: Heights, place: int) -> dict[str, Any]:
    number = heights.numbers[place]
    return {
        "string": number,
        "note": note_of(instrument, number),
        "scale_length": float(heights.board.scale_lengths[place]),
        "relief": heights.relief[place],
        "nut_action": heights.nut_action[place],
        "action": heights.action[place],
    }


def _curve(instrument: Instrument, curve: StringCurve) -> dict[str, Any]:
    now = curve.now or (None,) * len(curve.suggested)
    return {
        "string": curve.number,
        "note": note_of(instrument, curve.number),
        "intonation": curve.read,
        "fret": curve.read_fret,
        "saddle_setback": curve.now_setback,
        "suggested_setback": curve.setback,
        "saddle_move": curve.move,
        "rms": rms(curve.now) if curve.now else None,
        "suggested_rms": rms(curve.suggested),
        "answers": curve.stretch.source,
        "frets": [
            {"fret": fret, "now": here, "suggested": there}
            for fret, (here, there) in enumerate(zip(now, curve.suggested, strict=True), start=1)
        ],
    }


def _known(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None


def digest(data: Mapping[str, Any]) -> str:
    """Return what names a map or a curve and everything behind it."""
    text = json.dumps(data, sort_keys=True, default=str)
    return hashlib.sha256(text.encode()).hexdigest()[:32]
