"""The card of a job over HTTP: data, a page that prints well, or the picture alone."""

from __future__ import annotations

from typing import Any, cast
from uuid import UUID

from shimstock_server.bench import InstrumentUnknown
from shimstock_server.catalogue import InstrumentIncomplete
from shimstock_server.database.tables.cards import CardLink
from shimstock_server.jobs import load_job
from shimstock_server.shop import ShopNotSetUp
from shimstock_server.web.blueprint import Answer, Blueprint
from shimstock_server.web.context import Units, current
from shimstock_server.web.etags import must_match
from shimstock_server.web.visibility import visibility

from . import links
from .drawing import picture
from .gathering import card_of, reader_of
from .language import language
from .owner_page import headers, owner_page, unknown_page
from .page import page, security_policy
from .schemas import CardOut
from .speech import Speech
from .telling import as_data, digest
from .whereabouts import whereabouts

blueprint = Blueprint("cards", "Before and after of a job, for its owner")
owners = Blueprint("owner's page", "Where the instrument is, for whoever has the page's address.", prefix="")

HTML, SVG = "text/html", "image/svg+xml"
COUNTER = ("bench", "manager")

visibility("card_link_id", links.is_visible)


@blueprint.operation(
    "GET", "/jobs/<uuid:job_id>/card", scopes=COUNTER, answer=CardOut,
    types=("application/json", HTML, SVG),
    conflicts=(InstrumentUnknown, InstrumentIncomplete, ShopNotSetUp),
)  # fmt: skip
def get_card(job_id: UUID) -> Answer:
    """Read the card of a job: before and after side by side, what was done, and when to look again.

    In the owner's units and language unless `units` asks for others. `Accept` chooses data, the page or the
    picture alone. Before final readings are taken the newest stand in for them, and the card says so.
    """
    job = load_job(current.session, job_id)
    units, tag = reader_of(current.session, job)
    current.tell_in(cast(Units, units))
    content = card_of(current.session, job)
    speech = Speech(language(tag), current.units)
    named = digest(content, speech)
    if current.media_type == HTML:
        headers = {"Content-Security-Policy": security_policy(), "Content-Language": speech.words.tag}
        return Answer(text=page(content, speech), media_type=HTML, headers=headers, digest=named)
    if current.media_type == SVG:
        return Answer(text=picture(content, speech), media_type=SVG, digest=named)
    return Answer(as_data(content, speech), digest=named)


@blueprint.operation(
    "POST", "/jobs/<uuid:job_id>/card-links", scopes=COUNTER, body=links.CardLinkIn,
    answer=links.NewCardLinkOut, status=201, writes=True, creates="key", shows_again=links.show_again,
)  # fmt: skip
def add_card_link(job_id: UUID, body: dict[str, Any]) -> Answer:
    """Make an address of the owner's page of a job. This answer alone holds its secret part."""
    job = load_job(current.session, job_id)
    row, path = links.make_link(current.session, job, actor=current.actor, now=current.now, days=body["days"])
    return Answer(links.told(row, now=current.now, path=path), location=f"/v1/card-links/{row.id}")


@blueprint.operation("GET", "/jobs/<uuid:job_id>/card-links", scopes=COUNTER, answer=links.CardLinkList)
def list_card_links(job_id: UUID) -> dict[str, Any]:
    """List the addresses of a job's page, without their secret parts."""
    return {"items": [links.told(row, now=current.now) for row in links.links_of(current.session, job_id)]}


@blueprint.operation(
    "GET", "/card-links/<uuid:card_link_id>", scopes=("bench", "booking", "manager"), answer=links.CardLinkOut
)
def show_card_link(card_link_id: UUID) -> dict[str, Any]:
    """Show an address of an owner's page, without its secret part."""
    return links.told(current.session.get_one(CardLink, card_link_id), now=current.now)


@blueprint.operation(
    "DELETE", "/card-links/<uuid:card_link_id>", scopes=("bench", "booking", "manager"), status=204,
    writes=True, edits=True,
)  # fmt: skip
def revoke_card_link(card_link_id: UUID) -> None:
    """Revoke an address of an owner's page: it opens nothing any more."""
    row = current.session.get_one(CardLink, card_link_id)
    must_match(row)
    links.revoke(current.session, row, now=current.now)


@owners.operation(
    "GET", "/cards/<token>", scopes=None, types=(HTML,), also={404: None}, conflicts=(ShopNotSetUp,)
)
def show_owner_page(token: str) -> Answer:
    """Show the owner of an instrument where it is, when it is promised, and its card when it is done.

    The address is the key: it cannot be guessed, it ends, and it can be revoked. In the owner's units and
    language unless `units` asks for others.
    """
    link = links.find(current.session, token, now=current.now)
    if link is None:
        speech = Speech(language("en"), "mm")
        return Answer(status=404, text=unknown_page(speech), media_type=HTML, headers=headers())
    job = load_job(current.session, link.job_id)
    units, tag = reader_of(current.session, job)
    current.tell_in(cast(Units, units))
    speech = Speech(language(tag), current.units)
    found = whereabouts(current.session, job, ends_at=link.expires_at, now=current.now)
    booking_page = current.config.booking_page
    recheck_at = f"{booking_page}#card={token}" if found.recheck and booking_page else None
    return Answer(
        text=owner_page(found, speech, recheck_at=recheck_at, booking_page=booking_page or None),
        media_type=HTML,
        headers={**headers(), "Content-Language": speech.words.tag},
    )
