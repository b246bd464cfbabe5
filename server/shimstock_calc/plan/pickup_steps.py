"""The height of the pickups under the strings."""

from __future__ import annotations

from ..bridge import round_to_eighth
from . import directions
from .draft import Draft
from .goals import Spot
from .model import Move, Pickup, Step
from .reading_steps import ask_anew, read_again, unread
from .readings import Known
from .words import Measure, Sentence, say


def pickups(draft: Draft) -> None:
    """Set the pickups' height, string held at the last fret."""
    goals = draft.of("pickup-height")
    if not goals:
        return
    if any(unread(draft, known) for known in goals):
        ask_anew(draft, goals)
    read_again(draft, ("pickup-height",), gate="nothing")
    moves, shift = [], {}
    fixed: dict[str, Known] = {}
    screws = {pickup.name: pickup for pickup in draft.instrument.pickups}
    for known in goals:
        if unread(draft, known) or not draft.wants_step(known):
            continue
        screw = screws.get(known.spot.pickup or "")
        up = draft.values[known.spot] - known.goal.item.target
        if screw is not None and screw.screw is None:
            fixed.setdefault(screw.name, known)
            continue
        move, moved = _pickup_move(known.spot, up, screw)
        if move is not None:
            moves.append(move)
            shift[known.spot] = -moved, 0.0
    _say_fixed_pickups(draft, fixed)
    if not moves:
        return
    draft.place_change(
        Step(
            0,
            "pickups",
            "pickup-screw",
            _pickups_what(moves),
            moves=tuple(moves),
            changes=draft.changes(shift, ["pickup-height"]),
            why=say("string held at the last fret; closer is louder and costs sustain"),
            readings_next=draft.next_readings("pickup-height"),
        )
    )
    draft.apply(shift)


def _say_fixed_pickups(draft: Draft, fixed: dict[str, Known]) -> None:
    for name, known in fixed.items():
        draft.note(
            "pickup-fixed",
            say(
                "{name} stands at {height} and has no screws to set its height",
                name=name,
                height=Measure("pickup-height", draft.values[known.spot]),
            ),
            [say("accept the reading with a note")],
        )


def _pickup_move(spot: Spot, up: float, screw: Pickup | None) -> tuple[Move | None, float]:
    pitch = screw.thread_pitch if screw else None
    direction, seen = directions.pickup(up > 0, screw)
    if pitch is None:
        return Move(
            "pickup-screw", direction, seen, None, up, wanted=up, side=spot.side, pickup=spot.pickup
        ), up
    turns = round_to_eighth(up / pitch)
    if turns == 0.0:
        return None, 0.0
    made = Move(
        "pickup-screw", direction, seen, turns, turns * pitch, up / pitch, side=spot.side, pickup=spot.pickup
    )
    return made, turns * pitch


def _pickups_what(moves: list[Move]) -> Sentence:
    parts: list[str] = []
    values: dict[str, Measure | str] = {}
    alike: dict[tuple[str | None, str, float | None], list[Move]] = {}
    for move in moves:
        much = move.turns if move.turns is not None else round(move.amount or 0.0, 2)
        alike.setdefault((move.pickup, move.direction, much), []).append(move)
    for place, group in enumerate(alike.values()):
        move = group[0]
        seen = f" ({move.seen})" if move.seen else ""
        sides = " and ".join(str(each.side) for each in group)
        parts.append(f"{{name{place}}}, {sides} side: {move.direction} {{much{place}}}{seen}")
        values[f"name{place}"] = move.pickup or "pickup"
        values[f"much{place}"] = (
            Measure("turns", move.turns)
            if move.turns is not None
            else Measure("height", abs(move.amount or 0.0))
        )
    return say("Pickups: " + "; ".join(parts)).filled(values)
