"""How sharp fretted notes come out, why, and where saddle and nut should stand so that they do not."""

from __future__ import annotations

from typing import Any

import numpy as np

from shimstock_calc import clearance, compensation
from shimstock_calc.compensation import IntonationCurve, StringGeometry
from shimstock_calc.errors import Contradiction, Missing
from shimstock_calc.wire import MATERIALS, core_section
from shimstock_server.web.fields import Choice, ListOf, Nested, Number, StrictSchema, Truth, Whole

from .bow import BLAME, BowFields, board
from .entry import AnyOf, Calculation, Given, OneOf, Way
from .fields import Result, asked, calculated, told
from .notes import scale_note
from .strings import MODULUS_SOURCE

_MATERIALS = tuple(name for name, material in MATERIALS.items() if material.modulus is not None)


class CompensationQuestion(BowFields):
    """A string, its heights, and how it answers stretching; or setbacks to be judged."""

    scale_length = asked("scale-length", 100.0, 2000.0, "Scale length of the string", required=True)
    slot_height = asked("slot-height", 0.0, 8.0, "String in its nut slot above the frets' tops there")
    saddle_height = asked(
        "saddle-height", 0.0, 40.0, "String at the saddle above the plane of the frets over the body"
    )
    nut_action = asked("nut-action", 0.0, 8.0, "Open string above the 1st fret, instead of the slot")
    action = asked("action", 0.0, 15.0, "Open string above the 12th fret, instead of the saddle")
    stretch = Number(
        1, 1000,
        metadata={"description": "Relative rise of pull per relative stretch, kappa = A·E/T."},
    )  # fmt: skip
    stretch_coefficient = Number(
        0, 499,
        metadata={
            "description": "Relative change of pitch per relative stretch, R, as measured: kappa = 2R + 1."
        },
    )  # fmt: skip
    tension = asked("tension", 0.5, 1000.0, "Pull of the open string, to work from core and material")
    core = asked("gauge", 0.02, 5.0, "What bears the pull: a plain string's gauge, a wound one's core")
    core_shape = Choice(
        ("round", "hex"), load_default="round", metadata={"description": "Shape of the core."}
    )
    material = Choice(
        _MATERIALS, load_default="steel", metadata={"description": "Of the core, for its modulus."}
    )
    modulus = asked("modulus", 100.0, 300000.0, "Modulus of the core, instead of its material's")
    stiffness = Number(
        0, 0.05,
        metadata={"description": "B of the open string, instead of the core; 0 = a flexible string."},
    )  # fmt: skip
    pressing_distance = asked(
        "distance", 0.0, 30.0, "Between a fret and the finger behind it; pressed at the fret else"
    )
    frets = Whole(
        2, compensation.MOST_FRETS, load_default=compensation.FRETS,
        metadata={"description": "How many frets from the first are judged."},
    )  # fmt: skip
    move_nut = Truth(
        load_default=True, metadata={"description": "Whether the nut may be moved; else the saddle alone."}
    )
    saddle_setback = asked(
        "compensation", -20.0, 20.0, "Saddle beyond the scale length; positive = away from the nut"
    )
    nut_setback = asked("compensation", -20.0, 20.0, "Nut behind its place; negative = nearer to the saddle")


class FrettedNoteOut(StrictSchema):
    """A fretted note, and what makes it sharp or flat."""

    fret = Whole()
    intonation = told("intonation", "Against equal temperament above the open string; positive = sharp")
    length = told("intonation", "Share of the vibrating length")
    mass = told("intonation", "Share of the mass that stretching thins out")
    tension = told("intonation", "Share of the pull that pressing adds")
    stiffness = told("intonation", "Share of the string's stiffness")


class CompensationResult(Result):
    """Setbacks, and what stays at each fret."""

    calculated = calculated("setbacks", "intonation")
    saddle_setback = told("compensation", "Saddle beyond the scale length; positive = away from the nut")
    nut_setback = told("compensation", "Nut behind its place; negative = nearer to the saddle")
    rms = told("intonation", "Root mean square over the frets")
    frets = ListOf(Nested(FrettedNoteOut))
    slot_height = told("slot-height", "String in its nut slot above the frets' tops there")
    saddle_height = told("saddle-height", "String at the saddle above the plane of the frets over the body")
    stretch = Number(metadata={"description": "kappa that was taken."})
    stiffness = Number(metadata={"description": "B of the open string that was taken."})


def _string(given: Given) -> tuple[float, float]:
    """Return kappa and the stiffness of the open string."""
    if "tension" in given:
        if "core" not in given:
            raise Missing("core is needed beside tension", "core")
        area = core_section(given["core"], given["core_shape"])[0]
        modulus = given.get("modulus", MATERIALS[given["material"]].modulus)
        kappa = float(compensation.kappa_from_section(area, modulus, given["tension"]))
    elif "stretch_coefficient" in given:
        kappa = float(compensation.kappa_from_stretch(given["stretch_coefficient"]))
    else:
        kappa = float(given["stretch"])
    if "stiffness" in given:
        return kappa, float(given["stiffness"])
    radius = compensation.bending_radius(given["core"], given["core_shape"])
    return kappa, float(compensation.open_stiffness(kappa, radius, given["scale_length"]))


