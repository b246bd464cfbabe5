"""The trade's words as they are typed and shown at the bench.

Written by `python client/generate_words.py` from the server's vocabulary: change that, not this.
"""

from __future__ import annotations

QUANTITIES: dict[str, str] = {
    "relief": "relief",
    "twist": "twist",
    "nut-action": "nut-action",
    "nut": "nut-action",
    "action": "action",
    "saddle-out": "saddle-out",
    "saddle": "saddle-out",
    "break-clearance": "break-clearance",
    "break": "break-clearance",
    "pickup-height": "pickup-height",
    "pickup": "pickup-height",
    "intonation": "intonation",
}
"""What a quantity is called at the prompt."""

READINGS: dict[str, str] = {
    "relief": "relief 0.45",
    "twist": "twist 0.1",
    "nut-action": "nut bass 0.45",
    "action": "action bass 2.2mm or action bass 8/64in",
    "saddle-out": "saddle bass 3.2",
    "break-clearance": "break 2 0.5",
    "pickup-height": "pickup bass 2.0 or pickup neck bass 2.0",
    "intonation": "intonation 3 +2.5",
}
"""How one is typed."""

UNITS: dict[str, tuple[str, str]] = {
    "relief": ("mm", "thou"),
    "twist": ("mm", "thou"),
    "nut-action": ("mm", "thou"),
    "action": ("mm", "in/64"),
    "saddle-out": ("mm", "in/64"),
    "break-clearance": ("mm", "thou"),
    "pickup-height": ("mm", "in/64"),
    "intonation": ("cents", "cents"),
}
"""The unit of a bare number, metric and in inches."""

SIGNED: frozenset[str] = frozenset(
    {
        "intonation",
    }
)
"""Quantities that are shown with their sign."""

PLACES: dict[str, str] = {
    "relief": "neck",
    "twist": "across",
    "nut-action": "side or string",
    "action": "side or string",
    "saddle-out": "side or string",
    "break-clearance": "string",
    "pickup-height": "side or string",
    "intonation": "string",
}
"""Where one is read."""

PARTS: dict[str, str] = {
    "strings": "strings",
    "rod": "truss-rod",
    "truss-rod": "truss-rod",
    "shim": "neck-shim",
    "neck-shim": "neck-shim",
    "claw": "spring-claw",
    "spring-claw": "spring-claw",
    "nut": "nut-slot",
    "nut-slot": "nut-slot",
    "post": "bridge-post",
    "bridge-post": "bridge-post",
    "tailpiece": "tailpiece",
    "screw": "saddle-screw",
    "saddle-screw": "saddle-screw",
    "saddle": "saddle",
    "pickup": "pickup-screw",
    "pickup-screw": "pickup-screw",
    "frets": "frets",
    "tuners": "tuners",
}
"""What a part is called at the prompt."""

DOINGS: dict[str, str] = {
    "strings": "strings",
    "truss-rod": "rod tighten 1/4",
    "neck-shim": "shim 0.5mm",
    "spring-claw": "claw tighten 1/2",
    "nut-slot": "nut 2 file 0.05mm",
    "bridge-post": "post bass lower 1/8",
    "tailpiece": "tailpiece raise 1",
    "saddle-screw": "screw 3 raise 1/4",
    "saddle": "saddle 3 away 4 1/8, or for a fixed saddle: saddle bass file 1.2mm",
    "pickup-screw": "pickup neck bass raise 1/2",
    "frets": "frets",
    "tuners": "tuners",
}
"""How its adjustment is typed."""

SIGNS: dict[str, tuple[str, int]] = {
    "tighten": ("tighten", 1),
    "tightened": ("tighten", 1),
    "loosen": ("tighten", -1),
    "loosened": ("tighten", -1),
    "raise": ("raise", 1),
    "raised": ("raise", 1),
    "up": ("raise", 1),
    "lower": ("raise", -1),
    "lowered": ("raise", -1),
    "down": ("raise", -1),
    "away": ("away", 1),
    "toward": ("away", -1),
    "towards": ("away", -1),
    "file": ("file", 1),
    "filed": ("file", 1),
    "sand": ("file", 1),
    "sanded": ("file", 1),
    "shim": ("file", -1),
    "shimmed": ("file", -1),
    "fill": ("file", -1),
    "filled": ("file", -1),
}
"""Which way a word goes, and its sign."""

EITHER_WAY: dict[str, str] = {
    "tighten": "tighten or loosen",
    "raise": "raise or lower",
    "away": "away or toward",
    "file": "file or shim",
}
"""A way and its opposite."""

IN_MM: frozenset[str] = frozenset(
    {
        "file",
    }
)
"""Ways that are measured as a length, not in turns."""

WAYS: dict[str, tuple[str, ...]] = {
    "truss-rod": ("tighten",),
    "spring-claw": ("tighten",),
    "nut-slot": ("file",),
    "bridge-post": ("raise",),
    "tailpiece": ("raise",),
    "saddle-screw": ("raise",),
    "saddle": ("away", "file"),
    "pickup-screw": ("raise",),
}
"""Which ways a part goes."""

MOVES: dict[str, tuple[str, str]] = {
    "truss-rod": ("tighten", "loosen"),
    "neck-shim": ("", ""),
    "spring-claw": ("tighten", "loosen"),
    "nut-slot": ("take off", "fill by"),
    "bridge-post": ("raise", "lower"),
    "tailpiece": ("raise", "lower"),
    "saddle-screw": ("raise", "lower"),
    "saddle": ("take off", "shim by"),
    "saddle-position": ("away from the nut", "toward the nut"),
    "pickup-screw": ("raise", "lower"),
}
"""What a positive and a negative move of a part is called."""

PLACED: frozenset[str] = frozenset(
    {
        "nut-slot",
        "bridge-post",
        "saddle-screw",
        "saddle",
        "pickup-screw",
    }
)
"""Parts that there are several of."""

SIMPLY_DONE: frozenset[str] = frozenset(
    {
        "strings",
        "frets",
        "tuners",
        "instrument",
    }
)
"""Parts of which nothing more is said than that they were seen to."""

UNTIL_SEEN: frozenset[str] = frozenset(
    {
        "tailpiece",
    }
)
"""Parts that the plan moves until something is seen, not by so and so much."""

FILED: frozenset[str] = frozenset(
    {
        "nut-slot",
        "saddle",
    }
)
"""Parts whose amount is what was taken off."""

FINDINGS: tuple[str, ...] = (
    "frets-worn",
    "fret-high",
    "fret-loose",
    "fret-ends-sharp",
    "rise-at-the-end",
    "crack",
    "bridge-lifting",
    "belly",
    "neck-angle-low",
    "neck-joint-loose",
    "twist",
    "rod-stiff",
    "rod-creaks",
    "rod-no-response",
    "rod-broken",
    "nut-cracked",
    "nut-slot-low",
    "tuner-slips",
    "string-damaged",
    "plate-level",
    "plate-tail-high",
    "plate-tail-low",
    "saddle-pickup-uneven",
)
"""What a look over can find."""

CONSENTS: tuple[str, ...] = (
    "general",
    "nut-filing",
    "saddle-filing",
    "fret-work",
    "high-pull",
)
"""What the owner says yes or no to."""
