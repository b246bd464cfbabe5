"""Reports as tables, pages and on paper; long ones with progress."""

from __future__ import annotations

import csv
import io
import re
import zipfile

import pytest

from shimstock_server.reports.schemas import TABLES

from .asking import report
from .conftest import Counted

SQLITE = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)


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
    drawings = re.findall(r'<svg[^>]*role="img"[^>]*aria-label="([^"]+)"', text)
    # twelve places with a spec, four quantities before and after, four curves and the room's air
    assert len(drawings) == 12 + 4 + 5
    assert any(
        re.match(r"relief, bass\. as received: median 0\.\d\d mm, middle 80 %", told) for told in drawings
    )
    assert "&lt;b&gt;Wren" in text
    assert "<b>Wren" not in text
    assert not re.search(r"<script|<img|style=|https?://(?!www\.w3\.org/2000/svg)", text)
    policy = answer.headers["Content-Security-Policy"]
    assert policy.startswith("default-src 'none'; style-src 'sha256-")
    assert "unsafe" not in policy


@SQLITE
def test_a_pdf_holds_the_pictures_and_tables(counted: Counted) -> None:
    path = f"/v1/reports/instrument-models/{counted.models[0]}?first=2024-01-01&last=2025-12-31"
    answer = counted.manager.get(path, headers={"Accept": "application/pdf"})
    assert answer.mimetype == "application/pdf"
    assert answer.data.startswith(b"%PDF-")
    assert len(re.findall(rb"/Type /Page\b", answer.data)) == 5
    assert counted.manager.get(path, headers={"Accept": "application/pdf"}).data == answer.data


@SQLITE
def test_the_ranking_as_page_and_table(counted: Counted) -> None:
    """OWASP, CSV Injection: a cell must not begin with = + - @, tab or carriage return."""
    path = f"/v1/instrument-models/{counted.models[0]}"
    etag = counted.manager.get(path).headers["ETag"]
    counted.manager.patch(path, json={"maker": "=2+5", "name": "<i>Wren"}, etag=etag)
    address = "/v1/reports/instrument-models?first=2024-01-01&last=2026-12-31"
    told = counted.manager.get(address).get_json()["items"]
    table = counted.manager.get(address, headers={"Accept": "text/csv"}).get_data(as_text=True)
    rows = list(csv.DictReader(io.StringIO(table)))
    assert [row["model_id"] for row in rows] == [each["model_id"] for each in told]
    assert {"'=2+5"} < {row["maker"] for row in rows}
    for row, each in zip(rows, told, strict=True):
        assert float(row["bench_minutes_mean"]) == each["bench_minutes_mean"]["value"]
        assert int(row["jobs"]) == each["jobs"]
    page = counted.manager.get(address, headers={"Accept": "text/html"})
    text = page.get_data(as_text=True)
    assert "=2+5 &lt;i&gt;Wren" in text
    assert text.count("<tr>") == 1 + len(told)
    assert page.headers["Content-Security-Policy"].startswith("default-src 'none'")


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
