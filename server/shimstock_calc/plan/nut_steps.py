"""Nut slots: filed only on a reading that is surely too high, never below what the tool can tell."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from ..errors import Refused
from ..nut import SlotFiling, slot_effect, slot_filing
from .cautions import cautions
from .choice import LEAST_OFF
from .consents import consent_blocks, consent_needed, refused
from .draft import Draft, Shift
from .geometry import outermost, share, share_across
from .goals import SIDES, Spot
from .model import Move, Step
from .reading_steps import listed, read_again
from .readings import Known
from .relief_steps import filing_blocks
from .saddle_steps import least_out
from .words import Measure, Sentence, say

WORTH_SAYING = 0.02
"""What the bridge takes from a nut action from which it is worth a word [mm]; judgement."""

LIKELY_LOW = 0.25
"""A forecast below the limit is told when the chance of being in spec is less than this [-]; judgement."""

SURELY_OUT = 0.05
"""A forecast leads to a filing step only when the chance of being in spec is no better than this [-]."""


def nut(draft: Draft) -> None:
    """Place the filing of slots that are too high, and say which are too low."""
    if draft.relief_open() or not draft.of("nut-action"):
        return
    read_again(draft, ("nut-action",), gate="changes")
    known = [each for each in draft.of("nut-action") if each.spot in draft.values]
    _say_low(draft)
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
    if draft.instrument.nut.zero_fret:
        draft.note(
            "nut-high",
            say("a zero fret carries the strings: filing the slots beside it lowers nothing"),
            [say("see that every string lies on the zero fret"), say("quote: a lower zero fret")],
            quote=True,
        )
        return
    if "nut" in draft.blocked:
        draft.note("repair-first", say("nut slots wait for the repair"))
        return
    _file(draft, high)


def _too_high(draft: Draft, known: Known) -> bool:
    upper = known.goal.item.upper
    after = draft.values[known.spot] - lowering_takes(draft, known.spot)
    if upper is None or known.verdict.accepted:
        return False
    if known.spot in draft.touched or after < draft.values[known.spot] or not known.verdict.usable:
        return after > upper and draft.chance(known.spot, after) <= SURELY_OUT
    return draft.choice.adjusts(known)


def lowering_takes(draft: Draft, spot: Spot) -> float:
    """What lowering the strings at the bridge will take from a nut action [mm].

    A slot is filed before the bridge is lowered: filed to its target while the action still stands high, it
    would end too low for good.
    """
    if spot.side is None and spot._replace(quantity="action") not in draft.known:
        bass, treble = (lowering_takes(draft, Spot("nut-action", side)) for side in SIDES)
        return treble + (bass - treble) * share_across(draft.instrument, spot.string or 1)
    known = draft.known.get(spot._replace(quantity="action"))
    if known is None or known.spot not in draft.values or "action" in draft.blocked:
        return 0.0
    if not draft.wants_step(known) or draft.asks_again(known):
        return 0.0
    down = (draft.values[known.spot] - known.goal.item.target) / share(draft.fret_of(known.spot))
    return max(0.0, min(down, _most_down(draft, spot))) * share(1)


def _most_down(draft: Draft, spot: Spot) -> float:
    """How far the bridge or saddle can and may come down under a string, as far as that is known [mm]."""
    bridge = draft.instrument.bridge
    if bridge.kind != "fixed-saddle":
        return math.inf if bridge.height_left_down is None else max(bridge.height_left_down, 0.0)
    if refused(draft, "saddle-filing"):
        return 0.0
    side = spot.side or ("bass" if share_across(draft.instrument, spot.string or 1) > 0.5 else "treble")
    out = draft.sheet.records.newest(Spot("saddle-out", side))
    return math.inf if out is None or out.value is None else max(out.value - least_out(draft, side), 0.0)


def _low_now(draft: Draft) -> list[tuple[int, Known]]:
    return [
        (slot_number(draft, each.spot), each)
        for each in draft.of("nut-action")
        if each.goal.item.lower is not None
        and each.verdict.verdict == "out of spec"
        and (each.verdict.value or 0.0) < each.goal.item.lower
    ]


def _say_low(draft: Draft) -> None:
    for number, each in _low_now(draft):
        if each.spot in draft.touched:
            continue
        draft.low_slots.add(number)
        draft.note(
            "nut-low",
            say(
                "nut slot {number} is too low: {value}, least {lower}",
                number=number,
                value=Measure("nut-action", draft.values[each.spot]),
                lower=Measure("nut-action", each.goal.item.lower or 0.0),
            ),
            [
                say("a higher zero fret, or one that is not worn, before the action is set")
                if draft.instrument.nut.zero_fret
                else say("fill the slot, or replace the nut, before the action is set: it lifts the string")
            ],
            quote=True,
        )


def slot_number(draft: Draft, spot: Spot) -> int:
    """Number of the string whose slot a spot is."""
    return outermost(draft.instrument, spot.side) if spot.side else spot.string or 0


@dataclass(frozen=True)
class Slot:
    """A slot to be filed."""

    number: int
    spot: Spot
    filing: SlotFiling
    left: float
    """What lowering the bridge will still take from it [mm]."""


def _file(draft: Draft, high: list[Known]) -> None:
    """Place the filing of slots that are surely too high, and ask for a finer tool where that is needed."""
    slots, coarse = [], []
    for known in high:
        slot = _slot(draft, known)
        if slot is not None:
            slots.append(slot)
        elif not draft.choice.read_enough(known.spot):
            coarse.append(known)
    if coarse:
        _finer(draft, coarse)
    slots = [slot for slot in _falling(draft, slots) if slot.filing.nut_action >= LEAST_OFF]
    if slots:
        _place(draft, slots)


def _falling(draft: Draft, slots: list[Slot]) -> list[Slot]:
    """Let no stop rise from bass to treble: the higher one is kept, up to its upper limit."""
    found, floor = {}, 0.0
    for slot in sorted(slots, key=lambda each: each.number):
        upper, value = draft.known[slot.spot].goal.item.upper, draft.values[slot.spot]
        most = value if upper is None else min(upper + slot.left, value)
        floor = max(slot.filing.stop, min(floor, most))
        down = max(value - floor, 0.0)
        filing = SlotFiling(floor, down / float(slot_effect(1.0, 1)), down)
        found[slot.number] = replace(slot, filing=filing)
    return [found[slot.number] for slot in slots]


def _slot(draft: Draft, known: Known) -> Slot | None:
    """How far a slot is filed; None when the tool that read it cannot tell where to stop."""
    spot, item = known.spot, known.goal.item
    lower = item.lower if item.lower is not None else item.target
    left = lowering_takes(draft, spot)
    limits = (item.target + left, lower + left, (item.upper or item.target) + left)
    try:
        filing = slot_filing(draft.values[spot], *limits, known.reading_uncertainty)
    except Refused:
        return None
    return Slot(slot_number(draft, spot), spot, filing, left)


def _lowered(draft: Draft, slots: list[Slot]) -> Shift:
    """What the filing does to nut action, and to the action above it."""
    shift = {}
    for slot in slots:
        shift[slot.spot] = -slot.filing.nut_action, 0.0
        action = slot.spot._replace(quantity="action")
        if action in draft.values:
            shift[action] = -float(slot_effect(slot.filing.slot, draft.fret_of(action))), 0.0
    return shift


def _place(draft: Draft, slots: list[Slot]) -> None:
    shift = _lowered(draft, slots)
    needs = consent_needed(draft, "nut-filing")
    no = refused(draft, "nut-filing")
    draft.place_change(
        Step(
            0,
            "nut",
            "nut-slot",
            _what(slots),
            moves=tuple(_move(slot) for slot in slots),
            changes=draft.changes(shift, ["nut-action"]),
            forecasts=draft.changes(shift, ["action"]),
            why=_why(max(slot.left for slot in slots)),
            cautions=cautions(
                "irreversible", "file-and-read", "dust", "cover-pickups" if draft.instrument.pickups else ""
            ),
            readings_next=draft.next_readings("nut-action", "action", why="after every pass"),
            irreversible=True,
            needs_consent=needs,
            consent_step="nut-filing",
            blocked_by=(
                *filing_blocks(draft, [draft.known[slot.spot] for slot in slots]),
                *consent_blocks(draft, "nut-filing", needs),
            ),
        ),
        refused=no,
    )
    if not no:
        draft.apply(shift)
        draft.disturb("intonation")


def _what(slots: list[Slot]) -> Sentence:
    each = [f"slot {slot.number} until it reads {{stop{slot.number}}}" for slot in slots]
    stops = {f"stop{slot.number}": Measure("nut-action", slot.filing.stop) for slot in slots}
    return say("Nut: file " + listed(each) + ", reading after every pass").filled(stops)


def _move(slot: Slot) -> Move:
    far = slot.filing.slot
    return Move("nut-slot", "file", "", None, far, wanted=far, side=slot.spot.side, string=slot.number)


def _why(left: float) -> Sentence:
    lead = "surely too high; it stops at the target plus what the tool cannot tell"
    tail = ", so that no slot ends too low; every other slot needs a reading of its own"
    if left < WORTH_SAYING:
        return say(lead + tail)
    return say(
        lead + " and what lowering the bridge will still take from it, up to {left}" + tail,
        left=Measure("nut-action", left),
    )


def say_low_to_come(draft: Draft) -> None:
    """Slots that the steps of this plan will likely leave too low: known before the owner is told a price."""
    coming = [
        each
        for each in draft.of("nut-action")
        if each.spot in draft.touched
        and each.spot in draft.values
        and slot_number(draft, each.spot) not in draft.low_slots
        and each.goal.item.lower is not None
        and draft.values[each.spot] < each.goal.item.lower
        and draft.chance(each.spot) < LIKELY_LOW
    ]
    for each in coming:
        draft.note(
            "nut-low-to-come",
            say(
                "nut slot {number} is forecast at {value} after these steps, least {lower}: it may have "
                "to be {mended}; read it again then",
                number=slot_number(draft, each.spot),
                value=Measure("nut-action", draft.values[each.spot]),
                lower=Measure("nut-action", each.goal.item.lower or 0.0),
                mended="raised by another zero fret" if draft.instrument.nut.zero_fret else "filled",
            ),
        )


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