def _geometry(given: Given) -> tuple[StringGeometry, float, float]:
    """Return the string's run, its slot and its saddle height [mm]."""
    length = given["scale_length"]
    places, heights, at_nut = board(given, length, max(given["frets"], 12))
    if "slot_height" in given:
        nut, saddle = given["slot_height"] + at_nut, given["saddle_height"]
    else:
        ends = clearance.line_from_actions(given["nut_action"], given["action"], places, heights, length)
        nut, saddle = float(ends[0][0]), float(ends[1][0])
        _refuse_contradiction(nut - at_nut, saddle)
    geometry = StringGeometry(
        length, nut, saddle, given.get("pressing_distance", 0.0), heights[: given["frets"]]
    )
    return geometry, nut - at_nut, saddle


def _refuse_contradiction(slot: float, saddle: float) -> None:
    if slot < 0.0:
        raise Contradiction("with this action the string would lie below the frets at the nut", "nut_action")
    if saddle < 0.0:
        raise Contradiction("with this nut action the saddle would lie below the frets", "action")


def _setbacks(given: Given) -> dict[str, Any]:
    geometry, slot, saddle = _geometry(given)
    kappa, stiffness = _string(given)
    found = compensation.compensation(
        geometry, kappa, stiffness, frets=given["frets"], move_nut=given["move_nut"]
    )
    ends = (float(found.saddle_setback[0]), float(found.nut_setback[0]))
    return _result(given, found.curve, ends, (slot, saddle), (kappa, stiffness))


def _intonation(given: Given) -> dict[str, Any]:
    geometry, slot, saddle = _geometry(given)
    kappa, stiffness = _string(given)
    ends = (given.get("saddle_setback", 0.0), given.get("nut_setback", 0.0))
    found = compensation.intonation_curve(
        geometry, kappa, stiffness, saddle_setback=ends[0], nut_setback=ends[1], frets=given["frets"]
    )
    return _result(given, found, ends, (slot, saddle), (kappa, stiffness))


def _result(
    given: Given,
    curve: IntonationCurve,
    ends: tuple[float, float],
    heights: tuple[float, float],
    string: tuple[float, float],
) -> dict[str, Any]:
    shares = ("length", "mass", "tension", "stiffness")
    return {
        "saddle_setback": ends[0],
        "nut_setback": ends[1],
        "rms": float(np.sqrt(np.mean(curve.cents[0] ** 2))),
        "frets": [
            {"fret": place + 1, "intonation": float(curve.cents[0, place])}
            | {name: float(getattr(curve, name)[0, place]) for name in shares}
            for place in range(given["frets"])
        ],
        "slot_height": heights[0],
        "saddle_height": heights[1],
        "stretch": string[0],
        "stiffness": string[1],
        "note": ["A place to start from: the last word has the tuner.", *scale_note(given["scale_length"])],
    }


_STRING = (OneOf("stretch", "stretch_coefficient", "tension"), AnyOf("stiffness", "core"))
_ENDS = AnyOf("saddle_setback", "nut_setback")
_HEIGHTS, _ACTIONS = ("slot_height", "saddle_height"), ("nut_action", "action")
_OF_ACTIONS = {"nut_height": "nut_action", "saddle_height": "action"}
_OF_HEIGHTS = {"nut_height": "slot_height"}

COMPENSATION = Calculation(
    name="compensation",
    title="Where saddle and nut should stand, and how sharp fretted notes are",
    about=(
        "A string's heights and how it answers stretching give the setbacks of saddle and nut, or of the "
        "saddle alone, that leave its fretted notes least wrong, and what stays at each fret. Setbacks give "
        "how sharp each note is, and why. How it answers: kappa, the measured coefficient, or pull, core and "
        "material. Heights at nut and saddle, or the two actions as read; relief bends the neck."
    ),
    question=CompensationQuestion,
    result=CompensationResult,
    ways=(
        Way("setbacks", (*_HEIGHTS, *_STRING), _setbacks, may=("stiffness", "core"), blame=_OF_HEIGHTS),
        Way("setbacks", (*_ACTIONS, *_STRING), _setbacks, may=("stiffness", "core"), blame=_OF_ACTIONS),
        Way("intonation", (*_HEIGHTS, *_STRING, _ENDS), _intonation, blame=_OF_HEIGHTS),
        Way("intonation", (*_ACTIONS, *_STRING, _ENDS), _intonation, blame=_OF_ACTIONS),
    ),
    source=(
        "M. B. Anderson & R. G. Beausoleil, Classical guitar intonation and compensation: the well-tempered "
        "guitar, J. Acoust. Soc. Am. 156(1), 683 (2024); its printed Bn has √(1 + kappa·Qn) in the "
        "numerator, here it stands in the denominator, as its definition has the tension",
        "The neck as a beam of constant curvature from nut to body joint: common approximation",
        MODULUS_SOURCE,
    ),
    validity=(
        "Equal-tempered frets, the string pressed straight down. kappa from core and modulus is right for "
        "steel; nylon and gut creep, and their measured coefficient says more."
    ),
    formulas=(compensation.compensation, compensation.intonation_curve, compensation.kappa_from_section,
              compensation.kappa_from_stretch, compensation.open_stiffness),
    blame={
        **BLAME, "kappa": "stretch", "core_area": "core", "core_radius": "core",
        "fret_heights": "relief",
    },
)  # fmt: skip
