"""A card as its schema dumps it, and the digest that names it."""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict
from importlib.metadata import version
from typing import Any

from shimstock_calc.plan.model import Believed

from . import wording
from .content import CardContent, Line, Look
from .done import what_was_done
from .drawing import picture
from .page import stylesheet
from .speech import Speech


def digest(content: CardContent, speech: Speech) -> str:
    """Name a card by what it tells and in which language; the same card has the same name on any machine."""
    tree = json.dumps(asdict(content), sort_keys=True, default=str)
    words = f"{version('shimstock')}\n{stylesheet()}\n{speech.words.fingerprint}\n{tree}"
    return hashlib.sha256(words.encode()).hexdigest()


def as_data(content: CardContent, speech: Speech) -> dict[str, Any]:
    """Return a card for its schema."""
    facts = content.instrument
    job = ("number", "state", "owner", "received_on", "read_before_on", "read_after_on", "ready_on", "final")
    return {
        "job": {name: getattr(content, name) for name in job}
        | {"id": content.job_id, "room": None if content.room is None else asdict(content.room)},
        "shop": {"name": content.shop, "place": content.shop_place},
        "instrument": asdict(facts) | {"strings": wording.strings_fitted(content, speech)},
        "language": speech.words.tag,
        "summary": wording.summary(content, speech),
        "quantities": [_quantity(line, speech) for line in content.lines],
        "offsets": [speech.sentence(each) for each in content.offsets],
        "done": what_was_done(content, speech),
        "left": wording.left_open(content, speech),
        "refused": wording.refused(content, speech),
        "next_look": wording.next_look(content, speech),
        "cautions": [{"code": code, "text": text} for code, text in wording.care(content, speech)],
        "picture": picture(content, speech),
        "judgement": speech.say("page", "computed"),
    }


def _quantity(line: Line, speech: Speech) -> dict[str, Any]:
    return {
        **asdict(line),
        "kind": line.quantity,
        "name": speech.reading(line),
        "before": _look(line, line.before, speech),
        "after": _look(line, line.after, speech),
    }


def _look(line: Line, look: Look, speech: Speech) -> dict[str, Any]:
    return {
        **asdict(look),
        "kind": line.quantity,
        "reason": None if look.reason is None else speech.sentence(look.reason) or None,
        "now": _believed(line, look.now),
        "tomorrow": _believed(line, look.tomorrow),
    }


def _believed(line: Line, found: Believed | None) -> dict[str, Any] | None:
    if found is None:
        return None
    return {
        "kind": line.quantity,
        "value": found.value,
        "uncertainty": found.spread,
        "probability": found.chance,
    }
