"""The report on a model equals what pandas makes of the same readings."""

from __future__ import annotations

import csv
import io
import itertools
import zipfile
from datetime import date
from typing import Any

import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner
from sqlalchemy import delete, func, select

from shimstock_server.database.tables.learning import ReportBin, ReportCell, ReportMonth
from shimstock_server.learning import work_off_marks
from shimstock_server.operations.admin import admin
from shimstock_server.reports.schemas import TABLES
from tests.server.conftest import SECRET
from tests.server.workshop import mm, sheet

from . import direct
from .conftest import Counted

PERIODS = [
    ("2024-01-01", "2025-12-31"),  # whole months
    ("2024-03-15", "2025-06-10"),  # edges within months
    ("2024-05-03", "2024-05-20"),  # within one month
    ("2024-05-31", "2024-06-01"),  # two days of two months
]


def report(counted: Counted, model: Any, first: str, last: str) -> dict[str, Any]:
    answer = counted.manager.get(f"/v1/reports/instrument-models/{model}?first={first}&last={last}")
    assert answer.status_code == 200, answer.get_data(as_text=True)
    told: dict[str, Any] = answer.get_json()
    return told


def between(frame: pd.DataFrame, model: Any, first: str, last: str) -> pd.DataFrame:
    days = frame["day"]
    return frame[
        (frame["model_id"] == str(model).replace("-", ""))
        & (days >= date.fromisoformat(first))
        & (days <= date.fromisoformat(last))
    ]


def test_every_figure_equals_the_direct_computation(counted: Counted) -> None:
    frame, jobs = direct.readings(counted.database), direct.closed_jobs(counted.database)
    for model, (first, last) in itertools.product(counted.models[:2], PERIODS):
        told = report(counted, model, first, last)
        wanted = between(frame, model, first, last)
        kept = wanted["job_id"].map(jobs["came_back"]).eq(False) & (wanted["stage"] == "final")
        wanted = pd.concat([wanted, wanted[kept].assign(stage="kept")])
        groups = dict(list(wanted.groupby(["quantity", "place", "stage"])))
        seen = set()
        for each in told["quantities"]:
            for stage in each["stages"]:
                key = (each["quantity"], each["place"], stage["stage"])
                seen.add(key)
                compare(stage, groups[key], each["quantity"])
        assert seen == set(groups)


def compare(stage: dict[str, Any], group: pd.DataFrame, quantity: str) -> None:
    values = group.loc[~group["zero_or_less"], "value"]
    assert stage["count"] == len(values)
    assert stage["zero_or_less"] == group["zero_or_less"].sum()
    for name, word in (("in_spec", "in"), ("too_close", "close"), ("out_of_spec", "out")):
        assert stage[name] == (group["verdict"] == word).sum(), name
    if len(values) == 0:
        assert stage["mean"] is None
        return
    # answers are told to a thousandth of a millimetre and a hundredth of a cent
    near = 0.0051 if quantity == "intonation" else 0.00051
    assert stage["mean"]["value"] == pytest.approx(values.mean(), abs=near)
    assert stage["lowest"]["value"] == pytest.approx(values.min(), abs=near)
    assert stage["highest"]["value"] == pytest.approx(values.max(), abs=near)
    if len(values) > 1:
        assert stage["sd"]["value"] == pytest.approx(values.std(ddof=1), abs=near)
    width = 0.5 if quantity == "intonation" else 0.01
    counts = np.floor(values / width + 0.5).astype(int).value_counts()
    told = {round(each["middle"]["value"] / width): each["count"] for each in stage["bins"]}
    assert told == counts.to_dict()
    ordered = np.sort(values.to_numpy())
    for name, share in (("p10", 0.1), ("median", 0.5), ("p90", 0.9)):
        # between the readings that a share of the count falls between, to the width of a bin
        low = ordered[max(0, int(np.ceil(share * len(ordered))) - 1)]
        high = ordered[min(len(ordered) - 1, int(np.floor(share * len(ordered))))]
        assert low - width <= stage["quantiles"][name]["value"] <= high + width, name


