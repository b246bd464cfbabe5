"""Intonation, last of all: saddles along the strings, and what no saddle cures."""

from __future__ import annotations

import math

from ..bridge import round_to_eighth
from ..intonation import intonation_after_move, saddle_move, saddle_turns
from ..vocabulary import BRIDGES
from . import directions
from .cautions import cautions
from .draft import Draft, Shift
from .geometry import pair_of, share_across, string_scale
from .goals import OCTAVE, Spot
from .model import Move, Step
from .reading_steps import ask_anew, listed, read_again, unread
from .readings import Known
from .words import Measure, Sentence, say

LEAST_PUSH = 0.15
"""Least movement worth pushing a bridge by hand [mm]; judgement."""

FAR_SADDLE = 10.0
"""Move of a saddle beyond which something else is wrong [mm]; judgement."""

WORTH_LEAVING = 0.75
"""What may stay of the worst deviation where a shared saddle takes a string out of spec [-]; judgement."""

NUT_SUSPECT = 3.0
"""Sharpness at frets 1 to 3 above that at the 12th from which the nut is suspected [cents]; judgement."""


def intonation(draft: Draft) -> None:
    """Set the saddles along the strings, last of all."""
    goals = draft.of("intonation")
    if not goals:
        return
    if any(unread(draft, known) for known in goals):
        ask_anew(draft, goals)
    read_again(draft, ("intonation",), gate="nothing")
    _say_nut(draft, [known for known in goals if known.spot in draft.values])
    kind = draft.instrument.bridge.kind
    if kind == "fixed-saddle":
        _say_fixed(draft, [known for known in goals if known.verdict.verdict == "out of spec"])
        return
    due = [known for known in goals if not unread(draft, known) and draft.wants_step(known)]
    if not due:
        return
    moves, shift = _moves(draft, due)
    kept = [known for known in due if known.spot not in shift]
    if not moves:
        _say_shared(draft, kept, NOT_WORTH_IT)
        return
    draft.place_change(
        Step(
            0,
            "intonation",
            "saddle-position",
            _intonation_what(draft, moves),
            moves=tuple(moves),
            changes=draft.changes(shift, ["intonation"]),
            probability=min(
                (draft.chance(spot, draft.values[spot] + by) for spot, (by, _) in shift.items()), default=None
            ),
            why=say(
                "sharp: the saddle goes away from the nut; flat: toward it; retune the open string each time"
            ),
            cautions=cautions(
                "eyes" if kind == "locking-tremolo" else "",
                "movable" if kind == "movable" else "",
                "magnets" if draft.instrument.pickups else "",
            ),
            readings_next=tuple(draft.wanted(known, "after the step") for known in due),
        )
    )
    draft.apply(shift)
    _say_shared(draft, kept, NOT_WORTH_IT)
    _say_shared(draft, [known for known in draft.of("intonation") if not _will_do(draft, known)], THE_MIDDLE)


def _will_do(draft: Draft, known: Known) -> bool:
    value = draft.values.get(known.spot)
    return value is None or known.spot not in draft.touched or _inside(known, value)


def _inside(known: Known, value: float) -> bool:
    item = known.goal.item
    return (item.lower is None or value >= item.lower) and (item.upper is None or value <= item.upper)


def _worth_it(draft: Draft, shift: Shift) -> bool:
    """Whether strings that share a saddle gain by its move: none leaves its limits for little."""
    ways = [
        (draft.known[spot], draft.values[spot], draft.values[spot] + by) for spot, (by, _) in shift.items()
    ]
    if not any(_inside(known, before) and not _inside(known, after) for known, before, after in ways):
        return True
    if sum(_inside(known, after) - _inside(known, before) for known, before, after in ways) > 0:
        return True
    worst_before = max(abs(before - known.goal.item.target) for known, before, _ in ways)
    worst_after = max(abs(after - known.goal.item.target) for known, _, after in ways)
    return worst_after <= WORTH_LEAVING * worst_before


def _moves(draft: Draft, due: list[Known]) -> tuple[list[Move], dict[Spot, tuple[float, float]]]:
    kind = draft.instrument.bridge.kind
    together = BRIDGES[kind].moves_whole or kind == "paired-saddles"
    known = [each for each in draft.of("intonation") if each.spot in draft.values] if together else due
    wanted = {
        each.spot.string or 0: float(
            saddle_move(
                draft.values[each.spot] - each.goal.item.target,
                draft.scale_at(each.spot),
                each.goal.item.fret or OCTAVE,
            )
        )
        for each in known
    }
    if BRIDGES[kind].moves_whole:
        moves, shift = _whole_bridge(draft, wanted)
        return (moves, shift) if _worth_it(draft, shift) else ([], {})
    groups = [[number] for number in sorted(wanted)]
    if kind == "paired-saddles":
        asked = {each.spot.string for each in due}
        pairs = dict.fromkeys(pair_of(draft.instrument, number) for number in sorted(wanted))
        groups = [[n for n in pair if n in wanted] for pair in pairs if asked.intersection(pair)]
    moves, shift = [], {}
    for group in groups:
        shared = sum(wanted[number] for number in group) / len(group)
        if abs(shared) > FAR_SADDLE:
            _say_too_far(draft, group, shared)
            continue
        move, by, left = _saddle(draft, group[0], shared)
        if left:
            _say_travel(draft, group[0], shared, by)
        if move is None:
            continue
        carried = group if kind != "paired-saddles" else pair_of(draft.instrument, group[0])
        moved = _cents_shift(draft, dict.fromkeys(carried, by))
        if _worth_it(draft, moved):
            moves.append(move)
            shift.update(moved)
    return moves, shift


