"""What was moved since it was last read is read once more at the end."""

from __future__ import annotations

from .draft import Draft
from .model import Step
from .words import say


def final_readings(draft: Draft) -> None:
    """Read once more what the steps of this job have moved, or will move, since it was last read."""
    moved = [
        known
        for known in draft.known.values()
        if known.spot in draft.touched | draft.disturbed
        or (not known.verdict.usable and known.reading is not None)
    ]
    if not moved:
        return
    draft.place_reading(
        Step(
            0,
            "final-readings",
            None,
            say(
                "Final readings: what has moved since it was read, at pitch, in playing position; "
                "look again tomorrow"
            ),
            readings_next=tuple(draft.wanted(known, "final") for known in moved),
        ),
        gate="nothing",
    )
