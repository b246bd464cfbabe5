"""Taking jobs: one holder each, in the documented order, given back, handed over, taken over when stale."""

from __future__ import annotations

import threading
from datetime import timedelta
from typing import Any
from uuid import UUID

import pytest
from sqlalchemy import select, text

from shimstock_server.clock import FixedClock
from shimstock_server.database.session import Database
from shimstock_server.database.tables.operations import DomainEvent
from tests.server.clients import Client
from tests.server.workshop import Workshop, case_one_readings, sheet

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


def claim_next_of(workshop: Workshop, client: Client, **wish: Any) -> dict[str, Any]:
    """Queue a job and take it."""
    workshop.queued_job(**wish)
    return claim_next(client)


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


def test_what_is_promised_for_today_or_earlier_comes_before_any_priority(
    workshop: Workshop, bench_client: Client, second: Client, clock: FixedClock
) -> None:
    urgent = workshop.queued_job(priority=9)
    tomorrow = workshop.queued_job(promised_on="2026-03-03")
    today = workshop.queued_job(promised_on="2026-03-02", priority=0)
    pressing = workshop.queued_job(promised_on="2026-03-02", priority=1)
    late = workshop.queued_job(promised_on="2026-02-27", priority=0)
    taken = [claim_next(bench_client)["id"] for _ in range(3)]
    assert taken == [late["id"], pressing["id"], today["id"]]
    # At 00:10 in Berlin it is still the day before in UTC: the shop's day counts.
    clock.advance(timedelta(hours=11, minutes=10))
    assert [claim_next(second)["id"] for _ in range(2)] == [tomorrow["id"], urgent["id"]]


def test_a_settled_neck_comes_before_a_late_promise(
    workshop: Workshop, bench_client: Client, clock: FixedClock
) -> None:
    rests = claim_next_of(workshop, bench_client)
    move(bench_client, rests, "settling", claim=rests["claim"]["id"])
    late = workshop.queued_job(promised_on="2026-02-27")
    clock.advance(timedelta(hours=2))
    assert [claim_next(bench_client)["id"] for _ in range(2)] == [rests["id"], late["id"]]


def test_a_job_given_back_keeps_its_place(
    workshop: Workshop, bench_client: Client, clock: FixedClock
) -> None:
    first = workshop.queued_job()
    clock.advance(timedelta(minutes=5))
    workshop.queued_job()
    job = claim_next(bench_client)
    assert bench_client.open("DELETE", f"/v1/jobs/{job['id']}/claim/{job['claim']['id']}").status_code == 200
    assert claim_next(bench_client)["id"] == first["id"]


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


@pytest.mark.parametrize("state", ["on-bench", "final-check"])
def test_a_stale_claim_is_taken_over_in_its_state(
    workshop: Workshop, bench_client: Client, second: Client, clock: FixedClock, state: str,
    database: Database,
) -> None:  # fmt: skip
    job = claim_next_of(workshop, bench_client)
    if state == "final-check":
        job = move(bench_client, job, "final-check", claim=job["claim"]["id"]).get_json()
    clock.advance(timedelta(hours=20))
    taken = take(second, job, take_over=True, reason="left overnight").get_json()
    assert (taken["state"], taken["claim"]["stale"]) == (state, False)
    told = second.get(f"/v1/jobs/{job['id']}/claims").get_json()["items"]
    assert [(each["technician"], each["end_reason"], each["note"]) for each in told] == [
        ("First technician", "taken-over", "left overnight"), ("Second technician", None, None),
    ]  # fmt: skip
    with database.read() as session:
        (happened,) = session.scalars(select(DomainEvent).where(DomainEvent.type == "job.taken-over"))
    assert happened.data["technician"] == workshop.ids["second"]
    assert happened.data["former_technician"] == str(bench_client.technician_id)
    assert happened.data["ended_claim"] == job["claim"]["id"]
    # Never lost: the one who left it overnight learns who has it.
    late = bench_client.open("DELETE", f"/v1/jobs/{job['id']}/claim/{job['claim']['id']}")
    assert late.get_json()["claim"]["technician"] == "Second technician"