def test_jobs_minutes_turnaround_and_parts(counted: Counted) -> None:
    jobs = direct.closed_jobs(counted.database)
    frame = direct.readings(counted.database)
    models = frame.drop_duplicates("job_id").set_index("job_id")["model_id"]
    jobs["model_id"] = models
    parts = direct.read(counted.database, "SELECT job_id, quantity * price AS price FROM job_parts")
    jobs["parts"] = parts.groupby("job_id")["price"].sum()
    jobs["parts"] = jobs["parts"].fillna(0.0)
    ranking = counted.manager.get("/v1/reports/instrument-models?first=2024-01-01&last=2026-12-31").get_json()
    assert ranking["ranked_by"] == "bench-minutes"
    assert ranking["waiting"] == 0
    told = {each["model_id"].replace("-", ""): each for each in ranking["items"]}
    assert [each["rank"] for each in ranking["items"]] == [1, 2, 3]
    minutes = [each["bench_minutes_mean"]["value"] for each in ranking["items"]]
    assert minutes == sorted(minutes, reverse=True)
    for model, group in jobs.groupby("model_id"):
        row = told[str(model)]
        assert row["jobs"] == len(group)
        assert row["came_back"] == group["came_back"].sum()
        assert row["bench_minutes_total"]["value"] == group["worked_minutes"].sum()
        assert row["turnaround_mean"]["value"] == pytest.approx(group["hours"].mean() / 24, abs=0.0051)
        assert row["parts_mean"] == pytest.approx(group["parts"].mean())
        detail = report(counted, row["model_id"], "2024-01-01", "2026-12-31")["jobs"]
        assert detail["count"] == len(group)
        assert detail["bench_minutes"]["median"]["value"] == pytest.approx(group["worked_minutes"].median())
        assert detail["turnaround"]["p90"]["value"] == pytest.approx(
            np.quantile(group["hours"], 0.9) / 24, abs=0.0051
        )


def test_with_a_rate_models_are_ranked_by_cost(counted: Counted) -> None:
    shop = counted.manager.get("/v1/shop")
    changed = counted.manager.patch("/v1/shop", json={"shop_rate": 60.0}, etag=shop.headers["ETag"])
    assert changed.status_code == 200, changed.get_data(as_text=True)
    ranking = counted.manager.get("/v1/reports/instrument-models?first=2024-01-01&last=2026-12-31").get_json()
    assert ranking["ranked_by"] == "cost"
    for each in ranking["items"]:
        expected = each["bench_minutes_mean"]["value"] + each["parts_mean"]
        assert each["cost_mean"] == pytest.approx(expected, abs=0.051)
    costs = [each["cost_mean"] for each in ranking["items"]]
    assert costs == sorted(costs, reverse=True)
    some = counted.manager.get("/v1/reports/instrument-models?maker=Maker%201&first=2024-01-01").get_json()
    assert [each["maker"] for each in some["items"]] == ["Maker 1"]


def test_what_was_done_and_found(counted: Counted) -> None:
    model = counted.models[0]
    told = report(counted, model, "2024-01-01", "2026-12-31")
    steps = direct.read(
        counted.database,
        "SELECT a.job_id, a.part, a.turns, i.model_id FROM adjustments a JOIN jobs j ON j.id = a.job_id "
        "JOIN instruments i ON i.id = j.instrument_id",
    )
    mine = steps[steps["model_id"] == str(model).replace("-", "")]
    rod = next(each for each in told["steps"] if each["name"] == "truss-rod")
    turned = mine[mine["part"] == "truss-rod"]
    assert rod["count"] == len(turned)
    assert rod["way_mean"]["value"] == pytest.approx(turned["turns"].abs().mean(), abs=0.00051)
    assert rod["way_mean"]["unit"] == "turn"
    strings = next(each for each in told["steps"] if each["name"] == "strings")
    assert strings["count"] == (mine["part"] == "strings").sum()
    assert strings["way_mean"] is None
    assert told["jobs"]["restrung"] == mine.loc[mine["part"] == "strings", "job_id"].nunique()
    (worn,) = told["findings"]
    assert worn["name"] == "frets-worn"
    assert worn["per_job"] == pytest.approx(worn["jobs"] / told["jobs"]["count"])


