"""Works out what each reading of the demo's past was expected to show when its sheet came."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from secrets import token_urlsafe
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from shimstock_calc.belief.forecasts import Forecast, forecasts
from shimstock_server.app import open_database
from shimstock_server.bench import gather
from shimstock_server.config import Config
from shimstock_server.database.migrate import upgrade
from shimstock_server.database.tables.bench import ReadingSheet
from shimstock_server.database.tables.jobs import Job
from shimstock_server.operations.seed import load
from shimstock_server.operations.seeding_past import FORECAST_STEPS, load_past
from tests.house.files import CHECKOUT

Expected = list[int] | int
"""A forecast as the file has it, or 0 where there is none."""


@contextmanager
def shop() -> Iterator[Session]:
    """Give a session in the demo's shop, without its past; it is thrown away."""
    with tempfile.TemporaryDirectory() as folder:
        config = Config(secret=token_urlsafe(32), database_url=f"sqlite:///{Path(folder)}/shop.sqlite")
        upgrade(config.database_url)
        database = open_database(config)
        now = datetime.now(UTC)
        load(database, CHECKOUT / "seed", now, secret=config.secret)
        info = {"now": now, "secret": config.secret, "request_id": "past"}
        with database.write(info) as session:
            yield session


def add_forecasts(session: Session, past: Mapping[str, Any]) -> None:
    """Put in behind each value of the past what was expected of it, from what its job knew by then."""
    for job in past["jobs"]:
        with session.begin_nested() as alone:
            told = _of_job(session, past, job)
            alone.rollback()
        sheets = [entry for entry in job[5:] if entry[1] not in ("done", "rest")]
        for sheet, expected in zip(sheets, told, strict=True):
            sheet[4::3] = expected


def _of_job(session: Session, past: Mapping[str, Any], job: list[Any]) -> list[list[Expected]]:
    load_past(session, {**past, "zone": "UTC", "jobs": [job], "studies": [], "checks": []})
    row = session.scalars(select(Job)).one()
    source = gather(session, row)
    sheets = session.scalars(
        select(ReadingSheet).where(ReadingSheet.job_id == row.id).order_by(ReadingSheet.taken_at)
    )
    found = []
    for sheet in sheets:
        ids = [f"{sheet.id}/{reading.number}" for reading in sheet.readings]
        by_id = {each.reading: _short(each) for each in forecasts(source, ids)}
        found.append([by_id.get(each, 0) for each in ids])
    return found


def _short(told: Forecast) -> Expected:
    sizes = (told.expected, told.spread, told.level**0.5, told.own**0.5)
    return [*(round(each * FORECAST_STEPS) for each in sizes), *([1] if told.doubtful else [])]
