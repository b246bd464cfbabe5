"""Changing strings: what the new set does to pull, relief and action, and whether it may go on at all."""

from __future__ import annotations

from dataclasses import dataclass

from ..belief.geometry import COMPLIANCE
from ..neck_pull import relief_change_for
from ..nut import slot_width_fits
from ..response import Response
from .cautions import cautions
from .consents import consent_blocks, consent_needed, no_block, refused, refused_by_name
from .draft import Draft, Shift
from .geometry import total_pull
from .model import InstrumentString, Note, Step, StringSet
from .plate_steps import BALANCED, balance
from .reading_steps import listed
from .string_strength import NOT_UP, margin_unknown, say_margin_unknown, say_near_breaking, would_break
from .words import Measure, Sentence, say

ONE_AT_A_TIME = BALANCED | {"movable"}
BEAM = "a beam estimate, uncertain by a factor 2 either way"
STIFFEST = 1e-5
"""Least compliance that is reckoned with [mm/N]; judgement."""


@dataclass(frozen=True)
class PullChange:
    """What another set does."""

    old: float
    new: float
    relief: float
    spread: float
    low: float
    high: float

    @property
    def by(self) -> float:
        """Change of total pull [N]."""
        return self.new - self.old

    @property
    def percent(self) -> float:
        """Change of total pull [%]."""
        return 100.0 * (self.new / self.old - 1.0)


def neck_compliance(draft: Draft) -> Response:
    """Relief per newton of pull [mm/N], and whether it was learned."""
    known, responses = draft.belief.number(COMPLIANCE), draft.plan_input.responses
    learned = responses.neck_compliance is not None
    source = responses.neck_compliance_source if learned else BEAM
    return Response(max(known.mean, STIFFEST), known.spread, source, "model" if learned else "prior")


def pull_change(draft: Draft, strings: tuple[InstrumentString, ...]) -> PullChange | None:
    """Compare another set's pull with that of the strings on the instrument; None when it is not known."""
    old, new = _pull(draft, draft.instrument.strings), _pull(draft, strings)
    if old is None or new is None:
        return None
    follow = neck_compliance(draft)
    moved = relief_change_for(new - old, follow)
    return PullChange(old, new, moved.value, follow.sd * abs(new - old), moved.low, moved.high)


def _pull(draft: Draft, strings: tuple[InstrumentString, ...]) -> float | None:
    return total_pull(strings, draft.instrument.scale_bass, draft.instrument.scale_treble)


def _wanted_and_not_done(draft: Draft) -> bool:
    done = any(each.part == "strings" for each in draft.plan_input.adjustments)
    return draft.plan_input.wanted.restring and not done


def _new_set(draft: Draft) -> StringSet:
    return draft.plan_input.wanted.strings or StringSet("the same set", draft.instrument.strings)


def restring_to_come(draft: Draft) -> bool:
    """Whether new strings will go on: wanted, not yet changed in this job, and refused by nothing."""
    if not _wanted_and_not_done(draft):
        return False
    new = _new_set(draft)
    return not _refusals(draft, new) and not _owner_says_no(draft, new)


def _steel_on_nylon(draft: Draft, strings: tuple[InstrumentString, ...]) -> bool:
    return draft.instrument.built_for == "nylon" and any(string.material == "steel" for string in strings)


def stop_at_steel_on_nylon(draft: Draft) -> bool:
    """Plan nothing while steel strings pull at an instrument built for nylon, unless they come off now."""
    if restring_to_come(draft) or not _steel_on_nylon(draft, draft.instrument.strings):
        return False
    draft.note(
        "steel-on-nylon",
        say("refused: steel strings on an instrument built for nylon pull it apart"),
        [say("slacken them now, and fit nylon strings of ordinary tension")],
    )
    draft.stopped = True
    return True