def test_the_year_and_the_air(counted: Counted) -> None:
    model = counted.models[0]
    told = report(counted, model, "2024-01-01", "2026-12-31")
    frame = between(direct.readings(counted.database), model, "2024-01-01", "2026-12-31")
    frame = frame[(frame["stage"] == "as-received") & (frame["quantity"] == "relief")]
    frame = frame[(frame["place"] == "bass") & ~frame["zero_or_less"]]
    by_month = frame.groupby(frame["day"].map(lambda day: day.month))["value"].mean()
    curve = [each for each in told["season"] if (each["quantity"], each["place"]) == ("relief", "bass")]
    assert {each["month"] for each in curve} == set(by_month.index)
    for each in curve:
        assert each["mean"]["value"] == pytest.approx(by_month[each["month"]], abs=0.00051)
    air = [each for each in told["season"] if each["quantity"] == "room-moisture"]
    assert all(4.0 < each["mean"]["value"] < 14.0 and each["mean"]["unit"] == "percent" for each in air)


def test_a_suggested_spec_stands_on_final_readings_that_were_kept(counted: Counted) -> None:
    told = report(counted, counted.models[0], "2024-01-01", "2026-12-31")
    relief = next(
        each for each in told["quantities"] if (each["quantity"], each["place"]) == ("relief", "bass")
    )
    kept = next(stage for stage in relief["stages"] if stage["stage"] == "kept")
    assert relief["suggestion"]["readings"] == kept["count"]
    assert relief["suggestion"]["target"] == kept["quantiles"]["median"]
    assert relief["suggestion"]["lower"] == kept["quantiles"]["p10"]
    one_day = report(counted, counted.models[0], "2024-05-31", "2024-06-01")
    assert all(each["suggestion"] is None for each in one_day["quantities"])


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
        from shimstock_server.database.tables.jobs import Job
        from shimstock_server.learning.marks import mark_job

        for job_id in session.scalars(select(Job.id)):
            mark_job(session, job_id)
    assert work_off_marks(counted.database, counted.config, counted.clock) == counted.size.instruments * 2
    assert report(counted, model, "2024-01-01", "2026-12-31") == before


def test_csv_of_every_table_and_all_of_them_in_a_zip(counted: Counted) -> None:
    path = f"/v1/reports/instrument-models/{counted.models[0]}"
    period = "first=2024-01-01&last=2026-12-31"
    packed = counted.manager.get(f"{path}?{period}", headers={"Accept": "application/zip"})
    archive = zipfile.ZipFile(io.BytesIO(packed.data))
    assert archive.namelist() == [f"{name}.csv" for name in TABLES]
    told = report(counted, counted.models[0], "2024-01-01", "2026-12-31")
    for name in TABLES:
        answer = counted.manager.get(f"{path}?{period}&table={name}", headers={"Accept": "text/csv"})
        assert answer.mimetype == "text/csv"
        assert answer.data == archive.read(f"{name}.csv")
        rows = list(csv.DictReader(io.StringIO(answer.get_data(as_text=True))))
        assert rows
        if name == "quantities":
            stages = [(each, stage) for each in told["quantities"] for stage in each["stages"]]
            assert len(rows) == len(stages)
            for row, (each, stage) in zip(rows, stages, strict=True):
                assert (row["quantity"], row["stage"]) == (each["quantity"], stage["stage"])
                assert float(row["mean"]) == stage["mean"]["value"]
                assert row["unit"] == stage["mean"]["unit"]
        if name == "bins":
            assert sum(int(row["count"]) for row in rows) == sum(
                stage["count"] for each in told["quantities"] for stage in each["stages"]
            )
    inches = counted.manager.get(
        f"{path}?{period}&table=quantities&units=inch", headers={"Accept": "text/csv"}
    ).get_data(as_text=True)
    assert {row["unit"] for row in csv.DictReader(io.StringIO(inches))} == {"thou", "in/64", "cents"}
    unnamed = counted.manager.get(f"{path}?{period}", headers={"Accept": "text/csv"})
    assert unnamed.status_code == 422
    assert unnamed.get_json()["errors"][0]["pointer"] == "/query/table"