def _cents_shift(draft: Draft, moved: dict[int, float]) -> dict[Spot, tuple[float, float]]:
    shift = {}
    for number, by in moved.items():
        spot = Spot("intonation", None, number)
        if spot in draft.values:
            before = draft.values[spot]
            fret = draft.known[spot].goal.item.fret or OCTAVE
            after = float(intonation_after_move(before, by, string_scale(draft.instrument, number), fret))
            shift[spot] = after - before, 0.0
    return shift


def _saddle(draft: Draft, number: int, wanted: float) -> tuple[Move | None, float, bool]:
    """Move of one saddle, how far it goes [mm], and whether its travel is too short."""
    bridge = draft.instrument.bridge
    left = dict(bridge.travel_away if wanted > 0 else bridge.travel_toward).get(number)
    pitch = bridge.intonation_screw_pitch
    short = left is not None and abs(wanted) > left + (pitch or 0.0) / 16.0
    if pitch is None:
        by = math.copysign(min(abs(wanted), left if left is not None else math.inf), wanted)
        direction, seen = directions.saddle_position(wanted, bridge)
        return Move("saddle-position", direction, seen, None, by, wanted=wanted, string=number), by, short
    turns = float(saddle_turns(wanted, pitch))
    rounded = round_to_eighth(turns)
    if left is not None and abs(rounded) * pitch > left:
        rounded = math.copysign(math.floor(left / pitch * 8.0 + 1e-9) / 8.0, turns)
    if rounded == 0.0:
        return None, 0.0, short
    direction, seen = directions.saddle_position(rounded, bridge)
    by = rounded * pitch
    return Move("saddle-position", direction, seen, rounded, by, wanted=turns, string=number), by, short


def _whole_bridge(
    draft: Draft, wanted: dict[int, float]
) -> tuple[list[Move], dict[Spot, tuple[float, float]]]:
    """A bridge without saddles of its own moves as a whole: the straight line that suits the strings best."""
    numbers = sorted(wanted)
    across = [share_across(draft.instrument, number) for number in numbers]
    mean_at, mean = sum(across) / len(across), sum(wanted.values()) / len(wanted)
    width = sum((at - mean_at) ** 2 for at in across)
    slope = (
        sum((at - mean_at) * wanted[n] for at, n in zip(across, numbers, strict=True)) / width
        if width
        else 0.0
    )
    moves, ends = [], {}
    for side, at in (("bass", 1.0), ("treble", 0.0)):
        by = mean + slope * (at - mean_at)
        pitch = draft.instrument.bridge.intonation_screw_pitch
        turns = None if pitch is None else round_to_eighth(by / pitch)
        ends[side] = (by if abs(by) >= LEAST_PUSH else 0.0) if turns is None else turns * (pitch or 0.0)
        if ends[side]:
            direction, seen = directions.saddle_position(ends[side], draft.instrument.bridge)
            wants = by if pitch is None else by / pitch
            moves.append(
                Move(
                    "saddle-position",
                    direction,
                    seen,
                    turns,
                    ends[side],
                    wants,
                    side="bass" if side == "bass" else "treble",
                )
            )
    every = {
        number: ends["treble"] + (ends["bass"] - ends["treble"]) * share_across(draft.instrument, number)
        for number in draft.instrument.numbers
    }
    return moves, _cents_shift(draft, every) if moves else {}


def _intonation_what(draft: Draft, moves: list[Move]) -> Sentence:
    parts, values = [], {}
    for place, move in enumerate(moves):
        who = _who(draft, move)
        values[f"far{place}"] = Measure("distance", _shown_move(draft, move))
        turned = ""
        if move.turns is not None:
            values[f"turns{place}"] = Measure("turns", move.turns)
            turned = f" ({{turns{place}}} {move.seen.split(',', maxsplit=1)[0]})"
        parts.append(f"{who}: {{far{place}}} {move.direction}{turned}")
    facing = next((move.seen.split(", ", 1)[1] for move in moves if ", " in move.seen), "")
    tail = f"; {facing}" if facing else ""
    if draft.instrument.bridge.kind == "locking-tremolo":
        tail += "; slacken the string before its saddle is unlocked"
    lead = "Bridge: " if moves[0].string is None else "Saddles: "
    return say(lead + "; ".join(parts) + tail).filled(values)


