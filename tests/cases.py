"""Six setups as plain data: what came in, what is wanted, and what must come out.

Expected figures follow from elementary geometry (a neck of constant curvature up to the body joint, a
straight string) and from common practice, no published source. Lengths in mm, intonation in cents, linear
densities in g/m, pulls in N. String sets and instruments are invented. Every entry holds plain lists, numbers
and texts, so that the same data can be posted to the service; `calc/plan_inputs.py` makes records of it.
"""

from __future__ import annotations

from typing import Any

Plain = dict[str, Any]

FEELERS: Plain = {"tool": "feeler leaves 0.05 mm", "resolution": 0.05, "repeatability": 0.03}
DIAL: Plain = {"tool": "dial indicator on a straightedge", "resolution": 0.01, "repeatability": 0.02}
DEPTH: Plain = {"tool": "digital depth gauge", "resolution": 0.01, "repeatability": 0.03}
RULE_64: Plain = {
    "tool": "steel rule 1/64 in: whole divisions",
    "resolution": 0.396875,
    "repeatability": 0.08,
}
STROBE: Plain = {"tool": "strobe tuner at fret 12", "resolution": 0.1, "repeatability": 1.0}
# common practice; repeatabilities from memory


def strings(
    notes: list[str], pitches: list[float], gauges: list[float], densities: list[float]
) -> list[Plain]:
    """Strings of a set, string 1 first; wound from the first gauge above 0.5 mm on."""
    rows = zip(notes, pitches, gauges, densities, strict=True)
    return [
        {
            "number": number,
            "note": note,
            "frequency": pitch,
            "gauge": gauge,
            "linear_density": density,
            "wound": gauge > 0.5,
        }
        for number, (note, pitch, gauge, density) in enumerate(rows, start=1)
    ]


GUITAR_NOTES = ["E4", "B3", "G3", "D3", "A2", "E2"]
GUITAR_PITCHES = [329.628, 246.942, 195.998, 146.832, 110.0, 82.407]
# equal temperament from A4 = 440 Hz, ISO 16:1975

LIGHT_9 = strings(
    GUITAR_NOTES,
    GUITAR_PITCHES,
    [0.2286, 0.2794, 0.4064, 0.6096, 0.8128, 1.0668],
    [0.3222, 0.4813, 1.0183, 1.755, 3.226, 5.476],
)
"""9 to 42 thou: 365 N at 647.7 mm."""

LIGHT_10 = strings(
    GUITAR_NOTES,
    GUITAR_PITCHES,
    [0.2540, 0.3302, 0.4318, 0.6604, 0.9144, 1.1684],
    [0.3978, 0.6722, 1.1495, 2.156, 3.950, 6.450],
)
"""10 to 46 thou: 447 N at 647.7 mm, 22.5 % more."""

ACOUSTIC_12 = strings(
    GUITAR_NOTES,
    GUITAR_PITCHES,
    [0.3048, 0.4064, 0.6096, 0.8128, 1.0668, 1.3462],
    [0.5728, 1.0183, 1.9, 3.4, 5.9, 9.1],
)

BASS_45 = strings(
    ["G2", "D2", "A1", "E1"],
    [97.999, 73.416, 55.0, 41.203],
    [1.143, 1.651, 2.032, 2.667],
    [6.6, 13.0, 20.5, 34.5],
)


def item(quantity: str, target: float, lower: float | None, upper: float | None, **more: Any) -> Plain:
    """One line of a setup spec."""
    return {"quantity": quantity, "target": target, "lower": lower, "upper": upper, **more}


def read(quantity: str, value: float | None, tool: Plain, **more: Any) -> Plain:
    """One reading with its tool."""
    return {"quantity": quantity, "value": value, **tool, **more}


def sides(quantity: str, bass: float, treble: float, tool: Plain, **more: Any) -> list[Plain]:
    """Two readings, bass side and treble side."""
    return [
        read(quantity, bass, tool, side="bass", **more),
        read(quantity, treble, tool, side="treble", **more),
    ]


