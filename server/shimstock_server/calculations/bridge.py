"""Bridge height: what to turn, take off or put under for a wanted change of action."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from shimstock_calc import bridge
from shimstock_calc.errors import Contradiction, Missing
from shimstock_calc.neck import saddle_share
from shimstock_calc.plan import directions
from shimstock_calc.plan.model import Bridge
from shimstock_server.web.fields import Choice, ListOf, Nested, StrictSchema, Text, Truth, Whole

from .entry import Calculation, Given, Way
from .fields import Question, Result, asked, calculated, told
from .neck import fret_field
from .notes import say


class SaddleTurnIn(StrictSchema):
    """How far a saddle's height screw was turned."""

    string = Whole(1, 24, required=True, metadata={"description": "The string on that saddle."})
    turns = asked("turns", -20.0, 20.0, "Turns; positive = up", required=True)


class BridgeHeightQuestion(Question):
    """What is wanted of the action, and the bridge; or what was done to it."""

    action_change_bass = asked("action", -5.0, 5.0, "Wanted change of action, bass side; positive = higher")
    action_change_treble = asked("action", -5.0, 5.0, "The same on the treble side")
    action_fret = fret_field("Fret at which action is read", load_default=12)
    thread_pitch = asked("thread-pitch", 0.1, 3.0, "Thread pitch of the height screws")
    left_hand_thread = Truth(
        load_default=False, metadata={"description": "Whether the thread is left-handed."}
    )
    post_spacing = asked("distance", 20.0, 250.0, "Between the two posts, studs or pivots of a bridge")
    string_spread = asked("distance", 5.0, 200.0, "Between the outermost strings at the bridge")
    turns_bass = asked("turns", -20.0, 20.0, "Turns of the bass post; positive = up")
    turns_treble = asked("turns", -20.0, 20.0, "Turns of the treble post; positive = up")
    strings = Whole(2, 24, metadata={"description": "How many strings, each on a saddle of its own."})
    radius = asked("radius", 50.0, 5000.0, "Fretboard radius, when it is one; flat when left out")
    radius_nut = asked("radius", 50.0, 5000.0, "Radius at the nut of a compound board")
    radius_body_end = asked("radius", 50.0, 5000.0, "Radius at its body end")
    board_length = asked("distance", 100.0, 900.0, "Nut to the board's body end")
    scale_length = asked(
        "scale-length", 100.0, 2000.0, "Nut to saddle, where a compound radius is continued to"
    )
    saddle_turns = ListOf(
        Nested(SaddleTurnIn), min=1, max=24, metadata={"description": "What was turned, saddle by saddle."}
    )
    saddle_out_bass = asked("saddle-out", 0.0, 15.0, "Fixed saddle out of its slot, bass side")
    saddle_out_treble = asked("saddle-out", 0.0, 15.0, "The same on the treble side")
    least_saddle_out = asked(
        "saddle-out", 0.0, 5.0, "Least that stays out of the slot; 2.0 mm else, nylon 1.5 mm"
    )
    saddle_total_height = asked("saddle-height", 1.0, 20.0, "Whole height of the saddle, slot included")
    taken_off_bass = asked(
        "saddle-height", -5.0, 5.0, "Taken off under the saddle, bass side; negative = a shim"
    )
    taken_off_treble = asked("saddle-height", -5.0, 5.0, "The same on the treble side")
    old_pull = asked("tension", 10.0, 10000.0, "Total pull of the strings before")
    new_pull = asked("tension", 10.0, 10000.0, "Total pull of the strings afterwards")


class HeightScrewOut(StrictSchema):
    """A screw, how far it should go, and how far to turn it."""

    side = Choice(("bass", "treble"), allow_none=True)
    string = Whole(allow_none=True)
    height = told("saddle-height", "How far that end should go up")
    exact_turns = told("turns", "The same in turns; positive = up")
    turns = told("turns", "Rounded to eighths: what to turn")
    direction = Choice(("raise", "lower", "leave"))
    seen = Text(
        max=100, allow_none=True, metadata={"description": "Which way that turns, and seen from where."}
    )
    over_outer_line = told(
        "saddle-height", "Saddle above the line through the outer two, by the radius", maybe=True
    )


class SaddleSideOut(StrictSchema):
    """One side of a fixed saddle."""

    side = Choice(("bass", "treble"))
    wanted = told("saddle-height", "To be taken off underneath; negative = a shim")
    allowed = told("saddle-height", "What may be; negative = a shim")
    short = told("saddle-height", "What stays undone")
    out_afterwards = told("saddle-out", "Saddle out of its slot afterwards")


