"""Minutes of readings and adjustments, learned from the times and minutes that benches record."""

from __future__ import annotations

from typing import Any

import pytest

from tests.server.workshop import mm

from .conftest import Shop


def told(shop: Shop, name: str) -> dict[str, Any]:
    rows = shop.manager.get("/v1/shop").get_json()["minutes"]
    (found,) = [row for row in rows if row["name"] == name]
    return dict(found)


def finish(shop: Shop, job: dict[str, Any]) -> None:
    for to in ("final-check", "ready"):
        version = shop.bench.get(f"/v1/jobs/{job['id']}").get_json()["version"]
        body = {"to": to, "claim": job["claim"]["id"], "reason": "only the rod was asked for"}
        moved = shop.bench.post(f"/v1/jobs/{job['id']}/moves", json=body, etag=f'"{version}.mm"')
        assert moved.status_code == 200, moved.get_data(as_text=True)


def work(shop: Shop, pauses: tuple[float, ...] = (3.0, 6.0), said: int | None = None) -> dict[str, Any]:
    """A job whose relief is read, its rod turned, and relief read again: minutes before turn and reading."""
    job = shop.job(shop.workshop.ids["instrument"])
    shop.relief(job, 0.45)
    shop.wait(pauses[1])
    shop.turn(job, 0.25, minutes=said)
    shop.wait(pauses[0])
    shop.relief(job, 0.36)
    shop.wait(1)
    finish(shop, job)
    return job


def test_minutes_are_learned_from_twenty_of_a_kind_on(shop: Shop) -> None:
    # judgement: 1 min each without any job; a turn's time holds 2 min of tuning
    for _ in range(19):
        work(shop)
    shop.count()
    few = told(shop, "relief")
    assert (few["minutes"], few["source"], few["usual"]) == (1.0, "usual", 1.0)
    assert (few["learned"], few["count"], few["own"]) == (3.0, 19, None)
    work(shop)
    shop.count()
    enough = told(shop, "relief")
    assert (enough["minutes"], enough["source"], enough["count"]) == (3.0, "learned", 20)
    assert told(shop, "truss-rod")["learned"] == 4.0
    assert shop.manager.get("/v1/shop").get_json()["prices"]["reading"]["relief"] == 3.0
    unseen = told(shop, "saddle")
    assert (unseen["minutes"], unseen["learned"], unseen["count"]) == (15.0, None, 0)


def test_what_the_shop_sets_comes_before_what_is_learned(shop: Shop) -> None:
    for _ in range(20):
        work(shop)
    shop.count()

    def change(minutes: float | None) -> None:
        tag = shop.manager.get("/v1/shop").headers["ETag"]
        body = {"prices": {"reading": {"relief": minutes}}}
        assert shop.manager.patch("/v1/shop", json=body, etag=tag).status_code == 200

    change(7.0)
    own = told(shop, "relief")
    assert (own["minutes"], own["source"], own["own"], own["learned"]) == (7.0, "own", 7.0, 3.0)
    change(None)
    assert told(shop, "relief")["source"] == "learned"


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_the_median_forgives_pauses_and_sheets_that_were_typed_in_later(shop: Shop) -> None:
    for _ in range(14):
        work(shop)
    for _ in range(6):
        work(shop, (29.0, 6.0))  # the telephone rang
    for _ in range(4):
        work(shop, (400.0, 6.0))  # the day was over: no time of a reading at all
    shop.count()
    assert (told(shop, "relief")["learned"], told(shop, "relief")["count"]) == (3.0, 20)


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_minutes_that_are_said_count_rather_than_the_time(shop: Shop) -> None:
    for _ in range(20):
        work(shop, (3.0, 25.0), said=5)
    shop.count()
    # 5 min were said of each, 2 of them for tuning (judgement)
    assert told(shop, "truss-rod")["minutes"] == 3.0


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_a_sheet_of_several_readings_shares_its_time_and_one_of_several_quantities_teaches_nothing(
    shop: Shop,
) -> None:
    def reading(quantity: str, side: str, value: float) -> dict[str, Any]:
        tool = shop.workshop.ids["depth"]
        return {"quantity": quantity, "side": side, "value": mm(value), "tool_id": tool, "confirmed": True}

    job = shop.job(shop.workshop.ids["instrument"])
    both = [reading("action", "bass", 1.7), reading("action", "treble", 1.5)]
    shop.read(job, both)
    shop.wait(3)
    wrong = shop.read(job, both)
    shop.read(job, both, supersedes=wrong, supersedes_reason="the sides were exchanged")
    shop.wait(8)
    shop.read(job, [*both, reading("nut-action", "bass", 0.45)])
    shop.wait(1)
    finish(shop, job)
    shop.count()
    assert (told(shop, "action")["learned"], told(shop, "action")["count"]) == (1.5, 1)
    assert told(shop, "nut-action")["count"] == 0


def test_a_job_stays_with_the_minutes_of_its_first_reading(shop: Shop) -> None:
    before = shop.job(shop.instrument())
    shop.relief(before, 0.45)
    plan = shop.bench.get(f"/v1/jobs/{before['id']}/recommendation").get_json()
    for _ in range(20):
        work(shop, (12.0, 20.0))
    shop.count()
    again = shop.bench.get(f"/v1/jobs/{before['id']}/recommendation").get_json()
    assert again["digest"] == plan["digest"]
    after = shop.job(shop.instrument())
    shop.relief(after, 0.45)
    dearer = shop.bench.get(f"/v1/jobs/{after['id']}/recommendation").get_json()
    one, other = (
        next(step for step in each["steps"] if step["kind"] == "relief")["worth"]["costs"]["value"]
        for each in (plan, dearer)
    )
    assert other > one + 20.0