def restring(draft: Draft) -> None:
    """Place the change of strings that the owner wants, with what it will do."""
    if not _wanted_and_not_done(draft):
        return
    new = _new_set(draft)
    refusals = _refusals(draft, new)
    draft.notes += refusals
    if refusals:
        return
    say_near_breaking(draft, new)
    say_margin_unknown(draft, new)
    change = pull_change(draft, new.strings)
    if _may_pull_harder(draft, new):
        _say_pull_unknown(draft, new)
    shift = draft.relief_shift(change.relief, change.spread) if change and abs(change.by) > 1e-9 else {}
    no = _owner_says_no(draft, new)
    _place(draft, new, change, shift, no)
    if no:
        return
    draft.strings_to_come = True
    draft.apply(shift)
    draft.disturb("intonation", lost=True)
    if _heavier(change) and draft.instrument.max_total_pull is None:
        draft.note(
            "pull-limit-unknown",
            say("how much pull this model allows is not stated: make sure before it goes on"),
        )
    _slots(draft, new)
    if draft.instrument.bridge.kind in BALANCED:
        balance(draft, 0.0 if change is None else change.percent)


def _place(draft: Draft, new: StringSet, change: PullChange | None, shift: Shift, no: bool) -> None:
    """Place the step itself: what it does, how sure that is, and what it waits for."""
    unknown = _may_pull_harder(draft, new)
    harder = (unknown or _heavier(change)) and _delicate(draft, new)
    needs = consent_needed(draft, "high-pull", named=True) if harder else None
    blocks = no_block("high-pull") if no else consent_blocks(draft, "high-pull", needs) if needs else ()
    kind = draft.instrument.bridge.kind
    draft.place_change(
        Step(
            0,
            "restring",
            "strings",
            _what(draft, new),
            changes=draft.changes(shift, ["relief"]),
            forecasts=draft.changes(shift, ["action", "nut-action"]),
            confidence=_confidence(draft, change),
            why=_why(change, unknown=unknown),
            cautions=cautions(
                "eyes",
                "margin-unknown" if margin_unknown(draft, new) else "",
                "springs" if kind in BALANCED else "",
                "one-at-a-time" if kind in ONE_AT_A_TIME else "",
                "pull" if harder else "",
            ),
            # on a plate that hangs from its springs a reading counts once it is level again
            readings_next=() if kind in BALANCED else draft.next_readings("relief", "nut-action", "action"),
            needs_consent=needs,
            consent_step="high-pull" if needs or no else None,
            blocked_by=blocks,
        ),
        refused=no,
        alone=True,
    )


def _heavier(change: PullChange | None) -> bool:
    return change is not None and change.by > 0.5


def _may_pull_harder(draft: Draft, new: StringSet) -> bool:
    """Other strings whose pull nobody knows: a delicate instrument takes no such strings unasked."""
    return pull_change(draft, new.strings) is None and new.strings != draft.instrument.strings


def _delicate(draft: Draft, new: StringSet) -> bool:
    return draft.instrument.delicate or any(string.course is not None for string in new.strings)


def _owner_says_no(draft: Draft, new: StringSet) -> bool:
    """A no that names strings that pull harder, or any no where these need a yes of their own."""
    if not (_may_pull_harder(draft, new) or _heavier(pull_change(draft, new.strings))):
        return False
    return refused_by_name(draft, "high-pull") or (_delicate(draft, new) and refused(draft, "high-pull"))


def _refusals(draft: Draft, new: StringSet) -> list[Note]:
    """Why a set may not go on at all."""
    if _steel_on_nylon(draft, new.strings):
        return [
            Note(
                "steel-on-nylon",
                say("refused: steel strings on an instrument built for nylon pull it apart"),
                (say("nylon strings of ordinary tension"),),
            )
        ]
    if too_much := _too_much_pull(draft, new, "refused: {strings} pulls {pull}, this model allows {limit}"):
        return too_much
    if "restring" in draft.blocked:
        return [Note("repair-first", say("new strings wait for the repair"))]
    if "more-pull" in draft.blocked and _heavier(pull_change(draft, new.strings)):
        return [Note("repair-first", say("no heavier strings before the repair"))]
    return would_break(draft, new)


def _too_much_pull(draft: Draft, strings: StringSet, template: str) -> list[Note]:
    limit, pull = draft.instrument.max_total_pull, _pull(draft, strings.strings)
    if limit is None or pull is None or pull <= limit:
        return []
    text = say(template, strings=strings.name, pull=Measure("pull", pull), limit=Measure("pull", limit))
    return [Note("too-much-pull", text, (say("a lighter set, or a lower tuning"),))]