class StringActionOut(StrictSchema):
    """What a string's action does."""

    string = Whole()
    action_change = told("action", "Change of action")


class BridgeHeightResult(Result):
    """What to turn, take off or put under, and what the action does."""

    calculated = calculated("turns", "action_change", "saddle", "springs")
    screws = ListOf(Nested(HeightScrewOut))
    saddle = ListOf(Nested(SaddleSideOut))
    action_change_bass = told("action", "Change of action to expect, bass side", maybe=True)
    action_change_treble = told("action", "The same on the treble side", maybe=True)
    strings = ListOf(Nested(StringActionOut), metadata={"description": "Change of action string by string."})
    springs_change = told("share", "How much harder the springs of a floating tremolo must pull", maybe=True)


def _result(**found: Any) -> dict[str, Any]:
    return {"screws": [], "saddle": [], "strings": [], **found}


def _rises(given: Given) -> tuple[float, float]:
    """Return how far the saddle goes up under the outermost strings [mm]."""
    fret = given["action_fret"]
    return (
        float(bridge.saddle_change(given["action_change_bass"], fret)),
        float(bridge.saddle_change(given["action_change_treble"], fret)),
    )


def _screw(given: Given, height: float, **whose: Any) -> dict[str, Any]:
    exact = float(bridge.height_turns(height, given["thread_pitch"]))
    turns = bridge.round_to_eighth(exact)
    direction, seen = "leave", None
    if turns:
        way = directions.post if "side" in whose else directions.saddle_screw
        direction, seen = way(turns, Bridge("two-post", left_hand_thread=given["left_hand_thread"]))
    over = whose.pop("over_outer_line", None)
    return {
        "side": None, "string": None, **whose,
        "height": height, "exact_turns": exact, "turns": turns, "direction": direction, "seen": seen,
        "over_outer_line": over,
    }  # fmt: skip


def _posts(given: Given) -> dict[str, Any]:
    posts = bridge.post_changes(*_rises(given), given["post_spacing"], given["string_spread"])
    screws = [
        _screw(given, float(posts.bass), side="bass"),
        _screw(given, float(posts.treble), side="treble"),
    ]
    strings = _under_strings(given, screws[0]["turns"], screws[1]["turns"])
    return _result(
        screws=screws,
        **_action_changes(given, float(strings.bass), float(strings.treble)),
        note=_raising_note(screws),
    )


def _under_strings(given: Given, bass: float, treble: float) -> bridge.TwoPosts:
    pitch = given["thread_pitch"]
    return bridge.string_changes(bass * pitch, treble * pitch, given["post_spacing"], given["string_spread"])


def _action_changes(given: Given, bass: float, treble: float) -> dict[str, float]:
    share = float(saddle_share(given["action_fret"]))
    return {"action_change_bass": share * bass, "action_change_treble": share * treble}


def _raising_note(screws: list[dict[str, Any]]) -> list[str]:
    if any(screw["turns"] > 0 for screw in screws):
        return [
            "Raising a bridge on posts against full tension strips its threads: slacken the strings first."
        ]
    return []


def _posts_turned(given: Given) -> dict[str, Any]:
    strings = _under_strings(given, given["turns_bass"], given["turns_treble"])
    return _result(**_action_changes(given, float(strings.bass), float(strings.treble)))


def _saddles(given: Given) -> dict[str, Any]:
    bass, treble = _rises(given)
    count, spread = given["strings"], given["string_spread"]
    offsets = np.linspace(-spread / 2.0, spread / 2.0, count)
    over = np.atleast_1d(bridge.radius_rise(offsets, _radius(given), spread / 2.0))
    rises = np.linspace(treble, bass, count)
    screws = [
        _screw(given, float(rises[n]), string=n + 1, over_outer_line=float(over[n])) for n in range(count)
    ]
    share = float(saddle_share(given["action_fret"]))
    pitch = given["thread_pitch"]
    changes = [
        {"string": screw["string"], "action_change": share * screw["turns"] * pitch} for screw in screws
    ]
    return _result(
        screws=screws,
        strings=changes,
        action_change_bass=changes[-1]["action_change"],
        action_change_treble=changes[0]["action_change"],
    )


_COMPOUND = ("radius_nut", "radius_body_end", "board_length", "scale_length")


