"""Saddle position: how far a saddle, and the nut, must go for fretted notes to come in tune."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from shimstock_calc import bridge, intonation
from shimstock_calc.errors import OutOfRange
from shimstock_calc.plan import directions
from shimstock_calc.plan.model import Bridge
from shimstock_server.web.fields import Choice, ListOf, Nested, StrictSchema, Text, Truth, Whole

from .entry import Calculation, Given, Way
from .fields import Question, Result, asked, calculated, told
from .neck import fret_field
from .notes import say, scale_note

FARTHEST = 60.0
"""No saddle goes farther; the longest compensated basses need half of it (judgement) [mm]."""


class IntonationReadingIn(StrictSchema):
    """A fretted note against the open string."""

    fret = fret_field("Fret at which it was read", required=True)
    intonation = asked("intonation", -100.0, 100.0, "How far it is off; positive = sharp", required=True)


class SaddlePositionQuestion(Question):
    """Readings and scale length, or a movement."""

    scale_length = asked("scale-length", 100.0, 2000.0, "Scale length of that string", required=True)
    intonation = asked("intonation", -100.0, 100.0, "Fretted note against the open string; positive = sharp")
    fret = fret_field("Fret at which it was read; 12 else")
    readings = ListOf(
        Nested(IntonationReadingIn), min=1, max=36,
        metadata={"description": "Readings at several frets, instead of one."},
    )  # fmt: skip
    move_nut = Truth(
        metadata={"description": "Whether the nut may be set forward or back as well; false else."}
    )
    saddle_move = asked("saddle-position", -FARTHEST, FARTHEST, "Movement; positive = away from the nut")
    turns = asked("turns", -60.0, 60.0, "Turns of the screw; positive = away from the nut")
    thread_pitch = asked("thread-pitch", 0.1, 3.0, "Thread pitch of the intonation screw")
    screw_head = Choice(
        ("tail", "nut"), load_default="tail",
        metadata={"description": "Where the screw's head is: at the tail, or toward the nut."},
    )  # fmt: skip
    travel_left = asked("saddle-position", 0.0, FARTHEST, "How far the saddle can still go that way")


class IntonationLeftOut(StrictSchema):
    """What stays at a fret."""

    fret = Whole()
    intonation = told("intonation", "How far it is off afterwards; positive = sharp")


class SaddlePositionResult(Result):
    """Where the saddle goes, and what stays."""

    calculated = calculated("saddle_move", "intonation")
    saddle_move = told("saddle-position", "Movement; positive = away from the nut")
    direction = Choice(("away from the nut", "toward the nut", "leave"))
    exact_turns = told("turns", "The same in turns; positive = away from the nut", maybe=True)
    turns = told("turns", "Rounded to eighths: what to turn", maybe=True)
    seen = Text(
        max=100, allow_none=True, metadata={"description": "Which way that turns, and seen from where."}
    )
    nut_move = told("saddle-position", "Change of the length at the nut; negative = shorter", maybe=True)
    intonation = ListOf(Nested(IntonationLeftOut), metadata={"description": "What stays, fret by fret."})
    rms = told("intonation", "Root mean square of what stays", maybe=True)
    short = told("saddle-position", "How much further it would have to go than it can", maybe=True)


def _fret(given: Given) -> int:
    return int(given.get("fret", 12))


def _move(given: Given) -> dict[str, Any]:
    wanted = float(intonation.saddle_move(given["intonation"], given["scale_length"], _fret(given)))
    _refuse_hopeless(wanted, "intonation")
    move, short = _within_travel(given, wanted)
    left = float(_after(given, given["intonation"], move, _fret(given)))
    return _result(given, move, [(_fret(given), left)], short)


def _refuse_hopeless(move: float, field: str) -> None:
    if abs(move) > FARTHEST:
        raise OutOfRange(
            f"the saddle would have to go {say('saddle-position', abs(move))}: no saddle can cure it; "
            "was it read at that fret of that string?",
            field,
        )


def _after(given: Given, cents: float, move: float, fret: int) -> float:
    return float(intonation.intonation_after_move(cents, move, given["scale_length"], fret))


def _within_travel(given: Given, wanted: float) -> tuple[float, float | None]:
    """Return how far the saddle can go, and what is missing when that is less than wanted [mm]."""
    left = given.get("travel_left")
    if left is None or abs(wanted) <= left:
        return wanted, None
    return math.copysign(left, wanted), abs(wanted) - left


def _several(given: Given) -> dict[str, Any]:
    frets = [each["fret"] for each in given["readings"]]
    cents = [each["intonation"] for each in given["readings"]]
    found = intonation.saddle_position(cents, frets, given["scale_length"], given.get("move_nut", False))
    _refuse_hopeless(found.saddle, "readings")
    move, short = _within_travel(given, found.saddle)
    left = np.atleast_1d(found.residual).tolist()
    if short is not None:
        left = [_after(given, cents[n], move, frets[n]) for n in range(len(frets))]
    nut = found.nut if given.get("move_nut", False) and short is None else None
    return _result(given, move, list(zip(frets, left, strict=True)), short) | {"nut_move": nut}


def _after_move(given: Given) -> dict[str, Any]:
    move = given["saddle_move"] if "saddle_move" in given else given["turns"] * given["thread_pitch"]
    left = _after(given, given["intonation"], move, _fret(given))
    return _result(given, move, [(_fret(given), left)], None)


def _result(given: Given, move: float, left: list[tuple[int, float]], short: float | None) -> dict[str, Any]:
    exact = turns = seen = None
    direction, _ = directions.saddle_position(move, Bridge("individual-saddles"))
    if "thread_pitch" in given:
        exact = float(intonation.saddle_turns(move, given["thread_pitch"]))
        turns = bridge.round_to_eighth(exact)
        screw = Bridge(
            "individual-saddles",
            intonation_screw_pitch=given["thread_pitch"],
            intonation_screw_head=given["screw_head"],
        )
        seen = directions.saddle_position(turns, screw)[1] if turns else None
    return {
        "saddle_move": move,
        "direction": direction if abs(move) > 1e-9 else "leave",
        "exact_turns": exact,
        "turns": turns,
        "seen": seen,
        "intonation": [{"fret": fret, "intonation": cents} for fret, cents in left],
        "rms": math.sqrt(sum(cents**2 for _, cents in left) / len(left)),
        "short": short,
        "note": _note(move, short, left) + scale_note(given["scale_length"]),
    }


def _note(move: float, short: float | None, left: list[tuple[int, float]]) -> list[str]:
    note = []
    if short is not None:
        worst = max((cents for _, cents in left), key=abs)
        note.append(
            f"The travel left is {say('saddle-position', short)} short, and {say('intonation', worst)} stay: "
            f"look at frets 1 to 3, the height of the nut slot, the magnets' distance, the gauge and how old "
            f"the string is. Never mistune other strings to hide it."
        )
    if abs(move) > 8.0:
        note.append(
            "A saddle is seldom that far off: an old or wrong string, action or nut too high come first."
        )
    return note


SADDLE_POSITION = Calculation(
    name="saddle-position",
    title="How far a saddle must go for fretted notes to come in tune",
    about=(
        "A reading at the 12th fret or another gives how far the saddle goes, and the turns of its screw; "
        "readings at several frets give saddle and nut together. A movement or turns give the intonation "
        "afterwards. Sharp: away from the nut; flat: toward it. The open string is retuned after every "
        "movement."
    ),
    question=SaddlePositionQuestion,
    result=SaddlePositionResult,
    ways=(
        Way("saddle_move", ("intonation",), _move, may=("fret", "thread_pitch", "travel_left")),
        Way("saddle_move", ("readings",), _several, may=("thread_pitch", "travel_left", "move_nut"),
            blame={"frets": "readings", "intonation": "readings", "fret": "readings", "move": "travel_left"}),
        Way("intonation", ("intonation", "saddle_move"), _after_move, may=("fret", "thread_pitch")),
        Way("intonation", ("intonation", "turns", "thread_pitch"), _after_move, may=("fret",),
            blame={"move": "turns"}),
    ),
    source=(
        "Ideal string: dS = X·(r - 1)/(g - r), r = 2^(cents/1200), g = 2^(fret/12): elementary geometry",
        "Directions of the screw: common practice, no published source",
    ),
    validity="Readings within ± 100 cents of an ideal string; the last cents are found by reading again.",
    formulas=(intonation.saddle_move, intonation.intonation_after_move, intonation.saddle_position),
    blame={"move": "saddle_move"},
)  # fmt: skip
