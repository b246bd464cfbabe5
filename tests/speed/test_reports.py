"""Batch reports over a simulated shop: how long they take, how that grows, and that the figures are right.

The usual run measures a small shop, the deep one 2,000 instruments. With SHIMSTOCK_WHOLE_SHOP=1 the deep one
has 20,000 with 2 million readings: the better part of an hour on each database.
"""

from __future__ import annotations

import io
import json
import os
import time
import zipfile
from collections.abc import Callable
from typing import Any
from uuid import UUID

import numpy as np
import pandas as pd
import pytest

from shimstock_server.clock import FixedClock
from shimstock_server.config import Config
from shimstock_server.database.session import Database
from shimstock_server.learning import rebuild
from shimstock_server.transfer import write_export
from tests.databases import BOTH
from tests.depth import amount
from tests.server.clients import Client
from tests.server.conftest import SECRET, Staff
from tests.server.reports import direct
from tests.server.reports.simulated import Size, fill
from tests.server.workshop import set_up

pytestmark = [pytest.mark.speed, pytest.mark.long, pytest.mark.timeout(amount(900, deep=10_000))]

WHOLE = bool(os.environ.get("SHIMSTOCK_WHOLE_SHOP"))
SMALL = Size(models=10, instruments=20, jobs=2, days=360)
LARGE = amount(
    Size(models=10, instruments=300, jobs=2, days=360),
    deep=Size(models=200, instruments=20_000 if WHOLE else 2_000, jobs=2, days=1080),
)
PERIOD = "first=2024-01-01&last=2026-12-31"
WELL_UNDER_A_SECOND = 0.5
ROUNDS = 5
now = amount(time.process_time, deep=time.perf_counter)
"""In the usual run other tests run beside: they take time, but none of this process's."""
CHECKED = 3
"""Models whose figures are compared with pandas."""


def seconds(client: Client, path: str) -> float:
    """The median of some requests [s]; the first one, which fills caches, does not count."""
    took = []
    for _ in range(ROUNDS + 1):
        start = now()
        assert client.app.test_client().get(
            path, headers={"Authorization": f"Bearer {client.token}"}
        ).status_code == 200  # fmt: skip
        took.append(now() - start)
    return float(np.median(took[1:]))


def counted(
    database: Database, config: Config, clock: FixedClock, ids: Any, staff: Staff, size: Size,
    figure: Callable[[str], None],
) -> list[UUID]:  # fmt: skip
    """Write a shop and count it."""
    start = time.perf_counter()
    models = fill(database, ids, staff.key_ids["manager"], staff.technician_id, size)
    written = time.perf_counter()
    rebuild(database, config, clock)
    figure(
        f"{size.readings:,} readings of {size.models} models: written in {written - start:.0f} s, "
        f"counted in {time.perf_counter() - written:.0f} s"
    )
    return models


@pytest.mark.parametrize("database_url", amount(["sqlite"], deep=BOTH), indirect=True)
def test_a_report_does_not_cost_more_with_the_readings_behind_it(
    client: Client, staff: Staff, database: Database, config: Config, clock: FixedClock,
    figure: Callable[[str], None],
) -> None:  # fmt: skip
    ids = set_up(client).ids
    few = counted(database, config, clock, ids, staff, SMALL, figure)
    report = "/v1/reports/instrument-models/{}?" + PERIOD
    small = seconds(client, report.format(few[0]))
    from shimstock_server.database.tables.catalogue import InstrumentModel

    with database.write({"now": clock.now(), "secret": SECRET}) as session:
        for model in few:
            session.get_one(InstrumentModel, model).name += " of the small shop"
    models = counted(database, config, clock, ids, staff, LARGE, figure)
    large = seconds(client, report.format(models[0]))
    ranking = seconds(client, f"/v1/reports/instrument-models?limit=500&{PERIOD}")
    more = LARGE.readings / LARGE.models / (SMALL.readings / SMALL.models)
    figure(
        f"report on a model {1000 * small:.0f} ms, with {more:.0f} times the readings {1000 * large:.0f} ms"
    )
    figure(f"ranking of all models {1000 * ranking:.0f} ms")
    assert large < WELL_UNDER_A_SECOND
    assert ranking < WELL_UNDER_A_SECOND
    if LARGE.days == SMALL.days:  # the same months: only the readings in them grow, fifteenfold
        assert large < 4.0 * small
    start = time.perf_counter()
    frame = exported(database, clock)
    figure(f"exported and read by pandas in {time.perf_counter() - start:.0f} s")
    jobs = direct.closed_jobs(database)
    wanted = jobs["came_back"].to_dict()
    for model in models[:CHECKED]:
        start = time.perf_counter()
        compare(client.get(report.format(model)).get_json(), frame, wanted)
        figure(f"pandas on one model of the exported file {1000 * (time.perf_counter() - start):.0f} ms")


