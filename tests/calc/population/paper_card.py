"""A technician with a paper card: the trade's rules of thumb, one number per quantity, no uncertainty.

Common practice, no published source: relief first, a quarter turn at most, then nut, bridge, pickups and
intonation; what reads inside its limits is right; everything once more at the end, and one more round for
what reads outside.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

from shimstock_calc.plan.model import Quantity, ReadingWanted, SpecItem

from .policy import SIDES, Act, Answer, Do, Job, Read, Spot, spot_of

ORDER: tuple[Quantity, ...] = ("relief", "nut-action", "action", "pickup-height", "intonation")
TRIES: dict[Quantity, int] = {"relief": 10, "nut-action": 2, "action": 3, "pickup-height": 2, "intonation": 3}

TURN_GIVES = -0.40
"""Relief for one turn of tightening, common practice [mm per turn]."""

MOST_TURN = 0.25
DEAD_AFTER, DEAD_BELOW = 0.75, 0.05
"""A rod that has moved relief by less over so many turns is given up [turns; mm]."""

FIRST_ORDER = 1731.234
"""A saddle goes X0·c/1731.234 for c cents, first order [cents]."""


class PaperCard:
    """Works down the card; the last reading of a spot is what counts."""

    def __init__(self) -> None:
        self.job: Job
        self.script = self.work()
        self.rod_turned = 0.0
        self.first_relief: float | None = None

    def answer(self, job: Job) -> Answer:
        """Take the next line of the card."""
        self.job = job
        return next(self.script)

    def work(self) -> Iterator[Answer]:
        """Go down the card, read everything once more, and go down it again for what reads outside."""
        for final in (False, True):
            moved = not final
            for quantity in ORDER:
                lines = self.lines(quantity)
                if not lines:
                    continue
                if moved:
                    yield Answer((Read(self.wanted(lines)),))
                for _ in range(TRIES[quantity]):
                    out = [(spot, item) for spot, item in lines if not self.inside(spot, item)]
                    acts = self.acts(quantity, out) if out else ()
                    if not acts:
                        break
                    if quantity == "relief" and self.dead():
                        yield Answer(word="rod given up", rod_doubt=1.0)
                        return
                    moved = True
                    yield Answer((Do(acts), Read(self.wanted(lines))))
            if not final:
                yield Answer((Read(self.wanted([each for what in ORDER for each in self.lines(what)])),))
        yield Answer(word="done")

    # -------------------------------------------------------- reading

    def last(self, spot: Spot) -> float:
        """Value read last; a string that touches counts as nothing."""
        reading = next(each for each in reversed(self.job.plan_input.readings) if spot_of(each) == spot)
        return reading.value or 0.0

    def inside(self, spot: Spot, item: SpecItem) -> bool:
        """Whether the last reading lies inside the limits."""
        value = self.last(spot)
        return (item.lower is None or value >= item.lower) and (item.upper is None or value <= item.upper)

    def lines(self, quantity: Quantity) -> list[tuple[Spot, SpecItem]]:
        """Lines of the card for a quantity: spots with their limits."""
        instrument, found = self.job.plan_input.instrument, []
        for item in self.job.plan_input.spec:
            if item.quantity != quantity:
                continue
            if quantity == "intonation":
                found += [(Spot(quantity, None, each.number), item) for each in instrument.strings]
            elif quantity == "pickup-height":
                names = [each.name for each in instrument.pickups]
                found += [(Spot(quantity, side, None, name), item) for name in names for side in SIDES]
            else:
                found.append((Spot(quantity, item.side), item))
        return found

    def wanted(self, lines: list[tuple[Spot, SpecItem]]) -> tuple[ReadingWanted, ...]:
        """Ask for the readings of some lines."""
        return tuple(
            ReadingWanted(spot.quantity, spot.side, spot.string, spot.pickup, item.fret, item.held)
            for spot, item in lines
        )

    # -------------------------------------------------------- adjusting

    def acts(self, quantity: Quantity, out: list[tuple[Spot, SpecItem]]) -> tuple[Act, ...]:
        """Adjustments that the rules of thumb give for lines that read outside; none = leave it."""
        off = {spot: self.last(spot) - item.target for spot, item in out}
        if quantity == "relief":
            return self.rod(off[Spot("relief")])
        if quantity == "nut-action":
            return self.nut(out)
        if quantity == "action":
            return self.bridge()
        if quantity == "pickup-height":
            return tuple(
                Act(
                    "pickup-screw",
                    turns=_eighths(by / self.pitch_of(spot)),
                    side=spot.side,
                    pickup=spot.pickup,
                )
                for spot, by in off.items()
            )
        return self.saddles_along(off)

    def pitch_of(self, spot: Spot) -> float:
        """Thread pitch of a pickup's screws [mm per turn]."""
        pickups = self.job.plan_input.instrument.pickups
        return next(each.thread_pitch or 0.6 for each in pickups if each.name == spot.pickup)

    def rod(self, off: float) -> tuple[Act, ...]:
        """Turn by what is out, a quarter at most."""
        relief = self.last(Spot("relief"))
        self.first_relief = relief if self.first_relief is None else self.first_relief
        turns = _eighths(-off / TURN_GIVES)
        turns = math.copysign(min(abs(turns), MOST_TURN), turns)
        if not turns:
            return ()
        self.rod_turned += abs(turns)
        return (Act("truss-rod", turns=turns),)

    def dead(self) -> bool:
        """Whether the rod has been turned far and relief has hardly moved."""
        far = self.rod_turned > DEAD_AFTER
        return far and abs(self.last(Spot("relief")) - (self.first_relief or 0.0)) < DEAD_BELOW

    def agrees(self, step: str) -> bool:
        """Whether the owner has agreed to a step that cannot be undone."""
        naming = [each.given for each in self.job.plan_input.consents if step in each.steps]
        return naming[-1] if naming else any(each.given for each in self.job.plan_input.consents)

    def nut(self, out: list[tuple[Spot, SpecItem]]) -> tuple[Act, ...]:
        """File slots that read too high down to the target."""
        numbers = {"bass": len(self.job.plan_input.instrument.strings), "treble": 1}
        if not self.agrees("nut-filing"):
            return ()
        return tuple(
            Act(
                "nut-slot",
                amount=self.last(spot) - item.target,
                string=numbers[spot.side or "bass"],
                filing=True,
                stop=item.target,
            )
            for spot, item in out
            if item.upper is not None and self.last(spot) > item.upper
        )

    def bridge(self) -> tuple[Act, ...]:
        """Raise or lower the strings at the bridge by twice what is out at the 12th fret."""
        instrument = self.job.plan_input.instrument
        lines = self.lines("action")
        rise = {spot.side: 2.0 * (item.target - self.last(spot)) for spot, item in lines}
        if instrument.bridge.kind == "fixed-saddle":
            return tuple(
                Act("saddle", amount=round(abs(by), 2), side=side, filing=by < 0)
                for side, by in rise.items()
                if abs(by) >= 0.05
            )
        pitch = instrument.bridge.height_thread_pitch or 1.0
        if instrument.bridge.post_spacing:
            turns = {side: _eighths(by / pitch) for side, by in rise.items()}
            return tuple(Act("bridge-post", turns=by, side=side) for side, by in turns.items() if by)
        acts, last = [], len(instrument.strings) - 1
        for string in instrument.strings:
            part = (string.number - 1) / last
            by = _eighths((rise["treble"] * (1 - part) + rise["bass"] * part) / pitch)
            if by:
                acts.append(Act("saddle-screw", turns=by, string=string.number))
        return tuple(acts)

    def saddles_along(self, off: dict[Spot, float]) -> tuple[Act, ...]:
        """Sharp: the saddle goes away from the nut; flat: toward it."""
        instrument = self.job.plan_input.instrument
        pitch = instrument.bridge.intonation_screw_pitch
        if pitch is None:
            return ()
        return tuple(
            Act(
                "saddle-position",
                turns=_eighths(instrument.scale_bass * cents / FIRST_ORDER / pitch),
                string=spot.string,
            )
            for spot, cents in off.items()
        )


def _eighths(turns: float) -> float:
    return round(turns * 8.0) / 8.0