def test_work_on_the_day_keeps_a_claim_fresh(
    workshop: Workshop, bench_client: Client, second: Client, clock: FixedClock
) -> None:
    job = claim_next_of(workshop, bench_client)
    clock.advance(timedelta(hours=20))
    readings = sheet(case_one_readings(workshop), taken_at=clock.now().isoformat())
    assert bench_client.post(f"/v1/jobs/{job['id']}/reading-sheets", json=readings).status_code == 201
    job = second.get(f"/v1/jobs/{job['id']}").get_json()
    assert job["claim"]["stale"] is False
    assert take(second, job, take_over=True, reason="mine").get_json()["code"] == "already-claimed"


def test_a_claim_over_a_sunday_is_stale_on_monday_alone(
    workshop: Workshop, bench_client: Client, clock: FixedClock
) -> None:
    clock.advance(timedelta(days=5))  # Saturday, 13:00
    job = claim_next_of(workshop, bench_client)
    clock.advance(timedelta(days=1))
    assert bench_client.get(f"/v1/jobs/{job['id']}").get_json()["claim"]["stale"] is False
    clock.advance(timedelta(hours=20))  # Monday, 09:00
    assert bench_client.get(f"/v1/jobs/{job['id']}").get_json()["claim"]["stale"] is True


def test_the_holder_takes_a_stale_job_up_again_whatever_else_he_holds(
    workshop: Workshop, bench_client: Client, clock: FixedClock
) -> None:
    jobs = [claim_next_of(workshop, bench_client) for _ in range(3)]
    clock.advance(timedelta(hours=20))
    again = take(bench_client, jobs[0], take_over=True, reason="good morning")
    assert again.status_code == 200
    assert again.get_json()["claim"]["stale"] is False


def test_a_job_is_given_back(workshop: Workshop, bench_client: Client, second: Client) -> None:
    job = take(bench_client, workshop.queued_job()).get_json()
    back = bench_client.open("DELETE", f"/v1/jobs/{job['id']}/claim/{job['claim']['id']}")
    assert (back.status_code, back.get_json()["state"], back.get_json()["claim"]) == (200, "queued", None)
    again = bench_client.open("DELETE", f"/v1/jobs/{job['id']}/claim/{job['claim']['id']}")
    assert (again.status_code, again.get_json()["code"]) == (409, "claim-ended")
    assert claim_next(second)["id"] == job["id"]


@pytest.mark.parametrize("state", ["on-bench", "final-check"])
def test_a_job_is_handed_over(
    workshop: Workshop, bench_client: Client, second: Client, state: str, database: Database
) -> None:
    job = take(bench_client, workshop.queued_job()).get_json()
    if state == "final-check":
        job = move(bench_client, job, "final-check", claim=job["claim"]["id"]).get_json()
    body = {"claim": job["claim"]["id"], "technician_id": workshop.ids["second"], "note": "frets are yours"}
    passed = bench_client.open("POST", f"/v1/jobs/{job['id']}/handover", json=body)
    assert passed.status_code == 200
    assert passed.get_json()["claim"]["technician"] == "Second technician"
    assert passed.get_json()["state"] == state
    assert passed.get_json()["last_technician_id"] == str(bench_client.technician_id)
    told = second.get(f"/v1/jobs/{job['id']}/claims").get_json()["items"]
    assert (told[0]["end_reason"], told[0]["note"]) == ("handed-over", "frets are yours")
    with database.read() as session:
        (happened,) = session.scalars(select(DomainEvent).where(DomainEvent.type == "job.handed-over"))
    assert (happened.data["technician"], happened.data["former_technician"]) == (
        workshop.ids["second"], str(bench_client.technician_id),
    )  # fmt: skip
    to = "ready" if state == "final-check" else "final-check"
    mine = move(second, passed.get_json(), to, claim=passed.get_json()["claim"]["id"], reason="x")
    assert mine.status_code == 200


