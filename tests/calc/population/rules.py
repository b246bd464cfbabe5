"""What may never happen on a bench, whatever a policy says; judged by what was entered and what is true."""

from __future__ import annotations

from collections import Counter

from shimstock_calc.plan.model import Reading

from .hidden import TOP_OF_NUT, Hidden
from .policy import Act, Do, Spot, spot_of

MOST_AT_ONCE = 0.25
"""Most that a rod is turned at once [turns]; common practice."""

LEAST_REST = 60.0
"""Rest after a rod turn before the neck is at rest enough to file; common practice [min]."""

LEAST_OUT = 2.0
"""Least height of a fixed saddle for steel strings above its slot [mm]; common practice."""


class Rules:
    """The hard rules of one job, and which of them were broken."""

    def __init__(self, hidden: Hidden) -> None:
        self.hidden = hidden
        self.broken: set[str] = set()
        self.seen: Counter[Spot] = Counter()
        self.rod_turned_at: float | None = None
        self.relief_read = False
        self.relief_at_rest = False
        self.filed = False
        """Filed since relief was last read."""

    def refuses(self, step: str) -> bool:
        """Whether the owner said no to a step."""
        return any(not each.given and step in each.steps for each in self.hidden.plan_input.consents)

    def consents(self, step: str) -> bool:
        """Whether the owner has agreed to a step, by name where the instrument is delicate."""
        consents = self.hidden.plan_input.consents
        naming = [each.given for each in consents if step in each.steps]
        if naming:
            return naming[-1]
        return not self.hidden.plan_input.instrument.delicate and any(
            each.given and not each.steps for each in consents
        )

    def saw(self, reading: Reading, now: float) -> None:
        """Note a reading."""
        self.seen[spot_of(reading)] += 1
        if reading.quantity == "relief":
            self.relief_read, self.filed = True, False
            if self.rod_turned_at is not None and now >= self.rod_turned_at + LEAST_REST:
                self.relief_at_rest = True

    def about_to(self, together: Do) -> None:
        """Judge what is about to be done."""
        turned = [act for act in together.acts if act.part == "truss-rod"]
        if len(turned) > 1 or any(abs(act.turns or 0.0) > MOST_AT_ONCE for act in turned):
            self.broken.add("rod: more than a quarter turn at once")
        if turned and not self.relief_read:
            self.broken.add("rod: turned without a relief reading since the last turn")
        if turned and self.filed:
            self.broken.add("filed while a rod turn was to come")
        for act in together.acts:
            if act.filing:
                self._about_to_file(act)

    def _about_to_file(self, act: Act) -> None:
        step = "nut-filing" if act.part == "nut-slot" else "saddle-filing"
        if not self.consents(step):
            self.broken.add(f"{step}: without consent")
        if self.rod_turned_at is not None and not self.relief_at_rest:
            self.broken.add("filed while the neck may still move")
        for spot in self._grounds(act):
            if self.seen[spot] < 2:
                self.broken.add(f"filed on one reading of {spot.quantity}")

    def _grounds(self, act: Act) -> list[Spot]:
        if act.part == "saddle":
            return [Spot("action", act.side), Spot("saddle-out", act.side)]
        side = self.hidden.side_of(act.string or 1)
        return [Spot("nut-action", side) if side else Spot("nut-action", None, act.string)]

    def did(self, together: Do, now: float) -> None:
        """Judge what was done by what is true."""
        parts = {act.part for act in together.acts}
        if parts & {"truss-rod", "strings"}:
            self.rod_turned_at, self.relief_read, self.relief_at_rest = now, False, False
        limits = {(item.quantity, item.side): item.lower for item in self.hidden.plan_input.spec}
        for act in together.acts:
            if not act.filing:
                continue
            self.filed = True
            if act.part == "saddle" and self.hidden.saddle_out[act.side or "bass"] < LEAST_OUT:
                self.broken.add("floor of the saddle")
            side = self.hidden.side_of(act.string or 1)
            if act.part == "nut-slot" and side is not None:
                number, lower = self.hidden.outermost(side), limits["nut-action", side]
                if self.hidden.height(number, TOP_OF_NUT) < (lower or 0.0):
                    self.broken.add("floor of the nut")
