"""Which fields a bridge of each kind has, and what cannot be true of it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from shimstock_server.database.words import BridgeKind

_ALL = frozenset(BridgeKind)
_FIXED = frozenset(kind for kind in BridgeKind if kind.term.raised_by == "saddle")
_POSTS = frozenset(kind for kind in BridgeKind if kind.term.on_posts)
_SADDLE_SCREWS = frozenset(kind for kind in BridgeKind if kind.term.raised_by == "saddle-screw")
_TREMOLOS = frozenset(kind for kind in BridgeKind if kind.term.tremolo)

KINDS_WITH: dict[str, frozenset[BridgeKind]] = {
    "string_spread": _ALL,
    "post_spacing": _POSTS,
    "height_thread_pitch": _ALL - _FIXED,
    "height_left_up": _ALL - _FIXED,
    "height_left_down": _ALL - _FIXED,
    "left_hand_thread": _ALL - _FIXED,
    "screws_per_saddle": _SADDLE_SCREWS,
    "intonation_screw_pitch": _ALL - _FIXED,
    "intonation_screw_head": _ALL - _FIXED,
    "travel_away": _ALL - _FIXED,
    "travel_toward": _ALL - _FIXED,
    "saddle_total_height": _FIXED,
    "undersaddle_pickup": _FIXED,
    "springs": _TREMOLOS,
}
"""Field of a bridge to the kinds that have it (common practice, no published source)."""


def bridge_errors(bridge: Mapping[str, Any], strings: int) -> dict[str, str]:
    """Return what cannot be true of a bridge: pointer below the bridge to message.

    Parameters
    ----------
    bridge : mapping
        Its fields in mm, absent or None where not known; with its kind.
    strings : int
        How many strings the instrument has.
    """
    kind = BridgeKind(bridge["kind"])
    errors: dict[str, str] = {}
    for field, kinds in KINDS_WITH.items():
        if _says(bridge.get(field)) and kind not in kinds:
            errors[f"/{field}"] = f"a {kind.value} bridge has no such thing; leave it out"
    posts, spread = bridge.get("post_spacing"), bridge.get("string_spread")
    if posts is not None and spread is not None and spread >= posts and "/post_spacing" not in errors:
        errors["/string_spread"] = (
            f"the strings sit between the height screws: {spread:g} mm must be less than their {posts:g} mm"
        )
    for field in ("travel_away", "travel_toward"):
        errors |= {
            f"/{field}{below}": told for below, told in per_string_errors(bridge.get(field), strings).items()
        }
    return errors


def _says(value: Any) -> bool:
    """Whether a field says something: null, false and an empty list are no claim."""
    return value not in (None, False, [])


def per_string_errors(entries: Any, strings: int) -> dict[str, str]:
    """Return what is wrong with a list of one entry per string: pointer to message."""
    errors: dict[str, str] = {}
    seen: set[int] = set()
    for n, entry in enumerate(entries or []):
        if entry["string"] > strings:
            errors[f"/{n}/string"] = (
                f"this instrument has {strings} strings, 1 to {strings}; {entry['string']} was given"
            )
        elif entry["string"] in seen:
            errors[f"/{n}/string"] = f"string {entry['string']} is there twice"
        seen.add(entry["string"])
    return errors