def test_a_job_is_not_handed_to_just_anybody(
    workshop: Workshop, bench_client: Client, second: Client
) -> None:
    job = claim_next_of(workshop, second, skills=["fretwork"])
    path, claim = f"/v1/jobs/{job['id']}/handover", job["claim"]["id"]

    def hand_to(technician: object, **more: Any) -> Any:
        return second.post(path, json={"claim": claim, "technician_id": str(technician), **more})

    assert hand_to(bench_client.technician_id).get_json()["code"] == "skill-missing"
    for technician in (UUID(int=7), workshop.ids["second"]):
        refused = hand_to(technician)
        assert (refused.status_code, refused.get_json()["errors"][0]["pointer"]) == (422, "/technician_id")
    assert hand_to(workshop.ids["second"], bench_id=str(UUID(int=7))).status_code == 422
    full = Client(bench_client.app, bench_client.token, technician_id=bench_client.technician_id)
    for _ in range(3):
        claim_next_of(workshop, full)
    third = claim_next_of(workshop, second)
    passed = second.post(
        f"/v1/jobs/{third['id']}/handover",
        json={"claim": third["claim"]["id"], "technician_id": str(bench_client.technician_id)},
    )
    assert passed.get_json()["code"] == "too-many-claims"


def test_a_bench_takes_only_what_it_is_equipped_for(
    workshop: Workshop, second: Client, client: Client
) -> None:
    bench = workshop.add("small", "/v1/benches", {"name": "small bench", "skills": ["setup", "bass"]})
    key = workshop.add("key", "/v1/keys", {"name": "small", "scope": "bench", "bench_id": bench["id"]})
    small = Client(client.app, key["secret"], technician_id=second.technician_id)
    frets = workshop.queued_job(skills=["fretwork"], priority=9)
    plain = workshop.queued_job()
    refused = take(small, frets)
    assert (refused.status_code, refused.get_json()["code"]) == (409, "bench-not-equipped")
    assert claim_next(small)["id"] == plain["id"]
    assert small.post("/v1/jobs/claims", json={}).status_code == 204
    # At a bench that names nothing, anything can be done.
    job = take(second, frets).get_json()
    passed = second.post(
        f"/v1/jobs/{job['id']}/handover",
        json={
            "claim": job["claim"]["id"],
            "technician_id": str(second.technician_id),
            "bench_id": bench["id"],
        },
    )
    assert passed.status_code == 422  # to oneself
    assert workshop.manager.get(f"/v1/jobs/{job['id']}").get_json()["claim"]["bench_id"] != bench["id"]


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


def test_two_claims_at_once_by_one_technician_keep_to_the_limit(
    workshop: Workshop, bench_client: Client
) -> None:
    for _ in range(8):
        workshop.queued_job()
    named = [workshop.queued_job() for _ in range(4)]
    statuses: list[int] = []
    begin = threading.Barrier(8)

    def ask(n: int) -> None:
        begin.wait()
        if n % 2:
            statuses.append(take(bench_client, named[n // 2]).status_code)
        else:
            statuses.append(bench_client.post("/v1/jobs/claims", json={}).status_code)

    threads = [threading.Thread(target=ask, args=(n,)) for n in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(statuses) == [200] * 3 + [409] * 5


@pytest.mark.parametrize(
    "database_url", [pytest.param("postgresql", marks=pytest.mark.postgresql)], indirect=True
)
def test_a_job_that_somebody_just_reads_is_not_passed_over(
    workshop: Workshop, bench_client: Client, database: Database
) -> None:
    job = workshop.queued_job()
    with database.write() as session:
        # What PostgreSQL itself does to the job while a reading sheet for it is being written.
        session.execute(text("SELECT id FROM jobs FOR KEY SHARE"))
        assert claim_next(bench_client)["id"] == job["id"]
