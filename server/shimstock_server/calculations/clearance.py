"""Where a swinging string comes near its frets, how hard one may pick, and where to look when it buzzes."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from shimstock_calc import buzz, clearance, pluck
from shimstock_calc.clearance import ClearanceMap, Fretwork
from shimstock_calc.errors import Contradiction, Missing
from shimstock_calc.pluck import Pluck
from shimstock_server.web.fields import Choice, ListOf, Nested, StrictSchema, Text, Truth, Whole

from .bow import BLAME, BowFields, board
from .entry import AnyOf, Calculation, Given, OneOf, Way
from .fields import Result, asked, calculated, told
from .notes import scale_note

PLUCK_SHARE = 0.2
"""Of the open string, from the bridge: where it is plucked when nothing else is said; common practice."""
_TIGHTEST = 10
_USUAL_ACTION = 2.0
_ROUNDS = 10
"""The slot follows from both actions: each round brings them 15 times nearer."""


class ClearanceStringIn(StrictSchema):
    """A string as it lies over the frets."""

    nut_action = asked("nut-action", 0.0, 10.0, "Open string above the 1st fret", required=True)
    action = asked("action", 0.0, 15.0, "Open string above the 12th fret, or the one that is named")
    scale_length = asked("scale-length", 100.0, 2000.0, "Its own scale length, else that of the instrument")
    tension = asked("tension", 0.5, 1000.0, "Pull of the open string, needed for forces")


class OffFretIn(StrictSchema):
    """A fret that stands higher or lower than its neighbours."""

    fret = Whole(1, clearance.MOST_FRETS, required=True, metadata={"description": "Which fret."})
    height = asked("fret-height", -1.0, 1.0, "Above its neighbours; negative = below", required=True)


class StringClearanceQuestion(BowFields):
    """An instrument's strings and frets, and how it is played; or where it buzzes."""

    scale_length = asked("scale-length", 100.0, 2000.0, "Scale length of every string that names none")
    frets = Whole(
        2, clearance.MOST_FRETS, load_default=22, metadata={"description": "How many frets there are."}
    )
    strings = ListOf(
        Nested(ClearanceStringIn), min=1, max=clearance.MOST_STRINGS,
        metadata={"description": "Strings, the treble side's first."},
    )  # fmt: skip
    action_fret = Whole(
        2, clearance.MOST_FRETS, load_default=12, metadata={"description": "Where action is read."}
    )
    off_frets = ListOf(
        Nested(OffFretIn), max=clearance.MOST_FRETS,
        metadata={"description": "High and low frets, where known."},
    )  # fmt: skip
    pluck_distance = asked(
        "distance", 1.0, 1000.0, "Where it is plucked, from the bridge; a fifth of the open string else"
    )
    amplitude = asked("fret-height", 0.0, 20.0, "How far the string is drawn aside")
    force = asked("tension", 0.0, 50.0, "Force of the pluck, instead of how far")
    direction = Choice(
        pluck.DIRECTIONS, load_default="either",
        metadata={"description": "Drawn toward the board, away from it, or either: the worse of the two."},
    )  # fmt: skip
    margin = asked("fret-height", -2.0, 5.0, "Wanted between swing and frets, to find the action for it")
    open_string = Truth(
        load_default=False,
        metadata={
            "description": "Whether the wanted margin holds for the open string too; there the nut slot "
            "decides, not the saddle."
        },
    )
    buzzes_at = ListOf(
        Whole(0, clearance.MOST_FRETS, metadata={"description": "0 = open."}), min=1,
        max=clearance.MOST_FRETS + 1, metadata={"description": "Fretted positions at which a string buzzes."},
    )  # fmt: skip
    heard_at = Choice(
        ("frets", "end", "elsewhere"), metadata={"description": "Where a buzz comes from, by ear."}
    )


