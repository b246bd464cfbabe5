"""What was done, in words: turns of one part added up, equal work on several strings told once."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby

from shimstock_calc.vocabulary import PARTS, Part

from .content import CardContent, Work
from .speech import Speech
from .wording import place_of_strings

Place = tuple[str | None, int | None, str | None]

KIND_OF_AMOUNT = {"saddle-position": "saddle-position"}
"""In which kind of quantity an amount is told; thickness for all others."""


def what_was_done(content: CardContent, speech: Speech) -> list[str]:
    """Say what was done, one line a part."""
    by_part: dict[str, list[Work]] = {}
    for work in content.works:
        by_part.setdefault(work.part, []).append(work)
    parts = [part for part in PARTS if part in by_part]
    return [
        speech.say("done", "line", part=speech.say("part", part), what=_of_part(part, by_part[part], speech))
        for part in parts
    ]


def _of_part(part: str, works: Sequence[Work], speech: Speech) -> str:
    if part == "strings":
        return "; ".join(dict.fromkeys(_strings(work, speech) for work in works))
    by_place: dict[Place, list[Work]] = {}
    for work in sorted(works, key=lambda work: work.string or 0):
        by_place.setdefault((work.side, work.string, work.pickup), []).append(work)
    places_of: dict[str, list[Place]] = {}
    for place, done in by_place.items():
        places_of.setdefault(_sequence(part, done, speech), []).append(place)
    return "; ".join(_at(places, text, speech) for text, places in places_of.items())


def _strings(work: Work, speech: Speech) -> str:
    told = (
        speech.say("done", "new_strings")
        if work.string_set is None
        else speech.say("done", "new_set", set=work.string_set)
    )
    if work.tuning is not None:
        told += speech.say("page", "list_comma") + speech.say("done", "tuned_to", tuning=work.tuning)
    return told


def _sequence(part: str, works: Sequence[Work], speech: Speech) -> str:
    """Turns in one direction added up; a change of direction is told in its order."""
    ways = Part(part).term.done
    if ways is None:
        notes = [work.note for work in works if work.note]
        return "; ".join(dict.fromkeys(notes)) or speech.say("done", "worked_on")
    told = []
    for (direction, measure), group in groupby(works, key=_direction):
        done = list(group)
        if direction == 0:
            told.append(speech.say("done", "adjusted"))
            continue
        what = speech.say("done", ways[0 if direction > 0 else 1])
        total = sum((work.turns if measure == "turns" else work.amount) or 0.0 for work in done)
        how_far = (
            speech.turns(total)
            if measure == "turns"
            else speech.amount(KIND_OF_AMOUNT.get(part, "thickness"), abs(total))
        )
        text = speech.say("done", "by", what=what, how_far=how_far)
        told.append(speech.say("done", "in_steps", what=text, count=len(done)) if len(done) > 1 else text)
    text = told[0]
    for later in told[1:]:
        text = speech.say("done", "then", first=text, then=later)
    return text


def _direction(work: Work) -> tuple[int, str]:
    measure, value = ("turns", work.turns) if work.turns is not None else ("amount", work.amount)
    if value is None or value == 0:
        return 0, "none"
    return (1 if value > 0 else -1), measure


def _at(places: Sequence[Place], text: str, speech: Speech) -> str:
    """Put the places before what was done there."""
    strings = sorted(string for _, string, _ in places if string is not None)
    named = [place_of_strings(strings, speech)] if strings else []
    sides_of: dict[str | None, list[str | None]] = {}
    for side, string, pickup in places:
        if string is None:
            sides_of.setdefault(pickup, []).append(side)
    for pickup, sides in sides_of.items():
        parts = [speech.say("place", "pickup", pickup=pickup)] if pickup is not None else []
        parts += _sides(sides, speech)
        if parts:
            named.append(" ".join(parts))
    where = speech.listed(named)
    return f"{where} {text}" if where else text


def _sides(sides: Sequence[str | None], speech: Speech) -> list[str]:
    named = [side for side in sides if side is not None]
    if len(set(named)) == 2:
        return [speech.say("place", "both")]
    return [speech.say("place", side) for side in named]
