"""The card of a job over HTTP: data, a page that prints well, or the picture alone."""

from __future__ import annotations

from typing import cast
from uuid import UUID

from shimstock_server.bench import InstrumentUnknown
from shimstock_server.catalogue import InstrumentIncomplete
from shimstock_server.jobs import load_job
from shimstock_server.shop import ShopNotSetUp
from shimstock_server.web.blueprint import Answer, Blueprint
from shimstock_server.web.context import Units, current

from .drawing import picture
from .gathering import card_of, reader_of
from .language import language
from .page import page, security_policy
from .schemas import CardOut
from .speech import Speech
from .telling import as_data, digest

blueprint = Blueprint("cards", "Before and after of a job, for its owner")

HTML, SVG = "text/html", "image/svg+xml"


@blueprint.operation(
    "GET", "/jobs/<uuid:job_id>/card", scopes=("bench", "manager"), answer=CardOut,
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