class MapPositionOut(StrictSchema):
    """A string held at a fret, or open."""

    position = Whole(metadata={"description": "0 = open."})
    touches = Whole(allow_none=True, metadata={"description": "The fret that it touches first."})
    margin = told("fret-height", "Least between swing and frets; below 0 = touches", maybe=True)
    free_amplitude = told("fret-height", "How far it may be drawn aside", maybe=True)
    free_force = told("tension", "How hard it may be plucked", maybe=True)


class StringMapOut(StrictSchema):
    """A string over all its positions."""

    string = Whole()
    positions = ListOf(Nested(MapPositionOut))


class TightPlaceOut(StrictSchema):
    """A tight place."""

    string = Whole()
    position = Whole()
    fret = Whole()
    margin = told("fret-height", "Between swing and fret; below 0 = touches")


class LowestActionOut(StrictSchema):
    """The lowest action that keeps the wanted margin."""

    string = Whole()
    action = told("action", "At the fret where action is read")
    saddle_height = told("saddle-height", "String at the saddle above the plane of the frets over the body")
    position = Whole(metadata={"description": "The fretted position that decides."})
    fret = Whole(metadata={"description": "The fret that decides."})


class BuzzCauseOut(StrictSchema):
    """Where to look first."""

    code = Text()
    text = Text(max=300)


class StringClearanceResult(Result):
    """A map of strings and positions, an action, or causes."""

    calculated = calculated("clearance", "action", "causes")
    strings = ListOf(Nested(StringMapOut))
    tightest = ListOf(
        Nested(TightPlaceOut), metadata={"description": "The tightest places, the tightest first."}
    )
    actions = ListOf(Nested(LowestActionOut))
    causes = ListOf(Nested(BuzzCauseOut), metadata={"description": "The likeliest first."})


def _lengths(given: Given) -> list[float]:
    return [each.get("scale_length", given["scale_length"]) for each in given["strings"]]


def _fretwork(given: Given, actions: list[float]) -> Fretwork:
    """Return the frets and strings of a question, with these actions."""
    frets = given["frets"]
    if given["action_fret"] > frets:
        raise Contradiction(f"there are {frets} frets", "action_fret")
    boards = [board(given, length, frets) for length in _lengths(given)]
    places = np.stack([each[0] for each in boards])
    heights = np.stack([each[1] for each in boards])
    for place, off in enumerate(given.get("off_frets", ())):
        if off["fret"] > frets:
            raise Contradiction(f"there are {frets} frets", f"off_frets.{place}.fret")
        heights[:, off["fret"] - 1] += off["height"]
    nut_actions = [each["nut_action"] for each in given["strings"]]
    ends = _lengths(given)
    nut, saddle = clearance.line_from_actions(
        nut_actions, actions, places, heights, ends, reading_fret=given["action_fret"]
    )
    return Fretwork(places, heights, nut, saddle, ends)


def _pluck(given: Given) -> Pluck:
    distance = [given.get("pluck_distance", PLUCK_SHARE * length) for length in _lengths(given)]
    pulls = [each.get("tension") for each in given["strings"]]
    if "force" in given and None in pulls:
        raise Missing("tension is needed to work with a force", f"strings.{pulls.index(None)}.tension")
    amplitude = given.get("amplitude", None if "force" in given else 0.0)
    return Pluck(
        np.array(distance), amplitude, given.get("force"),
        tension=None if None in pulls else np.array(pulls), direction=given["direction"],
    )  # fmt: skip


def _clearance(given: Given) -> dict[str, Any]:
    actions = [each.get("action") for each in given["strings"]]
    if None in actions:
        raise Missing("action is needed for the map", f"strings.{actions.index(None)}.action")
    found = clearance.string_clearance(_fretwork(given, actions), _pluck(given))
    return _result(
        given,
        strings=[
            {"string": number, "positions": _positions(found, number - 1)}
            for number in range(1, len(actions) + 1)
        ],
        tightest=[vars(place) for place in found.worst(_TIGHTEST)],
    )


