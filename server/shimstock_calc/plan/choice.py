"""Which quantities are adjusted, which are read again, and which are left, by what each is worth."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from ..belief.price import After, Limits, chance, too_high, worth_of_adjusting, worth_of_reading
from ..belief.state import Estimate
from ..belief.update import HAND
from ..conformity import SURE
from ..vocabulary import BRIDGES, PARTS, QUANTITIES
from .goals import Spot
from .inputs import Adjustment, Part, Prices, Quantity, Reading
from .outputs import Worth
from .readings import Known
from .records import looks, tool_of
from .staleness import affects, own_part

if TYPE_CHECKING:
    from .draft import Draft

AGAIN_FROM = 0.7
"""Chance of being in spec from which intonation is read again before it is adjusted [-]; judgement."""

EVEN, FAIR = 0.5, 0.1
"""Chance of being too high from which a slot or saddle is filed after two readings, and after more [-]."""

LEFT = 0.98
"""Chance of being in spec from which a quantity is left as it was read [-]; judgement."""

LEAST_OFF = 0.01
"""Least that a file is taken to a slot for [mm]; judgement."""

MOST_READINGS, MOST_ADJUSTMENTS = 8, 4
"""Readings of a quantity since something moved it, and adjustments of it in one job, after which it is left,
with a word [-]; judgement.
"""

PASSES = 3.0
"""Passes of the file that a nut slot usually takes [-]; judgement."""

LATE = 0.1
"""What a rod's response leaves unsure after its last turn was read, as turns of that [turns]; judgement."""

TOLD = After(0.0, 40.0)
"""What it costs that the owner is told of what no setup mends [bench minutes]; judgement."""


