"""The plan while it is being made: what is known, what is planned so far, and what that does to the rest."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Literal, TypeAlias

from ..belief.geometry import COUPLING, FOLLOWED, NUT_COUPLING
from ..belief.price import chance
from ..belief.rods import LEAST, rod_odds
from ..belief.state import Estimate
from ..belief.surprise import weigh
from ..belief.update import DAY
from ..conformity import probability_in_spec
from ..vocabulary import DISTURBS, QUANTITIES
from .choice import Choice, fixed, limits
from .closing import not_asked, say_stays_out, say_too_close, with_expected, with_worth
from .contradictions import contradicted
from .geometry import ReliefPlace, coupling, share, share_across, side_scale, string_scale
from .goals import OCTAVE, Goal, Spot
from .model import (
    Believed,
    Change,
    Instrument,
    Note,
    Plan,
    PlanInput,
    Quantity,
    ReadingWanted,
    Settling,
    Step,
    Verdict,
)
from .readings import Known, Sheet
from .slips import surprising_readings
from .staleness import own_part_moved
from .words import Sentence

ONLY_READ: frozenset[Quantity] = frozenset(
    word for word, term in QUANTITIES.items() if not term.has_step and word not in FOLLOWED
)
"""Quantities of which nothing is forecast: what moves them makes them due."""

Gate: TypeAlias = Literal["nothing", "changes", "everything"]
"""What has to wait for a reading: nothing, changes of the instrument, or later readings as well."""

Shift = Mapping[Spot, tuple[float, float]]
"""Change of a spot and its standard deviation."""


class Draft:
    """Collects steps in order and carries forecasts from one to the next."""

    def __init__(self, plan_input: PlanInput) -> None:
        self.plan_input = plan_input
        self.instrument: Instrument = plan_input.instrument
        self.weighed = weigh(plan_input)
        self.belief = self.weighed.belief
        self.sheet = Sheet(plan_input, self.belief.geometry.records)
        self.goals: tuple[Goal, ...] = self.belief.geometry.goals
        response = self.belief.response()
        self.response = response._replace(mean=min(response.mean, -LEAST))
        """What a turn is taken to do: a plan reckons with a healthy rod, or does not turn it."""
        self.odds = rod_odds(plan_input, self.weighed.aside, geometry=self.belief.geometry)
        later = self.belief.after(DAY) if self.belief.still_coming else self.belief
        self.known: dict[Spot, Known] = {
            goal.spot: self.sheet.know(goal, self.belief, self.weighed.aside) for goal in self.goals
        }
        self.contradicted = contradicted(self.known, self.sheet)
        self.tomorrow: dict[Spot, Estimate] = {}
        """What is believed of each spot a day later; spots that were never read are missing."""
        self.values: dict[Spot, float] = {}
        self.spreads: dict[Spot, float] = {}
        for spot, known in self.known.items():
            estimate = later.estimate(spot)
            found = known.verdict
            if not fixed(spot.quantity, estimate) or (found.usable and found.value is None):
                continue
            self.tomorrow[spot] = Estimate(round(estimate.mean, 6), estimate.variance)
            if found.usable and not known.several and not self.belief.still_coming:
                self.values[spot], self.spreads[spot] = found.value or 0.0, found.uncertainty or 0.0
            else:
                self.values[spot], self.spreads[spot] = round(estimate.mean, 6), estimate.spread
        self.surprises = surprising_readings(self)
        self.choice = Choice(self, plan_input.settings.prices)
        self.touched: set[Spot] = set()
        self.disturbed: set[Spot] = set()
        self.steps: list[Step] = []
        self.notes: list[Note] = []
        self.held = False
        """True once something has been placed that later changes must wait for."""
        self.ahead = False
        """True once something has been placed that later readings must wait for too."""
        self.rod_to_come = False
        self.strings_to_come = False
        """True once a change of strings has been placed that nobody refused."""
        self.low_slots: set[int] = set()
        """Strings whose nut slots were said to be too low as they are."""
        self.stopped = False
        """True when nothing may be planned at all."""
        self.relief_unreachable = False
        self.settling = Settling("not needed")
        self.blocked: dict[str, Sentence] = {}
        """Kinds of work that a finding rules out, with the reason."""

    @property
    def place(self) -> ReliefPlace:
        """Where relief is meant."""
        return self.sheet.place

    @property
    def resting(self) -> bool:
        """Whether the neck has still to rest, as far as the newest entry of the job tells."""
        return self.settling.read_from is not None and self.settling.read_from > self.belief.now

    # ------------------------------------------------------------ asking

    def of(self, *quantities: Quantity) -> list[Known]:
        """Known goals of some quantities, in the spec's order."""
        return [self.known[goal.spot] for goal in self.goals if goal.spot.quantity in quantities]

    def scale_at(self, spot: Spot) -> float:
        """Scale length at a spot [mm]."""
        if spot.string is not None:
            return string_scale(self.instrument, spot.string)
        return side_scale(self.instrument, spot.side)

    def fret_of(self, spot: Spot) -> int:
        """Fret over which a height is read."""
        if spot.quantity == "nut-action":
            return 1
        return self.known[spot].goal.item.fret or OCTAVE

    def chance(self, spot: Spot, value: float | None = None, spread: float | None = None) -> float:
        """Probability that a spot is in spec as it stands in the forecast."""
        item = self.known[spot].goal.item
        at = self.values[spot] if value is None else value
        wide = self.spreads[spot] if spread is None else spread
        return float(probability_in_spec(at, item.lower, item.upper, max(wide, 1e-9)))

    def unread_since_adjusted(self, known: Known) -> bool:
        """Whether a quantity was adjusted for its own sake since it was last read."""
        reading = known.reading
        return reading is not None and own_part_moved(known.spot, reading.order, self.plan_input)

    def wants_step(self, known: Known) -> bool:
        """Whether a quantity gets a step: worth one as it is, or changed by an earlier step of this plan."""
        if known.spot not in self.values:
            return False
        return known.spot in self.touched or self.choice.adjusts(known)

    def asks_again(self, known: Known) -> bool:
        """Whether another reading is worth its minutes before anything is done about it."""
        if known.spot not in self.values or known.spot in self.touched | self.disturbed:
            return False
        if self.unread_since_adjusted(known):
            return False
        if any(each.expected.spot == known.spot for each in self.weighed.open):
            return False
        return self.choice.reads(known) or (self.choice.read_once(known) and self.choice.adjusts(known))

    def relief_open(self) -> bool:
        """Whether nothing can be said of nut and bridge yet: relief is not read, or stays wrong."""
        reliefs = self.of("relief")
        unread = any(known.spot not in self.values for known in reliefs)
        return self.relief_unreachable or unread

    # ------------------------------------------------------------ effects

    def heights(self) -> list[Spot]:
        """Spots of action and nut action that have a value."""
        return [
            goal.spot
            for goal in self.goals
            if goal.spot.quantity in {"action", "nut-action"} and goal.spot in self.values
        ]

    def relief_shift(self, change: float, spread: float) -> dict[Spot, tuple[float, float]]:
        """What a change of relief does: to relief itself, action and nut action."""
        shift = {known.spot: (change, spread) for known in self.of("relief") if known.spot in self.values}
        joint = self.instrument.body_joint_fret
        for spot in self.heights():
            more = self.belief.number(COUPLING if spot.quantity == "action" else NUT_COUPLING)
            rise = coupling(self.scale_at(spot), joint, self.place, self.fret_of(spot)) + more.mean
            shift[spot] = rise * change, math.hypot(rise * spread, more.spread * change)
        return shift

    def rise_shift(self, rises: Mapping[Spot, float]) -> dict[Spot, tuple[float, float]]:
        """What rises of the saddle under each string do; keys are action spots or sides."""
        return {
            spot: (rises[key] * share(self.fret_of(spot)), 0.0)
            for spot in self.heights()
            if (key := spot._replace(quantity="action")) in rises
        }

    def across(self, bass: float, treble: float) -> dict[Spot, float]:
        """A rise that runs straight from the treble to the bass side, at every spot of action."""
        rises = {Spot("action", "bass"): bass, Spot("action", "treble"): treble}
        for spot in self.heights():
            if spot.string is not None:
                part = share_across(self.instrument, spot.string)
                rises[spot._replace(quantity="action")] = treble + (bass - treble) * part
        return rises

    def changes(self, shift: Shift, quantities: Iterable[Quantity] | None = None) -> tuple[Change, ...]:
        """Write a shift as changes from now to after, in the spec's order."""
        wanted = None if quantities is None else set(quantities)
        found = []
        for goal in self.goals:
            spot, item = goal.spot, goal.item
            if spot not in shift or (wanted is not None and spot.quantity not in wanted):
                continue
            by, spread = shift[spot]
            if by == 0.0:
                continue
            found.append(
                Change(
                    quantity=spot.quantity,
                    side=spot.side,
                    string=spot.string,
                    pickup=spot.pickup,
                    before=self.values[spot],
                    after=self.values[spot] + by,
                    target=item.target,
                    lower=item.lower,
                    upper=item.upper,
                    uncertainty=math.hypot(self.spreads[spot], spread),
                )
            )
        return tuple(found)

    def apply(self, shift: Shift) -> None:
        """Carry a shift into the forecast that later steps start from."""
        for spot, (by, spread) in shift.items():
            if spot in self.values and abs(by) > 1e-9:
                self.values[spot] += by
                self.spreads[spot] = math.hypot(self.spreads[spot], spread)
                self.touched.add(spot)

    def disturb(self, *quantities: Quantity, lost: bool = False) -> None:
        """Note quantities that a step changes by an amount that is not forecast.

        They are read once more at the end; where all that is known of them is `lost`, before that.
        """
        for goal in self.goals:
            if goal.spot.quantity in quantities:
                self.disturbed.add(goal.spot)
                if lost:
                    self.values.pop(goal.spot, None)

    # ------------------------------------------------------------ placing

    def place_change(self, step: Step, refused: bool = False, *, alone: bool = False) -> Step:
        """Place a step that changes the instrument.

        It is to do now unless it waits for a reading, for the owner, or for what an earlier step will change.
        A step that stands `alone`, or that cannot be undone, is read before anything follows.
        """
        earlier = self.touched | self.disturbed
        depends = any(
            Spot(each.quantity, each.side, each.string, each.pickup) in earlier for each in step.changes
        )
        now = not self.held and not step.blocked_by and not depends
        placed = replace(step, number=len(self.steps) + 1, do_now=now, changes_instrument=True)
        self.steps.append(placed)
        if step.part is not None and not refused:
            self.disturb(*(each for each in DISTURBS[step.part] if each in ONLY_READ))
        if not refused and (alone or step.irreversible):
            self.held = self.ahead = True
        return placed

    def place_reading(self, step: Step, gate: Gate, *, after_changes: bool = False) -> Step:
        """Place a step that only looks, reads or rests, and say what must wait for it.

        One that comes `after_changes` waits until nothing that disturbs it waits itself.
        """
        now = not (self.held if after_changes else self.ahead)
        placed = replace(step, number=len(self.steps) + 1, do_now=now)
        self.steps.append(placed)
        self.held = self.held or gate != "nothing"
        self.ahead = self.ahead or gate == "everything"
        return placed

    def note(
        self, code: str, text: Sentence, alternatives: Iterable[Sentence] = (), *, quote: bool = False
    ) -> None:
        """Say something plainly beside the steps."""
        self.notes.append(Note(code, text, tuple(alternatives), quote))

    def wanted(self, known: Known, why: str, *, finest: bool = False) -> ReadingWanted:
        """Ask for a goal's reading."""
        spot, item = known.spot, known.goal.item
        held = item.held
        fret = item.fret
        if spot.quantity == "relief":
            held, fret = self.place.held, self.place.fret
        elif spot.quantity in {"action", "intonation"}:
            fret = item.fret or OCTAVE
        elif spot.quantity == "pickup-height":
            held = item.held or (self.instrument.frets,)
        return ReadingWanted(
            spot.quantity, spot.side, spot.string, spot.pickup, fret, held, known.method, why, finest
        )

    def next_readings(self, *quantities: Quantity, why: str = "after the step") -> tuple[ReadingWanted, ...]:
        """Ask for all readings of some quantities."""
        return tuple(self.wanted(known, why) for known in self.of(*quantities))

    def plan(self) -> Plan:
        """Close the draft."""
        verdicts = tuple(self._said(self.known[goal.spot]) for goal in self.goals)
        self._rest_last()
        say_too_close(self)
        complete = (
            not self.stopped
            and all(self._left(known) for known in self.known.values())
            and not any(step.changes_instrument or step.kind == "settle" for step in self.steps)
        )
        open_steps = any(step.do_now for step in self.steps)
        waits = any(_waits_for_owner(step) for step in self.steps)
        refused = any(block.code == "refused" for step in self.steps for block in step.blocked_by)
        if not (complete or refused or open_steps or waits):
            say_stays_out(self)
        used = sorted({found.reading for found in verdicts if found.reading and found.usable})
        rest = next((step for step in self.steps if step.do_now and step.kind == "settle"), None)
        until = self.settling.read_from if rest and self.resting else None
        return Plan(
            verdicts=verdicts,
            steps=tuple(with_worth(self, with_expected(self))),
            notes=tuple(self.notes),
            settled=self.settling,
            rest_until=until,
            settle_for=None if until is None else until - self.belief.now,
            read_after_rest=rest.readings_next if rest and self.resting else (),
            complete=complete,
            finished=complete or not (open_steps or waits),
            readings_used=tuple(used),
            not_asked=not_asked(self),
            surprises=self.surprises,
            rod_doubt=round(self.odds.faulty, 4),
        )

    def _said(self, known: Known) -> Verdict:
        """A verdict with what is believed of its quantity."""
        spot = known.spot
        if spot not in self.tomorrow:
            return known.verdict
        now, tomorrow = (
            Believed(
                round(each.mean, 6),
                round(each.spread, 6),
                chance(each.mean, each.spread, limits(known)),
            )
            for each in (self.belief.estimate(spot), self.tomorrow[spot])
        )
        return replace(known.verdict, now=now, tomorrow=tomorrow)

    def _left(self, known: Known) -> bool:
        """Whether a quantity is left as it is: in spec, accepted, or too close to call and worth no more."""
        if known.settled_on:
            return True
        found = known.verdict
        return found.usable and found.verdict == "too close to call" and not self.asks_again(known)

    def _rest_last(self) -> None:
        """Let the neck rest, and then read everything at the end, only once nothing else is to do."""
        for later in ("settle", "final-readings"):
            kinds = {"settle", "final-readings"} if later == "settle" else {"final-readings"}
            if any(step.do_now for step in self.steps if step.kind not in kinds):
                self.steps = [
                    replace(step, do_now=False) if step.kind == later else step for step in self.steps
                ]


def _waits_for_owner(step: Step) -> bool:
    return any(block.code == "consent" for block in step.blocked_by)
