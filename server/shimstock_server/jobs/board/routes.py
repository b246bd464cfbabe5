"""The board over HTTP: JSON for programs, a page for the wall."""

from __future__ import annotations

from flask import current_app, request

from shimstock_server.shop import ShopNotSetUp
from shimstock_server.web.blueprint import Answer, Blueprint
from shimstock_server.web.context import current
from shimstock_server.web.idempotency import content_hash
from shimstock_server.web.problems import DatabaseAway, TooManyRequests, Unauthorized

from . import page, screen
from .content import board
from .schemas import BoardOut

blueprint = Blueprint(
    "board", "What waits, what is on which bench, what settles, what is promised", prefix=""
)
BENCH = ("bench", "manager")

_SCHEMA = BoardOut()


def _answer(**headers: str) -> Answer:
    told = board(current.session, now=current.now)
    digest = content_hash(_SCHEMA.dump(told))[:32]
    return Answer(
        told, digest=digest, headers={name.replace("_", "-"): text for name, text in headers.items()}
    )


@blueprint.operation("GET", "/v1/board", scopes=BENCH, answer=BoardOut, conflicts=(ShopNotSetUp,))
def get_board() -> Answer:
    """Read the board: what waits, what is on which bench, what settles until when, what is promised.

    Its ETag changes only when what it tells changes: ask as often as you like with If-None-Match.
    """
    return _answer()


@blueprint.operation("GET", "/board", scopes=None, types=("text/html",), also={304: None})
def show_board() -> Answer:
    """Show the board as a page for the shop's wall.

    The page itself holds no data. It asks once for a key, and keeps itself up to date.
    """
    html, digest, headers = page.page()
    return Answer(text=html, media_type="text/html", digest=digest, headers=headers)


@blueprint.operation("POST", "/board/session", scopes=BENCH, status=204)
def post_board_session() -> Answer:
    """Let this browser show the board for as long as the key is good.

    It gets a cookie that can read the board and nothing else; the key itself is kept nowhere.
    """
    key_id = current.actor.key_id
    if key_id is None:
        raise Unauthorized
    return Answer(
        None,
        headers={
            "Set-Cookie": screen.make_cookie(
                key_id, now=current.now, secret=current.config.secret, secure=request.is_secure
            )
        },
    )


@blueprint.operation("DELETE", "/board/session", scopes=None, status=204)
def delete_board_session() -> Answer:
    """Take the cookie back from this browser."""
    return Answer(None, headers={"Set-Cookie": screen.end_cookie(secure=request.is_secure)})


@blueprint.operation(
    "GET", "/board/data", scopes=None, answer=BoardOut, also={304: None},
    conflicts=(Unauthorized, TooManyRequests, DatabaseAway, ShopNotSetUp),
)  # fmt: skip
def get_board_data() -> Answer:
    """Read the board with the cookie of a screen instead of a key."""
    secret = current.config.secret
    key_id, made = screen.screen_of(current.session, request, now=current.now, secret=secret)
    limit = current_app.extensions["shimstock"].limit.count(key_id)
    if limit is not None:
        raise limit
    headers = {"Cache_Control": "no-store", "Vary": "Cookie", "Board_Page": page.page()[1]}
    if current.now - made > screen.RENEWED_AFTER:
        headers["Set_Cookie"] = screen.make_cookie(
            key_id, now=current.now, secret=secret, secure=request.is_secure
        )
    return _answer(**headers)
