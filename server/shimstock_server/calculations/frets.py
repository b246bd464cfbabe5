"""Where the frets lie."""

from __future__ import annotations

from typing import Any

import numpy as np

from shimstock_calc import scale
from shimstock_calc.errors import Contradiction
from shimstock_server.web.fields import Choice, ListOf, Nested, Number, StrictSchema, Whole

from .entry import Calculation, Given, Way
from .fields import Question, Result, asked, calculated, told
from .notes import say, scale_note

RULES: dict[str, scale.Rule] = {
    "equal-temperament": "equal temperament",
    "rule-of-eighteen": "rule of eighteen",
}
"""The word for a rule on the wire to its name in the calculation module."""
_WORDS = {name: word for word, name in RULES.items()}

_RULE = Choice(
    RULES,
    metadata={"description": "How the board is divided: equal temperament, unless said otherwise."},
)


class MeasuredFretIn(StrictSchema):
    """A fret and its measured distance from the nut."""

    fret = Whole(1, scale.MOST_FRETS, required=True, metadata={"description": "Fret, 1 = next to the nut."})
    position = asked("distance", 1.0, 1990.0, "Distance from the nut", required=True)


class FretPositionsQuestion(Question):
    """A scale length and what is wanted of it, or measured distances."""

    scale_length = asked("scale-length", 100.0, 2000.0, "Twice the distance from nut to 12th fret")
    frets = Whole(1, scale.MOST_FRETS, metadata={"description": "How many frets."})
    scale_bass = asked("scale-length", 100.0, 2000.0, "Scale length of the outermost string, bass side")
    scale_treble = asked("scale-length", 100.0, 2000.0, "Scale length of string 1")
    strings = Whole(2, 24, metadata={"description": "How many strings."})
    perpendicular_fret = Number(0, 36, metadata={"description": "Fret square to the middle line; 0 = nut."})
    fret = Number(0, 36, metadata={"description": "Fret; with fractions, between two."})
    position = asked("distance", 0.0, 1990.0, "Distance from the nut")
    measured = ListOf(
        Nested(MeasuredFretIn), min=3, max=scale.MOST_FRETS,
        metadata={"description": "Distances measured on a board, to tell the rule that it was cut to."},
    )  # fmt: skip
    uncertainty = asked("resolution", 0.01, 2.0, "Standard uncertainty of a measured distance; 0.1 mm else")
    rule = _RULE


class FretOut(StrictSchema):
    """A fret and where it lies."""

    fret = Whole()
    position = told("distance", "Distance from the nut")


class StringFretsOut(StrictSchema):
    """A string of a multi-scale board; places along the middle line from the nut end of string 1."""

    string = Whole()
    scale_length = told("scale-length", "Its own scale length")
    nut = told("distance", "Where it leaves the nut")
    saddle = told("distance", "Where its scale ends")
    frets = ListOf(Nested(FretOut))


class FretRuleOut(StrictSchema):
    """How well a rule fits a measured board."""

    rule = Choice(RULES)
    scale_length = told("scale-length", "The scale length that fits best, or the one given")
    misfit = told("resolution", "Root mean square of what is left")
    residuals = ListOf(told("resolution", "Measured minus computed, in the order given"))


class FretPositionsResult(Result):
    """Frets and their places."""

    calculated = calculated("positions", "position", "fret", "scale_length", "rule")
    rule = Choice((*RULES, "neither", "cannot-tell"))
    scale_length = told("scale-length", "Twice the distance from nut to 12th fret", maybe=True)
    fret = Number(allow_none=True)
    position = told("distance", "Distance from the nut", maybe=True)
    positions = ListOf(Nested(FretOut))
    strings = ListOf(Nested(StringFretsOut))
    fits = ListOf(Nested(FretRuleOut))
    divisor = Number(
        allow_none=True,
        metadata={"description": "Of the best fit: 17.817 equal temperament, 18 the old rule."},
    )


def _rule(given: Given) -> scale.Rule:
    return RULES[given.get("rule", "equal-temperament")]


def _numbered(places: Any) -> list[dict[str, Any]]:
    return [{"fret": fret, "position": float(place)} for fret, place in enumerate(places, start=1)]


