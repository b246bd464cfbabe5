"""A bench reads its check piece every day: limits from its own history, and word when it drifts."""

from __future__ import annotations

import csv
import io
import zipfile
from typing import Any
from uuid import uuid4

import numpy as np
import pytest
import scipy.stats

from tests.reference import load
from tests.server.clients import code, pointers
from tests.server.workshop import mm

from .conftest import Shop


def add(shop: Shop, **more: Any) -> dict[str, Any]:
    bench = shop.manager.get("/v1/benches").get_json()["items"][0]["id"]
    body = {
        "name": "block 1.00", "bench_id": bench, "quantity": "relief",
        "tool_id": shop.workshop.ids["feelers"],
        "stated": mm(1.0), "repetitions": 3,
    } | more  # fmt: skip
    answer = shop.bench.post("/v1/check-pieces", json=body)
    assert answer.status_code == 201, answer.get_data(as_text=True)
    piece: dict[str, Any] = answer.get_json()
    return piece


def check(
    shop: Shop, piece: dict[str, Any], *values: float, unit: str = "mm", wait: float = 24 * 60
) -> dict[str, Any]:
    sent = [{"value": value, "unit": unit} for value in values]
    answer = shop.bench.post(
        f"/v1/check-pieces/{piece['id']}/readings", json={"values": sent, "confirmed": unit != "mm"}
    )
    assert answer.status_code == 201, answer.get_data(as_text=True)
    shop.wait(wait)
    told: dict[str, Any] = answer.get_json()
    return told


def drifting(shop: Shop) -> dict[str, bool]:
    benches = shop.manager.get("/v1/reports/bench-agreement").get_json()["benches"]
    return {bench["name"]: bench["drifting"] for bench in benches}


def test_limits_come_from_the_benchs_own_history_and_a_drift_is_flagged(shop: Shop) -> None:
    """NIST/SEMATECH e-Handbook 2.2.2.1 and 2.2.3.1, with Student's t for few days, against scipy."""
    piece = add(shop)
    assert (piece["limits"], piece["newest"], piece["drifting"]) == (None, None, False)
    days = [
        (1.01, 1.00, 0.99),
        (1.02, 1.01, 1.00),
        (0.99, 1.00, 1.01),
        (1.00, 1.02, 1.01),
        (0.98, 1.00, 0.99),
    ]
    for day in days:
        assert check(shop, piece, *day)["verdict"] == "too little history"
    limits = shop.bench.get(f"/v1/check-pieces/{piece['id']}").get_json()["limits"]
    means = np.mean(days, axis=1)
    beyond = scipy.stats.t.ppf(scipy.stats.norm.cdf(3), 4) * means.std(ddof=1) * np.sqrt(1 + 1 / 5)
    assert beyond > 3 * 0.05 / np.sqrt(12)  # at least that of feelers in steps of 0.05 mm
    assert limits["days"] == 5
    assert limits["mean"]["value"] == pytest.approx(means.mean(), abs=0.0006)
    assert limits["upper"]["value"] == pytest.approx(means.mean() + beyond, abs=0.0006)
    pooled = np.sqrt(np.var(days, axis=1, ddof=1).mean())
    assert limits["repetition_sd"]["value"] == pytest.approx(pooled, abs=0.0006)
    assert limits["bias"]["value"] == pytest.approx(means.mean() - 1.0, abs=0.0006)
    assert check(shop, piece, 1.01, 1.00, 1.01)["verdict"] == "in control"
    assert drifting(shop) == {"First bench": False}
    high = check(shop, piece, 1.15, 1.15, 1.16)
    assert high["verdict"] == "reads high"
    assert drifting(shop) == {"First bench": True}
    assert check(shop, piece, 1.00, 1.30, 0.70)["verdict"] == "repeats badly"
    told = shop.bench.get(f"/v1/check-pieces/{piece['id']}").get_json()
    assert (told["drifting"], told["repeats_badly"]) == (False, True)
    assert told["limits"]["days"] == 6
    assert check(shop, piece, 1.00, 1.00, 1.01)["verdict"] == "in control"
    # what was out counts as soon as it is over: limits that leave it out alarm too often
    assert shop.bench.get(f"/v1/check-pieces/{piece['id']}").get_json()["limits"]["days"] == 9
    assert drifting(shop) == {"First bench": False}
    listed = shop.bench.get(f"/v1/check-pieces/{piece['id']}/readings?limit=3").get_json()["items"]
    assert [each["verdict"] for each in listed] == ["in control", "repeats badly", "reads high"]


