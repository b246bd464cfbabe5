"""Health, figures, the OpenAPI document, and the pages that explain it."""

from __future__ import annotations

import hashlib
import ipaddress
from typing import Any

from flask import current_app, request
from sqlalchemy import text

from shimstock_server.database import migrate
from shimstock_server.web.blueprint import Answer, Blueprint
from shimstock_server.web.context import current
from shimstock_server.web.documents import write_compact
from shimstock_server.web.fields import Choice, StrictSchema
from shimstock_server.web.problems import DatabaseAway, Forbidden

from . import metrics, pages

health = Blueprint("health", "Whether the service is up and ready for work, and how it fares.", prefix="")
documents = Blueprint("documents", "What the service can do, for programs and for people.", prefix="")
blueprints = (health, documents)


class HealthOut(StrictSchema):
    """How the service is, without details for strangers."""

    status = Choice(("ok",))


@health.operation("GET", "/livez", scopes=None, answer=HealthOut)
def livez() -> Answer:
    """Tell that the process is alive.

    Does not ask the database: a process that waits for it must not be restarted for that.
    """
    return Answer({"status": "ok"}, headers={"Cache-Control": "no-store"})


@health.operation("GET", "/readyz", scopes=None, answer=HealthOut, conflicts=(DatabaseAway,))
def readyz() -> Answer:
    """Tell whether the service can work: the database answers and has the tables of this release."""
    current.session.execute(text("SELECT 1"))
    try:
        migrate.check_session(current.session)
    except migrate.WrongRevision:
        raise DatabaseAway("The database is not at the revision of this release.", retry_after=30) from None
    return Answer({"status": "ok"}, headers={"Cache-Control": "no-store"})


@health.operation("GET", "/metrics", scopes=None, types=("text/plain",), conflicts=(Forbidden,))
def show_metrics() -> Answer:
    """Give figures about the running service, in the text format of Prometheus, to this machine alone."""
    if not _from_this_machine():
        raise Forbidden("Metrics are for programs on the service's own machine.")
    return Answer(
        text=metrics.exposition(),
        media_type=metrics.CONTENT_TYPE,
        headers={"Cache-Control": "no-store"},
    )


def _from_this_machine() -> bool:
    if request.headers.get("X-Forwarded-For") and not current.config.proxies:
        return False  # a proxy on this machine asks, for who knows whom
    try:
        return ipaddress.ip_address(request.remote_addr or "").is_loopback
    except ValueError:
        return False


def _kept(name: str, make: Any) -> tuple[str, str]:
    """Return a text that depends on the release alone, and its digest; made once per process."""
    kept: dict[str, tuple[str, str]] = current_app.extensions.setdefault("shimstock-texts", {})
    if name not in kept:
        made = make(current_app.extensions["shimstock"].document(current_app))
        kept[name] = made, hashlib.sha256(made.encode()).hexdigest()[:16]
    return kept[name]


@documents.operation("GET", "/openapi.json", scopes=None, types=("application/json",), also={304: None})
def show_openapi() -> Answer:
    """Give the OpenAPI document of this release."""
    made, digest = _kept("openapi", write_compact)
    return Answer(text=made, media_type="application/json", digest=digest)


@documents.operation("GET", "/docs", scopes=None, types=("text/html",), also={304: None})
def show_docs() -> Answer:
    """Show every operation and every schema on a page that needs nothing from elsewhere."""
    made, digest = _kept("docs", pages.document_page)
    return Answer(text=made, media_type="text/html", digest=digest, headers=pages.HEADERS)


@documents.operation("GET", "/docs/problems", scopes=None, types=("text/html",), also={304: None})
def show_problems() -> Answer:
    """Explain every problem that the service can answer with."""
    made, digest = _kept("problems", pages.problems_page)
    return Answer(text=made, media_type="text/html", digest=digest, headers=pages.HEADERS)
