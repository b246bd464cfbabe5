"""The owner's page: without a script, fetching nothing, leading nowhere but to the booking page."""

from __future__ import annotations

from datetime import datetime
from functools import lru_cache
from importlib.resources import files
from typing import Any

from markupsafe import Markup

from shimstock_server.database.words import JobState
from shimstock_server.web.html import content_policy

from .page import stylesheet, template, what_it_says
from .speech import Speech
from .whereabouts import WITH_CARD, OpenDay, Whereabouts

OVER = frozenset({JobState.CANCELLED, JobState.RETURNED_UNREPAIRED})


@lru_cache(maxsize=1)
def _style() -> str:
    own = (files(__package__) / "templates" / "owner.css").read_text(encoding="utf-8")
    return f"{stylesheet()}\n{own}"


@lru_cache(maxsize=1)
def headers() -> dict[str, str]:
    """Return the headers of the page: kept by nobody, indexed by nobody, nothing runs in it."""
    return {
        "Content-Security-Policy": content_policy(_style()),
        "Cache-Control": "no-store",
        "X-Robots-Tag": "noindex, nofollow, noarchive",
        "Referrer-Policy": "no-referrer",
    }


def owner_page(
    found: Whereabouts, speech: Speech, *, recheck_at: str | None, booking_page: str | None = None
) -> str:
    """Return the page.

    Parameters
    ----------
    recheck_at : str or None
        Where the recheck can be booked, when one is due and the shop has a booking page.
    booking_page : str or None
        Where anything can be booked; told to whoever's booking was cancelled or missed.
    """
    card: dict[str, Any] = {"say": speech.say, "language": speech.words.tag, "embedded": True}
    if found.card is not None:
        card = what_it_says(found.card, speech, embedded=True)
    return template("owner.html").render(
        style=Markup(_style()),  # noqa: S704 - our own files
        found=found,
        instrument=found.instrument or speech.say("owner", "your_instrument"),
        statement=_statement(found, speech),
        promise=_promise(found, speech),
        stops=[
            {
                "name": speech.say("owner", f"stop_{stop.name}"),
                "day": None if stop.on is None else speech.day(stop.on),
                "iso": None if stop.on is None else stop.on.isoformat(),
                "now": stop.now,
                "done": stop.on is not None and not stop.now,
            }
            for stop in found.stops
        ],
        over=found.state in OVER,
        asked=[(quote.work, speech.price(quote.amount, quote.currency)) for quote in found.asked],
        recheck=None if found.recheck is None else speech.say("owner", f"recheck_{found.recheck}"),
        recheck_at=recheck_at,
        next_visit=None
        if found.next_visit is None
        else speech.say("owner", "next_visit", **_moment(found.next_visit, speech)),
        openings=[
            (speech.weekday(each.day), _hours(each, speech), each.day.isoformat()) for each in found.openings
        ],
        book_again_at=booking_page if found.state is JobState.CANCELLED or found.was_expected else None,
        ends_on=speech.day(found.ends_on),
        **card,
    )


def unknown_page(speech: Speech) -> str:
    """Return the page for an address that opens nothing: it does not say whether it ever did."""
    return template("owner_unknown.html").render(
        style=Markup(_style()),  # noqa: S704 - our own files
        say=speech.say,
        language=speech.words.tag,
    )


def _statement(found: Whereabouts, speech: Speech) -> str:
    """Where it is, in one sentence."""
    state = found.state.value
    if found.state is JobState.WAITING:
        return speech.say("owner", f"waiting_{found.waiting_for}")
    if found.drop_off is not None:
        name = "was_expected" if found.was_expected else "expected"
        return speech.say("owner", name, **_moment(found.drop_off, speech))
    if found.look_again_at is not None:
        return speech.say("owner", "settling", **_moment(found.look_again_at, speech))
    return speech.say("owner", f"state_{state}")


def _moment(moment: datetime, speech: Speech) -> dict[str, str]:
    return {"day": speech.weekday(moment.date()), "time": f"{moment:%H:%M}"}


def _hours(opened: OpenDay, speech: Speech) -> str:
    return ", ".join(
        speech.say("owner", "hours", opens=opens, closes=closes) for opens, closes in opened.hours
    )


def _promise(found: Whereabouts, speech: Speech) -> str | None:
    over = found.state in WITH_CARD | OVER
    if found.promised_on is None or found.waits_for_owner or found.was_expected or over:
        return None
    return speech.say(
        "owner", "promised_late" if found.is_late else "promised", day=speech.weekday(found.promised_on)
    )
