"""A job's way through the shop: the moves there are, what each needs, and who may make it."""

from __future__ import annotations

from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest
from sqlalchemy import select

from shimstock_server.clock import FixedClock
from shimstock_server.database.session import Database
from shimstock_server.database.tables.operations import AuditEvent
from shimstock_server.database.words import JobState
from shimstock_server.jobs.states import MOVES
from tests.server.clients import Client
from tests.server.workshop import Workshop, case_one_readings, intonation, sheet


def move(client: Client, job: dict[str, Any], to: str, **more: Any) -> Any:
    """Ask for a move of a job as it was last seen."""
    return client.open(
        "POST", f"/v1/jobs/{job['id']}/moves", json={"to": to, **more}, etag=f'"{job["version"]}.mm"'
    )


def claim_next(client: Client) -> dict[str, Any]:
    """Take the next job."""
    answer = client.open("POST", "/v1/jobs/claims", json={})
    assert answer.status_code == 200, answer.get_data(as_text=True)
    job: dict[str, Any] = answer.get_json()
    return job


def test_a_job_goes_from_check_in_to_collected(
    workshop: Workshop, bench_client: Client, clock: FixedClock
) -> None:
    job = workshop.queued_job(complaints="buzzes on the low E", priority=7)
    assert (job["state"], job["number"], job["priority"]) == ("queued", 1, 7)
    job = claim_next(bench_client)
    assert job["claim"]["technician"] == "First technician"
    claim = job["claim"]["id"]
    posted = bench_client.open(
        "POST", f"/v1/jobs/{job['id']}/reading-sheets", json=sheet(case_one_readings(workshop))
    )
    assert posted.status_code == 201
    assert posted.get_json()["outside_claim"] is False
    in_an_hour = (clock.now() + timedelta(hours=1)).isoformat()
    job = move(bench_client, job, "settling", claim=claim, available_at=in_an_hour, minutes=25).get_json()
    assert (job["state"], job["claim"], job["worked_minutes"], job["due"]) == ("settling", None, 25, False)
    clock.advance(timedelta(hours=1))
    job = claim_next(bench_client)
    assert job["claim"]["id"] != claim
    claim = job["claim"]["id"]
    job = move(bench_client, job, "final-check", claim=claim).get_json()
    refused = move(bench_client, job, "ready", claim=claim)
    assert (refused.status_code, refused.get_json()["code"]) == (409, "final-readings-needed")
    assert [each["string"] for each in refused.get_json()["unread"]] == [1, 2, 3, 4, 5, 6]
    assert "of: intonation of strings 1 to 6" in refused.get_json()["detail"]
    final = sheet(intonation(), stage="final", taken_at="2026-03-02T13:00:00Z")
    assert bench_client.open("POST", f"/v1/jobs/{job['id']}/reading-sheets", json=final).status_code == 201
    job = bench_client.open("GET", f"/v1/jobs/{job['id']}").get_json()
    job = move(bench_client, job, "ready", claim=claim).get_json()
    assert (job["state"], job["claim"]) == ("ready", None)
    job = move(bench_client, job, "collected").get_json()
    assert (job["state"], job["allowed_moves"]) == ("collected", [])
    told = bench_client.open("GET", f"/v1/jobs/{job['id']}/moves").get_json()["items"]
    assert [each["to_state"] for each in told] == [
        "received", "queued", "on-bench", "settling", "on-bench", "final-check", "ready", "collected",
    ]  # fmt: skip
    assert [each["from_state"] for each in told[1:]] == [each["to_state"] for each in told[:-1]]
    assert [each["sequence"] for each in told] == list(range(1, 9))


@pytest.mark.parametrize("to", [state.value for state in JobState if state not in MOVES[JobState.RECEIVED]])
def test_a_move_that_does_not_exist_is_refused_with_those_that_do(workshop: Workshop, to: str) -> None:
    job = workshop.job()
    refused = move(workshop.manager, job, to, reason="x")
    assert refused.status_code == 409
    problem = refused.get_json()
    assert problem["code"] == "move-not-allowed"
    assert {each["to"] for each in problem["allowed_moves"]} == {
        "queued", "waiting", "returned-unrepaired", "cancelled",
    }  # fmt: skip
    assert workshop.manager.open("GET", f"/v1/jobs/{job['id']}").get_json()["version"] == job["version"]


@pytest.mark.parametrize(
    "to, body, pointer",
    [
        ("cancelled", {}, "/reason"),
        ("returned-unrepaired", {}, "/reason"),
        ("waiting", {}, "/waiting_for"),
        ("queued", {"waiting_for": "parts"}, "/waiting_for"),
        ("queued", {"available_at": "2026-03-02T13:00:00Z"}, "/available_at"),
        ("queued", {"minutes": 10}, "/minutes"),
        ("queued", {"to": "shelved"}, "/to"),
    ],
)
def test_a_move_says_what_it_lacks(workshop: Workshop, to: str, body: dict[str, Any], pointer: str) -> None:
    job = workshop.job()
    refused = workshop.manager.open(
        "POST", f"/v1/jobs/{job['id']}/moves", json={"to": to, **body}, etag=f'"{job["version"]}.mm"'
    )
    assert refused.status_code == 422
    assert [error["pointer"] for error in refused.get_json()["errors"]] == [pointer]


