"""Taking jobs: one holder each, in the documented order, given back, handed over, taken over when stale."""

from __future__ import annotations

import threading
from datetime import timedelta
from typing import Any
from uuid import UUID

import pytest

from shimstock_server.clock import FixedClock
from tests.server.clients import Client
from tests.server.workshop import Workshop

from .test_moves import claim_next, move


@pytest.fixture
def second(workshop: Workshop, bench_client: Client) -> Client:
    """Another technician at the same bench."""
    made = workshop.add("second", "/v1/technicians", {"name": "Second technician", "skills": ["fretwork"]})
    return Client(
        bench_client.app, bench_client.token, technician_id=UUID(made["id"]), bench_id=bench_client.bench_id
    )


def take(client: Client, job: dict[str, Any], **body: Any) -> Any:
    """Take a named job."""
    return client.open("POST", f"/v1/jobs/{job['id']}/claim", json=body)


def test_there_is_nothing_to_take(workshop: Workshop, bench_client: Client) -> None:
    assert bench_client.open("POST", "/v1/jobs/claims", json={}, idempotency_key="early").status_code == 204
    workshop.queued_job()
    # A 204 is never kept: the same key asks anew.
    assert bench_client.open("POST", "/v1/jobs/claims", json={}, idempotency_key="early").status_code == 200


def test_a_claim_sent_again_gives_the_same_job(workshop: Workshop, bench_client: Client) -> None:
    workshop.queued_job()
    workshop.queued_job()
    first = bench_client.open("POST", "/v1/jobs/claims", json={}, idempotency_key="lost answer").get_json()
    again = bench_client.open("POST", "/v1/jobs/claims", json={}, idempotency_key="lost answer").get_json()
    assert first["id"] == again["id"]
    assert first["claim"] == again["claim"]


def test_jobs_come_by_priority_then_promise_then_age(workshop: Workshop, bench_client: Client) -> None:
    plain = workshop.queued_job()
    promised = workshop.queued_job(promised_on="2026-03-03")
    urgent = workshop.queued_job(priority=9)
    taken = [claim_next(bench_client)["id"] for _ in range(3)]
    assert taken == [urgent["id"], promised["id"], plain["id"]]


def test_a_settled_job_goes_first_and_to_its_technician(
    workshop: Workshop, bench_client: Client, second: Client, clock: FixedClock
) -> None:
    first_job, second_job = workshop.queued_job(), workshop.queued_job()
    for client, expected in ((bench_client, first_job), (second, second_job)):
        job = claim_next(client)
        assert job["id"] == expected["id"]
        until = (clock.now() + timedelta(hours=1)).isoformat()
        assert move(client, job, "settling", claim=job["claim"]["id"], available_at=until).status_code == 200
    workshop.queued_job(priority=9)
    assert claim_next(bench_client)["priority"] == 9
    clock.advance(timedelta(hours=1))
    assert claim_next(second)["id"] == second_job["id"]
    assert claim_next(second)["id"] == first_job["id"]


def test_before_it_has_settled_only_its_technician_takes_it(
    workshop: Workshop, bench_client: Client, second: Client, clock: FixedClock
) -> None:
    workshop.queued_job()
    job = claim_next(bench_client)
    until = (clock.now() + timedelta(hours=1)).isoformat()
    job = move(bench_client, job, "settling", claim=job["claim"]["id"], available_at=until).get_json()
    refused = take(second, job)
    assert (refused.status_code, refused.get_json()["code"]) == (409, "not-claimable")
    assert take(bench_client, job).status_code == 200


def test_a_held_job_is_not_taken_again(workshop: Workshop, bench_client: Client, second: Client) -> None:
    job = workshop.queued_job()
    assert take(bench_client, job).status_code == 200
    refused = take(second, job)
    assert (refused.status_code, refused.get_json()["code"]) == (409, "already-claimed")
    assert refused.get_json()["claim"]["technician"] == "First technician"
    early = take(second, job, take_over=True, reason="mine now")
    assert early.get_json()["code"] == "already-claimed"