def say_strings_on_it(draft: Draft) -> None:
    """Say what is wrong with the strings that stay on: too much pull, or a pitch that breaks them."""
    if restring_to_come(draft):
        return
    present = StringSet("the strings on it", draft.instrument.strings)
    draft.notes += _too_much_pull(
        draft, present, "{strings} pull {pull}, this model allows {limit}: slacken them now"
    )
    draft.notes += would_break(draft, present, NOT_UP)
    say_near_breaking(draft, present)


def _say_pull_unknown(draft: Draft, new: StringSet) -> None:
    """Which set's pull is not known, and what then cannot be told."""
    unknown = [
        name
        for name, strings in (("the strings on it", draft.instrument.strings), (new.name, new.strings))
        if _pull(draft, strings) is None
    ]
    limit = draft.instrument.max_total_pull
    unchecked = limit is not None and _pull(draft, new.strings) is None
    draft.note(
        "pull-unknown",
        say(
            "the pull of {strings} is not known: enter every string's linear density; until then nobody can "
            "say what the change does to relief and action"
            + (", nor whether it stays within the {limit} that this model allows" if unchecked else ""),
            strings=listed(list(dict.fromkeys(unknown))),
            **({"limit": Measure("pull", limit)} if limit is not None and unchecked else {}),
        ),
    )


def _what(draft: Draft, new: StringSet) -> Sentence:
    kind = draft.instrument.bridge.kind
    if kind in BALANCED:
        return say("Block the tremolo, fit {strings}, tune to pitch, take the block out", strings=new.name)
    if kind == "movable":
        return say(
            "Fit {strings} one at a time, so that the bridge keeps its place; tune to pitch", strings=new.name
        )
    return say("Fit {strings} and tune to pitch", strings=new.name)


def _why(change: PullChange | None, *, unknown: bool) -> Sentence:
    if unknown:
        return say("new strings are wanted; how hard they pull against the old ones is not known")
    if change is None or abs(change.by) <= 0.5:
        return say("new strings are wanted; the same pull, so little else moves")
    return say(
        "total pull goes from {old} to {new} ({sign}{percent})",
        old=Measure("pull", change.old),
        new=Measure("pull", change.new),
        sign="+" if change.by > 0 else "",
        percent=Measure("percent", change.percent),
    )


def _confidence(draft: Draft, change: PullChange | None) -> Sentence | None:
    if change is None or abs(change.by) <= 0.5:
        return None
    follow = neck_compliance(draft)
    return say(
        "relief moves by {relief} ({low} to {high}): {compliance} is {source}",
        relief=Measure("relief", change.relief),
        low=Measure("relief", change.low),
        high=Measure("relief", change.high),
        compliance=Measure("compliance", follow.mean),
        source=follow.source,
    )


def _slots(draft: Draft, new: StringSet) -> None:
    widths = dict(draft.instrument.nut.slot_widths)
    tight = [
        string
        for string in sorted(new.strings, key=lambda each: each.number)
        if string.number in widths
        and string.gauge is not None
        and not slot_width_fits(widths[string.number], string.gauge)
    ]
    for string in tight:
        draft.note(
            "slot-too-narrow",
            say(
                "nut slot {number} is {width} wide, too narrow for a string of {gauge}",
                number=string.number,
                width=Measure("gauge", widths[string.number]),
                gauge=Measure("gauge", string.gauge or 0.0),
            ),
            [say("widen the slot, which cannot be undone and needs the owner's consent")],
        )


def heavier_sets(draft: Draft, needed: float) -> list[Sentence]:
    """Weigh the shop's other sets against a rise of relief that the rod cannot give [mm]."""
    lines = []
    item = next(known.goal.item for known in draft.of("relief"))
    now = min(draft.values[known.spot] for known in draft.of("relief") if known.spot in draft.values)
    for other in sorted(draft.plan_input.other_sets, key=lambda each: each.name):
        change = pull_change(draft, other.strings)
        if change is None or change.by <= 0.5 or _refusals(draft, other):
            continue
        lines.append(
            say(
                "{strings}: {pull} more ({percent}), relief up by {by} ({low} to {high}) "
                "to about {after}: {enough}",
                strings=other.name,
                pull=Measure("pull", change.by),
                percent=Measure("percent", change.percent),
                by=Measure("relief", change.relief),
                low=Measure("relief", change.low),
                high=Measure("relief", change.high),
                after=Measure("relief", now + change.relief),
                enough="enough"
                if now + change.relief >= (item.lower if item.lower is not None else needed)
                else "not enough",
            )
        )
    return lines