@pytest.mark.parametrize("ahead", [timedelta(0), timedelta(minutes=-5), timedelta(days=32)])
def test_settling_lasts_from_now_to_a_month(
    workshop: Workshop, bench_client: Client, clock: FixedClock, ahead: timedelta
) -> None:
    workshop.queued_job()
    job = claim_next(bench_client)
    refused = move(
        bench_client,
        job,
        "settling",
        claim=job["claim"]["id"],
        available_at=(clock.now() + ahead).isoformat(),
    )
    assert refused.status_code == 422
    assert refused.get_json()["errors"][0]["pointer"] == "/available_at"


def test_a_job_waits_for_something_and_comes_back(workshop: Workshop) -> None:
    job = move(workshop.manager, workshop.job(), "waiting", waiting_for="parts").get_json()
    assert (job["state"], job["waiting_for"]) == ("waiting", "parts")
    job = move(workshop.manager, job, "queued").get_json()
    assert (job["state"], job["waiting_for"]) == ("queued", None)


def test_only_the_holder_or_a_manager_moves_a_job_off_the_bench(
    workshop: Workshop, bench_client: Client
) -> None:
    workshop.queued_job()
    job = claim_next(bench_client)
    without = move(bench_client, job, "final-check")
    assert without.status_code == 422
    assert without.get_json()["errors"][0]["pointer"] == "/claim"
    stranger = move(bench_client, job, "final-check", claim=str(uuid4()))
    assert stranger.status_code == 409
    assert stranger.get_json()["code"] == "claim-ended"
    assert stranger.get_json()["claim"]["technician"] == "First technician"
    assert move(workshop.manager, job, "final-check").get_json()["state"] == "final-check"


def test_a_move_needs_the_version_that_was_seen(workshop: Workshop) -> None:
    job = workshop.job()
    path = f"/v1/jobs/{job['id']}/moves"
    assert workshop.manager.open("POST", path, json={"to": "queued"}).status_code == 428
    moved = move(workshop.manager, job, "queued")
    assert moved.status_code == 200
    stale = move(workshop.manager, job, "waiting", waiting_for="parts")
    assert stale.status_code == 412
    assert stale.get_json()["current_version"] == moved.get_json()["version"]


def test_the_same_move_sent_twice_is_made_once(workshop: Workshop) -> None:
    job = workshop.job()
    path, etag = f"/v1/jobs/{job['id']}/moves", f'"{job["version"]}.mm"'
    first = workshop.manager.open("POST", path, json={"to": "queued"}, etag=etag, idempotency_key="once")
    again = workshop.manager.open("POST", path, json={"to": "queued"}, etag=etag, idempotency_key="once")
    assert (first.status_code, again.status_code) == (200, 200)
    assert first.get_json() == again.get_json()
    assert again.headers["Idempotent-Replayed"] == "true"
    moves = workshop.manager.open("GET", f"/v1/jobs/{job['id']}/moves").get_json()["items"]
    assert [each["to_state"] for each in moves] == ["received", "queued"]


def test_a_booked_job_is_received_with_its_instrument(workshop: Workshop) -> None:
    booked = workshop.add("booked", "/v1/jobs", {"state": "booked", "owner_id": workshop.ids["owner"]})
    refused = move(workshop.manager, booked, "received")
    assert (refused.status_code, refused.get_json()["code"]) == (422, "instrument-needed")
    named = workshop.manager.open(
        "PATCH",
        f"/v1/jobs/{booked['id']}",
        json={"instrument_id": workshop.ids["instrument"]},
        etag=f'"{booked["version"]}.mm"',
    ).get_json()
    assert move(workshop.manager, named, "received").get_json()["state"] == "received"
    fixed = workshop.manager.open("GET", f"/v1/jobs/{booked['id']}").get_json()
    other = workshop.manager.open(
        "PATCH",
        f"/v1/jobs/{booked['id']}",
        json={"instrument_id": str(uuid4())},
        etag=f'"{fixed["version"]}.mm"',
    )
    assert other.status_code == 422


def test_a_received_job_names_its_instrument(workshop: Workshop) -> None:
    refused = workshop.manager.open("POST", "/v1/jobs", json={})
    assert refused.status_code == 422
    assert refused.get_json()["errors"] == [
        {"pointer": "/instrument_id", "message": "a received job names its instrument"}
    ]


def test_ticket_numbers_count_up(workshop: Workshop) -> None:
    assert [workshop.job()["number"] for _ in range(3)] == [1, 2, 3]


def test_a_job_that_is_over_changes_no_more(workshop: Workshop) -> None:
    job = move(workshop.manager, workshop.job(), "cancelled", reason="no-show").get_json()
    refused = workshop.manager.open(
        "PATCH", f"/v1/jobs/{job['id']}", json={"priority": 9}, etag=f'"{job["version"]}.mm"'
    )
    assert (refused.status_code, refused.get_json()["code"]) == (409, "job-over")


def test_a_job_that_follows_todays_specs_says_why(
    workshop: Workshop, client: Client, database: Database
) -> None:
    job = workshop.queued_job()
    path = f"/v1/jobs/{job['id']}/setup-spec/renewal"
    refused = client.post(path, json={})
    assert refused.get_json()["errors"] == [{"pointer": "/reason", "message": "is required"}]
    assert client.post(path, json={"reason": "targets agreed on since"}).status_code == 200
    with database.read() as session:
        lines = session.scalars(
            select(AuditEvent.after).where(
                AuditEvent.object_type == "jobs",
                AuditEvent.object_id == job["id"],
                AuditEvent.action == "changed",
            )
        )
        assert {"reason": "targets agreed on since"} in list(lines)
