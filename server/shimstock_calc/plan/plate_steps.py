"""The plate of a floating tremolo: balanced against the strings by its springs, level at pitch."""

from __future__ import annotations

from ..vocabulary import BRIDGES, GEOMETRY
from . import directions
from .cautions import cautions
from .draft import Draft
from .model import Finding, Part, Step
from .words import Measure, Sentence, say

BALANCED = frozenset(word for word, term in BRIDGES.items() if term.floats)
CLAW = "Spring claw: turn both screws {way} alike ({seen}), tuning in between, until the plate is level"


def balance(draft: Draft, by: float) -> None:
    """Balance the springs against new strings that pull `by` more [%]."""
    if abs(by) <= 0.2:
        _look_at_plate(draft)
        return
    why = say(
        "the springs must pull {percent} {way}",
        percent=Measure("percent", abs(by)),
        way="more" if by > 0 else "less",
    )
    _turn_claw(draft, why, more=by > 0)


def _look_at_plate(draft: Draft) -> None:
    what = say(
        "Tune, and see that the tremolo's plate lies level at pitch; record it: level, tail high or tail low"
    )
    draft.place_reading(
        Step(0, "balance", "spring-claw", what, cautions=cautions("retune-each")), gate="nothing"
    )


def _turn_claw(draft: Draft, why: Sentence, *, more: bool) -> None:
    _, seen = directions.claw(more)
    draft.place_change(
        Step(
            0,
            "balance",
            "spring-claw",
            say(CLAW, way="in" if more else "out", seen=seen),
            why=why,
            cautions=cautions("springs", "retune-each"),
            readings_next=draft.next_readings("relief", "nut-action", "action"),
        ),
        alone=True,
    )


def plate(draft: Draft) -> None:
    """Balance a floating tremolo whose plate was seen not to lie level; look at it after new strings."""
    if draft.instrument.bridge.kind not in BALANCED:
        return
    newest = _seen(draft)
    if newest is not None:
        if newest.code != "plate-level":
            more = newest.code == "plate-tail-high"
            _turn_claw(
                draft,
                say("the plate's tail stands too {way} at pitch", way="high" if more else "low"),
                more=more,
            )
        return
    strings = _last(draft, {"strings"})
    if strings > _last(draft, {"spring-claw"}) and not _read_since(draft, strings):
        _look_at_plate(draft)


def distrust_heights(draft: Draft) -> None:
    """Plan no height from what was read while the plate of a floating tremolo could not lie level."""
    if draft.instrument.bridge.kind not in BALANCED:
        return
    newest, strings = _seen(draft), _last(draft, {"strings"})
    lacking = any(
        each.code == "string-damaged" and each.order > strings for each in draft.plan_input.findings
    )
    if lacking:
        why = say("the bridge's height waits until the damaged string is replaced and the plate lies level")
    elif newest is not None and newest.code != "plate-level":
        why = say("the bridge's height waits until the plate lies level and action is read again")
    else:
        return
    draft.disturb("action", "pickup-height", "break-clearance", "intonation", lost=True)
    draft.note("plate-first", why)


def _seen(draft: Draft) -> Finding | None:
    """How the plate was last seen to lie, unless springs or strings were touched since."""
    seen = [each for each in draft.plan_input.findings if each.code.startswith("plate-")]
    newest = max(seen, key=lambda each: (each.order, each.code), default=None)
    touched = _last(draft, {"spring-claw", "strings"})
    return newest if newest is not None and newest.order > touched else None


def _last(draft: Draft, parts: set[Part]) -> int:
    return max((each.order for each in draft.plan_input.adjustments if each.part in parts), default=-1)


def _read_since(draft: Draft, order: int) -> bool:
    return any(reading.order > order for reading in draft.plan_input.readings if reading.quantity in GEOMETRY)
