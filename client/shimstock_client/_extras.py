"""What records offer besides the members of the published document."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from ._contract import Slot, SlotDay, Step


class HasSlots:
    """Days with free slots."""

    if TYPE_CHECKING:
        days: list[SlotDay]

    @property
    def slots(self) -> list[Slot]:
        """Every free slot, one after the other."""
        return [slot for day in self.days for slot in day.slots]


class HasSteps:
    """Steps in order."""

    if TYPE_CHECKING:
        steps: list[Step]

    @property
    def do_now(self) -> Step | None:
        """The step to do now: what changes the instrument before what only looks; None when there is none."""
        now = [step for step in self.steps if step.do_now]
        return next((step for step in now if step.changes_instrument), now[0] if now else None)
