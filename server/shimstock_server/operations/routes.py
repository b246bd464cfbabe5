"""Health and the OpenAPI document."""

from __future__ import annotations

from sqlalchemy import text

from shimstock_server.database import migrate
from shimstock_server.web.blueprint import Answer, Blueprint
from shimstock_server.web.context import current
from shimstock_server.web.fields import Choice, StrictSchema
from shimstock_server.web.problems import DatabaseAway, Problem

health = Blueprint("health", "Whether the service is up, and ready for work.", prefix="")


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
    try:
        current.session.execute(text("SELECT 1"))
        migrate.check(current.database.engine)
    except migrate.WrongRevision:
        raise DatabaseAway("The database is not at the revision of this release.", retry_after=30) from None
    except Problem:
        raise
    return Answer({"status": "ok"}, headers={"Cache-Control": "no-store"})


blueprints = (health,)
