"""Break clearance: the string free of the bridge behind its saddle."""

from __future__ import annotations

from ..vocabulary import BRIDGES
from .cautions import cautions
from .draft import Draft
from .model import Step
from .reading_steps import ask_anew, unread
from .words import Measure, say


def break_clearance(draft: Draft) -> None:
    """Free a string that touches the bridge behind its saddle."""
    goals = draft.of("break-clearance")
    if not goals:
        return
    if any(unread(draft, known) for known in goals):
        ask_anew(draft, goals)
    low = [
        known
        for known in goals
        if known.spot in draft.values
        and known.verdict.verdict == "out of spec"
        and draft.values[known.spot] < known.goal.item.target
    ]
    if not low:
        return
    if not BRIDGES[draft.instrument.bridge.kind].has_tailpiece:
        draft.note(
            "break-clearance",
            say("a string touches the bridge behind its saddle"),
            [say("quote: relieve the bridge behind the saddle")],
            quote=True,
        )
        return
    draft.place_change(
        Step(
            0,
            "break-clearance",
            "tailpiece",
            say("Tailpiece: raise both studs (counter-clockwise, seen from above) until the strings clear"),
            why=say(
                "{clearance} between string and bridge behind the saddle, least {least}",
                clearance=Measure("break-clearance", draft.values[low[0].spot]),
                least=Measure("break-clearance", low[0].goal.item.lower or 0.0),
            ),
            cautions=cautions("posts-slacken"),
            readings_next=tuple(draft.wanted(known, "after the step") for known in goals),
        )
    )
    draft.disturb("intonation")