def test_after_a_repair_limits_are_drawn_anew(shop: Shop) -> None:
    piece = add(shop, repetitions=1, tool_id=None)
    for value in (1.00, 1.01, 0.99, 1.00, 1.01):
        check(shop, piece, value)
    assert check(shop, piece, 1.20)["verdict"] == "reads high"
    path = f"/v1/check-pieces/{piece['id']}"
    etag = shop.bench.get(path).headers["ETag"]
    today = shop.now[:10]
    tomorrow = "2026-03-09"
    refused = shop.bench.patch(path, json={"limits_from": tomorrow}, etag=etag)
    assert (today, pointers(refused)) == ("2026-03-08", ["/limits_from"])
    assert shop.bench.get(path).get_json()["drifting"] is True
    changed = shop.bench.patch(path, json={"limits_from": today, "note": "new dial"}, etag=etag)
    assert changed.status_code == 200
    told = changed.get_json()
    assert (told["limits"], told["days_to_limits"], told["drifting"]) == (None, 5, False)
    for value in (1.20, 1.21, 1.19, 1.20, 1.21):
        assert check(shop, piece, value)["verdict"] == "too little history"
    assert check(shop, piece, 1.20)["verdict"] == "in control"
    assert shop.bench.patch(path, json={"active": False}, etag=etag).status_code == 412


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_what_cannot_be_taken_is_refused(shop: Shop) -> None:
    piece = add(shop)
    path = f"/v1/check-pieces/{piece['id']}/readings"
    assert pointers(shop.bench.post(path, json={"values": [mm(1.0)]})) == ["/values"]
    wrong = [{"value": 1, "unit": "cents"}, mm(1.0), mm(1.0)]
    assert pointers(shop.bench.post(path, json={"values": wrong})) == ["/values/0/unit"]
    body = {"name": "n", "bench_id": piece["bench_id"], "quantity": "intonation",
            "tool_id": shop.workshop.ids["feelers"]}  # fmt: skip
    assert pointers(shop.bench.post("/v1/check-pieces", json=body)) == ["/tool_id"]
    assert code(shop.bench.post("/v1/check-pieces", json=body)) == "invalid-fields"


def six_like(mean: float, deviation: float) -> list[float]:
    """Six readings of this very mean and standard deviation."""
    spread = np.array([-1.5, -0.5, -1.0, 1.0, 0.5, 1.5])
    return [float(value) for value in mean + deviation * spread / spread.std(ddof=1)]


def test_the_published_check_standard_through_the_public_surface(shop: Shop) -> None:
    """NIST/SEMATECH e-Handbook 2.4.4, MPC441: two runs of six days, six readings a day; s1, s2 as printed."""
    rows = load.rows("nist_mpc441")
    found = []
    for run in ("1", "2"):
        piece = add(
            shop, name=f"run {run}", quantity="pickup-height", tool_id=None, stated=None, repetitions=6
        )
        for row in rows:
            if row["run"] == run:
                check(shop, piece, *six_like(float(row["average"]), float(row["sd_6reps"])), unit="in")
        found.append(shop.bench.get(f"/v1/check-pieces/{piece['id']}").get_json()["limits"])
    assert [each["days"] for each in found] == [6, 6]
    s1, s2 = (
        np.sqrt(np.mean([(each[name]["value"] / 25.4) ** 2 for each in found]))
        for name in ("repetition_sd", "mean_sd")
    )
    assert s1 == pytest.approx(0.07871, abs=3e-5)  # read in inches, told in thousandths of a mm
    assert s2 == pytest.approx(0.02742157, abs=3e-5)


