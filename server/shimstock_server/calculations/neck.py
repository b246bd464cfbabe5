"""Relief at other frets, and what action does when relief, saddle or nut slot change."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from shimstock_calc import neck
from shimstock_calc.errors import CalculationError, Contradiction
from shimstock_server.web.fields import Choice, ListOf, Number, Whole

from .entry import AnyOf, Calculation, Given, Way
from .fields import Question, Result, asked, calculated, told
from .notes import say, scale_note

BEAM = (
    "The neck as a beam of constant curvature from nut to body joint, straight beyond: common approximation "
    "for a beam under constant moment (elementary beam theory)"
)


def held_field(about: str, **options: Any) -> ListOf:
    """Return the field of the two frets at which a string is held."""
    return ListOf(
        Whole(0, 36, metadata={"description": "A hold fret; 0 = a straightedge that reaches the nut."}),
        min=2,
        max=2,
        metadata={"description": f"{about}, the lower first."},
        **options,
    )


def joint_field() -> Number:
    """Return the field of the fret at the body joint."""
    return Number(8, 24, required=True, metadata={"description": "Fret at the body joint."})


def fret_field(about: str, **options: Any) -> Whole:
    """Return the field of a fret at which something is read."""
    return Whole(1, 36, metadata={"description": f"{about}."}, **options)


class ReliefAtFretQuestion(Question):
    """Relief at one place, the other place, and the geometry."""

    scale_length = asked("scale-length", 100.0, 2000.0, "Scale length of that string", required=True)
    body_joint_fret = joint_field()
    held = held_field("Frets at which the string is held for the reading", required=True)
    fret = fret_field("Fret at which it is read", required=True)
    other_held = held_field("Hold frets of the other place; the same when left out")
    other_fret = fret_field("Reading fret of the other place; where relief is largest when left out")
    relief = asked("relief", -5.0, 5.0, "Relief as read; positive = forward bow")
    other_relief = asked("relief", -5.0, 5.0, "Relief wanted at the other place")
    uncertainty = asked("resolution", 0.001, 2.0, "Standard uncertainty of the reading")
    position = Choice(
        ("playing", "on-back"), load_default="playing",
        metadata={"description": "How the instrument lies when it is read."},
    )  # fmt: skip


class ReliefAtFretResult(Result):
    """Relief at both places."""

    calculated = calculated("other_relief", "relief")
    relief = told("relief", "Relief at the first place, in the position it is read in")
    other_relief = told("relief", "Relief at the other place, in playing position")
    other_held = ListOf(Whole(), metadata={"description": "Hold frets of the other place."})
    other_fret = Whole(metadata={"description": "Reading fret of the other place."})
    factor = Number(metadata={"description": "Other relief over relief, both in playing position."})
    uncertainty = told("resolution", "Standard uncertainty at the other place", maybe=True)
    largest_fret = Whole(
        metadata={"description": "Fret at which relief reads largest at the other hold frets."}
    )


def per_curvature(given: Given, names: Mapping[str, str], held: tuple[int, int], fret: int) -> float:
    """Return relief per curvature at a place, blaming the fields that name it [mm²]."""
    if held[0] >= held[1]:
        raise Contradiction("the lower hold fret comes first", names["hold_frets"])
    try:
        return float(neck.relief_per_curvature(given["scale_length"], given["body_joint_fret"], held, fret))
    except CalculationError as error:
        field = names.get(error.field or "", error.field)
        raise type(error)(error.message, field) from None


_HERE = {"hold_frets": "held", "reading_fret": "fret"}
_THERE = {"hold_frets": "other_held", "reading_fret": "other_fret"}


def _places(given: Given) -> dict[str, Any]:
    low, high = given["held"]
    here = per_curvature(given, _HERE, (low, high), given["fret"])
    other_low, other_high = given.get("other_held", given["held"])
    if other_high - other_low < 2:
        raise Contradiction("there must be a fret between the hold frets, lower first", "other_held")
    length, joint = given["scale_length"], given["body_joint_fret"]
    per_curvature(given, _THERE, (other_low, other_high), other_low + 1)
    largest = neck.largest_relief_fret(length, joint, (other_low, other_high))
    fret = given.get("other_fret", largest)
    there = per_curvature(given, _THERE, (other_low, other_high), fret)
    return {
        "factor": there / here,
        "other_held": [other_low, other_high],
        "other_fret": fret,
        "largest_fret": largest,
    }


def _gravity(given: Given) -> float:
    """Return the relief that a reading at the first place lacks on the back [mm]."""
    place = (given["held"][0], given["held"][1]), given["fret"]
    return float(neck.gravity_relief(given["scale_length"], given["body_joint_fret"], *place))


def _other_relief(given: Given) -> dict[str, Any]:
    places = _places(given)
    playing = float(given["relief"])
    if given["position"] == "on-back":
        playing += _gravity(given)
    return _relief(given, places, given["relief"], playing * places["factor"])


def _relief_here(given: Given) -> dict[str, Any]:
    places = _places(given)
    reads = given["other_relief"] / places["factor"]
    if given["position"] == "on-back":
        reads -= _gravity(given)
    return _relief(given, places, reads, given["other_relief"])


def _relief(given: Given, places: dict[str, Any], relief: float, other: float) -> dict[str, Any]:
    uncertainty = given.get("uncertainty")
    note = scale_note(given["scale_length"])
    if abs(places["factor"]) > 3.0 or abs(places["factor"]) < 1.0 / 3.0:
        note.append(
            "The two places lie far apart on the neck: a bend that is not even along it shows at one of them "
            "alone."
        )
    if given["position"] == "on-back":
        less = say("relief", float(f"{_gravity(given):.1g}"))
        note.append(
            f"Lying on its back the neck shows about {less} less relief (computed, rough); added here."
        )
    return {
        **places,
        "relief": relief,
        "other_relief": other,
        "uncertainty": None if uncertainty is None else abs(places["factor"]) * uncertainty,
        "note": note,
    }


RELIEF_AT_FRET = Calculation(
    name="relief-at-fret",
    title="Relief at another fret, or between other hold frets",
    about=(
        "A relief reading with its hold frets and reading fret gives relief at another place; leave out the "
        "other fret to get it where it is largest. Give the relief wanted at the other place instead, and "
        "learn what the reading must show."
    ),
    question=ReliefAtFretQuestion,
    result=ReliefAtFretResult,
    ways=(
        Way("other_relief", ("relief",), _other_relief),
        Way("relief", ("other_relief",), _relief_here),
    ),
    source=(BEAM, "What gravity takes on the back: computed, rough; ± 40 % of it: judgement"),
    validity=(
        "Necks that bend evenly between nut and body joint, relief up to 5 mm. A hump, a kink or a rising "
        "end beyond the joint is seen with a straightedge, not computed."
    ),
    formulas=(neck.relief_per_curvature, neck.relief_conversion, neck.gravity_relief),
    blame={"position": "fret"},
)


class ActionForecastQuestion(Question):
    """Heights now, and what changes or is wanted."""

    scale_length = asked("scale-length", 100.0, 2000.0, "Scale length of that string", required=True)
    body_joint_fret = joint_field()
    held = held_field("Frets at which the string is held to read relief", required=True)
    fret = fret_field("Fret at which relief is read", required=True)
    action = asked("action", 0.0, 15.0, "Action now", required=True)
    nut_action = asked("nut-action", 0.0, 10.0, "Nut action now", required=True)
    action_fret = fret_field("Fret at which action is read", load_default=12)
    relief = asked("relief", -5.0, 5.0, "Relief now, to find slot and saddle height and check the readings")
    relief_change = asked("relief", -3.0, 3.0, "Change of relief; negative = less")
    saddle_raised = asked("saddle-height", -10.0, 10.0, "How far the saddle goes up")
    slot_lowered = asked("slot-height", -3.0, 3.0, "How far the nut slot goes down")
    wanted_action = asked("action", 0.0, 15.0, "Action that is wanted")
    coupling_sd = Number(
        0, 2, load_default=neck.COUPLING_SD,
        metadata={"description": "Standard uncertainty of how far action follows relief; 0.3 until learned."},
    )  # fmt: skip


class ActionForecastResult(Result):
    """Heights afterwards, and what was assumed."""

    calculated = calculated("action", "saddle_raised", "relief_change")
    action = told("action", "Action afterwards")
    nut_action = told("nut-action", "Nut action afterwards")
    uncertainty = told("action", "Standard uncertainty of the action, from how far it follows relief")
    relief_change = told("relief", "Change of relief")
    saddle_raised = told("saddle-height", "How far the saddle goes up")
    slot_lowered = told("slot-height", "How far the nut slot goes down")
    coupling = Number(metadata={"description": "Change of action per change of relief."})
    nut_coupling = Number(metadata={"description": "Change of nut action per change of relief."})
    slot_height = told("slot-height", "Bottom of the nut slot above the frets there, now", maybe=True)
    saddle_height = told(
        "saddle-height", "Saddle above the plane of the frets over the body, now", maybe=True
    )


def _action(given: Given) -> dict[str, Any]:
    return _heights(given, **{name: given.get(name, 0.0) for name in _CHANGES})


_CHANGES = ("relief_change", "saddle_raised", "slot_lowered")


def _saddle(given: Given) -> dict[str, Any]:
    change, lowered = given.get("relief_change", 0.0), given.get("slot_lowered", 0.0)
    share = float(neck.saddle_share(given["action_fret"]))
    left = given["wanted_action"] - given["action"] - _coupling(given) * change + (1.0 - share) * lowered
    return _heights(given, relief_change=change, saddle_raised=left / share, slot_lowered=lowered)


def _bend(given: Given) -> dict[str, Any]:
    raised, lowered = given["saddle_raised"], given.get("slot_lowered", 0.0)
    share = float(neck.saddle_share(given["action_fret"]))
    left = given["wanted_action"] - given["action"] - share * raised + (1.0 - share) * lowered
    coupling = _coupling(given)
    if abs(coupling) < 0.05:
        raise Contradiction(
            "action at that fret hardly follows relief: no change of relief helps", "action_fret"
        )
    return _heights(given, relief_change=left / coupling, saddle_raised=raised, slot_lowered=lowered)


def _coupling(given: Given) -> float:
    low, high = given["held"]
    per_curvature(given, _HERE, (low, high), given["fret"])
    place = (given["scale_length"], given["body_joint_fret"], (low, high), given["fret"])
    return float(neck.relief_coupling(*place, at=given["action_fret"]))


def _heights(given: Given, **changes: float) -> dict[str, Any]:
    _coupling(given)
    low, high = given["held"]
    place: dict[str, Any] = {
        "scale_length": given["scale_length"],
        "body_joint_fret": given["body_joint_fret"],
        "held": (low, high),
        "fret": given["fret"],
        "action_fret": given["action_fret"],
    }
    found = neck.action_forecast(
        given["action"],
        given["nut_action"],
        changes["relief_change"],
        saddle_raised=changes["saddle_raised"],
        slot_lowered=changes["slot_lowered"],
        coupling_sd=given["coupling_sd"],
        **place,
    )
    slot = saddle = None
    if "relief" in given:
        line = neck.string_line(given["relief"], given["nut_action"], given["action"], **place)
        slot, saddle = float(line.slot), float(line.saddle)
    action, nut_action = float(found.action), float(found.nut_action)
    return {
        **changes,
        "action": action,
        "nut_action": nut_action,
        "uncertainty": float(found.action_uncertainty),
        "coupling": float(found.coupling),
        "nut_coupling": float(found.nut_coupling),
        "slot_height": slot,
        "saddle_height": saddle,
        "note": _heights_note(action, nut_action, changes) + scale_note(given["scale_length"]),
    }


def _heights_note(action: float, nut_action: float, changes: Mapping[str, float]) -> list[str]:
    note = []
    if action <= 0.0 or nut_action <= 0.0:
        note.append("The open string would lie on the frets: less of that, or another way.")
    if changes["slot_lowered"] > 0.0:
        note.append(
            "A slot that is filed cannot be undone: the owner's consent, and a reading after every pass."
        )
    if abs(changes["relief_change"]) > 1e-9:
        note.append(
            "A rod goes a quarter turn at most, then tune and read again; action follows relief only about "
            "as forecast."
        )
    return note


ACTION_FORECAST = Calculation(
    name="action-forecast",
    title="What action does when relief, saddle or nut slot change",
    about=(
        "Action and nut action now, with a change of relief, saddle or slot, give them afterwards. Give the "
        "action that is wanted instead, and learn how far the saddle must go up; with the saddle's rise "
        "given too, the change of relief. With relief given, the three readings are checked against each "
        "other."
    ),
    question=ActionForecastQuestion,
    result=ActionForecastResult,
    ways=(
        Way("action", (AnyOf("relief_change", "saddle_raised", "slot_lowered"),), _action),
        Way("saddle_raised", ("wanted_action",), _saddle, may=("relief_change", "slot_lowered")),
        Way("relief_change", ("wanted_action", "saddle_raised"), _bend, may=("slot_lowered",)),
    ),
    source=(BEAM, "Standard uncertainty of the coupling ± 0.3: judgement, no published source"),
    validity=(
        "Necks that bend evenly between nut and body joint: a bend in one place between frets 2 and 14 gives "
        "a coupling of 1.2 to 2.6. Settled necks, strings at pitch."
    ),
    formulas=(neck.relief_coupling, neck.action_forecast, neck.string_line, neck.saddle_share),
    blame={"at": "action_fret", "hold_frets": "held", "reading_fret": "fret"},
)
