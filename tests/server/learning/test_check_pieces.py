"""A bench reads its check piece every day: limits from its own history, and word when it drifts."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

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


def check(shop: Shop, piece: dict[str, Any], *values: float) -> dict[str, Any]:
    answer = shop.bench.post(
        f"/v1/check-pieces/{piece['id']}/readings", json={"values": [mm(value) for value in values]}
    )
    assert answer.status_code == 201, answer.get_data(as_text=True)
    shop.wait(24 * 60)
    told: dict[str, Any] = answer.get_json()
    return told


def drifting(shop: Shop) -> dict[str, bool]:
    benches = shop.manager.get("/v1/reports/bench-agreement").get_json()["benches"]
    return {bench["name"]: bench["drifting"] for bench in benches}


def test_limits_come_from_the_benchs_own_history_and_a_drift_is_flagged(shop: Shop) -> None:
    """NIST/SEMATECH e-Handbook 2.2.2.1 and 2.2.3.1: mean ± 3 s2, s1·√F, against numpy's own figures."""
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
    spread = max(means.std(ddof=1), 0.05 / np.sqrt(12))  # at least that of feelers in steps of 0.05 mm
    assert limits["days"] == 5
    assert limits["mean"]["value"] == pytest.approx(means.mean(), abs=0.0006)
    assert limits["upper"]["value"] == pytest.approx(means.mean() + 3 * spread, abs=0.0006)
    pooled = np.sqrt(np.var(days, axis=1, ddof=1).mean())
    assert limits["repetition_sd"]["value"] == pytest.approx(pooled, abs=0.0006)
    assert limits["bias"]["value"] == pytest.approx(means.mean() - 1.0, abs=0.0006)
    assert check(shop, piece, 1.01, 1.00, 1.01)["verdict"] == "in control"
    assert drifting(shop) == {"First bench": False}
    high = check(shop, piece, 1.15, 1.15, 1.16)
    assert high["verdict"] == "reads high"
    assert drifting(shop) == {"First bench": True}
    assert check(shop, piece, 1.00, 1.30, 0.70)["verdict"] == "repeats badly"
    # what was out does not move the limits
    assert shop.bench.get(f"/v1/check-pieces/{piece['id']}").get_json()["limits"]["days"] == 6
    assert check(shop, piece, 1.00, 1.00, 1.01)["verdict"] == "in control"
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
    changed = shop.bench.patch(path, json={"limits_from": today, "note": "new dial"}, etag=etag)
    assert changed.status_code == 200
    assert changed.get_json()["limits"] is None
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
