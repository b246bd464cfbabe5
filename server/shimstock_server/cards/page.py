"""The card as one page: no script, nothing fetched, a stylesheet that the policy names by its hash."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from importlib.resources import files
from itertools import pairwise
from math import ceil
from typing import Any

from jinja2 import Template
from markupsafe import Markup

from shimstock_server.web.html import content_policy, templates

from . import wording
from .band import band
from .content import SIDES, CardContent, Line, Look
from .done import what_was_done
from .drawing import pictures
from .speech import Speech

WIDEST_STRIP = 6
"""Most strings side by side on half a printed page; more take two tables."""


@lru_cache(maxsize=1)
def stylesheet() -> str:
    """Return the stylesheet of the page."""
    return (files(__package__) / "templates" / "card.css").read_text(encoding="utf-8")


@lru_cache(maxsize=1)
def security_policy() -> str:
    """Return the Content-Security-Policy of the page: its own stylesheet and nothing else."""
    return content_policy(stylesheet())


def page(content: CardContent, speech: Speech) -> str:
    """Return the card as an HTML page."""
    return template("card.html").render(
        style=Markup(stylesheet()),  # noqa: S704 - our own file
        **what_it_says(content, speech),
    )


def template(name: str) -> Template:
    """Return a template of this package."""
    return templates(__package__).get_template(name)


def what_it_says(content: CardContent, speech: Speech, *, embedded: bool = False) -> dict[str, Any]:
    """Return what the card's template fills in.

    Parameters
    ----------
    embedded : bool
        Whether it stands on another page, which says whose instrument it is.
    """
    drawn = pictures(content, speech)
    facts = content.instrument
    return {
        "embedded": embedded,
        "say": speech.say,
        "language": speech.words.tag,
        "content": content,
        "name": f"{facts.maker} {facts.model}",
        "facts": _facts(content, speech),
        "dates": _dates(content, speech),
        "notice": wording.notice(content, speech),
        "summary": wording.summary(content, speech),
        "groups": _groups(content, speech),
        "strips": [
            part for quantity, lines in content.strips() for part in _strip(quantity, lines, content, speech)
        ],
        "offsets": [speech.sentence(each) for each in content.offsets],
        "pictures": [Markup(drawn[side]) for side in SIDES],  # noqa: S704 - escaped by ElementTree
        "done": what_was_done(content, speech),
        "left": wording.left_open(content, speech) + wording.refused(content, speech),
        "next_look": wording.next_look(content, speech),
        "care": [text for _, text in wording.care(content, speech)],
    }


def _facts(content: CardContent, speech: Speech) -> list[tuple[str, str]]:
    facts = content.instrument
    found = {
        "owner": content.owner,
        "serial": facts.serial,
        "made_in": facts.made_in,
        "strings": wording.strings_fitted(content, speech),
        "tuning": facts.tuning,
        "room" if content.final else "room_newest": wording.air(content, speech),
    }
    return [(speech.say("facts", name), str(text)) for name, text in found.items() if text]


def _dates(content: CardContent, speech: Speech) -> list[tuple[str, str, str]]:
    """Name, day in words, and day for programs."""
    days = {
        "received": content.received_on,
        "read_before": content.read_before_on,
        "read_after" if content.final else "read_newest": content.read_after_on,
        "ready": content.ready_on,
    }
    return [
        (speech.say("facts", name), speech.day(day), day.isoformat())
        for name, day in days.items()
        if day is not None
    ]


def _groups(content: CardContent, speech: Speech) -> list[list[dict[str, Any]]]:
    """Rows of the table, quantity by quantity."""
    groups: list[list[dict[str, Any]]] = []
    rows = content.rows
    for n, line in enumerate(rows):
        first = n == 0 or rows[n - 1].quantity != line.quantity
        if first:
            groups.append([])
        groups[-1].append(_row(line, content, speech, first=first))
    return groups


def _row(line: Line, content: CardContent, speech: Speech, *, first: bool) -> dict[str, Any]:
    drawn = band(line)
    quantity = speech.say("quantity", line.quantity)
    place = speech.reading(line).removeprefix(quantity).lstrip(", ")
    return {
        "quantity": quantity,
        "place": place,
        "first": first,
        "explained": speech.explained(line, content.geometry.frets) if first else None,
        "target": speech.number(line.quantity, line.target),
        "unit": speech.with_unit(line.quantity, ""),
        "limits": speech.limits(line),
        "before": _look(line, line.before, speech),
        "after": _look(line, line.after, speech),
        "band": Markup(drawn) if drawn else None,  # noqa: S704 - drawn from numbers
    }


def _look(line: Line, look: Look, speech: Speech) -> dict[str, Any]:
    return {
        "value": speech.value(line, look),
        "read": look.is_read,
        "number": look.is_read and not look.zero_or_less,
        "verdict": speech.verdict(look),
        "mark": {"in spec": "in", "out of spec": "out", "too close to call": "close"}.get(look.verdict or ""),
        "probability": None if look.probability is None else speech.probability(look.probability),
        "tomorrow": _tomorrow(look, speech),
    }


def _tomorrow(look: Look, speech: Speech) -> str | None:
    """The chance of tomorrow, where it will be another than today's."""
    if look.probability is None or look.tomorrow is None:
        return None
    told = speech.probability(look.tomorrow.chance)
    same = told == speech.probability(look.probability)
    return None if same else speech.say("table", "tomorrow", probability=told)


def _strip(
    quantity: str, lines: Sequence[Line], content: CardContent, speech: Speech
) -> list[dict[str, Any]]:
    """Tables of one quantity string by string, with the limits where all strings share them."""
    parts = ceil(len(lines) / WIDEST_STRIP)
    size = ceil(len(lines) / parts)
    name = speech.say("quantity", quantity)
    shared = len({(line.target, line.lower, line.upper) for line in lines}) == 1
    found = []
    for start, end in pairwise([*range(0, len(lines), size), len(lines)]):
        part = lines[start:end]
        numbers = [line.string for line in part if line.string is not None]
        found.append(
            {
                "caption": speech.say("table", "strip", quantity=name)
                if parts == 1
                else speech.say(
                    "table", "strip_part", quantity=name, strings=wording.place_of_strings(numbers, speech)
                ),
                "explained": speech.explained(part[0], content.geometry.frets) if start == 0 else None,
                "spec": _spec(part[0], speech) if shared else None,
                "unit": speech.unit(quantity),
                "specs": None
                if shared
                else [(speech.number(quantity, line.target), speech.limits(line)) for line in part],
                "strings": [(line.string, _note(line, content)) for line in part],
                "before": [_look(line, line.before, speech) for line in part],
                "after": [_look(line, line.after, speech) for line in part],
            }
        )
    return found


def _spec(line: Line, speech: Speech) -> str:
    target = speech.amount(line.quantity, line.target)
    limits = speech.limits(line)
    if not limits:
        return speech.say("table", "limits_of_strip_open", target=target)
    return speech.say("table", "limits_of_strip", target=target, limits=limits)


def _note(line: Line, content: CardContent) -> str | None:
    notes = content.instrument.notes
    return notes[line.string - 1] if line.string is not None and line.string <= len(notes) else None