def _result(given: Given, **found: Any) -> dict[str, Any]:
    known: dict[str, Any] = {
        "rule": _WORDS[_rule(given)],
        "scale_length": given.get("scale_length"),
        "fret": given.get("fret"),
        "position": given.get("position"),
        "positions": [],
        "strings": [],
        "fits": [],
    } | found
    return {**known, "note": scale_note(known["scale_length"])}


def _positions(given: Given) -> dict[str, Any]:
    places = scale.fret_positions(given["scale_length"], given["frets"], _rule(given))
    return _result(given, positions=_numbered(places))


def _multi_scale(given: Given) -> dict[str, Any]:
    board = scale.multi_scale_board(
        given["scale_bass"], given["scale_treble"], given["strings"], given["frets"],
        given["perpendicular_fret"],
    )  # fmt: skip
    return _result(
        given,
        strings=[
            {
                "string": n + 1,
                "scale_length": float(board.scale_lengths[n]),
                "nut": float(board.nut[n]),
                "saddle": float(board.saddle[n]),
                "frets": _numbered(board.frets[n]),
            }
            for n in range(given["strings"])
        ],
    )


def _position(given: Given) -> dict[str, Any]:
    place = scale.fret_position(given["fret"], given["scale_length"], _rule(given))
    return _result(given, position=float(place))


def _fret(given: Given) -> dict[str, Any]:
    fret = float(scale.fret_at(given["position"], given["scale_length"], _rule(given)))
    return _result(given, fret=fret)


def _scale_length(given: Given) -> dict[str, Any]:
    length = float(scale.scale_length_for(given["fret"], given["position"], _rule(given)))
    if not scale.SHORTEST <= length <= scale.LONGEST:
        raise Contradiction(
            f"a scale length of {say('scale-length', length)} would follow, which no instrument has",
            "position",
        )
    return _result(given, scale_length=length)


def _rule_of(given: Given) -> dict[str, Any]:
    measured = given["measured"]
    found = scale.fret_rule(
        [each["fret"] for each in measured],
        [each["position"] for each in measured],
        given.get("scale_length"),
        given.get("uncertainty", 0.1),
    )
    fits = [
        {
            "rule": _WORDS[rule],
            "scale_length": found.scale_lengths[rule],
            "misfit": found.misfits[rule],
            "residuals": np.asarray(found.residuals[rule]).tolist(),
        }
        for rule in RULES.values()
    ]
    best = found.scale_lengths.get(found.rule)
    return _result(
        given, rule=found.rule.replace(" ", "-"), scale_length=best, fits=fits, divisor=found.divisor
    )


FRET_POSITIONS = Calculation(
    name="fret-positions",
    title="Where the frets lie, on one scale or several, and what an old board was cut to",
    about=(
        "Scale length and number of frets give every place; bass and treble scale, strings and the fret that "
        "is perpendicular lay out a multi-scale board. Of fret, position and scale length, two give the "
        "third. Three or more measured frets tell the rule that a board was cut to."
    ),
    question=FretPositionsQuestion,
    result=FretPositionsResult,
    ways=(
        Way("positions", ("scale_length", "frets"), _positions, may=("rule",)),
        Way(
            "positions", ("scale_bass", "scale_treble", "strings", "perpendicular_fret", "frets"),
            _multi_scale, blame={"fret": "perpendicular_fret"},
        ),
        Way("position", ("scale_length", "fret"), _position, may=("rule",)),
        Way("fret", ("scale_length", "position"), _fret, may=("rule",)),
        Way("scale_length", ("fret", "position"), _scale_length, may=("rule",)),
        Way(
            "rule", ("measured",), _rule_of, may=("scale_length", "uncertainty"),
            blame={"frets": "measured"},
        ),
    ),
    source=(
        "Equal temperament: X·(1 - 2^(-n/12)), elementary acoustics of the ideal string",
        "Rule of eighteen: X·(1 - (17/18)^n), common practice of old boards, no published source",
    ),
    validity="Scale lengths 100 to 2000 mm, up to 36 frets; ideal strings, compensation comes on top.",
    formulas=(scale.fret_position, scale.multi_scale_board, scale.fret_rule),
    blame={"bass": "scale_bass", "treble": "scale_treble", "positions": "measured"},
)  # fmt: skip
