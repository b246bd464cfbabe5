"""What a job waits for, and what puts it back into the queue: an approved quote, a consent, nothing else."""

from __future__ import annotations

from typing import Any

import pytest

from tests.server.clients import Client
from tests.server.workshop import Workshop

from .test_moves import claim_next, move


def quote(client: Client, job: dict[str, Any], work: str = "neck reset") -> dict[str, Any]:
    """Quote some work."""
    made = client.post(f"/v1/jobs/{job['id']}/quotes", json={"work": work, "amount": 180})
    assert made.status_code == 201, made.get_data(as_text=True)
    found: dict[str, Any] = made.get_json()
    return found


def reply(client: Client, job: dict[str, Any], quoted: dict[str, Any], approved: bool) -> Any:
    """Keep the owner's answer."""
    return client.patch(
        f"/v1/jobs/{job['id']}/quotes/{quoted['id']}",
        json={"approved": approved, "answered_how": "phone"},
        etag=f'"{quoted["version"]}.mm"',
    )


def consent(client: Client, job: dict[str, Any], given: bool) -> Any:
    """Keep the owner's word on filing the nut."""
    body = {"covers": "nut-filing", "given": given, "given_by": "Robin Example", "how": "phone"}
    return client.post(f"/v1/jobs/{job['id']}/consents", json=body)


def state(client: Client, job: dict[str, Any]) -> tuple[str, str | None]:
    """The job's state now, and what it waits for."""
    now = client.get(f"/v1/jobs/{job['id']}").get_json()
    return now["state"], now["waiting_for"]


@pytest.fixture
def waiting(workshop: Workshop, bench_client: Client, request: pytest.FixtureRequest) -> dict[str, Any]:
    """A job that was begun, and waits."""
    workshop.queued_job()
    job = claim_next(bench_client)
    moved = move(bench_client, job, "waiting", claim=job["claim"]["id"], waiting_for=request.param)
    assert moved.status_code == 200
    found: dict[str, Any] = moved.get_json()
    return found


@pytest.mark.parametrize("waiting", ["owner"], indirect=True)
def test_an_approved_quote_ends_the_wait_for_the_owner(
    workshop: Workshop, bench_client: Client, waiting: dict[str, Any]
) -> None:
    quoted = quote(bench_client, waiting)
    assert state(bench_client, waiting) == ("waiting", "owner")
    assert reply(bench_client, waiting, quoted, approved=True).status_code == 200
    assert state(bench_client, waiting) == ("queued", None)
    last = bench_client.get(f"/v1/jobs/{waiting['id']}/moves").get_json()["items"][-1]
    assert (last["to_state"], last["reason"]) == ("queued", "the quote was approved")
    assert last["technician_id"] == str(bench_client.technician_id)
    assert claim_next(bench_client)["id"] == waiting["id"]


@pytest.mark.parametrize("waiting", ["owner"], indirect=True)
def test_every_open_quote_is_answered_first(bench_client: Client, waiting: dict[str, Any]) -> None:
    first, other = quote(bench_client, waiting), quote(bench_client, waiting, "new frets")
    reply(bench_client, waiting, first, approved=True)
    assert state(bench_client, waiting) == ("waiting", "owner")
    reply(bench_client, waiting, other, approved=True)
    assert state(bench_client, waiting) == ("queued", None)


@pytest.mark.parametrize("waiting", ["owner"], indirect=True)
def test_after_a_no_a_person_decides(workshop: Workshop, waiting: dict[str, Any]) -> None:
    quoted = quote(workshop.manager, waiting)
    answered = reply(workshop.manager, waiting, quoted, approved=False)
    assert answered.get_json()["approved"] is False
    assert state(workshop.manager, waiting) == ("waiting", "owner")
    again = reply(workshop.manager, waiting, answered.get_json(), approved=True)
    assert again.get_json()["code"] == "quote-answered"
    job = workshop.manager.get(f"/v1/jobs/{waiting['id']}").get_json()
    assert move(workshop.manager, job, "returned-unrepaired", reason="too dear").status_code == 200


@pytest.mark.parametrize("waiting", ["parts", "consent"], indirect=True)
def test_a_quote_ends_no_other_wait(bench_client: Client, waiting: dict[str, Any]) -> None:
    before = state(bench_client, waiting)
    reply(bench_client, waiting, quote(bench_client, waiting), approved=True)
    assert state(bench_client, waiting) == before


@pytest.mark.parametrize("waiting", ["consent"], indirect=True)
def test_a_consent_ends_the_wait_for_it(bench_client: Client, waiting: dict[str, Any]) -> None:
    assert consent(bench_client, waiting, given=False).status_code == 201
    assert state(bench_client, waiting) == ("waiting", "consent")
    assert consent(bench_client, waiting, given=True).status_code == 201
    assert state(bench_client, waiting) == ("queued", None)


@pytest.mark.parametrize("waiting", ["owner"], indirect=True)
def test_a_consent_ends_no_other_wait(bench_client: Client, waiting: dict[str, Any]) -> None:
    consent(bench_client, waiting, given=True)
    assert state(bench_client, waiting) == ("waiting", "owner")


def test_parts_and_minutes_are_kept(workshop: Workshop, bench_client: Client) -> None:
    job = workshop.queued_job(estimated_minutes=60)
    job = claim_next(bench_client)
    part = {"name": "bone nut blank", "quantity": 1, "price": 6.5}
    assert bench_client.post(f"/v1/jobs/{job['id']}/parts", json=part).status_code == 201
    (kept,) = bench_client.get(f"/v1/jobs/{job['id']}/parts").get_json()["items"]
    assert (kept["name"], kept["quantity"], kept["price"]) == ("bone nut blank", 1.0, 6.5)
    job = move(bench_client, job, "final-check", claim=job["claim"]["id"], minutes=35).get_json()
    job = move(bench_client, job, "ready", claim=job["claim"]["id"], minutes=10, reason="x").get_json()
    assert (job["estimated_minutes"], job["worked_minutes"]) == (60, 45)