def exported(database: Database, clock: FixedClock) -> pd.DataFrame:
    """Return the readings of the exported file that count, judged by pandas and scipy."""
    packed = io.BytesIO()
    with database.read() as session:
        write_export(session, packed, now=clock.now())
    with zipfile.ZipFile(packed) as archive:
        frame = pd.read_csv(archive.open("readings.csv"), low_memory=False)
        lines = map(json.loads, archive.open("tables/reading_sheets.jsonl"))
        sheets = pd.DataFrame([(line["id"], line["job_id"]) for line in lines], columns=["id", "job_id"])
    frame = frame.merge(sheets, left_on="reading_sheet_id", right_on="id")
    frame = frame.rename(
        columns={"held_low": "hold_low", "held_high": "hold_high", "reading_sheet_id": "sheet_id"}
    )
    frame["taken_at"] = pd.to_datetime(frame["taken_at"], utc=True, format="ISO8601")
    for name in ("at_pitch", "acclimatised", "zero_or_less"):
        frame[name] = frame[name] == "yes"
    frame["supersedes_id"] = None
    frame["job_id"] = frame["job_id"].str.replace("-", "")
    # every job is done, and its work, which moves everything, lies between its first two sheets
    frame["stands"] = frame["stage"] != "as-received"
    return direct.prepared(frame[frame["corrected"] == "no"], "Europe/Berlin")


def compare(report: dict[str, Any], frame: pd.DataFrame, came_back: dict[str, bool]) -> None:
    """Hold every figure of a report against pandas."""
    mine = frame[(frame["maker"] == report["maker"]) & (frame["model"] == report["name"])]
    kept = mine["job_id"].map(came_back).eq(False) & (mine["stage"] == "final")
    mine = pd.concat([mine, mine[kept].assign(stage="kept")])
    groups = dict(list(mine.groupby(["quantity", "place", "stage"])))
    seen = set()
    for each in report["quantities"]:
        near = 0.0051 if each["quantity"] == "intonation" else 0.00051
        width = 0.5 if each["quantity"] == "intonation" else 0.01
        for stage in each["stages"]:
            key = (each["quantity"], each["place"], stage["stage"])
            seen.add(key)
            group = groups[key]
            values = group.loc[~group["zero_or_less"], "value"]
            assert stage["count"] == len(values)
            assert stage["zero_or_less"] == group["zero_or_less"].sum()
            for name, word in (("in_spec", "in"), ("too_close", "close"), ("out_of_spec", "out")):
                assert stage[name] == (group["verdict"] == word).sum(), (key, name)
            assert stage["mean"]["value"] == pytest.approx(values.mean(), abs=near)
            assert stage["sd"]["value"] == pytest.approx(values.std(ddof=1), abs=near)
            assert stage["quantiles"]["median"]["value"] == pytest.approx(values.median(), abs=1.5 * width)
    assert seen == set(groups)
