"""Readings that are missing, stale, or too close to call, and whether relief has settled."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ..vocabulary import PARTS, QUANTITIES
from .cautions import cautions
from .goals import Spot
from .inputs import LEAST_REST
from .model import Quantity, Settling, Step
from .readings import Known
from .records import looks
from .words import Sentence, say

if TYPE_CHECKING:
    from .draft import Draft, Gate


def listed(words: list[str]) -> str:
    """Join words as people do.

    >>> listed(["relief", "action", "nut action"])
    'relief, action and nut action'
    """
    return words[0] if len(words) == 1 else ", ".join(words[:-1]) + " and " + words[-1]


def numbered(numbers: list[int]) -> str:
    """Join whole numbers as people do, runs of three and more in short.

    >>> numbered([1, 2, 3, 4, 6])
    '1 to 4 and 6'
    """
    runs: list[list[int]] = []
    for number in sorted(numbers):
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    words: list[str] = []
    for run in runs:
        words += [f"{run[0]} to {run[-1]}"] if len(run) > 2 else [str(number) for number in run]
    return listed(words)


def named(spots: list[Spot]) -> str:
    """Name spots in a few words: quantities, and strings where single strings are meant."""
    words = []
    for quantity in dict.fromkeys(spot.quantity for spot in spots):
        strings = sorted(
            spot.string for spot in spots if spot.quantity == quantity and spot.string is not None
        )
        name = QUANTITIES[quantity].name
        if strings:
            name += f" of string{'s' if len(strings) > 1 else ''} {numbered(strings)}"
        words.append(name)
    return listed(words)


def why_unread(known: Known) -> str:
    """Say in a word why a goal has no usable reading."""
    found = known.verdict
    if found.zero_or_less:
        return "zero or less"
    if found.reading is None:
        return "missing"
    return "stale" if found.stale else "not usable"


def measure(
    draft: Draft, quantities: tuple[Quantity, ...], *, gate: Gate, never: bool = False
) -> list[Known]:
    """Place one step for all readings of some quantities that are missing or cannot be used.

    With `never` only what nothing is known of, or what was adjusted for its own sake, is asked for: what
    another adjustment has moved is forecast.
    """
    asked = {
        Spot(each.quantity, each.side, each.string, each.pickup)
        for step in draft.steps
        if step.kind == "measure"
        for each in step.readings_next
    }
    unread = [
        known
        for known in draft.of(*quantities)
        if (not known.verdict.usable or known.verdict.zero_or_less)
        and known.spot not in asked
        and not (never and known.spot in draft.values and not draft.unread_since_adjusted(known))
    ]
    if not unread:
        return []
    weather = [known.reading for known in unread if known.reading is not None and _weather(draft, known)]
    touching = [known for known in unread if known.verdict.zero_or_less]
    what = say("Measure {what}", what=named([known.spot for known in unread]))
    if weather:
        what = say(
            "Let the instrument recover, then measure {what}", what=named([known.spot for known in unread])
        )
    elif touching and len(touching) == len(unread):
        what = say(
            "Measure relief with a notched straightedge: the string touches, and shows nothing below zero"
        )
    reasons = dict.fromkeys(
        known.verdict.reason.text() for known in unread if known.verdict.reason and known.verdict.reading
    )
    if any(known.spot.quantity == "twist" for known in unread):
        reasons["twist is relief on the bass side minus relief on the treble side"] = None
    draft.place_reading(
        Step(
            0,
            "measure",
            None,
            what,
            why=say("{reasons}", reasons="; ".join(reasons)) if reasons else None,
            cautions=cautions(
                "recover" if any(not each.acclimatised for each in weather) else "",
                "recover-air" if any(each.acclimatised for each in weather) else "",
            ),
            readings_next=tuple(draft.wanted(known, why_unread(known)) for known in unread),
        ),
        gate=gate,
    )
    return unread


def in_bad_air(draft: Draft) -> bool:
    """Whether the newest readings were taken on an instrument too cold, too dry or too damp for a verdict."""
    return any(_weather(draft, known) for known in draft.known.values())


def _weather(draft: Draft, known: Known) -> bool:
    reading = known.reading
    if reading is None or known.verdict.stale or known.verdict.usable:
        return False
    return draft.sheet.records.bad_air(reading)


def surprised(draft: Draft) -> None:
    """Ask again for readings that do not fit the others, before any further step."""
    count = len(draft.weighed.surprises)
    for each in draft.surprises[:count]:
        known = draft.known.get(Spot(each.quantity, each.side, each.string, each.pickup))
        if each.open and known is not None and not draft.choice.read_enough(known.spot):
            _doubt(draft, (known,), each.text, "does not fit")
    for found, each in zip(draft.contradicted, draft.surprises[count:], strict=True):
        _doubt(draft, found.several, each.text, "contradicts the others")


def _doubt(draft: Draft, again: tuple[Known, ...], text: Sentence, why: str) -> None:
    draft.place_reading(
        Step(
            0,
            "read-again",
            None,
            say("Read {what} again", what=named([known.spot for known in again])),
            why=text,
            readings_next=tuple(draft.wanted(known, why) for known in again),
        ),
        gate="everything",
    )


def read_again(draft: Draft, quantities: tuple[Quantity, ...], *, gate: Gate) -> list[Known]:
    """Place one step that repeats every reading whose repetition is worth its minutes."""
    worth = [
        known for known in draft.of(*quantities) if draft.asks_again(known) and not known.verdict.zero_or_less
    ]
    again = [known for known in worth if not after_rest(draft, known)]
    draft.held = draft.held or len(again) < len(worth)
    if again:
        place_again(draft, again, gate=gate)
    return again


def after_rest(draft: Draft, known: Known) -> bool:
    """Whether a reading waits for the rest that filing waits for."""
    return draft.settling.state == "waiting" and draft.choice.files(known)


def place_again(draft: Draft, again: list[Known], *, gate: Gate) -> None:
    """Place one step that repeats readings."""
    chances = dict.fromkeys(f"{draft.choice.chance(known):.2f}" for known in again)
    draft.place_reading(
        Step(
            0,
            "read-again",
            None,
            say("Read {what} again", what=named([known.spot for known in again])),
            why=say(
                "the chance of being in spec tomorrow is {chances}: another reading is worth its minutes",
                chances=listed(list(chances)),
            ),
            probability=draft.choice.chance(again[0]),
            readings_next=tuple(draft.wanted(known, "worth another reading") for known in again),
        ),
        gate=gate,
    )


def read_outliers(draft: Draft) -> None:
    """Read once more what is left as in spec though its only reading since it moved lies outside its limits.

    Only once nothing else is to do: until then later readings may say as much.
    """
    if any(step.do_now for step in draft.steps):
        return
    again = [known for known in draft.known.values() if _outlies(draft, known)]
    if again:
        draft.place_reading(
            Step(
                0,
                "read-again",
                None,
                say("Read {what} again", what=named([known.spot for known in again])),
                why=say(
                    "the newest reading lies outside the limits, though all readings together say in spec"
                ),
                readings_next=tuple(draft.wanted(known, "lies outside the limits") for known in again),
            ),
            gate="nothing",
        )


def _outlies(draft: Draft, known: Known) -> bool:
    readings, item = draft.belief.level(known.spot).readings, known.goal.item
    if not known.settled_on or known.verdict.accepted or looks(readings) != 1:
        return False
    value = item.target if readings[0].value is None else readings[0].value
    return (item.lower is not None and value < item.lower) or (item.upper is not None and value > item.upper)


def tune_first(draft: Draft) -> None:
    """Ask for tuning where the newest readings were taken off pitch."""
    for known in draft.known.values():
        reading = known.reading
        if reading is not None and not reading.at_pitch and not known.verdict.stale:
            draft.place_reading(
                Step(
                    0,
                    "tune",
                    "tuners",
                    say("Tune every string to within 5 cents of its pitch"),
                    why=say("readings were taken off pitch: they are kept, but no plan is built on them"),
                ),
                gate="nothing",
            )
            return


def settling(draft: Draft) -> Settling:
    """Whether the neck has rested since the last turn of the rod or change of strings, and was read then.

    Notes
    -----
    One rest with a relief reading after it (judgement: two hours, one at the least).
    """
    moved = [each for each in draft.plan_input.adjustments if PARTS[each.part].slow]
    if not moved:
        return Settling("not needed")
    last = max(moved, key=lambda each: each.order)
    rested = any(
        reading.quantity == "relief" and reading.order > last.order and reading.at >= last.at + LEAST_REST
        for reading in draft.plan_input.readings
    )
    if rested:
        return Settling("settled", since=last.at)
    return Settling(
        "waiting",
        since=last.at,
        read_from=last.at + draft.plan_input.settings.rest,
        reason=say("the neck moves slowly: relief is read once more after it has rested"),
    )


def unread(draft: Draft, known: Known) -> bool:
    """Whether nothing is known of it, or an earlier step changes it and it is not yet as it should be."""
    if known.spot not in draft.values or draft.unread_since_adjusted(known):
        return True
    return known.spot in draft.disturbed and (draft.choice.adjusts(known) or draft.choice.reads(known))


def ask_anew(draft: Draft, goals: list[Known]) -> None:
    """Ask for readings that are missing, or that the steps before will have changed."""
    wanted = [known for known in goals if unread(draft, known)]
    changed = any(known.reading is not None for known in wanted)
    what = named([known.spot for known in wanted])
    draft.place_reading(
        Step(
            0,
            "measure",
            None,
            say("Measure {what} anew" if changed else "Measure {what}", what=what),
            why=say("the steps before it change it") if changed else None,
            readings_next=tuple(
                draft.wanted(known, "after the steps before" if changed else why_unread(known))
                for known in wanted
            ),
        ),
        gate="nothing",
        after_changes=True,
    )
