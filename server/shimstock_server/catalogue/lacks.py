"""What the plan needs to know of an instrument, and what of it is missing."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from shimstock_server.database.words import BridgeKind

_POSTS = {
    "post_spacing": "the strings sit between the height screws: turns follow from their distance",
    "string_spread": "how far apart the outermost strings are at the bridge decides what each screw does",
    "height_thread_pitch": "a turn raises the bridge by its thread's pitch",
}
_SADDLES = {"height_thread_pitch": "a turn of a saddle's screw raises it by the thread's pitch"}

NEEDED_OF_BRIDGE: dict[BridgeKind, dict[str, str]] = {
    kind: {"bridge-post": _POSTS, "saddle-screw": _SADDLES}.get(kind.term.raised_by, {})
    for kind in BridgeKind
}
"""Field of the bridge to why the plan needs it, for each kind."""


@dataclass(frozen=True)
class Lack:
    """One thing that the plan needs and nobody has entered.

    Parameters
    ----------
    resource : str
        Where it belongs: `instrument_models` or `instruments`.
    field : str
        The field, with slashes for what lies deeper: `bridge/post_spacing`.
    why : str
        What the plan needs it for.
    """

    resource: str
    field: str
    why: str


def lacks_of_model(model: Mapping[str, Any], *, tuned: bool | None = None) -> list[Lack]:
    """List what the plan needs and this model does not say.

    Parameters
    ----------
    model : mapping
        The model's fields in kept units.
    tuned : bool, optional
        Whether a tuning is known from elsewhere; by default from the model's own `tuning_id`.
    """
    found = []
    if model.get("body_joint_fret") is None:
        found.append(("body_joint_fret", "the neck bends up to the fret where it meets the body"))
    if not (tuned if tuned is not None else model.get("tuning_id") is not None):
        found.append(("tuning_id", "pull and intonation follow from the pitches of the open strings"))
    if model["scale_bass"] != model["scale_treble"] and model.get("perpendicular_fret") is None:
        found.append(("perpendicular_fret", "on a multi-scale board it tells where nut and saddles lie"))
    bridge = model["bridge"]
    for field, why in NEEDED_OF_BRIDGE[BridgeKind(bridge["kind"])].items():
        if bridge.get(field) is None:
            found.append((f"bridge/{field}", why))
    return [Lack("instrument_models", field, why) for field, why in found]
