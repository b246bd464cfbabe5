"""What the shop's plans reckon with: shown with what is usual, changed one by one, and part of every plan."""

from __future__ import annotations

from typing import Any

import pytest

from tests.server.clients import Client, pointers
from tests.server.workshop import Workshop, case_one_readings, set_up, sheet

SHOP: dict[str, Any] = {"name": "Werkbank Lindenfurt", "zone": "Europe/Berlin"}


def shop(client: Client) -> tuple[dict[str, Any], str]:
    """The settings, and their ETag."""
    answer = client.get("/v1/shop")
    found: dict[str, Any] = answer.get_json()
    return found, answer.headers["ETag"]


def change(client: Client, **fields: Any) -> dict[str, Any]:
    answer = client.patch("/v1/shop", json=fields, etag=shop(client)[1])
    assert answer.status_code == 200, answer.get_json()
    changed: dict[str, Any] = answer.get_json()
    return changed


def test_prices_are_shown_whole_and_changed_one_by_one(client: Client) -> None:
    made = client.put("/v1/shop", json=SHOP).get_json()
    usual = made["prices"]
    # judgement: 160 bench minutes for an instrument that goes out wrong
    assert (usual["wrong"], usual["reading"]["relief"], usual["adjustment"]["saddle"]) == (160.0, 1.0, 15.0)
    assert made["everything_at_the_end"] is False
    change(client, prices={"wrong": 240, "reading": {"relief": 1.5, "nut-action": 2}})
    changed = change(client, prices={"reading": {"relief": 3}, "adjustment": {"truss-rod": 4}})
    assert changed["prices"] == {
        **usual,
        "wrong": 240.0,
        "reading": {**usual["reading"], "relief": 3.0, "nut-action": 2.0},
        "adjustment": {**usual["adjustment"], "truss-rod": 4.0},
    }
    assert changed == shop(client)[0]
    taken_back = change(client, prices={"wrong": None, "reading": {"relief": None}})["prices"]
    assert (taken_back["wrong"], taken_back["reading"]["relief"]) == (160.0, 1.0)
    assert taken_back["reading"]["nut-action"] == 2.0
    whole = client.put("/v1/shop", json=SHOP, etag=shop(client)[1])
    assert whole.get_json()["prices"] == usual


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
@pytest.mark.parametrize(
    ("prices", "pointer"),
    [
        ({"wrong": 0}, "/prices/wrong"),
        ({"wrong": "dear"}, "/prices/wrong"),
        ({"prompt": -1}, "/prices/prompt"),
        ({"reading": {"relief": 0}}, "/prices/reading/relief"),
        ({"reading": {"scale": 1}}, "/prices/reading/scale"),
        ({"adjustment": {"nut-slot": 1e9}}, "/prices/adjustment/nut-slot"),
        ({"adjustment": 5}, "/prices/adjustment"),
        ({"rent": 5}, "/prices/rent"),
    ],
)
def test_a_price_that_cannot_be_is_refused_with_the_field(
    client: Client, prices: dict[str, Any], pointer: str
) -> None:
    made = client.put("/v1/shop", json=SHOP)
    for answer in (
        client.patch("/v1/shop", json={"prices": prices}, etag=made.headers["ETag"]),
        client.put("/v1/shop", json=SHOP | {"prices": prices}, etag=made.headers["ETag"]),
    ):
        assert (answer.status_code, pointers(answer)) == (422, [pointer])
    assert shop(client)[0] == made.get_json()


def test_a_plan_reckons_with_the_shops_prices(client: Client, bench_client: Client) -> None:
    things: Workshop = set_up(client)
    job = things.queued_job()
    body = sheet(case_one_readings(things))
    assert bench_client.open("POST", f"/v1/jobs/{job['id']}/reading-sheets", json=body).status_code == 201

    def plan() -> dict[str, Any]:
        found: dict[str, Any] = bench_client.open("GET", f"/v1/jobs/{job['id']}/recommendation").get_json()
        return found

    before = plan()
    assert "relief" in {step["kind"] for step in before["steps"]}
    change(client, prices={"visit": 11})
    dearer = plan()
    assert dearer["digest"] != before["digest"]
    # where a mistake costs less than a turn of the rod, nothing is worth turning
    change(client, prices={"visit": None, "wrong": 1})
    assert "relief" not in {step["kind"] for step in plan()["steps"]}
    change(client, prices={"wrong": None})
    assert plan()["digest"] == before["digest"]
    change(client, everything_at_the_end=True)
    assert plan()["digest"] != before["digest"]