def test_days_that_were_out_stay_in_the_history(shop: Shop) -> None:
    """NIST/SEMATECH e-Handbook 2.6.2, 25 days of a check standard: s1 0.06139 and s2 0.02680 as printed.

    Two of its days repeat badly by the limits from the days before; without them s1 were 0.0540.
    """
    piece = add(shop, quantity="pickup-height", tool_id=None, stated=None, repetitions=6)
    rows = load.rows("nist_mpc62")
    told = [
        check(shop, piece, *six_like(float(row["average"]), float(row["sd_6reps"])), unit="in")["verdict"]
        for row in rows
    ]
    assert [n for n, verdict in enumerate(told) if "badly" in verdict] == [7, 19]
    limits = shop.bench.get(f"/v1/check-pieces/{piece['id']}").get_json()["limits"]
    assert limits["days"] == 25
    assert limits["repetition_sd"]["value"] / 25.4 == pytest.approx(0.06139, abs=3e-5)
    assert limits["mean_sd"]["value"] / 25.4 == pytest.approx(0.02680, abs=3e-5)


def test_days_count_and_not_how_often_somebody_checks(shop: Shop) -> None:
    piece = add(shop, repetitions=1, tool_id=None)
    for value in (1.00, 1.01, 0.99, 1.00, 1.01, 1.00):
        assert check(shop, piece, value, wait=10)["verdict"] == "too little history"
    path = f"/v1/check-pieces/{piece['id']}"
    seen = shop.bench.get(path)
    assert (seen.get_json()["limits"], seen.get_json()["days_to_limits"]) == (None, 4)
    shop.wait(24 * 60)
    for value in (1.02, 0.98, 1.00, 1.01):
        check(shop, piece, value)
    # checks do not raise the version: who looks again must see them all the same
    told = shop.bench.get(path, headers={"If-None-Match": seen.headers["ETag"]}).get_json()
    assert (told["limits"]["days"], told["days_to_limits"]) == (5, 0)
    assert told["limits"]["mean"]["value"] == pytest.approx(np.mean([1.00, 1.02, 0.98, 1.00, 1.01]), abs=6e-4)


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_a_bench_that_drifts_slowly_does_not_take_its_limits_along(shop: Shop) -> None:
    dice = np.random.default_rng(3)
    piece = add(shop, repetitions=1, tool_id=None)
    early = [check(shop, piece, float(1.0 + dice.normal(0, 0.01)))["verdict"] for _ in range(50)]
    assert sum(each not in ("in control", "too little history") for each in early) <= 3
    limits = shop.bench.get(f"/v1/check-pieces/{piece['id']}").get_json()["limits"]
    late = [check(shop, piece, 1.0 + 0.001 * day)["verdict"] for day in range(45)]
    assert late[-1] == "reads high"
    assert drifting(shop) == {"First bench": True}
    after = shop.bench.get(f"/v1/check-pieces/{piece['id']}").get_json()["limits"]
    assert after["upper"]["value"] == pytest.approx(limits["upper"]["value"], abs=0.004)