def test_text_that_a_spreadsheet_would_run_is_defused(counted: Counted) -> None:
    """OWASP, CSV Injection: a cell must not begin with = + - @, tab or carriage return."""
    path = f"/v1/instrument-models/{counted.models[0]}"
    etag = counted.manager.get(path).headers["ETag"]
    renamed = counted.manager.patch(path, json={"maker": "=2+5", "name": "@SUM(A1)"}, etag=etag)
    assert renamed.status_code == 200
    answer = counted.manager.get(
        f"/v1/reports/instrument-models/{counted.models[0]}?first=2024-01-01&table=quantities",
        headers={"Accept": "text/csv"},
    )
    rows = list(csv.DictReader(io.StringIO(answer.get_data(as_text=True))))
    assert {(row["maker"], row["model"]) for row in rows} == {("'=2+5", "'@SUM(A1)")}
    means = [row["mean"] for row in rows if row["quantity"] == "intonation"]
    assert any(mean.startswith("-") for mean in means)  # a number stays a number


def test_the_page_shows_pictures_and_escapes_names(counted: Counted) -> None:
    path = f"/v1/instrument-models/{counted.models[0]}"
    etag = counted.manager.get(path).headers["ETag"]
    counted.manager.patch(path, json={"name": "<b>Wren</b>"}, etag=etag)
    answer = counted.manager.get(
        f"/v1/reports/instrument-models/{counted.models[0]}?first=2024-01-01&last=2025-12-31",
        headers={"Accept": "text/html"},
    )
    text = answer.get_data(as_text=True)
    assert answer.mimetype == "text/html"
    assert text.count("data:image/svg+xml;base64,") == 3
    assert "&lt;b&gt;Wren" in text
    assert "<b>Wren" not in text
    assert "script" not in text
    assert "img-src data:" in answer.headers["Content-Security-Policy"]


def test_long_reports_are_made_by_the_worker_with_progress(counted: Counted) -> None:
    from shimstock_server.reports import make_long_reports

    begun = counted.manager.post("/v1/reports/runs", json={"first": "2024-01-01", "last": "2025-12-31"})
    assert begun.status_code == 201
    run = begun.get_json()
    assert (run["state"], run["done"], run["total"]) == ("waiting", 0, None)
    assert make_long_reports(counted.database, counted.config, counted.clock) == 4
    path = f"/v1/reports/runs/{run['id']}"
    done = counted.manager.get(path).get_json()
    assert (done["state"], done["done"], done["total"]) == ("done", 4, 4)
    page = counted.manager.get(f"{path}/reports?limit=3").get_json()
    rest = counted.manager.get(f"{path}/reports?limit=3&cursor={page['next']}").get_json()
    found = {each["model_id"]: each for each in page["items"] + rest["items"]}
    assert len(found) == 4
    for model in counted.models:
        assert found[str(model)] == report(counted, model, "2024-01-01", "2025-12-31")
    text = counted.manager.get(f"{path}/reports?table=jobs", headers={"Accept": "text/csv"})
    assert len(text.get_data(as_text=True).splitlines()) == 5
    of_maker = counted.manager.post("/v1/reports/runs", json={"maker": "Maker 2"}).get_json()
    make_long_reports(counted.database, counted.config, counted.clock)
    assert counted.manager.get(f"/v1/reports/runs/{of_maker['id']}").get_json()["total"] == 1
    assert [each["id"] for each in counted.manager.get("/v1/reports/runs").get_json()["items"]] == [
        of_maker["id"], run["id"],
    ]  # fmt: skip


def test_a_bad_question_is_refused(counted: Counted) -> None:
    for query, where in (
        ("first=2025-01-02&last=2025-01-01", "/query/first"),
        ("first=1900-01-01&last=2025-01-01", "/query/first"),
        ("last=2025-13-01", "/query/last"),
        ("table=bins", "/query/table"),
        ("table=nonsense", "/query/table"),
    ):
        answer = counted.manager.get(f"/v1/reports/instrument-models/{counted.models[0]}?{query}")
        assert answer.status_code == 422, query
        assert [error["pointer"] for error in answer.get_json()["errors"]] == [where]


def test_a_model_without_readings_has_an_empty_report(counted: Counted) -> None:
    told = report(counted, counted.workshop.ids["model"], "2020-01-01", "2020-12-31")
    assert told["quantities"] == told["steps"] == told["season"] == []
    assert told["jobs"]["count"] == 0
    assert told["received"]["share_in_spec"] is None
    text = counted.manager.get(
        f"/v1/reports/instrument-models/{counted.workshop.ids['model']}", headers={"Accept": "text/html"}
    ).get_data(as_text=True)
    assert "No readings in these days" in text


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