def test_a_claim_left_overnight_is_stale_and_can_be_taken_over(
    workshop: Workshop, bench_client: Client, second: Client, clock: FixedClock
) -> None:
    job = take(bench_client, workshop.queued_job()).get_json()
    assert job["claim"]["stale"] is False
    clock.advance(timedelta(hours=20))  # noon on Monday to 09:00 on Tuesday in the shop's zone
    seen = second.open("GET", f"/v1/jobs/{job['id']}").get_json()
    assert seen["claim"]["stale"] is True
    unsaid = take(second, job, take_over=True)
    assert unsaid.get_json()["errors"][0]["pointer"] == "/reason"
    taken = take(second, job, take_over=True, reason="left overnight")
    assert taken.status_code == 200
    assert taken.get_json()["claim"]["technician"] == "Second technician"
    late = move(bench_client, taken.get_json(), "final-check", claim=job["claim"]["id"])
    assert (late.status_code, late.get_json()["code"]) == (409, "claim-ended")
    assert late.get_json()["claim"]["technician"] == "Second technician"


def test_a_job_is_given_back(workshop: Workshop, bench_client: Client, second: Client) -> None:
    job = take(bench_client, workshop.queued_job()).get_json()
    back = bench_client.open("DELETE", f"/v1/jobs/{job['id']}/claim/{job['claim']['id']}")
    assert (back.status_code, back.get_json()["state"], back.get_json()["claim"]) == (200, "queued", None)
    again = bench_client.open("DELETE", f"/v1/jobs/{job['id']}/claim/{job['claim']['id']}")
    assert (again.status_code, again.get_json()["code"]) == (409, "claim-ended")
    assert claim_next(second)["id"] == job["id"]


def test_a_job_is_handed_over(workshop: Workshop, bench_client: Client, second: Client) -> None:
    job = take(bench_client, workshop.queued_job()).get_json()
    body = {"claim": job["claim"]["id"], "technician_id": workshop.ids["second"], "note": "frets are yours"}
    passed = bench_client.open("POST", f"/v1/jobs/{job['id']}/handover", json=body)
    assert passed.status_code == 200
    assert passed.get_json()["claim"]["technician"] == "Second technician"
    assert passed.get_json()["state"] == "on-bench"
    mine = move(second, passed.get_json(), "final-check", claim=passed.get_json()["claim"]["id"])
    assert mine.status_code == 200


def test_skills_decide_who_takes_a_job(workshop: Workshop, bench_client: Client, second: Client) -> None:
    job = workshop.queued_job(skills=["fretwork"])
    assert bench_client.open("POST", "/v1/jobs/claims", json={}).status_code == 204
    assert take(bench_client, job).get_json()["code"] == "skill-missing"
    assert claim_next(second)["id"] == job["id"]


def test_a_technician_holds_no_more_jobs_than_the_shop_allows(
    workshop: Workshop, bench_client: Client
) -> None:
    jobs = [workshop.queued_job() for _ in range(4)]
    for job in jobs[:3]:
        assert take(bench_client, job).status_code == 200
    refused = take(bench_client, jobs[3])
    assert (refused.status_code, refused.get_json()["code"]) == (409, "too-many-claims")
    assert bench_client.open("POST", "/v1/jobs/claims", json={}).get_json()["code"] == "too-many-claims"


def test_a_bench_names_its_technician(workshop: Workshop, bench_client: Client) -> None:
    workshop.queued_job()
    nobody = Client(bench_client.app, bench_client.token)
    refused = nobody.open("POST", "/v1/jobs/claims", json={})
    assert (refused.status_code, refused.get_json()["code"]) == (400, "technician-required")


def test_eight_at_once_take_eight_jobs(workshop: Workshop, bench_client: Client) -> None:
    jobs = {workshop.queued_job()["id"] for _ in range(8)}
    technicians = [
        UUID(workshop.add(f"t{n}", "/v1/technicians", {"name": f"Technician {n}"})["id"]) for n in range(8)
    ]
    taken: list[str] = []

    def take_one(technician: UUID) -> None:
        client = Client(bench_client.app, bench_client.token, technician_id=technician)
        taken.append(claim_next(client)["id"])

    threads = [threading.Thread(target=take_one, args=(technician,)) for technician in technicians]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(taken) == sorted(jobs)


def test_what_the_clock_changes_is_never_called_unchanged(
    workshop: Workshop, bench_client: Client, clock: FixedClock
) -> None:
    job = take(bench_client, workshop.queued_job()).get_json()
    path = f"/v1/jobs/{job['id']}"
    seen = bench_client.open("GET", path)
    clock.advance(timedelta(hours=20))
    again = bench_client.open("GET", path, headers={"If-None-Match": seen.headers["ETag"]})
    assert again.status_code == 200
    assert (seen.get_json()["claim"]["stale"], again.get_json()["claim"]["stale"]) == (False, True)
    assert again.headers["ETag"] == seen.headers["ETag"]