def electric_spec(held: list[int], fret: int) -> list[Plain]:
    """The demo shop's default for electric guitars; common practice, no published source."""
    return [
        item("relief", 0.20, 0.10, 0.30, held=held, fret=fret),
        item("action", 1.7, 1.45, 1.95, side="bass", fret=12),
        item("action", 1.5, 1.25, 1.75, side="treble", fret=12),
        item("nut-action", 0.45, 0.35, 0.60, side="bass"),
        item("nut-action", 0.35, 0.25, 0.50, side="treble"),
        item("pickup-height", 2.0, 1.6, 2.4),
        item("intonation", 0.0, -3.0, 3.0, fret=12),
    ]


TWO_POST: Plain = {
    "kind": "two-post",
    "post_spacing": 74.0,
    "string_spread": 52.0,
    "height_thread_pitch": 1.25,
    "intonation_screw_pitch": 0.5,
    "intonation_screw_head": "tail",
}
PICKUPS: list[Plain] = [
    {"name": "neck pickup", "screw": "ring", "thread_pitch": 0.6},
    {"name": "bridge pickup", "screw": "ring", "thread_pitch": 0.6},
]


def electric(scale: float, frets: int, bridge: Plain, rod: Plain, **more: Any) -> Plain:
    """A six-string electric guitar with its joint at fret 16."""
    return {
        "kind": "electric",
        "strings": LIGHT_9,
        "scale_bass": scale,
        "scale_treble": scale,
        "frets": frets,
        "body_joint_fret": 16,
        "radius_nut": 305.0,
        "radius_end": 305.0,
        "bridge": bridge,
        "rod": rod,
        "pickups": PICKUPS,
        **more,
    }


TWO_POST_ELECTRIC: Plain = {
    "name": "two-post electric",
    "instrument": electric(
        628.65, 22, TWO_POST, {"kind": "single-action", "wrench_end": "head"}, strings=LIGHT_10
    ),
    "spec": electric_spec([1, 22], 9),
    "readings": [
        read("relief", 0.45, FEELERS, held=[1, 22], fret=9, method="string"),
        *sides("action", 2.2, 1.9, DEPTH, fret=12),
        *sides("nut-action", 0.50, 0.40, DEPTH),
    ],
    "expected": {
        "turns_now": 0.25,
        "turns_in_all": 0.625,
        "after_now": {"relief": 0.35, "action": [2.03, 1.73], "nut-action": [0.457, 0.357]},
        "after_all": {"relief": 0.20, "action": [1.783, 1.483], "nut-action": [0.392, 0.292]},
        "bridge_wanted_mm": [-0.207, 0.077],
        "bridge_wanted_turns": [-0.166, 0.062],
        "bridge_turns": [-0.125, 0.0],
        "final_action": [1.716, 1.471],
    },
}

BACK_BOW: Plain = {
    "name": "back-bow, single-action rod, nut loose",
    "instrument": electric(647.7, 21, TWO_POST, {"kind": "single-action", "turns_left_loosen": 0.0}),
    "spec": electric_spec([1, 21], 8),
    "readings": [
        read("relief", -0.10, DIAL, held=[1, 21], fret=8, method="straightedge"),
        read("relief", None, FEELERS, held=[1, 21], fret=8, method="string", zero_or_less=True),
        *sides("action", 1.3, 1.1, DEPTH, fret=12),
        *sides("nut-action", 0.45, 0.38, DEPTH),
    ],
    "other_sets": [{"name": "10 to 46 thou", "strings": LIGHT_10}],
    "expected": {
        "pull": 365.0,
        "pull_needed": 178.0,
        "heavier_pull": 82.0,
        "heavier_percent": 22.5,
        "heavier_relief": [0.092, 0.046, 0.185],
        "heavier_after": -0.01,
        "action_at_target": [1.82, 1.62],
        "dual_action_turns": [-0.25, -0.75],
    },
}

