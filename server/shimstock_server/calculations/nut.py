"""Nut slots: when filing stops, what a slot does to action, and how a high slot sharpens the first frets."""

from __future__ import annotations

from typing import Any

from shimstock_calc import conformity, nut
from shimstock_calc.wire import STEEL_MODULUS
from shimstock_server.web.fields import Choice, Truth

from .entry import AnyOf, Calculation, Given, Way
from .fields import Question, Result, asked, calculated, told
from .notes import scale_note
from .strings import MODULUS_SOURCE


class NutSlotsQuestion(Question):
    """A reading with its spec and tool, a slot's change, or a string that is pressed down."""

    nut_action = asked("nut-action", 0.0, 5.0, "Nut action: open string above the 1st fret")
    target = asked("nut-action", 0.0, 5.0, "Its target")
    lower = asked("nut-action", 0.0, 5.0, "Lower limit of the spec")
    upper = asked("nut-action", 0.0, 5.0, "Upper limit of the spec")
    uncertainty = asked("resolution", 0.001, 2.0, "Standard uncertainty of the reading")
    repeatability = asked("resolution", 0.001, 2.0, "Standard deviation of repeated readings with the tool")
    resolution = asked("resolution", 0.001, 2.0, "Smallest step that the tool shows")
    slot_lowered = asked("slot-height", -3.0, 3.0, "How far the slot goes down")
    nut_action_change = asked("nut-action", -3.0, 3.0, "Wanted change of nut action; negative = lower")
    gauge = asked(
        "gauge", 0.05, 6.0, "Diameter of the string, or of a wound one's core where it is pressed down"
    )
    tension = asked("tension", 0.5, 1000.0, "Pull of the open string")
    scale_length = asked("scale-length", 100.0, 2000.0, "Scale length")
    core_shape = Choice(
        ("round", "hex"),
        metadata={"description": "Shape of a wound string's core; `gauge` is then its size; round else."},
    )
    modulus = asked("modulus", 500.0, 400000.0, "Young's modulus of string or core; steel music wire else")
    most_sharp = asked("intonation", 0.01, 50.0, "Most that pressing down at fret 1 may sharpen")
    slot_width = asked("gauge", 0.05, 10.0, "Width of the slot")


class NutSlotsResult(Result):
    """What may be filed, and what that does."""

    calculated = calculated("stop", "action_change", "slot_lowered", "sharp", "nut_action", "fits")
    stop = told("nut-action", "Nut action at which filing stops", maybe=True)
    nut_action = told("nut-action", "Nut action", maybe=True)
    slot_lowered = told("slot-height", "How far the slot goes down", maybe=True)
    nut_action_change = told("nut-action", "Change of nut action", maybe=True)
    action_change = told("action", "Change of action at the 12th fret", maybe=True)
    sharp = told("intonation", "How much pressing down sharpens fret 1", maybe=True)
    sharper_than_target = told("intonation", "How much of that the target would spare", maybe=True)
    fits = Truth(allow_none=True, metadata={"description": "Whether the string lies free in its slot."})


_ONCE = (
    "Filing cannot be undone: the owner's consent first, and a reading after every pass. The dust of bone, "
    "shell and metal harms lungs: extraction, and a respirator fit for it."
)


def _stop(given: Given) -> dict[str, Any]:
    u = given.get("uncertainty")
    if u is None:
        u = float(conformity.standard_uncertainty(given.get("repeatability"), given.get("resolution")))
    found = nut.slot_filing(given["nut_action"], given["target"], given["lower"], given["upper"], u)
    note = [_ONCE] if found.slot > 0 else ["The slot is low enough for this tool: nothing is filed."]
    return {
        "stop": found.stop,
        "nut_action": given["nut_action"],
        "slot_lowered": found.slot,
        "nut_action_change": -found.nut_action,
        "action_change": -float(nut.slot_effect(found.slot, 12)),
        "note": note,
    }


def _effect(given: Given) -> dict[str, Any]:
    return _slot(given["slot_lowered"])


def _slot_lowered(given: Given) -> dict[str, Any]:
    return _slot(-given["nut_action_change"] / float(nut.slot_effect(1.0, 1)))


def _slot(lowered: float) -> dict[str, Any]:
    return {
        "slot_lowered": lowered,
        "nut_action_change": -float(nut.slot_effect(lowered, 1)),
        "action_change": -float(nut.slot_effect(lowered, 12)),
        "note": [_ONCE] if lowered > 0 else [],
    }


def _string(given: Given) -> dict[str, Any]:
    return {
        "diameter": given["gauge"],
        "tension": given["tension"],
        "scale_length": given["scale_length"],
        "modulus": given.get("modulus", STEEL_MODULUS),
        "core_shape": given.get("core_shape", "round"),
    }


def _sharp(given: Given) -> dict[str, Any]:
    sharp = float(nut.sharpening(given["nut_action"], **_string(given)))
    spared = None
    if "target" in given:
        spared = sharp - float(nut.sharpening(given["target"], **_string(given)))
    return {
        "nut_action": given["nut_action"],
        "sharp": sharp,
        "sharper_than_target": spared,
        "note": scale_note(given["scale_length"]),
    }


def _nut_action(given: Given) -> dict[str, Any]:
    found = float(nut.nut_action_for_sharpening(given["most_sharp"], **_string(given)))
    return {"nut_action": found, "sharp": given["most_sharp"], "note": scale_note(given["scale_length"])}


def _fits(given: Given) -> dict[str, Any]:
    fits = nut.slot_width_fits(given["slot_width"], given["gauge"])
    return {"fits": fits, "note": [] if fits else [f"The slot is too tight for this string. {_ONCE}"]}


_STRING = ("gauge", "tension", "scale_length")

NUT_SLOTS = Calculation(
    name="nut-slots",
    title="How far a nut slot may be filed, and what a slot does",
    about=(
        "A reading with target, limits and tool gives where filing stops; a slot below its lower limit, or a "
        "tool too coarse to tell, is refused. A slot lowered gives the change of nut action and action, and "
        "the other way round. Nut action and string give how sharp fret 1 is pressed; the most it may be "
        "gives the nut action."
    ),
    question=NutSlotsQuestion,
    result=NutSlotsResult,
    ways=(
        Way(
            "stop",
            ("nut_action", "target", "lower", "upper", AnyOf("uncertainty", "repeatability", "resolution")),
            _stop,
        ),
        Way("action_change", ("slot_lowered",), _effect),
        Way("slot_lowered", ("nut_action_change",), _slot_lowered),
        Way("sharp", ("nut_action", *_STRING), _sharp, may=("target", "modulus", "core_shape")),
        Way("nut_action", ("most_sharp", *_STRING), _nut_action, may=("modulus", "core_shape")),
        Way("fits", ("slot_width", "gauge"), _fits),
    ),
    source=(
        "Filing stops at target + 2u: judgement; a slot 0.05 mm wider than its string: common practice, no "
        "published source",
        "Slot and string: a straight line; sharpening by stretch E·A/T: elementary, small angles",
        MODULUS_SOURCE,
        "Uncertainty of a reading: JCGM 100:2008 F.2.2.1",
    ),
    validity="Straight strings over the first frets, slots up to 3 mm; plain strings, or a wound one's core.",
    formulas=(nut.slot_filing, nut.slot_effect, nut.sharpening, nut.nut_action_for_sharpening,
              nut.slot_width_fits),
    blame={"lowered": "nut_action_change", "diameter": "gauge"},
)  # fmt: skip
