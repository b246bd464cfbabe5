"""Nut slots: filed only on a reading that is surely too high, never below what the tool can tell."""

from __future__ import annotations

from ..errors import Refused
from ..nut import slot_effect, slot_filing
from .cautions import cautions
from .consents import consent_blocks, consent_needed, refused
from .draft import Draft
from .geometry import outermost
from .goals import Spot
from .model import Move, Step
from .reading_steps import listed, read_again
from .readings import Known
from .relief_steps import filing_blocks
from .words import Measure, say

SURELY_OUT = 0.05
"""A forecast leads to a filing step only when the chance of being in spec is no better than this [-]."""


def nut(draft: Draft) -> None:
    """Place the filing of slots that are too high, and say which are too low."""
    if draft.relief_open() or not draft.of("nut-action"):
        return
    read_again(draft, ("nut-action",), gate="nothing")
    known = [each for each in draft.of("nut-action") if each.spot in draft.values]
    _say_low(draft, known)
    low = {finding.string for finding in draft.plan_input.findings if finding.code == "nut-slot-low"}
    high = [each for each in known if _too_high(draft, each) and slot_number(draft, each.spot) not in low]
    if not high:
        return
    if draft.instrument.nut.locking:
        draft.note(
            "nut-high",
            say("a clamping nut is not filed"),
            [say("take shims out from under it, or have it machined")],
            quote=True,
        )
        return
    if "nut" in draft.blocked:
        draft.note("repair-first", say("nut slots wait for the repair"))
        return
    _file(draft, high)


def _too_high(draft: Draft, known: Known) -> bool:
    upper = known.goal.item.upper
    if upper is None or draft.values[known.spot] <= upper or known.verdict.accepted:
        return False
    if known.spot in draft.touched:
        return draft.chance(known.spot) <= SURELY_OUT
    return known.verdict.verdict == "out of spec"


def _say_low(draft: Draft, known: list[Known]) -> None:
    for each in known:
        lower = each.goal.item.lower
        if each.spot in draft.touched or lower is None or each.verdict.verdict != "out of spec":
            continue
        if draft.values[each.spot] < lower:
            draft.note(
                "nut-low",
                say(
                    "nut slot {number} is too low: {value}, least {lower}",
                    number=slot_number(draft, each.spot),
                    value=Measure("nut-action", draft.values[each.spot]),
                    lower=Measure("nut-action", lower),
                ),
                [say("fill the slot, or replace the nut")],
                quote=True,
            )


def slot_number(draft: Draft, spot: Spot) -> int:
    """Number of the string whose slot a spot is."""
    return outermost(draft.instrument, spot.side) if spot.side else spot.string or 0


def _file(draft: Draft, high: list[Known]) -> None:
    moves, shift, coarse, stops = [], {}, [], []
    for known in high:
        spot, item = known.spot, known.goal.item
        lower = item.lower if item.lower is not None else item.target
        value, spread = draft.values[spot], known.verdict.uncertainty or 0.0
        try:
            filing = slot_filing(value, item.target, lower, item.upper or item.target, spread)
        except Refused:
            coarse.append(known)
            continue
        number = slot_number(draft, spot)
        moves.append(
            Move("nut-slot", "file", "", None, filing.slot, wanted=filing.slot, side=spot.side, string=number)
        )
        stops.append((number, filing.stop))
        shift[spot] = -filing.nut_action, 0.0
        action = spot._replace(quantity="action")
        if action in draft.values:
            shift[action] = -float(slot_effect(filing.slot, draft.fret_of(action))), 0.0
    if coarse:
        _finer(draft, coarse)
    if not moves:
        return
    needs = consent_needed(draft, "nut-filing")
    no = refused(draft, "nut-filing")
    blocks = (*filing_blocks(draft), *consent_blocks(draft, "nut-filing", needs))
    draft.place_change(
        Step(
            0,
            "nut",
            "nut-slot",
            say(
                "Nut: file "
                + listed([f"slot {number} until it reads {{stop{number}}}" for number, _ in stops])
                + ", reading after every pass"
            ).filled({f"stop{number}": Measure("nut-action", stop) for number, stop in stops}),
            moves=tuple(moves),
            changes=draft.changes(shift, ["nut-action"]),
            forecasts=draft.changes(shift, ["action"]),
            why=say(
                "surely too high; it stops at the target plus what the tool cannot tell, so that no slot "
                "ends too low; every other slot needs a reading of its own"
            ),
            cautions=cautions(
                "irreversible", "file-and-read", "dust", "cover-pickups" if draft.instrument.pickups else ""
            ),
            readings_next=draft.next_readings("nut-action", "action", why="after every pass"),
            irreversible=True,
            needs_consent=needs,
            consent_step="nut-filing",
            blocked_by=blocks,
        ),
        refused=no,
    )
    if not no:
        draft.apply(shift)
        draft.forget("intonation")


def _finer(draft: Draft, coarse: list[Known]) -> None:
    """A tool that cannot tell when to stop leads to a finer one, not to a file."""
    draft.place_reading(
        Step(
            0,
            "measure",
            None,
            say("Read nut action with a finer tool before anything is filed"),
            why=say("with this tool filing would have to stop above the upper limit"),
            readings_next=tuple(draft.wanted(known, "this tool is too coarse") for known in coarse),
        ),
        gate="nothing",
    )
