"""Everything read once more at the end, or what has moved since it was read."""

from __future__ import annotations

from .draft import Draft
from .model import Step
from .words import say


def final_readings(draft: Draft) -> None:
    """Read once more when something has moved since it was read, or will be moved by this plan."""
    moved = [
        known
        for known in draft.known.values()
        if known.spot in draft.touched | draft.disturbed
        or (not known.verdict.usable and known.reading is not None)
    ]
    if not moved:
        return
    if draft.plan_input.settings.everything_at_the_end:
        what, wanted = "everything once more", list(draft.known.values())
    else:
        what, wanted = "what has moved since it was read", moved
    draft.place_reading(
        Step(
            0,
            "final-readings",
            None,
            say("Final readings: " + what + ", at pitch, in playing position; look again tomorrow"),
            readings_next=tuple(draft.wanted(known, "final") for known in wanted),
        ),
        gate="nothing",
    )
