"""A fixed saddle: taken off underneath, or shimmed, within what must stand and what may stand."""

from __future__ import annotations

import math
from collections.abc import Callable

from ..bridge import SaddleFiling, saddle_change, saddle_filing
from .cautions import cautions
from .consents import consent_blocks, consent_needed, refused
from .draft import Draft
from .goals import SIDES, Spot
from .model import Move, ReadingWanted, Side, Step
from .readings import Known
from .records import looks
from .relief_steps import filing_blocks
from .words import Measure, Sentence, say

STEP = 0.05
"""Taken off or shimmed in steps of [mm]."""

LEAST_STEEL, LEAST_NYLON = 2.0, 1.5
"""Least height of a saddle above its slot [mm]; common practice, no published source."""


def fixed_saddle(draft: Draft, say_unreachable: Callable[[Draft], None]) -> None:
    """Place the work on a fixed saddle."""
    sides = {
        known.spot.side: known
        for known in draft.of("action")
        if known.spot.side and known.spot in draft.values and _to_do(draft, known)
    }
    ordered: list[Side] = [side for side in SIDES if side in sides]
    if not ordered or not _measured(draft, ordered):
        return
    work = {side: _work(draft, sides[side]) for side in ordered}
    moves, rises = [], {}
    for side in ordered:
        off = _stepped(work[side].allowed)
        if off:
            direction = "file" if off > 0 else "shim"
            moves.append(Move("saddle", direction, "", None, abs(off), wanted=work[side].wanted, side=side))
            rises[Spot("action", side)] = -off
    limited = any(abs(work[side].short) > STEP / 2 for side in ordered)
    if limited:
        _say_limit(draft, work)
    no = refused(draft, "saddle-filing") and any(move.direction == "file" for move in moves)
    if moves:
        _place(draft, moves, rises, limited, no)
    if limited and not no:
        say_unreachable(draft)


def _to_do(draft: Draft, known: Known) -> bool:
    """Whether a side is worked on; what is too close to call never leads to a file."""
    if not draft.wants_step(known):
        return False
    item, value = known.goal.item, draft.values[known.spot]
    lowering = value > item.target
    if known.spot in draft.touched:
        out = draft.chance(known.spot) < 0.5
        return out or not lowering
    return known.verdict.usable or not lowering


def _measured(draft: Draft, sides: list[Side]) -> bool:
    """Ask for the saddle's height above its slot until it was read twice; whether it was read at all."""
    taken = {side: looks(draft.belief.level(Spot("saddle-out", side)).readings) for side in sides}
    wanted = tuple(
        ReadingWanted("saddle-out", side, why="repeat" if taken[side] else "missing")
        for side in sides
        for _ in range(2 - taken[side])
    )
    if wanted:
        draft.place_reading(
            Step(
                0,
                "measure",
                None,
                say("Measure how far the saddle stands out of its slot"),
                why=say("how much may come off depends on it: it is read twice"),
                readings_next=wanted,
            ),
            gate="changes",
        )
    return all(taken.values())


def least_out(draft: Draft, side: Side) -> float:
    """Least height of the saddle above its slot: the spec's, the shop's, or common practice [mm]."""
    goal = draft.known.get(Spot("saddle-out", side))
    if goal is not None and goal.goal.item.lower is not None:
        return goal.goal.item.lower
    if draft.plan_input.settings.least_saddle_out is not None:
        return draft.plan_input.settings.least_saddle_out
    return LEAST_NYLON if draft.instrument.built_for == "nylon" else LEAST_STEEL


def _work(draft: Draft, known: Known) -> SaddleFiling:
    side = known.spot.side
    assert side is not None
    item = known.goal.item
    off = float(saddle_change(draft.values[known.spot] - item.target, draft.fret_of(known.spot)))
    reading = draft.sheet.records.newest(Spot("saddle-out", side))
    out = reading.value if reading is not None and reading.value is not None else 0.0
    totals = draft.instrument.bridge.saddle_total_height
    total = None if totals is None else totals[0 if side == "bass" else 1]
    return saddle_filing(off, out, least_out(draft, side), None if total is None else max(total, out))


def _stepped(off: float) -> float:
    return math.copysign(math.floor(abs(off) / STEP + 1e-6) * STEP, off) + 0.0


def _say_limit(draft: Draft, work: dict[Side, SaddleFiling]) -> None:
    for side, filing in work.items():
        if filing.short > STEP / 2:
            draft.note(
                "saddle-floor",
                say(
                    "{side} side: {wanted} off would leave less than {least} out of the slot: refused; "
                    + ("{allowed} may come off" if _stepped(filing.allowed) else "nothing may come off"),
                    side=side,
                    wanted=Measure("height", filing.wanted),
                    least=Measure("saddle-out", filing.least),
                    allowed=Measure("height", filing.allowed),
                ),
            )
        elif filing.short < -STEP / 2:
            draft.note(
                "saddle-half",
                say(
                    "{side} side: {wanted} higher would leave less than half of it in its slot: refused; "
                    + (
                        "{allowed} may go under it" if _stepped(filing.allowed) else "nothing may go under it"
                    ),
                    side=side,
                    wanted=Measure("height", -filing.wanted),
                    allowed=Measure("height", -filing.allowed),
                ),
            )


def _place(draft: Draft, moves: list[Move], rises: dict[Spot, float], limited: bool, no: bool) -> None:
    shift = draft.rise_shift(rises)
    filing = any(move.direction == "file" for move in moves)
    needs = consent_needed(draft, "saddle-filing", named=limited) if filing else None
    filed = [draft.known[Spot("action", move.side)] for move in moves if move.direction == "file"]
    blocks = (*filing_blocks(draft, filed), *consent_blocks(draft, "saddle-filing", needs)) if needs else ()
    draft.place_change(
        Step(
            0,
            "action",
            "saddle",
            _what(moves),
            moves=tuple(moves),
            changes=draft.changes(shift, ["action"]),
            forecasts=draft.changes(shift, ["nut-action"]),
            why=say("at the 12th fret the string follows half of what the saddle does"),
            cautions=cautions(
                "irreversible" if filing else "",
                "saddle-slacken",
                "file-and-read" if filing else "",
                "saddle-flat" if filing else "",
                "undersaddle" if draft.instrument.bridge.undersaddle_pickup else "",
                "saddle-limits",
                "dust" if filing else "",
            ),
            readings_next=(
                *draft.next_readings("nut-action", "action"),
                *(ReadingWanted("saddle-out", move.side, why="after the step") for move in moves),
            ),
            irreversible=filing,
            needs_consent=needs,
            consent_step="saddle-filing" if needs else None,
            blocked_by=blocks,
        ),
        refused=no,
    )
    if not no:
        draft.apply(shift)
        draft.disturb("intonation", "break-clearance")


def _what(moves: list[Move]) -> Sentence:
    parts, values = [], {}
    for move in moves:
        word = "take {%s} off underneath" if move.direction == "file" else "{%s} of shim underneath"
        parts.append(f"{move.side} side " + word % str(move.side))
        values[str(move.side)] = Measure("height", move.amount or 0.0)
    return say("Saddle: " + ", ".join(parts)).filled(values)