def test_a_check_sent_twice_is_one(shop: Shop) -> None:
    piece, other = add(shop, repetitions=1), add(shop, repetitions=1, name="other")
    body = {"id": str(uuid4()), "values": [mm(1.0)]}
    path = "/v1/check-pieces/{}/readings"
    first = shop.bench.post(path.format(piece["id"]), json=body)
    again = shop.bench.post(path.format(piece["id"]), json=body)
    assert (first.status_code, again.status_code) == (201, 200)
    assert again.get_json() == first.get_json()
    assert code(shop.bench.post(path.format(piece["id"]), json=body | {"values": [mm(1.1)]})) == "id-taken"
    assert code(shop.bench.post(path.format(other["id"]), json=body)) == "id-taken"
    assert len(shop.bench.get(path.format(piece["id"])).get_json()["items"]) == 1


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_a_piece_that_another_has_replaced_is_read_no_more(shop: Shop) -> None:
    old = add(shop, bench_id=None)
    assert old["bench_id"] == str(shop.bench.bench_id)
    for _ in range(6):
        check(shop, old, 1.00, 1.01, 0.99)
    check(shop, old, 1.3, 1.3, 1.3)
    assert drifting(shop) == {"First bench": True}
    path = f"/v1/check-pieces/{old['id']}"
    shop.bench.patch(path, json={"active": False}, etag=shop.bench.get(path).headers["ETag"])
    assert code(shop.bench.post(f"{path}/readings", json={"values": [mm(1.0)] * 3})) == "check-piece-retired"
    new = add(shop, name="block 2.00", stated=mm(2.0))
    assert drifting(shop) == {"First bench": False}
    here = shop.bench.get("/v1/check-pieces?active=true&here=true").get_json()["items"]
    assert [each["id"] for each in here] == [new["id"]]
    nowhere = {"name": "n", "quantity": "relief"}
    assert pointers(shop.manager.post("/v1/check-pieces", json=nowhere)) == ["/bench_id"]


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_a_value_that_nobody_would_believe_and_a_clock_ahead_are_refused(shop: Shop) -> None:
    piece = add(shop, repetitions=2)
    path = f"/v1/check-pieces/{piece['id']}/readings"
    assert pointers(shop.bench.post(path, json={"values": [mm(1.0), mm(10.0)]})) == ["/values/1/value"]
    ahead = {"values": [mm(1.0)] * 2, "taken_at": "2026-03-03T12:00:00Z"}
    assert code(shop.bench.post(path, json=ahead)) == "clock-ahead"
    late = {"values": [mm(1.0)] * 2, "taken_at": "2026-02-27T08:00:00Z"}
    assert shop.bench.post(path, json=late).get_json()["day"] == "2026-02-27"


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_the_report_is_a_page_with_pictures_and_tidy_tables(shop: Shop) -> None:
    piece = add(shop, name="=1+1 <b>block</b>")
    for day in range(7):
        check(shop, piece, 1.00, 1.01, 0.99 + 0.001 * day)
    check(shop, piece, 1.3, 1.3, 1.3, wait=1)
    bench = shop.manager.get("/v1/reports/bench-agreement").get_json()["benches"][0]
    assert (bench["checked_on"], bench["checked_today"]) == ("2026-03-09", True)
    page = shop.manager.get("/v1/reports/bench-agreement", headers={"Accept": "text/html"})
    assert page.headers["Content-Security-Policy"].startswith("default-src 'none'")
    text = page.get_data(as_text=True)
    assert "=1+1 &lt;b&gt;block&lt;/b&gt;" in text
    assert "Checked today; it drifts" in text
    assert text.count('role="img"') == 1
    assert "<b>block" not in text
    asked = "/v1/reports/bench-agreement?table=checks"
    table = shop.manager.get(asked, headers={"Accept": "text/csv"}).get_data(as_text=True)
    rows = list(csv.DictReader(io.StringIO(table)))
    assert (len(rows), rows[-1]["verdict"], rows[-1]["mean"]) == (8, "reads high", "1.3")
    assert rows[0]["check_piece"] == "'=1+1 <b>block</b>"
    assert pointers(shop.manager.get(asked)) == ["/query/table"]
    zipped = shop.manager.get("/v1/reports/bench-agreement", headers={"Accept": "application/zip"})
    names = zipfile.ZipFile(io.BytesIO(zipped.get_data())).namelist()
    assert names == ["studies.csv", "readings.csv", "repeats.csv", "checks.csv"]
