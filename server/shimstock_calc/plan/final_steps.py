"""Everything read once more at the end."""

from __future__ import annotations

from .draft import Draft
from .model import Step
from .words import say


def final_readings(draft: Draft) -> None:
    """Read everything once more when something will have been changed."""
    refused = {"refused"}
    if not any(
        step.changes_instrument and refused.isdisjoint(block.code for block in step.blocked_by)
        for step in draft.steps
    ):
        return
    draft.place_reading(
        Step(
            0,
            "final-readings",
            None,
            say("Final readings: everything once more, at pitch, in playing position; look again tomorrow"),
            readings_next=tuple(draft.wanted(known, "final") for known in draft.known.values()),
        ),
        gate="nothing",
    )
