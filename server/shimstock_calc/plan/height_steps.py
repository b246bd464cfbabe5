"""Action: what the bridge must do, for each kind of bridge, and what to say when it cannot."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from ..bridge import height_turns, post_changes, round_to_eighth, saddle_change, string_changes
from ..errors import Missing
from ..scale import fret_position
from ..vocabulary import BRIDGES
from . import directions
from .cautions import cautions
from .draft import Draft
from .geometry import (
    height_over_outer_line,
    outermost,
    pair_of,
    share,
    share_across,
    side_scale,
)
from .goals import OCTAVE, Spot
from .model import Move, Side, Step
from .plate_steps import BALANCED
from .reading_steps import listed, numbered, read_again
from .saddle_steps import fixed_saddle
from .words import Measure, Sentence, say

BASS, TREBLE = Spot("action", "bass"), Spot("action", "treble")
STEEP_SHIM = 1.0
"""Thickest shim in a neck pocket worth offering [mm]; common practice, no published source."""


@dataclass
class Turned:
    """What the bridge does: moves, and the rise under each string."""

    part_name: str
    moves: list[Move] = field(default_factory=list)
    rises: dict[Spot, float] = field(default_factory=dict)
    limited: bool = False
    """The bridge could not go as far as wanted."""


def action(draft: Draft) -> None:
    """Place the height step."""
    if draft.relief_open():
        return
    goals = [known for known in draft.of("action") if known.spot in draft.values]
    again = any(draft.asks_again(known) for known in goals)
    if not again and not any(draft.wants_step(known) for known in goals):
        return
    if "action" in draft.blocked:
        draft.note("repair-first", say("the bridge's height waits for the repair"))
        return
    read_again(draft, ("action",), gate="changes")
    if not any(draft.wants_step(known) for known in goals):
        return
    if draft.instrument.bridge.kind == "fixed-saddle":
        fixed_saddle(draft, say_unreachable)
        return
    # a bridge on two posts moves under every string, so that each side is aimed at its target
    whole = BRIDGES[draft.instrument.bridge.kind].on_posts
    wanted = {
        known.spot: _wanted_rise(draft, known.spot) for known in goals if whole or draft.wants_step(known)
    }
    turned = _turn(draft, wanted)
    _place(draft, turned)
    if turned.limited:
        say_unreachable(draft)


def _wanted_rise(draft: Draft, spot: Spot) -> float:
    by = draft.known[spot].goal.item.target - draft.values[spot]
    return float(saddle_change(by, draft.fret_of(spot)))


def _turn(draft: Draft, wanted: dict[Spot, float]) -> Turned:
    kind = draft.instrument.bridge.kind
    return _posts(draft, wanted) if BRIDGES[kind].on_posts else _saddles(draft, wanted)


def needed(value: float | None, name: str) -> float:
    """A field of the bridge that its kind cannot do without.

    Raises
    ------
    Missing
        Naming the field.
    """
    if value is None:
        raise Missing(
            f"the bridge's {name.replace('_', ' ')} is needed to say how far to turn it", f"bridge.{name}"
        )
    return value


def _within_travel(draft: Draft, turns: float, pitch: float) -> tuple[float, bool]:
    """Turns that the height left allows, in eighths, and whether that is less than wanted."""
    bridge = draft.instrument.bridge
    left = bridge.height_left_up if turns > 0 else bridge.height_left_down
    if left is None or abs(turns) * pitch <= left + 1e-9:
        return turns, False
    return math.copysign(math.floor(max(left, 0.0) / pitch * 8.0 + 1e-9) / 8.0, turns) + 0.0, True


def _posts(draft: Draft, wanted: dict[Spot, float]) -> Turned:
    bridge = draft.instrument.bridge
    pitch = needed(bridge.height_thread_pitch, "height_thread_pitch")
    posts, spread = needed(bridge.post_spacing, "post_spacing"), needed(bridge.string_spread, "string_spread")
    rise = post_changes(wanted.get(BASS, 0.0), wanted.get(TREBLE, 0.0), posts, spread)
    turned = Turned(BRIDGES[bridge.kind].post or "")
    done: list[float] = []
    for side, height in (("bass", float(rise.bass)), ("treble", float(rise.treble))):
        turns = float(height_turns(height, pitch))
        now, limited = _within_travel(draft, round_to_eighth(turns), pitch)
        turned.limited |= limited
        done.append(now * pitch)
        direction, seen = directions.post(now, bridge) if now else ("", "")
        turned.moves.append(
            _move(Move("bridge-post", direction, seen, now, now * pitch, turns, side=_side(side)))
        )
    strings = string_changes(done[0], done[1], posts, spread)
    if any(done):
        turned.rises = draft.across(float(strings.bass), float(strings.treble))
    return turned


def _side(name: str) -> Side:
    return "bass" if name == "bass" else "treble"


def _move(move: Move) -> Move:
    return (
        move
        if move.turns
        else Move(move.part, "leave", "", 0.0, 0.0, move.wanted, side=move.side, string=move.string)
    )


def _spot(draft: Draft, number: int) -> Spot:
    for side, spot in (("bass", BASS), ("treble", TREBLE)):
        if number == outermost(draft.instrument, _side(side)):
            return spot
    return Spot("action", None, number)


def _saddles(draft: Draft, wanted: dict[Spot, float]) -> Turned:
    bridge, instrument = draft.instrument.bridge, draft.instrument
    pitch = needed(bridge.height_thread_pitch, "height_thread_pitch")
    turned = Turned("saddle")
    numbers = instrument.numbers
    each = {number: _rise_of(draft, wanted, number) for number in numbers}
    if bridge.kind == "paired-saddles" and bridge.screws_per_saddle == 1:
        groups = [numbers[start : start + 2] for start in range(0, len(numbers), 2)]
    else:
        groups = [(number,) for number in numbers]
    for group in groups:
        height = sum(each[number] for number in group) / len(group)
        turns = float(height_turns(height, pitch))
        now, limited = _within_travel(draft, round_to_eighth(turns), pitch)
        turned.limited |= limited
        direction, seen = directions.saddle_screw(now, bridge) if now else ("", "")
        if now and bridge.screws_per_saddle == 2 and bridge.kind != "paired-saddles":
            seen += ", both screws alike"
        turned.moves.append(
            _move(Move("saddle-screw", direction, seen, now, now * pitch, turns, string=group[0]))
        )
        if now:
            turned.rises.update({_spot(draft, number): now * pitch for number in group})
    return turned


def _rise_of(draft: Draft, wanted: dict[Spot, float], number: int) -> float:
    """Rise wanted under a string: its own where it was read, else between those of the sides."""
    spot = _spot(draft, number)
    if spot in wanted:
        return wanted[spot]
    if spot in draft.values:
        return 0.0
    part = share_across(draft.instrument, number)
    bass, treble = wanted.get(BASS, 0.0), wanted.get(TREBLE, 0.0)
    return treble + (bass - treble) * part


def _place(draft: Draft, turned: Turned) -> None:
    moving = [move for move in turned.moves if move.turns]
    if not moving:
        return
    shift = draft.rise_shift(turned.rises)
    raising = any((move.turns or 0.0) > 0 for move in moving)
    kind = draft.instrument.bridge.kind
    draft.place_change(
        Step(
            0,
            "action",
            moving[0].part,
            _what(draft, turned, moving),
            moves=tuple(turned.moves),
            changes=draft.changes(shift, ["action"]),
            forecasts=draft.changes(shift, ["nut-action"]),
            probability=min(
                (
                    draft.chance(spot, draft.values[spot] + by)
                    for spot, (by, _) in shift.items()
                    if spot.quantity == "action"
                ),
                default=None,
            ),
            confidence=say("geometry; what the steps before it do is the uncertain part")
            if draft.touched
            else None,
            why=_why(draft),
            cautions=cautions(
                "posts-slacken" if raising and moving[0].part == "bridge-post" else "",
                "movable" if kind == "movable" and raising else "",
                "springs" if kind in BALANCED and raising else "",
                "retune-each" if kind in BALANCED else "",
            ),
            readings_next=draft.next_readings("nut-action", "action"),
        )
    )
    draft.apply(shift)
    draft.disturb("pickup-height", "intonation", "break-clearance")


def _what(draft: Draft, turned: Turned, moving: list[Move]) -> Sentence:
    """One sentence; saddles that turn alike are named together."""
    paired = (
        draft.instrument.bridge.kind == "paired-saddles" and draft.instrument.bridge.screws_per_saddle == 1
    )
    alike: dict[tuple[str, str, float], list[str]] = {}
    for move in moving:
        alike.setdefault((move.direction, move.seen, move.turns or 0.0), []).append(_name(draft, move))
    parts, values = [], {}
    for place, ((direction, seen, turns), names) in enumerate(alike.items()):
        noun = turned.part_name + ("s" if len(names) > 1 else "") + (" of strings" if paired else "")
        told = ", ".join(names) if paired else listed(names)
        if moving[0].string is not None and not paired:
            told = numbered([int(name) for name in names])
        who = f"{noun} {told}" if moving[0].string is not None else f"{told} {noun}"
        parts.append(f"{who}: {direction} {{turns{place}}} ({seen})")
        values[f"turns{place}"] = Measure("turns", turns)
    text = "; ".join(parts)
    over = _inner_heights(draft) if moving[0].part == "saddle-screw" and not paired else {}
    if over:
        text += "; then the inner strings to the radius, at the saddles above the line of the outer two: "
        text += ", ".join(f"string {number} by {{over{number}}}" for number in over)
        values |= {f"over{number}": Measure("height", height) for number, height in over.items()}
    return say(text[0].upper() + text[1:]).filled(values)


def _name(draft: Draft, move: Move) -> str:
    if move.string is None:
        return str(move.side)
    bridge = draft.instrument.bridge
    if bridge.kind == "paired-saddles" and bridge.screws_per_saddle == 1:
        # never "1/2": beside turns that reads as a half
        return listed([str(number) for number in pair_of(draft.instrument, move.string)])
    return str(move.string)


def _inner_heights(draft: Draft) -> dict[int, float]:
    numbers = draft.instrument.numbers[1:-1]
    heights = {number: height_over_outer_line(draft.instrument, number) for number in numbers}
    return {number: height for number, height in heights.items() if height}


def _why(draft: Draft) -> Sentence:
    goals = [
        known for known in draft.of("action") if known.spot in draft.values and known.spot.string is None
    ]
    names = {str(known.spot.side): known for known in goals}
    values: dict[str, Measure] = {}
    for side, known in names.items():
        values[side] = Measure("action", draft.values[known.spot])
        values[f"{side}_target"] = Measure("action", known.goal.item.target)
    now, aim = (" / ".join(f"{{{side}{end}}}" for side in names) for end in ("", "_target"))
    touched = any(known.spot in draft.touched for known in goals)
    lead = "after the steps before, action stands at " if touched else "action stands at "
    return say(f"{lead}{now}, target {aim}").filled(values)


def say_unreachable(draft: Draft) -> None:
    """Say which side the bridge cannot bring into spec, and what else there is."""
    out = [
        known
        for known in draft.of("action")
        if known.spot.side and known.spot in draft.values and not _inside(draft, known.spot)
    ]
    if not out:
        return
    values: dict[str, Measure] = {}
    parts = []
    for known in out:
        side, item, value = str(known.spot.side), known.goal.item, draft.values[known.spot]
        limit = item.upper if item.upper is not None and value > item.upper else item.lower
        values[side], values[f"{side}_limit"] = Measure("action", value), Measure("action", limit or 0.0)
        parts.append(f"{side} side {{{side}}} (limit {{{side}_limit}})")
    lines = [say("a straightedge on the frets to the top of the bridge, and a look for belly behind it")]
    lines += _shim(draft, out[0].spot)
    if draft.instrument.bridge.kind == "fixed-saddle" and draft.values[out[0].spot] < out[0].goal.item.target:
        lines.append(say("quote: a higher saddle, where the bridge has height for it"))
    lines.append(say("quote: the neck angle"))
    draft.note(
        "action-unreachable",
        say("the bridge cannot bring it into spec: " + ", ".join(parts)).filled(values),
        lines,
        quote=True,
    )


def _inside(draft: Draft, spot: Spot) -> bool:
    item, value = draft.known[spot].goal.item, draft.values[spot]
    return (item.lower is None or value >= item.lower) and (item.upper is None or value <= item.upper)


def _shim(draft: Draft, spot: Spot) -> list[Sentence]:
    """A shim in a bolt-on neck's pocket that would do what the bridge cannot."""
    joint = draft.instrument.neck_joint
    lower_by = draft.values[spot] - draft.known[spot].goal.item.target
    if joint.kind != "bolt-on" or joint.pocket_length is None or lower_by == 0.0:
        return []
    scale = side_scale(draft.instrument, spot.side)
    front = joint.pocket_front
    if front is None:
        front = float(fret_position(draft.instrument.body_joint_fret, scale))
    at = share(draft.known[spot].goal.item.fret or OCTAVE)
    thickness = abs(lower_by) / at * joint.pocket_length / (scale - front)
    where = "body end" if lower_by > 0 else "front"
    if thickness > STEEP_SHIM:
        return [say("the neck angle would take more than a shim")]
    return [
        say(
            "a shim of {thickness} at the {where} of the neck pocket (full length, tapered)",
            thickness=Measure("height", thickness),
            where=where,
        )
    ]