FLOATING_TREMOLO: Plain = {
    "name": "floating tremolo, heavier strings",
    "instrument": electric(
        647.7,
        22,
        {
            "kind": "floating-tremolo",
            "post_spacing": 74.0,
            "string_spread": 52.0,
            "height_thread_pitch": 1.25,
            "intonation_screw_pitch": 0.5,
            "springs": 3,
        },
        {"kind": "dual-action"},
    ),
    "spec": electric_spec([1, 22], 9),
    "readings": [
        read("relief", 0.20, FEELERS, held=[1, 22], fret=9, method="string"),
        *sides("action", 1.8, 1.6, DEPTH, fret=12),
        *sides("nut-action", 0.45, 0.36, DEPTH),
    ],
    "findings": [{"code": "plate-level"}],
    "wanted": {"restring": True, "strings": {"name": "10 to 46 thou", "strings": LIGHT_10}},
    "expected": {
        "springs_percent": 22.5,
        "relief_after_strings": 0.297,
        "action_after_strings": [1.96, 1.76],
        "rod_turns": 0.25,
        "after_rod": {"relief": 0.20, "action": [1.8, 1.6]},
        "pivot_turns": [-0.125, -0.125],
        "final_action": [1.72, 1.52],
    },
}


def acoustic(out_bass: float, out_treble: float) -> Plain:
    """A steel-string guitar with a fixed saddle standing so far out of its slot."""
    return {
        "name": "acoustic, fixed saddle",
        "instrument": {
            "kind": "acoustic-steel",
            "strings": ACOUSTIC_12,
            "scale_bass": 645.2,
            "scale_treble": 645.2,
            "frets": 20,
            "body_joint_fret": 14,
            "radius_nut": 406.4,
            "radius_end": 406.4,
            "bridge": {"kind": "fixed-saddle", "string_spread": 54.0},
            "rod": {"kind": "dual-action", "wrench_end": "body"},
        },
        "spec": [
            item("relief", 0.20, 0.10, 0.30, held=[1, 20], fret=8),
            item("action", 2.4, 2.1, 2.7, side="bass", fret=12),
            item("action", 1.9, 1.6, 2.2, side="treble", fret=12),
            item("nut-action", 0.50, 0.40, 0.65, side="bass"),
            item("nut-action", 0.40, 0.30, 0.55, side="treble"),
            item("saddle-out", 3.0, 2.0, None),
            item("intonation", 0.0, -4.0, 4.0, fret=12),
        ],
        "readings": [
            read("relief", 0.16, DIAL, held=[1, 14], fret=7, method="string"),
            *sides("nut-action", 0.52, 0.43, DEPTH),
            # nothing irreversible rests on a quantity that was read once
            *[
                reading
                for _ in range(2)
                for reading in (
                    *sides("action", 3.2, 2.6, DEPTH, fret=12),
                    *sides("saddle-out", out_bass, out_treble, DEPTH),
                )
            ],
        ],
        "consents": [{"given": True, "steps": []}],
    }


LOW_SADDLE: Plain = {
    **acoustic(3.2, 2.6),
    "expected": {
        "relief": [0.236, 0.029, 0.986],
        "wanted_off": [1.6, 1.4],
        "allowed_off": [1.2, 0.6],
        "action": [2.6, 2.3],
    },
}
HIGH_SADDLE: Plain = {**acoustic(4.6, 4.2), "expected": {"off": [1.6, 1.4], "action": [2.4, 1.9]}}


def bass(readings: list[Plain], **more: Any) -> Plain:
    """A four-string bass read in 64ths of an inch."""
    return {
        "name": "bass in 64ths",
        "instrument": {
            "kind": "bass",
            "strings": BASS_45,
            "scale_bass": 863.6,
            "scale_treble": 863.6,
            "frets": 20,
            "body_joint_fret": 16,
            "radius_nut": 241.3,
            "radius_end": 241.3,
            "bridge": {
                "kind": "individual-saddles",
                "string_spread": 57.0,
                "height_thread_pitch": 0.5,
                "screws_per_saddle": 2,
                "intonation_screw_pitch": 0.5,
            },
            "rod": {"kind": "single-action"},
            "pickups": [{"name": "pickup", "screw": "body", "thread_pitch": 0.6}],
        },
        "spec": [
            item("relief", 0.30, 0.15, 0.45, held=[1, 20], fret=8),
            item("action", 2.4, 2.1, 2.7, side="bass", fret=12),
            item("action", 2.0, 1.7, 2.3, side="treble", fret=12),
            item("nut-action", 0.55, 0.40, 0.75, side="bass"),
            item("nut-action", 0.45, 0.30, 0.60, side="treble"),
        ],
        "readings": readings,
        **more,
    }