def _positions(found: ClearanceMap, string: int) -> list[dict[str, Any]]:
    least = np.where(np.isnan(found.margin[string]), np.inf, found.margin[string]).min(axis=1)
    return [
        {
            "position": position,
            "touches": int(found.touching_fret[string, position]) or None,
            "margin": _known(least[position]),
            "free_amplitude": _known(found.free_amplitude[string, position]),
            "free_force": None if found.free_force is None else _known(found.free_force[string, position]),
        }
        for position in range(least.size)
    ]


def _known(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None


def _action(given: Given) -> dict[str, Any]:
    """Return the actions for a margin. A string's slot stays; without its action, its nut action stays."""
    actions = [each.get("action", _USUAL_ACTION) for each in given["strings"]]
    free = [number for number, each in enumerate(given["strings"]) if "action" not in each]
    for _ in range(_ROUNDS if free else 1):
        work = _fretwork(given, actions)
        found = clearance.action_for_clearance(
            work, _pluck(given), given["margin"], given["action_fret"], given["open_string"]
        )
        for number in free:
            actions[number] = float(found.action[number])
    return _result(
        given,
        actions=[
            {
                "string": number + 1,
                "action": float(found.action[number]),
                "saddle_height": float(found.saddle_height[number]),
                "position": int(found.position[number]),
                "fret": int(found.fret[number]),
            }
            for number in range(work.strings)
        ],
    )


def _result(given: Given, **found: Any) -> dict[str, Any]:
    note = ["It ranks places; it does not promise freedom from buzz. The ear decides."]
    if "relief" not in given and "scale_length" in given:
        note.append("Without relief the neck is taken as straight.")
    lists: dict[str, Any] = {"strings": [], "tightest": [], "actions": [], "causes": []}
    return lists | found | {"note": [*note, *scale_note(given.get("scale_length"))]}


def _causes(given: Given) -> dict[str, Any]:
    found = buzz.buzz_causes(given.get("buzzes_at", ()), given.get("heard_at", "frets"))
    return _result(given, causes=[vars(cause) for cause in found])


_MAP = ("scale_length", "strings")

STRING_CLEARANCE = Calculation(
    name="string-clearance",
    title="Where strings touch their frets, and how hard one may pick",
    about=(
        "Action and nut action of every string give the map of strings and fretted positions: the least "
        "margin between swing and frets, the fret that is touched first, and how far or how hard the string "
        "may be plucked before it touches. A wanted margin gives the lowest action that keeps it. Where it "
        "buzzes, by position or by ear, gives where to look first."
    ),
    question=StringClearanceQuestion,
    result=StringClearanceResult,
    ways=(
        Way("clearance", _MAP, _clearance, may=("amplitude", "force")),
        Way("action", (*_MAP, "margin", OneOf("amplitude", "force")), _action,
            blame={"saddle_height": "margin", "nut_height": "margin"}),
        Way("causes", (AnyOf("buzzes_at", "heard_at"),), _causes, blame={"positions": "buzzes_at"}),
    ),
    source=(
        "Swing of an ideal plucked string: N. H. Fletcher & T. D. Rossing, The Physics of Musical "
        "Instruments, ch. 2 (from memory; equals the Fourier sum)",
        "The neck as a beam of constant curvature from nut to body joint: common approximation",
        "Where to look when it buzzes: common practice, no published source",
    ),
    validity=(
        "The first swing of an ideal string, level frets unless they are named. It ranks strings and "
        "positions; the ear decides."
    ),
    formulas=(clearance.string_clearance, clearance.action_for_clearance, clearance.line_from_actions,
              pluck.swing, pluck.amplitude_from_force, buzz.buzz_causes),
    blame={
        **BLAME, "fret_positions": "scale_length", "fret_heights": "relief", "nut_height": "strings",
        "saddle_height": "strings", "saddle_position": "scale_length", "reading_fret": "action_fret",
        "hold_frets": "held",
    },
)  # fmt: skip