def _who(draft: Draft, move: Move) -> str:
    if move.string is None:
        return f"{move.side} end"
    if draft.instrument.bridge.kind == "paired-saddles":
        return "strings " + listed([str(number) for number in pair_of(draft.instrument, move.string)])
    return f"string {move.string}"


def _shown_move(draft: Draft, move: Move) -> float:
    """What is wanted, where eighths of a turn reach it; else what the travel allows [mm]."""
    pitch = draft.instrument.bridge.intonation_screw_pitch
    if pitch is None or move.wanted is None or move.amount is None:
        return abs(move.amount or 0.0)
    wanted = abs(move.wanted * pitch)
    return wanted if abs(wanted - abs(move.amount)) <= pitch / 8.0 else abs(move.amount)


def _say_too_far(draft: Draft, group: list[int], wanted: float) -> None:
    """A move that no saddle makes: the reading, the string or the bridge's place is wrong."""
    draft.note(
        "saddle-too-far",
        say(
            "string{plural} {numbers}: {wanted} would be wanted, further than a saddle goes: something else "
            "is wrong",
            plural="s" if len(group) > 1 else "",
            numbers=listed([str(number) for number in group]),
            wanted=Measure("distance", abs(wanted)),
        ),
        [
            say("read it again: the right string, the note at the 12th fret against the open string"),
            say("check that its gauge is right, that it is new, and that every string lies in its slot"),
            say("check the bridge's place: twice the distance from nut to 12th fret, and the compensation"),
        ],
    )


def _say_travel(draft: Draft, number: int, wanted: float, by: float) -> None:
    spot = Spot("intonation", None, number)
    before, scale = draft.values[spot], string_scale(draft.instrument, number)
    fret = draft.known[spot].goal.item.fret or OCTAVE
    left = float(intonation_after_move(before, by, scale, fret))
    draft.note(
        "saddle-travel",
        say(
            "string {number} wants {wanted}, the saddle has {travel} left: it gains {gain}, and {left} stay",
            number=number,
            wanted=Measure("distance", abs(wanted)),
            travel=Measure("distance", abs(by)),
            gain=Measure("intonation", abs(before - left)),
            left=Measure("intonation", left),
        ),
        [
            say("read intonation at frets 1, 2 and 3, and check the height of the nut slot"),
            say("check that no pickup's magnets pull the string, that its gauge is right and that it is new"),
            say("never mistune other strings to hide it"),
        ],
    )


THE_MIDDLE = "this is the middle"
NOT_WORTH_IT = "no move of it is worth what it does to the others"


def _say_shared(draft: Draft, due: list[Known], end: str) -> None:
    """Strings that share a saddle or a bridge, and cannot all be right."""
    out = [known.spot.string or 0 for known in due]
    kind = draft.instrument.bridge.kind
    if out and (BRIDGES[kind].moves_whole or kind == "paired-saddles"):
        draft.note(
            "shared-saddle",
            say(
                "string{plural} {numbers}: sharing a saddle, they cannot all be right; " + end,
                plural="s" if len(out) > 1 else "",
                numbers=listed([str(number) for number in out]),
            ),
            [say("accept it with a note"), say("quote: a bridge with a saddle for each string")],
            quote=True,
        )


def _say_fixed(draft: Draft, due: list[Known]) -> None:
    numbers = [known.spot.string or 0 for known in due if not known.settled_on]
    if not numbers:
        return
    draft.note(
        "fixed-saddle-intonation",
        say(
            "string{plural} {numbers} out of tune at the 12th fret; a fixed saddle cannot be moved",
            plural="s" if len(numbers) > 1 else "",
            numbers=listed([str(number) for number in numbers]),
        ),
        [
            say("new strings first, if these are old"),
            say("quote: a saddle cut with compensation for each string"),
        ],
        quote=True,
    )


def _say_nut(draft: Draft, read: list[Known]) -> None:
    """Notes sharp near the nut only: the nut, not the saddle."""
    for known in read:
        number = known.spot.string
        low = [
            reading
            for spot, readings in draft.sheet.records.by_spot.items()
            if spot.quantity == "intonation" and spot.string == number
            for reading in readings
            if reading.fret in {1, 2, 3} and reading.value is not None and reading.at_pitch
        ]
        if low and min(reading.value or 0.0 for reading in low) - draft.values[known.spot] > NUT_SUSPECT:
            draft.note(
                "nut-suspected",
                say(
                    "string {number} is sharper at frets 1 to 3 than at the 12th: look at its nut slot",
                    number=number or 0,
                ),
            )