INCH = 25.4
BASS_RECEIVED: Plain = {
    **bass(
        [
            read("relief", 0.70, FEELERS, held=[1, 20], fret=8, method="string"),
            *sides("action", 8 / 64 * INCH, 7 / 64 * INCH, RULE_64, fret=12),
            *sides("nut-action", 0.74, 0.64, DEPTH),
        ]
    ),
    "expected": {
        "turns": [0.25, 1.0],
        "after_all": {"relief": 0.30, "action": [2.458, 2.061], "nut_change": -0.185},
        "saddles_wanted_mm": [-0.116, -0.122],
        "saddle_turns": -0.25,
        "final_action": [2.395, 1.999],
        "inner_over_outer": 1.50,
    },
}
BASS_FINAL: Plain = {
    **bass(
        [
            read("relief", 0.30, FEELERS, held=[1, 20], fret=8, method="string"),
            *sides("action", 6 / 64 * INCH, 5 / 64 * INCH, RULE_64, fret=12),
            *sides("nut-action", 0.55, 0.45, DEPTH),
        ]
    ),
    "expected": {"uncertainty": 0.115, "probability": [0.990, 0.990]},
}

CENTS = [2.2, 5.5, 14.0, 1.8, -6.0, 7.0]


def intonation(**more: Any) -> Plain:
    """An electric guitar whose height is right and whose strings are old."""
    bridge = {**TWO_POST, "travel_away": {"3": 2.0}}
    return {
        "name": "intonation",
        "instrument": electric(647.7, 22, bridge, {"kind": "single-action"}),
        "spec": electric_spec([1, 22], 9),
        **more,
    }


_IN_SPEC = [
    *sides("action", 1.7, 1.5, DEPTH, fret=12),
    *sides("nut-action", 0.45, 0.36, DEPTH),
    *sides("pickup-height", 2.0, 2.0, DIAL, pickup="neck pickup", held=[22]),
    *sides("pickup-height", 2.0, 2.0, DIAL, pickup="bridge pickup", held=[22]),
]
OLD_STRINGS: Plain = intonation(
    readings=[read("relief", 0.20, FEELERS, held=[1, 22], fret=9, method="string"), *_IN_SPEC],
    wanted={"restring": True},
)
NEW_STRINGS: Plain = {
    **intonation(
        adjustments=[{"part": "strings", "order": 0, "at": 0.0}],
        readings=[
            read("relief", 0.20, FEELERS, held=[1, 22], fret=9, method="string", at=60.0),
            read("relief", 0.20, FEELERS, held=[1, 22], fret=9, method="string", at=125.0),
            *[{**each, "at": 130.0} for each in _IN_SPEC],
            *[
                read("intonation", cents, STROBE, string=number, fret=12, method="tuner", at=140.0)
                for number, cents in enumerate(CENTS, start=1)
            ],
        ],
    ),
    "expected": {
        "repeat": {"1": 0.79, "4": 0.88},
        "moves_mm": {"2": 2.07, "5": -2.23, "6": 2.63},
        "moves_turns": {"2": 4.125, "5": -4.5, "6": 5.25},
        "short": {"string": 3, "wanted_mm": 5.30, "wanted_turns": 10.625, "gains": 5.3, "stays": 8.7},
    },
}

CASES: dict[str, Plain] = {
    "two-post-electric": TWO_POST_ELECTRIC,
    "back-bow": BACK_BOW,
    "floating-tremolo": FLOATING_TREMOLO,
    "low-saddle": LOW_SADDLE,
    "high-saddle": HIGH_SADDLE,
    "bass-received": BASS_RECEIVED,
    "bass-final": BASS_FINAL,
    "old-strings": OLD_STRINGS,
    "new-strings": NEW_STRINGS,
}
