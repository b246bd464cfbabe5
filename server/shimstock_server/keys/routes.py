"""The addresses of API keys."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from sqlalchemy import select

from shimstock_server.database.tables.keys import ApiKey
from shimstock_server.database.words import Scope, Units
from shimstock_server.web.blueprint import Answer, Blueprint
from shimstock_server.web.context import current
from shimstock_server.web.etags import must_match
from shimstock_server.web.fields import Choice, Id, Instant, StrictSchema, Text, Whole
from shimstock_server.web.paging import PageQuery, page, page_of
from shimstock_server.web.problems import Conflict
from shimstock_server.web.visibility import exists, visibility

from . import work

keys = Blueprint("keys", "API keys: one for each bench, website or office program.")
blueprints = (keys,)

visibility("key_id", exists(ApiKey.id, scopes=("manager",)))


class OwnKey(Conflict):
    """A key cannot revoke itself; use another manager's key."""

    code = "own-key"
    title = "Own key"


class KeyIn(StrictSchema):
    """A key to make."""

    name = Text(max=200, required=True, metadata={"description": "Who or what will use it."})
    scope = Choice(Scope, required=True)
    bench_id = Id(
        load_default=None, metadata={"description": "The bench that it stands on; bench keys only."}
    )
    units = Choice(Units, load_default=Units.MM, metadata={"description": "The units of its answers."})
    expires_at = Instant(
        load_default=None, metadata={"description": "When it ends by itself; null for never."}
    )
    replaces = Id(
        load_default=None,
        metadata={
            "description": "The booking key whose bookings and webhooks this one sees too; otherwise it sees "
            "nothing that another key booked. Revoke the former key when the new one is in place."
        },
    )


class KeyOut(StrictSchema):
    """A key."""

    id = Id()
    name = Text()
    scope = Choice(Scope)
    bench_id = Id(allow_none=True)
    units = Choice(Units)
    prefix = Text(metadata={"description": "How the key begins: the part that is no secret."})
    created_at = Instant()
    expires_at = Instant(allow_none=True)
    revoked_at = Instant(allow_none=True)
    last_used_at = Instant(allow_none=True, metadata={"description": "To the hour."})
    version = Whole(1)


class NewKeyOut(KeyOut):
    """A key that has just been made, with its secret."""

    secret = Text(
        allow_none=True,
        metadata={
            "secret": True,
            "description": "The whole key, shown once; null in the kept answer of a repeated request.",
        },
    )


@keys.operation("GET", "/keys", scopes=("manager",), query=PageQuery, answer=page_of(KeyOut))
def list_keys(query: dict[str, Any]) -> Answer:
    """List the keys, oldest first, revoked ones too."""
    answer = page(select(ApiKey), query, sort=(ApiKey.created_at, ApiKey.id))
    answer.data.items[:] = [work.shown(key) for key in answer.data.items]
    return answer


@keys.operation(
    "POST", "/keys", scopes=("manager",), body=KeyIn, answer=NewKeyOut, status=201, writes=True, creates="key"
)
def make_key(body: dict[str, Any]) -> Answer:
    """Make a key. Its secret is in this answer and nowhere else."""
    key, token = work.make_key(current.session, now=current.now, **body)
    return Answer(work.shown(key, token), location=f"/v1/keys/{key.id}")


@keys.operation("GET", "/keys/<uuid:key_id>", scopes=("manager",), answer=KeyOut)
def show_key(key_id: UUID) -> dict[str, Any]:
    """Show a key, without its secret."""
    return work.shown(current.session.get_one(ApiKey, key_id))


@keys.operation(
    "DELETE",
    "/keys/<uuid:key_id>",
    scopes=("manager",),
    status=204,
    writes=True,
    edits=True,
    conflicts=(OwnKey,),
)
def revoke_key(key_id: UUID) -> None:
    """Revoke a key. It stays in the list, and opens nothing any more."""
    key = current.session.get_one(ApiKey, key_id)
    must_match(key)
    if key.id == current.actor.key_id:
        raise OwnKey()
    work.revoke_key(key, current.now)
