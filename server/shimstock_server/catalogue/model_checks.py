"""What cannot be true of an instrument model: each message names the field and what would be right."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from shimstock_server.database.tables.catalogue import InstrumentModel
from shimstock_server.database.words import BuiltFor, Kind, RodKind

from .bridges import bridge_errors, per_string_errors
from .woods import part_errors

_BUILT_FOR = {Kind.CLASSICAL_NYLON: BuiltFor.NYLON, Kind.ACOUSTIC_STEEL: BuiltFor.STEEL}


def default_built_for(kind: str) -> str:
    """Return what pull a kind of instrument is built for unless somebody says otherwise."""
    return _BUILT_FOR.get(Kind(kind), BuiltFor.STEEL).value


def model_errors(model: Mapping[str, Any]) -> dict[str, str]:
    """Return everything that cannot be true of a model: pointer to message.

    Parameters
    ----------
    model : mapping
        All its fields, in the kept units.
    """
    return (
        _pull_errors(model)
        | _course_errors(model)
        | _board_errors(model)
        | {
            f"/bridge{below}": told
            for below, told in bridge_errors(model["bridge"], model["strings"]).items()
        }
        | {f"/truss_rod{below}": told for below, told in rod_errors(model["truss_rod"]).items()}
        | _nut_and_joint_errors(model)
        | _pickup_errors(model)
        | part_errors(model["parts"])
    )


def _pull_errors(model: Mapping[str, Any]) -> dict[str, str]:
    wanted = _BUILT_FOR.get(Kind(model["kind"]))
    if wanted is not None and model["built_for"] != wanted.value:
        return {"/built_for": f"a {model['kind']} instrument is built for {wanted.value}"}
    return {}


def _course_errors(model: Mapping[str, Any]) -> dict[str, str]:
    courses = model.get("courses")
    if courses is None:
        return {}
    listed = [number for course in courses for number in course]
    wanted = list(range(1, model["strings"] + 1))
    if listed != wanted:
        return {
            "/courses": f"courses list every string once, in order: 1 to {model['strings']}, such as "
            "[[1, 2], [3, 4], …]"
        }
    return {}


def _board_errors(model: Mapping[str, Any]) -> dict[str, str]:
    errors: dict[str, str] = {}
    bass, treble, frets = model["scale_bass"], model["scale_treble"], model["frets"]
    if bass < treble:
        errors["/scale_bass"] = "the bass side of a multi-scale board is the longer one; it is shorter here"
    elif bass > 1.25 * treble:
        errors["/scale_treble"] = "is less than 80 % of the bass side's scale; check both lengths"
    perpendicular, joint = model.get("perpendicular_fret"), model.get("body_joint_fret")
    if perpendicular is not None and perpendicular > frets:
        errors["/perpendicular_fret"] = f"this board has {frets} frets; {perpendicular:g} was given"
    if joint is not None and joint > frets:
        errors["/body_joint_fret"] = f"this board has {frets} frets; {joint:g} was given"
    nut, end = model.get("radius_nut"), model.get("radius_body_end")
    if nut is not None and end is None:
        errors["/radius_body_end"] = (
            "a radius needs both ends; give the same twice, or neither for a flat board"
        )
    elif nut is None and end is not None:
        errors["/radius_nut"] = "a radius needs both ends; give the same twice, or neither for a flat board"
    elif nut is not None and end is not None and end < nut - 1e-6:
        errors["/radius_body_end"] = "a compound radius grows toward the body; it shrinks here"
    return errors


def rod_errors(rod: Mapping[str, Any]) -> dict[str, str]:
    """Return what cannot be true of a truss rod: pointer below the rod to message."""
    kind = RodKind(rod["kind"])
    errors: dict[str, str] = {}
    if kind is RodKind.NONE:
        for field in ("reversed", "wrench_end", "turns_left_tighten", "turns_left_loosen", "free_play"):
            if rod.get(field):
                errors[f"/{field}"] = "there is no rod; leave it out, or name the rod's kind"
    if kind is RodKind.SINGLE_ACTION and rod.get("free_play"):
        errors["/free_play"] = "only a dual-action rod has free play between its two directions"
    return errors


def _nut_and_joint_errors(model: Mapping[str, Any]) -> dict[str, str]:
    errors: dict[str, str] = {}
    if model.get("nut") is not None:
        found = per_string_errors(model["nut"]["slot_widths"], model["strings"])
        errors |= {f"/nut/slot_widths{below}": told for below, told in found.items()}
    joint = model.get("neck_joint")
    if joint is not None and joint["kind"] != "bolt-on":
        for field in ("pocket_length", "pocket_front"):
            if joint.get(field) is not None:
                errors[f"/neck_joint/{field}"] = "only a bolt-on neck sits in a pocket that can be shimmed"
    elif joint is not None and (joint.get("pocket_front") or 0.0) >= model["scale_bass"]:
        errors["/neck_joint/pocket_front"] = "the pocket's front edge lies between nut and saddle"
    return errors


def _pickup_errors(model: Mapping[str, Any]) -> dict[str, str]:
    names = [pickup["name"] for pickup in model["pickups"]]
    return {
        f"/pickups/{n}/name": f"there are two pickups named {name!r}; readings could not tell them apart"
        for n, name in enumerate(names)
        if name in names[:n]
    } | {
        f"/pickups/{n}/thread_pitch": "a pickup without screws has no thread"
        for n, pickup in enumerate(model["pickups"])
        if pickup["screw"] is None and pickup.get("thread_pitch") is not None
    }


def instrument_errors(
    model: InstrumentModel, *, bridge: Mapping[str, Any], truss_rod: Mapping[str, Any], parts: list[Any]
) -> dict[str, str]:
    """Return what cannot be true of one instrument of a model: pointer to message.

    Parameters
    ----------
    model : InstrumentModel
        Its model.
    bridge, truss_rod : mapping
        What is known of its own.
    parts : list
        Woods and finish where they differ.
    """
    own_bridge = bridge_errors({**bridge, "kind": model.bridge["kind"]}, model.strings)
    own_rod = rod_errors({**truss_rod, "kind": model.truss_rod["kind"]})
    return (
        {f"/bridge{below}": told for below, told in own_bridge.items()}
        | {f"/truss_rod{below}": told for below, told in own_rod.items()}
        | part_errors(parts)
    )