class Choice:
    """Decides by price, each quantity for itself."""

    def __init__(self, draft: Draft, prices: Prices) -> None:
        self.draft = draft
        self.prices = prices
        self._worths: dict[Spot, tuple[float, float]] = {}
        self._prompts: dict[int, float] = {}

    def adjusts(self, known: Known) -> bool:
        """Whether an adjustment is worth its minutes, and no reading before it is.

        What cannot be undone is planned, so that the owner can be asked, and waits for its second reading.
        """
        adjusting = self._worth(known)[1]
        if self._adjusted_enough(known):
            return False
        if self.read_once(known):
            return adjusting > 0.0 and self._too_high(known) >= EVEN
        return adjusting > 0.0 and not self.reads(known) and self.may_file(known)

    def reads(self, known: Known) -> bool:
        """Whether another reading is worth its minutes before anything is done.

        A prompt is opened by all readings that join it: their worths together outweigh it.
        """
        if self.read_enough(known.spot):
            return False
        return self._worth(known)[0] > 0.0 and self._together(known) > self.prices.prompt

    def read_enough(self, spot: Spot) -> bool:
        """Whether a quantity was read so often since something moved it that it is read no more."""
        records = self.draft.sheet.records
        since = records.disturbed_since(spot)
        return sum(each.order > since for each in records.by_spot.get(spot, ())) >= MOST_READINGS

    def _adjusted_enough(self, known: Known) -> bool:
        """Whether a quantity was adjusted and read so often that it is adjusted no more.

        A file only ever takes off, and the rod has its own bound.
        """
        spot = known.spot
        if spot.quantity in {"relief", "nut-action"}:
            return False
        read = [each.order for each in self.draft.sheet.records.by_spot.get(spot, ())]
        own = [
            each.order
            for each in self.draft.plan_input.adjustments
            if own_part(each, spot) and affects(each, spot, self.draft.plan_input)
        ]
        return len({sum(order < each for order in read) for each in own}) >= MOST_ADJUSTMENTS

    def _together(self, known: Known) -> float:
        """What all readings save that are asked in one prompt with this one, less their own minutes."""
        prompt = QUANTITIES[known.spot.quantity].prompt
        if prompt not in self._prompts:
            group = [each.word for each in QUANTITIES.values() if each.prompt == prompt]
            joining = [each for each in self.draft.of(*group) if not each.verdict.zero_or_less]
            self._prompts[prompt] = sum(max(self._worth(each)[0], 0.0) for each in joining)
        return self._prompts[prompt]

    def read_once(self, known: Known) -> bool:
        """Whether what would be taken off and does not come back rests on a single reading."""
        return self.files(known) and self._once(known)

    def files(self, known: Known) -> bool:
        """Whether bringing it to its target takes off what does not come back."""
        filed = known.spot.quantity == "nut-action" or (
            known.spot.quantity == "action" and self.draft.instrument.bridge.kind == "fixed-saddle"
        )
        estimate = self.draft.tomorrow.get(known.spot)
        high = estimate is not None and estimate.mean > known.goal.item.target
        return filed and high

    def _left(self, known: Known) -> bool:
        """Whether it is left as it was read: surely in spec, or accepted."""
        surely = not self.doubtful(known) and (known.verdict.probability or 0.0) >= LEFT
        return known.verdict.accepted or surely

    def worth(self, known: Known, *, reading: bool) -> Worth | None:
        """What another reading, or else an adjustment, saves and costs; None where nothing is in doubt."""
        estimate = self.draft.tomorrow.get(known.spot)
        if estimate is None or self._left(known):
            return None
        act = None if reading else self._act(known, estimate)
        if not reading and act is None:
            return None
        costs = act.minutes if act is not None else self.prices.reading[known.spot.quantity]
        saves = max(self._worth(known)[0 if reading else 1] + costs, 0.0)
        return Worth(round(saves, 1), round(costs, 1))

    def doubtful(self, known: Known) -> bool:
        """Whether a quantity is not surely in spec tomorrow, nor accepted."""
        return not known.verdict.accepted and self.chance(known) < SURE

    def chance(self, known: Known) -> float:
        """Chance that a quantity will be in spec tomorrow [-]."""
        estimate = self.draft.tomorrow.get(known.spot)
        return chance(estimate.mean, estimate.spread, limits(known)) if estimate else 0.0

    def _worth(self, known: Known) -> tuple[float, float]:
        """What another reading and an adjustment save, less their minutes [bench minutes]."""
        if known.spot not in self._worths:
            self._worths[known.spot] = self._weigh(known)
        return self._worths[known.spot]

    def _weigh(self, known: Known) -> tuple[float, float]:
        estimate = self.draft.tomorrow.get(known.spot)
        if estimate is None or self._left(known):
            return 0.0, 0.0
        act = self._act(known, estimate)
        files, bounds = self.files(known), limits(known)
        reading = worth_of_reading(
            estimate,
            self._told(known),
            bounds,
            before=() if act is not None and not self.may_file(known) else (act or TOLD,),
            afterwards=(act or TOLD,),
            minutes=self.prices.reading[known.spot.quantity],
            prices=self.prices,
            surely_high=FAIR if files else 0.0,
        )
        adjusting = worth_of_adjusting(estimate, act, bounds, self.prices) if act is not None else 0.0
        if known.spot.quantity == "intonation" and adjusting > 0.0 and self._once(known):
            again = self.chance(known) >= AGAIN_FROM
            reading = max(reading, self.prices.prompt + adjusting) if again else reading
        return reading, adjusting

    def may_file(self, known: Known) -> bool:
        """Whether enough was read for what cannot be undone, where that is what a quantity needs.

        Two readings and an even chance that it is too high, or more readings and a fair one.
        """
        if not self.files(known):
            return True
        count = looks(self.draft.belief.level(known.spot).readings)
        return count >= 2 and self._too_high(known) >= (EVEN if count == 2 else FAIR)

    def _too_high(self, known: Known) -> float:
        """Chance that it is too high now, or will be tomorrow: of the two the larger."""
        both = self.draft.belief.estimate(known.spot), self.draft.tomorrow[known.spot]
        return max(too_high(each.mean, each.spread, limits(known)) for each in both)

    def _once(self, known: Known) -> bool:
        return looks(self.draft.belief.level(known.spot).readings) < 2

    def _told(self, known: Known) -> float:
        """Variance that one more reading like the last one would take away."""
        reading = self.last(known)
        return 0.0 if reading is None else self.draft.belief.told(known.spot, reading)

    def last(self, known: Known) -> Reading | None:
        """The newest reading of a quantity, whose tool and bench take the next one too."""
        readings = self.draft.belief.level(known.spot).readings
        return readings[-1] if readings else known.reading

    def noise(self, known: Known) -> float:
        """Variance of a reading with the tool that took the newest [mm²; cents²]."""
        reading = self.last(known)
        if reading is None:
            return 0.0
        resolution, repeatability = tool_of(reading)
        return (repeatability or 0.0) ** 2 + (resolution or 0.0) ** 2 / 12.0

    def _act(self, known: Known, estimate: Estimate) -> After | None:
        """What bringing a quantity to its target would leave, and its minutes."""
        part = self._part(known, estimate)
        if part is None:
            return None
        away = abs(estimate.mean - known.goal.item.target)
        prices, kind = self.prices, self.draft.instrument.bridge.kind
        retune = prices.retune_floating if BRIDGES[kind].floats else prices.retune
        minutes = prices.adjustment[part] + prices.prompt
        minutes += retune if PARTS[part].detunes else 0.0
        now, noise = self.draft.belief.estimate(known.spot).variance, self.noise(known)
        coming = max(estimate.variance - now, 0.0)
        moved = now + (HAND * away) ** 2  # what is known of it stays known, but for the hand
        left = noise if part == "truss-rod" else moved * noise / max(moved + noise, 1e-12)
        spread = math.sqrt(left + coming)
        if part == "truss-rod":
            turns = max(math.ceil(away / -self.draft.response.mean / 0.25 - 1e-9), 1)
            minutes = turns * (minutes + prices.reading["relief"])
            minutes += 0.0 if self.draft.belief.turned else prices.visit
            spread = math.hypot(spread, LATE * self.draft.response.spread)
        above = 0.0
        if part == "nut-slot":
            minutes += PASSES * (prices.adjustment[part] + prices.reading["nut-action"])
            above = self._stop(known) - known.goal.item.target
        return After(spread, minutes + self._readings_due(part, known.spot), above)

    def _stop(self, known: Known) -> float:
        """Where the filing of a slot stops; its target, where the tool is too coarse to file by."""
        item = known.goal.item
        stop = item.target + 2.0 * known.reading_uncertainty
        return item.target if item.upper is None or stop > item.upper else stop

    def _part(self, known: Known, estimate: Estimate) -> Part | None:
        quantity = known.spot.quantity
        if quantity == "action":
            return BRIDGES[self.draft.instrument.bridge.kind].raised_by
        if quantity == "intonation" and self.draft.instrument.bridge.kind == "fixed-saddle":
            return None
        if quantity == "nut-action" and estimate.mean <= self._stop(known) + LEAST_OFF:
            return None
        return QUANTITIES[quantity].part

    def _readings_due(self, part: Part, spot: Spot) -> float:
        """Minutes of the readings that an adjustment makes due, which nothing else made due before [min]."""
        made = Adjustment("", part, 0, side=spot.side, string=spot.string, pickup=spot.pickup)
        belief, moved = self.draft.belief, self.draft.belief.geometry.moved_by(made)
        return sum(
            self.prices.reading[each.quantity]
            for each in self.draft.known
            if each in moved and belief.level(each).readings
        )


def limits(known: Known) -> Limits:
    """Target and limits of a goal."""
    item = known.goal.item
    return Limits(item.target, item.lower, item.upper)


def fixed(quantity: Quantity, estimate: Estimate) -> bool:
    """Whether anything is known of a level."""
    return estimate.spread < QUANTITIES[quantity].width / 2.0
