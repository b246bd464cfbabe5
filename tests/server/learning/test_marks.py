"""What a move has counted anew: the job, and what it may be a return of; not its instrument's whole past."""

from __future__ import annotations

from collections import Counter
from typing import Any
from uuid import UUID

from sqlalchemy import select

from shimstock_server.database.session import Database
from shimstock_server.database.tables.learning import LearningMark

from .conftest import Shop

DAY = 24 * 60


def come_and_go(shop: Shop, instrument: str) -> dict[str, Any]:
    """A job that goes back unrepaired on the day on which it came."""
    job = shop.manager.post("/v1/jobs", json={"instrument_id": instrument}).get_json()
    return move(shop, job, "returned-unrepaired")


def move(shop: Shop, job: dict[str, Any], to: str) -> dict[str, Any]:
    answer = shop.manager.post(
        f"/v1/jobs/{job['id']}/moves", json={"to": to, "reason": "as it is"}, etag=f'"{job["version"]}.mm"'
    )
    assert answer.status_code == 200, answer.get_data(as_text=True)
    moved: dict[str, Any] = answer.get_json()
    return moved


def marked(database: Database) -> Counter[UUID]:
    with database.read() as session:
        return Counter(session.scalars(select(LearningMark.job_id)))


def test_a_move_marks_the_job_and_what_it_may_be_a_return_of(shop: Shop, database: Database) -> None:
    instrument = shop.workshop.ids["instrument"]
    for _ in range(3):
        come_and_go(shop, instrument)
        shop.wait(200 * DAY)
    recent = come_and_go(shop, instrument)
    shop.wait(30 * DAY)
    shop.count()
    assert marked(database) == {}
    job = shop.manager.post("/v1/jobs", json={"instrument_id": instrument}).get_json()
    assert marked(database) == {UUID(job["id"]): 1, UUID(recent["id"]): 1}
    move(shop, job, "cancelled")
    assert marked(database) == {UUID(job["id"]): 2, UUID(recent["id"]): 2}
    shop.count()
    # one that came back and was cancelled did not come back
    facts = shop.manager.get(f"/v1/reports/instrument-models/{shop.workshop.ids['model']}?first=2026-01-01")
    assert facts.get_json()["jobs"]["came_back"] == 0
