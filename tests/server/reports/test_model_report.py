"""The report on a model equals what pandas makes of the same readings."""

from __future__ import annotations

import itertools
from typing import Any

import numpy as np
import pandas as pd
import pytest
from scipy.stats import linregress

from shimstock_calc.wood import wood_moisture
from shimstock_server.reports import seasonal
from tests.server.workshop import mm, sheet

from . import direct
from .asking import between, report
from .conftest import Counted

PERIODS = [
    ("2024-01-01", "2025-12-31"),  # whole months
    ("2024-03-15", "2025-06-10"),  # edges within months
    ("2024-05-03", "2024-05-20"),  # within one month
    ("2024-05-31", "2024-06-01"),  # two days of two months
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


def test_shares_of_jobs_are_of_jobs_done_each_counted_once(counted: Counted) -> None:
    """A job that reaches from one month into the next is one job; a share is never above 1."""
    model, first, last = counted.models[0], "2024-01-01", "2026-12-31"
    told = report(counted, model, first, last)
    steps = direct.read(counted.database, "SELECT job_id, part FROM adjustments")
    jobs = direct.closed_jobs(counted.database)
    mine = direct.readings(counted.database).drop_duplicates("job_id").set_index("job_id")["model_id"]
    done = jobs.index[[mine[job] == str(model).replace("-", "") for job in jobs.index]]
    wanted = steps[steps["job_id"].isin(done)].groupby("part")["job_id"].nunique()
    assert {each["name"]: each["jobs"] for each in told["steps"]} == wanted.to_dict()
    for each in told["steps"]:
        assert each["per_job"] == pytest.approx(wanted[each["name"]] / len(done))


def test_relief_is_held_against_the_spec_where_it_was_read(counted: Counted) -> None:
    """A target for one hold is brought to the other by the neck's geometry, as for a verdict."""
    manager, ids = counted.manager, counted.workshop.ids
    job = counted.workshop.job()
    reading = {
        "quantity": "relief", "side": "bass", "value": mm(0.25), "tool_id": ids["feelers"], "held": [1, 17],
        "fret": 7,
    }  # fmt: skip
    assert manager.post(f"/v1/jobs/{job['id']}/reading-sheets", json=sheet([reading])).status_code == 201
    (told,) = report(counted, ids["model"], "2026-01-01", "2026-12-31")["quantities"]
    assert told["frets"] == "held 1-17, fret 7"
    assert told["spec"]["converted"] is True
    # a shorter hold shows less of the same bow
    assert told["spec"]["target"]["value"] < 0.20
    ratio = told["spec"]["upper"]["value"] / told["spec"]["lower"]["value"]
    assert ratio == pytest.approx(3.0, abs=0.05)  # 0.10 to 0.30 mm
    assert told["resolution"] == {"value": 0.01, "unit": "mm"}


def test_action_against_moisture_is_a_line_through_months(
    counted: Counted, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(seasonal, "LEAST_READINGS", 1)
    told = report(counted, counted.models[0], "2024-01-01", "2026-12-31")["against_moisture"]
    by_place = {(each["quantity"], each["place"]): each for each in told}
    frame = between(direct.readings(counted.database), counted.models[0], "2024-01-01", "2026-12-31")
    frame = frame[frame["stage"] == "as-received"]
    frame["month"] = frame["day"].map(lambda day: day.year * 12 + day.month)
    sheets = frame.drop_duplicates("sheet_id")
    moisture = wood_moisture(sheets["room_humidity"].to_numpy(), sheets["room_temperature"].to_numpy())
    air = pd.Series(moisture).groupby(sheets["month"].to_numpy()).mean()
    mine = frame[(frame["quantity"] == "action") & (frame["place"] == "bass")].groupby("month")["value"]
    means = mine.mean()
    fitted = linregress(air[means.index], means)
    found = by_place["action", "bass"]
    assert found["months"] == len(means)
    assert found["per_percent"]["value"] == pytest.approx(fitted.slope, abs=0.00051)
    assert found["uncertainty"]["value"] == pytest.approx(fitted.stderr, abs=0.00051)


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
