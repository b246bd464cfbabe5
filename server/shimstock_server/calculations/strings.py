"""How hard a string pulls, what it weighs, and whether it holds; how its stiffness stretches the partials."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

from shimstock_calc import fitted, pitch, stiffness, strings, wire
from shimstock_calc.errors import Contradiction, Missing
from shimstock_calc.fitted import FittedString
from shimstock_server.web.fields import Choice, ListOf, Nested, Number, StrictSchema, Text, Truth, Whole

from .entry import AnyOf, Calculation, Given, OneOf, Way
from .fields import Question, Result, asked, calculated, told
from .notes import say, scale_note
from .pitch import note_field

MATERIALS = {re.sub("[ ,/]", "-", name): name for name in wire.MATERIALS}
"""The word for a material on the wire to its name in the calculation module."""
# Plated wraps count as their core metal: the plating adds less than 1 % (from memory).
WRAP_MATERIALS = MATERIALS | {"nickel-plated-steel": "steel", "silver-plated-copper": "copper"}
THINNEST, THICKEST = 0.1, 6.5
"""Wire that the table of strengths is for [mm]."""
WIRE_SOURCE = (
    "Tensile strength: Budynas & Nisbett, Shigley's Mechanical Engineering Design, Table 10-4, "
    "2211 MPa·mm^m / d^0.145 (ASTM A228 music wire); limits 80 and 95 % of it: judgement"
)
MODULUS_SOURCE = (
    f"Young's modulus of steel music wire {1e-3 * wire.STEEL_MODULUS:g} GPa, as below 0.81 mm: handbook "
    "value; thicker wire has a few per cent less"
)


class StringFields(Question):
    """What a string is made of."""

    linear_density = asked("linear-density", 0.005, 300.0, "Mass per length, where it is known")
    gauge = asked("gauge", 0.05, 6.0, "Outside diameter")
    wound = Truth(load_default=False, metadata={"description": "Whether it is wound; else plain."})
    material = Choice(
        MATERIALS, load_default="steel",
        metadata={"description": "Of a plain string, or of a wound one's core."},
    )  # fmt: skip
    core = asked("gauge", 0.02, 5.0, "Core of a wound string: diameter, or size across flats")
    core_shape = Choice(
        ("round", "hex"), load_default="round", metadata={"description": "Shape of the core."}
    )
    wrap_material = Choice(WRAP_MATERIALS, metadata={"description": "Of a wound string's wrap."})


class StringTensionQuestion(StringFields):
    """Three of four: pull, pitch, string (linear density or gauge), scale length."""

    tension = asked("tension", 0.5, 1000.0, "Pull of the string")
    frequency = asked("pitch", 10.0, 2000.0, "Pitch of the open string")
    note = note_field("Pitch of the open string, instead of its frequency")
    reference_pitch = asked("pitch", 380.0, 480.0, "Pitch of A4 that notes belong to; 440 Hz else")
    scale_length = asked("scale-length", 100.0, 2000.0, "Speaking length of the open string")
    stock = ListOf(
        asked("gauge", 0.05, 6.0, "A gauge at hand", required=True), min=1, max=100,
        metadata={"description": "Gauges at hand, when the gauge is asked for: the nearest is chosen."},
    )  # fmt: skip


class StringTensionResult(Result):
    """A string as tuned, and how near it is to breaking."""

    calculated = calculated("tension", "frequency", "linear_density", "scale_length")
    tension = told("tension", "Pull of the string")
    frequency = told("pitch", "Pitch of the open string")
    note_name = Text(allow_none=True, metadata={"description": "Nearest note to that, down to C-1."})
    intonation = told("intonation", "How far the pitch lies from that note; positive = sharp", maybe=True)
    scale_length = told("scale-length", "Speaking length")
    linear_density = told("linear-density", "Mass per length")
    gauge = told("gauge", "Outside diameter, where known", maybe=True)
    nearest_gauge = told("gauge", "Nearest gauge at hand", maybe=True)
    stress = told("stress", "Pull over the area of the string or its core", maybe=True)
    strength_used = told("share", "Stress over tensile strength; refused from 95 %", maybe=True)
    margin = Choice(("holds", "near its limit", "margin unknown"))
    highest_frequency = told("pitch", "Pitch at which the string stands at 80 %", maybe=True)


def sounding(given: Given) -> float:
    """Return the pitch of the open string, given as a frequency or by its note [Hz]."""
    if "frequency" in given:
        return float(given["frequency"])
    return float(pitch.frequency(given["note"], _reference(given)))


def _reference(given: Given) -> float:
    return float(given.get("reference_pitch", pitch.STANDARD_REFERENCE))


def string_of(given: Given, frequency: float, scale_length: float, **fields: Any) -> FittedString:
    """Return the string that a question describes, tuned."""
    if not given["wound"]:
        for name in ("core", "wrap_material"):
            if name in given:
                raise Contradiction(f"{name} belongs to a wound string: say that it is wound", name)
    return FittedString(
        number=fields.pop("number", 1),
        frequency=frequency,
        scale_length=scale_length,
        kind="wound" if given["wound"] else "plain",
        gauge=given.get("gauge"),
        linear_density=given.get("linear_density"),
        material=MATERIALS[given["material"]],
        core=given.get("core"),
        core_shape=given["core_shape"],
        wrap_material=WRAP_MATERIALS[given["wrap_material"]] if "wrap_material" in given else None,
        **fields,
    )


# Any pitch and length: only the mass is asked of this string.
_ANYWHERE = (100.0, 650.0)


def _mass(given: Given) -> float:
    return fitted.mass_per_length(string_of(given, *_ANYWHERE))


def _tension(given: Given) -> dict[str, Any]:
    return _judge(given, string_of(given, sounding(given), given["scale_length"]))


def _frequency(given: Given) -> dict[str, Any]:
    found = float(strings.frequency_at(given["tension"], _mass(given), given["scale_length"]))
    return _judge(given, string_of(given, found, given["scale_length"]))


def _scale_length(given: Given) -> dict[str, Any]:
    frequency = sounding(given)
    found = float(strings.scale_length_for_tension(given["tension"], _mass(given), frequency))
    return _judge(given, string_of(given, frequency, found))


def _linear_density(given: Given) -> dict[str, Any]:
    frequency, length, pull = sounding(given), given["scale_length"], given["tension"]
    string = string_of(given, frequency, length)
    mass = float(strings.linear_density_for(pull, length, frequency))
    light = string.kind == "wound" and (string.core is None or string.wrap_material is None)
    gauge = None if light else fitted.gauge_for_pull(string, pull)
    nearest = fitted.gauge_for_pull(string, pull, given["stock"]) if "stock" in given else None
    found = _judge(given, replace(string, gauge=gauge, linear_density=mass))
    return {**found, "nearest_gauge": nearest}


def _judge(given: Given, string: FittedString) -> dict[str, Any]:
    """Return pull and margin of a tuned string, refusing what would break."""
    pull, mass = fitted.pull(string), fitted.mass_per_length(string)
    core = fitted.margin_core(string)
    share = highest = stress = None
    note_name, off = _nearest(string.frequency, _reference(given))
    if core is not None and THINNEST <= core <= THICKEST:
        shape = "round" if string.kind == "plain" else string.core_shape
        share = float(wire.breaking_fraction(pull, core, shape))
        stress = share * float(wire.tensile_strength(core))
        wire.refuse_breaking(share, "the string")
        highest = float(wire.highest_frequency(core, string.scale_length, mass, core_shape=shape))
    return {
        "tension": pull,
        "frequency": string.frequency,
        "note_name": note_name,
        "intonation": off,
        "scale_length": string.scale_length,
        "linear_density": mass,
        "gauge": string.gauge,
        "stress": stress,
        "strength_used": None if share is None else 100.0 * share,
        "margin": wire.breaking_words(share),
        "highest_frequency": highest,
        "note": _breaking_note(share, string, core) + scale_note(string.scale_length),
    }


def _nearest(frequency: float, reference: float) -> tuple[str | None, float | None]:
    """Return the nearest note and how far off it is; nothing for what lies below all notes."""
    if float(pitch.note_at(frequency, reference)) < pitch.LOWEST_NOTE:
        return None, None
    return pitch.nearest_note(frequency, reference)


def _breaking_note(share: float | None, string: FittedString, core: float | None) -> list[str]:
    material = string.material
    if share is None and core is not None:
        limits = f"{say('gauge', THINNEST)} to {say('gauge', THICKEST)}"
        return [f"How near the string is to breaking is not known: the strength is that of wire of {limits}."]
    if share is None:
        known = "its core is not known" if wire.MATERIALS[material].steel else f"of {material}"
        return [
            f"How near the string is to breaking is not known: {known}; the strength is that of steel wire."
        ]
    if share >= wire.BREAKING_NOTE:
        return [
            f"The string stands at {share:.0%} of its tensile strength, near its limit: tune up slowly, eyes "
            "protected."
        ]
    return []


_STRING = AnyOf("linear_density", "gauge")
_PITCH = OneOf("frequency", "note")

STRING_TENSION = Calculation(
    name="string-tension",
    title="Tension, pitch, gauge or scale length of a string",
    about=(
        "Leave out one of tension, pitch, string and scale length. Pitch is a frequency or a note; the "
        "string is its linear density, or its gauge and what it is made of. Leave out the string to learn "
        "which gauge gives this tension at this pitch. A string beyond 95 % of its tensile strength is "
        "refused."
    ),
    question=StringTensionQuestion,
    result=StringTensionResult,
    ways=(
        Way("tension", (_PITCH, _STRING, "scale_length"), _tension),
        Way("frequency", ("tension", _STRING, "scale_length"), _frequency, blame={"frequency": "tension"}),
        Way("linear_density", ("tension", _PITCH, "scale_length"), _linear_density, may=("stock",)),
        Way("scale_length", ("tension", _PITCH, _STRING), _scale_length, blame={"scale_length": "tension"}),
    ),
    source=(
        "Tension mu·(2·X·f)² of the ideal string: M. Mersenne (1636), B. Taylor (1713)",
        "Mass of plain and close-wound wire: geometry; densities from handbooks, some from memory",
        WIRE_SOURCE,
    ),
    validity=(
        "Ideal strings at rest. The strength is that of plain steel music wire of 0.1 to 6.5 mm: for other "
        "materials, or a core that is not known, the margin is unknown."
    ),
    formulas=(strings.tension, strings.wound_linear_density, wire.tensile_strength, wire.breaking_fraction),
    blame={"diameter": "gauge", "wrap": "gauge", "fraction": "tension", "reference": "reference_pitch"},
)


class PartialIn(StrictSchema):
    """A partial that was heard."""

    number = Whole(1, 60, required=True, metadata={"description": "Its number; 1 = the fundamental."})
    frequency = asked("pitch", 10.0, 20000.0, "Its frequency", required=True)


class InharmonicityQuestion(Question):
    """A string, or two partials that were heard."""

    gauge = asked(
        "gauge",
        0.05,
        3.0,
        "Diameter of a plain string, or of a wound one's core; across flats where it is hex",
    )
    core_shape = Choice(
        ("round", "hex"), metadata={"description": "Shape of a wound string's core; round else."}
    )
    tension = asked("tension", 0.5, 1000.0, "Pull of the string")
    scale_length = asked("scale-length", 100.0, 2000.0, "Speaking length of the open string")
    modulus = asked("modulus", 500.0, 400000.0, "Young's modulus of string or core; steel music wire else")
    frequency = asked("pitch", 10.0, 2000.0, "Pitch of the ideal string, to list the partials")
    partials = Whole(1, 60, metadata={"description": "How many partials to list; 8 else."})
    heard = ListOf(
        Nested(PartialIn), min=2, max=2,
        metadata={"description": "Two partials that were heard, the lower first."},
    )  # fmt: skip


class PartialOut(StrictSchema):
    """A partial of the stiff string."""

    number = Whole(metadata={"description": "1 = the fundamental."})
    frequency = told("pitch", "Its frequency")
    sharp = told("intonation", "How far it lies above that partial of the string without stiffness")


class InharmonicityResult(Result):
    """How stiff a string is, and what that does."""

    calculated = calculated("inharmonicity")
    inharmonicity = Number(metadata={"description": "B of f_n = n·f0·√(1 + B·n²)."})
    harmonic_offset = told(
        "intonation", "How much sharper the 12th-fret harmonic is than the octave of the open string"
    )
    partials = ListOf(Nested(PartialOut))


def _stiffness(given: Given) -> dict[str, Any]:
    found = stiffness.inharmonicity(
        given["gauge"], given["tension"], given["scale_length"], given.get("modulus", wire.STEEL_MODULUS),
        given.get("core_shape", "round"),
    )  # fmt: skip
    return _stiff(given, float(found)) | {
        "note": _stiff_note(float(found)) + scale_note(given["scale_length"])
    }


def _heard(given: Given) -> dict[str, Any]:
    low, high = given["heard"]
    found = stiffness.inharmonicity_from_partials(
        low["number"], low["frequency"], high["number"], high["frequency"]
    )
    return _stiff(given, float(found)) | {"note": _stiff_note(float(found))}


def _stiff(given: Given, found: float) -> dict[str, Any]:
    if "partials" in given and "frequency" not in given:
        raise Missing("partials are listed from the string's pitch: give its frequency", "frequency")
    listed = range(1, given.get("partials", 8) + 1) if "frequency" in given else ()
    partials = []
    for number in listed:
        sounds = float(stiffness.partial_frequency(number, given["frequency"], found))
        sharp = float(pitch.cents(sounds, number * given["frequency"]))
        partials.append({"number": number, "frequency": sounds, "sharp": sharp})
    return {
        "inharmonicity": found,
        "harmonic_offset": float(stiffness.octave_stretch(found)),
        "partials": partials,
    }


def _stiff_note(found: float) -> list[str]:
    if found <= 0.01:
        return []
    return [
        f"B {found:.2g} is that of a bar rather than a string (strings lie below 0.01); the first-order "
        f"formula is not meant for it. Is the gauge in the right unit ({say('gauge', 0.43)} is an ordinary "
        f"plain string)?"
    ]


STRING_INHARMONICITY = Calculation(
    name="string-inharmonicity",
    title="How a string's stiffness stretches its partials",
    about=(
        "Gauge, tension and scale length give the coefficient B and how far the 12th-fret harmonic lies "
        "above the octave; with the pitch, the partials too. Two partials that were heard give B the other "
        "way round."
    ),
    question=InharmonicityQuestion,
    result=InharmonicityResult,
    ways=(
        Way("inharmonicity", ("gauge", "tension", "scale_length"), _stiffness,
            may=("modulus", "core_shape")),
        Way(
            "inharmonicity", ("heard",), _heard,
            blame={
                "lower_partial": "heard.0.number", "upper_partial": "heard.1.number",
                "lower_frequency": "heard.0.frequency", "upper_frequency": "heard.1.frequency",
                "inharmonicity": "heard",
            },
        ),
    ),
    source=(
        "H. Fletcher, Normal vibration frequencies of a stiff piano string, J. Acoust. Soc. Am. 36, 203 "
        "(1964)",
        "Same constant: R. W. Young, Inharmonicity of plain wire piano strings, J. Acoust. Soc. Am. 24, 267 "
        "(1952)",
        MODULUS_SOURCE,
    ),
    validity=(
        "Pinned ends, small stiffness (B below 0.01); a wound string by its core, round or hexagonal: the "
        "wrap adds hardly any."
    ),
    formulas=(stiffness.inharmonicity, stiffness.partial_frequency, stiffness.octave_stretch,
              stiffness.inharmonicity_from_partials),
    blame={"diameter": "gauge", "inharmonicity": "gauge", "ideal_frequency": "frequency"},
)  # fmt: skip
