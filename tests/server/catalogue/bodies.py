"""Bodies of requests for the catalogue; every name is invented."""

from __future__ import annotations

from typing import Any

Body = dict[str, Any]


def quantity(value: float, unit: str = "mm") -> Body:
    """A value with its unit, as it is sent."""
    return {"value": value, "unit": unit}


def per_turn(value: float) -> Body:
    """A thread's pitch, as it is sent."""
    return quantity(value, "mm/turn")


TWO_POST: Body = {
    "kind": "two-post",
    "post_spacing": quantity(74),
    "string_spread": quantity(52),
    "height_thread_pitch": per_turn(1.25),
}
# M8×1.25: ISO 261

BRIDGES: dict[str, Body] = {
    "two-post": TWO_POST,
    "one-piece": TWO_POST | {"kind": "one-piece"},
    "individual-saddles": {
        "kind": "individual-saddles",
        "height_thread_pitch": per_turn(0.5),
        "screws_per_saddle": 2,
        "travel_away": [{"string": 3, "distance": quantity(2.0)}],
    },
    "paired-saddles": {"kind": "paired-saddles", "height_thread_pitch": per_turn(0.5)},
    "fixed-saddle": {
        "kind": "fixed-saddle",
        "saddle_total_height": {"bass": quantity(8), "treble": quantity(7)},
        "undersaddle_pickup": True,
    },
    "movable": TWO_POST | {"kind": "movable", "left_hand_thread": True},
    "resting-tremolo": {"kind": "resting-tremolo", "height_thread_pitch": per_turn(0.5), "springs": 4},
    "floating-tremolo": TWO_POST | {"kind": "floating-tremolo", "springs": 3},
    "locking-tremolo": TWO_POST | {"kind": "locking-tremolo", "springs": 3},
}
"""One bridge of every kind, with fields that this kind has."""


def model(name: str = "Quillon", **changes: Any) -> Body:
    """A complete electric with a two-post bridge; a change of None leaves a field out."""
    body: Body = {
        "maker": "Brackwater",
        "name": name,
        "kind": "electric",
        "strings": 6,
        "scale_bass": quantity(24.75, "in"),
        "scale_treble": quantity(24.75, "in"),
        "frets": 22,
        "body_joint_fret": 16,
        "radius_nut": quantity(12, "in"),
        "radius_body_end": quantity(12, "in"),
        "bridge": TWO_POST,
        "truss_rod": {"kind": "single-action", "wrench_end": "head"},
    }
    return {field: value for field, value in (body | changes).items() if value is not None}


STANDARD: Body = {"name": "standard", "notes": ["E4", "B3", "G3", "D3", "A2", "E2"]}


def plain(number: int, thou: float) -> Body:
    """A plain steel string."""
    return {"number": number, "gauge": quantity(thou, "thou")}


def wound(number: int, gauge: float, core: float, wrap: float, material: str = "nickel-plated-steel") -> Body:
    """A string wound on a hexagonal steel core; all in thousandths of an inch."""
    return {
        "number": number,
        "gauge": quantity(gauge, "thou"),
        "wound": True,
        "core": quantity(core, "thou"),
        "core_shape": "hex",
        "wrap": quantity(wrap, "thou"),
        "wrap_material": material,
    }


LIGHT: Body = {
    "name": "light",
    "strings": [
        plain(1, 9),
        plain(2, 11),
        plain(3, 16),
        wound(4, 24, 11, 5.65),
        wound(5, 32, 15, 7.34),
        wound(6, 42, 18.5, 10.32),
    ],
}
NYLON: Body = {
    "name": "nylon",
    "built_for": "nylon",
    "strings": [
        {"number": n, "gauge": quantity(0.7), "material": "nylon", "linear_density": quantity(mass, "g/m")}
        for n, mass in enumerate((0.40, 0.53, 0.84, 1.95, 3.42, 5.75), start=1)
    ],
}


def item(
    name: str, target: float, lower: float | None, upper: float | None, unit: str = "mm", **more: Any
) -> Body:
    """One item of a setup spec."""
    body: Body = {"quantity": name, "target": quantity(target, unit), **more}
    if lower is not None:
        body["lower"] = quantity(lower, unit)
    if upper is not None:
        body["upper"] = quantity(upper, unit)
    return body
