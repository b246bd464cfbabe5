"""Counts are never behind what they count, whatever changes."""

from __future__ import annotations

from uuid import UUID

import pytest
from click.testing import CliRunner
from sqlalchemy import delete, func, select

from shimstock_server.database.tables.jobs import Job
from shimstock_server.database.tables.learning import ReportBin, ReportCell, ReportMonth
from shimstock_server.database.tables.owners import Instrument
from shimstock_server.learning import rebuild, work_off_marks
from shimstock_server.operations.admin import admin
from tests.server.conftest import SECRET
from tests.server.workshop import mm, sheet

from . import direct
from .asking import between, report
from .conftest import Counted

SQLITE = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)


def test_what_changed_since_the_count_is_in_the_answer(counted: Counted) -> None:
    """The open tail: a sheet of today, and a correction of it, before any worker has looked."""
    manager, workshop = counted.manager, counted.workshop
    model = workshop.ids["model"]
    job = workshop.job()
    reading = {"quantity": "relief", "side": "bass", "value": mm(0.55), "tool_id": workshop.ids["feelers"]}
    first = sheet([reading])
    assert manager.post(f"/v1/jobs/{job['id']}/reading-sheets", json=first).status_code == 201

    def told() -> list[tuple[int, float]]:
        found = report(counted, model, "2026-01-01", "2026-12-31")["quantities"]
        return [(s["count"], s["mean"]["value"]) for each in found for s in each["stages"]]

    assert told() == [(1, 0.55)]
    second = sheet([reading | {"value": mm(0.35)}], supersedes=first["id"], supersedes_reason="mistyped")
    assert manager.post(f"/v1/jobs/{job['id']}/reading-sheets", json=second).status_code == 201
    assert told() == [(1, 0.35)]
    assert work_off_marks(counted.database, counted.config, counted.clock) == 1
    assert told() == [(1, 0.35)]
    with counted.database.read() as session:
        cells = session.scalar(
            select(func.count()).select_from(ReportCell).where(ReportCell.month >= 2026 * 12)
        )
    assert cells == 1


def test_the_worker_comes_to_the_same_counts_as_the_command(counted: Counted) -> None:
    model = counted.models[1]
    before = report(counted, model, "2024-01-01", "2026-12-31")
    with counted.database.write({"now": counted.clock.now()}) as session:
        session.execute(delete(ReportMonth))
        from shimstock_server.learning.marks import mark_job

        for job_id in session.scalars(select(Job.id)):
            mark_job(session, job_id)
    assert work_off_marks(counted.database, counted.config, counted.clock) == counted.size.instruments * 2
    assert report(counted, model, "2024-01-01", "2026-12-31") == before


def test_one_command_counts_everything_anew(counted: Counted) -> None:
    before = report(counted, counted.models[0], "2024-01-01", "2025-12-31")
    with counted.database.write({"now": counted.clock.now()}) as session:
        session.execute(delete(ReportBin))
        session.execute(delete(ReportCell))
    assert report(counted, counted.models[0], "2024-01-01", "2025-12-31") != before
    settings = {"SHIMSTOCK_SECRET": SECRET, "SHIMSTOCK_DATABASE_URL": counted.config.database_url}
    ran = CliRunner().invoke(admin, ["rebuild-reports"], env=settings)
    assert ran.exit_code == 0, ran.output
    assert "counted 4 models" in ran.output
    assert report(counted, counted.models[0], "2024-01-01", "2025-12-31") == before


@SQLITE
def test_what_else_makes_counts_stale_is_noted(counted: Counted) -> None:
    manager, ids = counted.manager, counted.workshop.ids
    model = counted.models[0]
    path = f"/v1/instrument-models/{model}"
    etag = manager.get(path).headers["ETag"]

    def waiting() -> int:
        count: int = manager.get("/v1/reports/instrument-models").get_json()["waiting"]
        return count

    assert manager.patch(path, json={"name": "Other"}, etag=etag).status_code == 200
    of_model = counted.size.instruments // counted.size.models * counted.size.jobs
    assert waiting() == of_model
    before = report(counted, model, "2024-01-01", "2025-12-31")
    while work_off_marks(counted.database, counted.config, counted.clock):
        pass
    assert waiting() == 0
    assert report(counted, model, "2024-01-01", "2025-12-31") == before
    with counted.database.read() as session:
        job = session.scalars(
            select(Job.id).join(Instrument, Instrument.id == Job.instrument_id)
            .where(Instrument.model_id == model).limit(1)
        ).one()  # fmt: skip
    parts = before["jobs"]["parts_mean"] * before["jobs"]["count"]
    body = {"name": "nut blank", "quantity": 1, "price": 12.0}
    assert manager.post(f"/v1/jobs/{job}/parts", json=body).status_code == 201
    told = report(counted, model, "2024-01-01", "2025-12-31")["jobs"]
    assert told["parts_mean"] * told["count"] == pytest.approx(parts + 12.0)
    shop = manager.get("/v1/shop")
    manager.patch("/v1/shop", json={"zone": "Pacific/Auckland"}, etag=shop.headers["ETag"])
    assert waiting() == counted.size.instruments * counted.size.jobs
    frame = between(direct.readings(counted.database, "Pacific/Auckland"), model, "2024-05-01", "2024-05-31")
    told = report(counted, model, "2024-05-01", "2024-05-31")["quantities"]
    assert sum(stage["count"] + stage["zero_or_less"] for each in told for stage in each["stages"]
               if stage["stage"] != "kept") == len(frame)  # fmt: skip
    assert ids


def test_an_erased_owners_instruments_stay_in_the_counts(counted: Counted) -> None:
    manager, ids = counted.manager, counted.workshop.ids
    before = report(counted, counted.models[0], "2024-01-01", "2025-12-31")
    with counted.database.read() as session:
        owners = session.scalar(select(func.count()).select_from(Instrument).where(
            Instrument.owner_id == UUID(ids["owner"])))  # fmt: skip
    assert owners
    erased = manager.post(f"/v1/owners/{ids['owner']}/erasure", json={"force": True})
    assert erased.status_code == 200, erased.get_data(as_text=True)
    assert report(counted, counted.models[0], "2024-01-01", "2025-12-31") == before
    rebuild(counted.database, counted.config, counted.clock)
    assert report(counted, counted.models[0], "2024-01-01", "2025-12-31") == before
