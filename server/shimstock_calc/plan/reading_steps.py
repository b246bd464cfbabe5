"""Readings that are missing, stale, or too close to call, and whether relief has settled."""

from __future__ import annotations

import math

from .cautions import cautions
from .draft import Draft, Gate
from .goals import Spot
from .model import Quantity, Reading, Settling, Step
from .readings import Known
from .words import say

GEOMETRY: tuple[Quantity, ...] = ("relief", "nut-action", "action")
"""The three readings that fix a string over its neck."""

NAMES: dict[Quantity, str] = {
    "relief": "relief",
    "twist": "twist",
    "action": "action",
    "nut-action": "nut action",
    "pickup-height": "pickup height",
    "break-clearance": "break clearance",
    "saddle-out": "height of the saddle above its slot",
    "intonation": "intonation",
}


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
        name = NAMES[quantity]
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


def measure(draft: Draft, quantities: tuple[Quantity, ...], *, gate: Gate) -> list[Known]:
    """Place one step for all readings of some quantities that are missing or cannot be used."""
    asked = {
        Spot(each.quantity, each.side, each.string, each.pickup)
        for step in draft.steps
        if step.kind == "measure"
        for each in step.readings_next
    }
    unread = [
        known
        for known in draft.of(*quantities)
        if (not known.verdict.usable or known.verdict.zero_or_less) and known.spot not in asked
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


def read_again(draft: Draft, quantities: tuple[Quantity, ...], *, gate: Gate) -> list[Known]:
    """Place one step that repeats every reading that is too close to call and was read only once."""
    again = [
        known for known in draft.of(*quantities) if draft.asks_again(known) and not known.verdict.zero_or_less
    ]
    if not again:
        return []
    first = again[0].verdict
    chances = dict.fromkeys(f"{known.verdict.probability or 0.0:.2f}" for known in again)
    draft.place_reading(
        Step(
            0,
            "read-again",
            None,
            say("Read {what} again", what=named([known.spot for known in again])),
            why=say(
                "too close to call: the chance of being in spec is {chances}", chances=listed(list(chances))
            ),
            probability=first.probability,
            readings_next=tuple(draft.wanted(known, "too close to call") for known in again),
        ),
        gate=gate,
    )
    return again


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
    """Whether relief has settled since the last rod turn or change of strings.

    Notes
    -----
    Two readings, the first at least an hour after the last rod turn or restring and an hour apart, differ by
    no more than 2·√2·u (common practice, no published source).
    """
    moved = [each for each in draft.plan_input.adjustments if each.part in {"truss-rod", "strings"}]
    if not moved:
        return Settling("not needed")
    last = max(moved, key=lambda each: each.order)
    rest = draft.plan_input.settings.settle_minutes
    spots = {known.spot for known in draft.of("relief")}
    waits = [
        _waits(history, last.at + rest, rest)
        for spot in sorted(spots, key=str)
        if (history := _since(draft, spot, last.order))
    ]
    if waits and all(wait is None for wait in waits):
        return Settling("settled", since=last.at)
    until = max([wait for wait in waits if wait is not None], default=last.at + rest)
    return Settling(
        "waiting",
        since=last.at,
        read_from=until,
        reason=say(
            "the neck moves slowly: two relief readings an hour apart must agree before anything more"
        ),
    )


def _since(draft: Draft, spot: Spot, order: int) -> list[tuple[Reading, float, float]]:
    return [
        (reading, value, spread)
        for reading, value, spread in draft.sheet.converter.history()
        if reading.order > order and reading.side == spot.side
    ]


def _waits(history: list[tuple[Reading, float, float]], earliest: float, rest: float) -> float | None:
    """Time from which the next reading counts; None when two agree."""
    late = [each for each in history if each[0].at >= earliest]
    if not late:
        return earliest
    newest, value, spread = late[-1]
    before = [each for each in late if each[0].at <= newest.at - rest]
    if not before:
        return late[0][0].at + rest
    _, other, other_spread = before[-1]
    if abs(value - other) <= 2.0 * math.sqrt(2.0) * max(spread, other_spread):
        return None
    return newest.at + rest


def unread(draft: Draft, known: Known) -> bool:
    """Whether nothing is known of it, or an earlier step of the plan changes it."""
    return known.spot not in draft.values


def ask_anew(draft: Draft, goals: list[Known], quantity: str, *, gate: bool) -> None:
    """Ask for readings that are missing, or that the steps before will have changed."""
    changed = [known for known in goals if unread(draft, known) and known.verdict.usable]
    if not changed:
        measure(draft, (goals[0].spot.quantity,), gate="changes" if gate else "nothing")
        return
    wanted = [known for known in goals if unread(draft, known)]
    draft.place_reading(
        Step(
            0,
            "measure",
            None,
            say("Measure {what} anew", what=quantity),
            why=say("the steps before it change it"),
            readings_next=tuple(draft.wanted(known, "after the steps before") for known in wanted),
        ),
        gate="changes" if gate else "nothing",
    )