def _radius(given: Given) -> float:
    """Return the fretboard radius at the saddle; infinite for a flat board [mm]."""
    compound = [name for name in _COMPOUND if name in given]
    if "radius" in given:
        if compound:
            raise Contradiction(
                "the board has one radius or a compound one: leave out the other", compound[0]
            )
        return float(given["radius"])
    if not compound:
        return math.inf
    for name in _COMPOUND:
        if name not in given:
            raise Missing(f"a compound radius needs {', '.join(_COMPOUND)} together", name)
    ends = given["radius_nut"], given["radius_body_end"]
    return float(bridge.fretboard_radius_at(given["scale_length"], *ends, given["board_length"]))


def _saddles_turned(given: Given) -> dict[str, Any]:
    share = float(saddle_share(given["action_fret"]))
    changes = [
        {"string": each["string"], "action_change": share * each["turns"] * given["thread_pitch"]}
        for each in given["saddle_turns"]
    ]
    return _result(strings=changes)


def _fixed(given: Given) -> dict[str, Any]:
    bass, treble = _rises(given)
    sides = [_side(given, "bass", -bass), _side(given, "treble", -treble)]
    note = ["What is taken off a saddle cannot be put back: the owner's consent first; dust extraction."]
    note += [
        f"On the {side['side']} side {say('saddle-height', abs(side['short']))} stay undone: a straightedge "
        f"from the frets to the bridge, a look for belly, and the neck angle come next."
        for side in sides
        if abs(side["short"]) > 1e-6
    ]
    return _result(
        saddle=sides, **_action_changes(given, -sides[0]["allowed"], -sides[1]["allowed"]), note=note
    )


def _side(given: Given, side: str, wanted: float) -> dict[str, Any]:
    out = given[f"saddle_out_{side}"]
    found = bridge.saddle_filing(
        wanted, out, given.get("least_saddle_out", 2.0), given.get("saddle_total_height")
    )
    return {
        "side": side,
        "wanted": found.wanted,
        "allowed": found.allowed,
        "short": found.short,
        "out_afterwards": out - found.allowed,
    }


def _taken_off(given: Given) -> dict[str, Any]:
    return _result(**_action_changes(given, -given["taken_off_bass"], -given["taken_off_treble"]))


def _springs(given: Given) -> dict[str, Any]:
    change = 100.0 * float(bridge.spring_change(given["old_pull"], given["new_pull"]))
    note = ["Springs and claw are under load: block the bridge first, and retune before every reading."]
    return _result(springs_change=change, note=note)


_WANTED = ("action_change_bass", "action_change_treble")

BRIDGE_HEIGHT = Calculation(
    name="bridge-height",
    title="What to turn, take off or put under at the bridge for a change of action",
    about=(
        "A wanted change of action on both sides with a two-post bridge, individual saddles or a fixed "
        "saddle gives turns in eighths, or what to take off underneath. Give what was turned or taken off "
        "instead, and learn what the action does. Old and new pull give the springs of a floating tremolo."
    ),
    question=BridgeHeightQuestion,
    result=BridgeHeightResult,
    ways=(
        Way("turns", (*_WANTED, "post_spacing", "string_spread", "thread_pitch"), _posts),
        Way(
            "action_change", ("turns_bass", "turns_treble", "post_spacing", "string_spread", "thread_pitch"),
            _posts_turned,
        ),
        Way(
            "turns", (*_WANTED, "strings", "string_spread", "thread_pitch"), _saddles,
            may=("radius", "radius_nut", "radius_body_end", "board_length", "scale_length"),
        ),
        Way("action_change", ("saddle_turns", "thread_pitch"), _saddles_turned),
        Way(
            "saddle", (*_WANTED, "saddle_out_bass", "saddle_out_treble"), _fixed,
            may=("saddle_total_height", "least_saddle_out"),
        ),
        Way("action_change", ("taken_off_bass", "taken_off_treble"), _taken_off),
        Way("springs", ("old_pull", "new_pull"), _springs),
    ),
    source=(
        "A rigid bridge on two posts, a straight string and a conical board: geometry",
        "Thread pitches: ISO 261, ASME B1.1; turning directions, least and greatest height of a fixed "
        "saddle: common practice, no published source",
    ),
    validity=(
        "Strings between the posts; saddle above fret n rises action by x_n/X of itself. Paired saddles move "
        "as one. Right-hand threads unless said otherwise."
    ),
    formulas=(bridge.saddle_change, bridge.post_changes, bridge.radius_rise, bridge.fretboard_radius_at,
              bridge.saddle_filing, bridge.spring_change),
    blame={
        "fret": "action_fret", "action_change": "action_change_bass", "wanted": "action_change_bass",
        "saddle_out": "saddle_out_bass", "height": "turns_bass",
    },
)  # fmt: skip
