"""The same request twice has one effect and one answer, also when both come at once."""

from __future__ import annotations

import dataclasses
import threading
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from typing import Any

import pytest
from flask import Flask
from sqlalchemy import func, select
from werkzeug.test import TestResponse

from shimstock_server.app import AREAS
from shimstock_server.clock import FixedClock
from shimstock_server.config import Config
from shimstock_server.database.session import Database
from shimstock_server.database.tables.operations import AuditEvent, DomainEvent, IdempotencyKey
from shimstock_server.database.tables.shop import Bench
from shimstock_server.operations.retention import forget_kept_answers
from tests.server.clients import Client, code
from tests.server.conftest import Staff
from tests.server.web import probe
from tests.waiting import HANG


def count(database: Database, table: type[Any]) -> int:
    with database.read() as session:
        return session.scalar(select(func.count()).select_from(table)) or 0


def test_a_repetition_gets_the_same_answer(client: Client, database: Database) -> None:
    first = client.post("/v1/probes", json={"name": "one", "active": True}, idempotency_key="k1")
    # Quoted or bare, in whatever order the fields stand: it is the same request.
    again = client.post("/v1/probes", json={"active": True, "name": "one"}, idempotency_key='"k1"')
    assert (first.status_code, again.status_code) == (201, 201)
    assert first.get_json() == again.get_json()
    for header in ("ETag", "Location", "Content-Type"):
        assert first.headers[header] == again.headers[header]
    assert "Idempotent-Replayed" not in first.headers
    assert again.headers["Idempotent-Replayed"] == "true"
    assert count(database, Bench) == 2, "the bench of the staff, and one probe"
    assert count(database, DomainEvent) == 1


def test_another_request_under_the_same_key_is_refused(client: Client) -> None:
    client.post("/v1/probes", json={"name": "one"}, idempotency_key="k1")
    for path, body in (("/v1/probes", {"name": "two"}), ("/v1/probes?units=inch", {"name": "one"})):
        answer = client.post(path, json=body, idempotency_key="k1")
        assert (answer.status_code, code(answer)) == (422, "idempotency-key-reused")


def test_a_key_belongs_to_its_sender_and_its_address(client: Client, bench_client: Client) -> None:
    assert client.post("/v1/probes", json={"name": "one"}, idempotency_key="k1").status_code == 201
    assert bench_client.post("/v1/probes", json={"name": "two"}, idempotency_key="k1").status_code == 201
    assert client.post("/v1/probes/claims", idempotency_key="k1").status_code == 204


@pytest.mark.parametrize("key", [None, "", '""', " ", "x" * 201, "a\tb", "ä"])
def test_creating_needs_a_good_key(client: Client, key: str | None) -> None:
    headers = {"Idempotency-Key": key.encode().decode("latin-1") if key is not None else None}
    answer = client.post("/v1/probes", json={"name": "one"}, idempotency_key=None, headers=headers)
    assert answer.status_code == 400
    assert code(answer) == ("idempotency-key-missing" if key is None else "bad-idempotency-key")


def test_only_success_is_kept(client: Client) -> None:
    assert client.post("/v1/probes", json={"name": "First bench"}, idempotency_key="k1").status_code == 409
    assert client.post("/v1/probes", json={"name": ""}, idempotency_key="k1").status_code == 422
    assert client.post("/v1/probes", json={"name": "one"}, idempotency_key="k1").status_code == 201


def test_an_accident_leaves_nothing(client: Client, database: Database) -> None:
    answer = client.post("/v1/probes/accidents", json={"name": "one"}, idempotency_key="k1")
    assert answer.status_code == 500
    assert "secret detail" not in answer.get_data(as_text=True)
    assert count(database, Bench) == 1
    assert count(database, IdempotencyKey) == 0


def test_an_empty_claim_is_not_kept(client: Client) -> None:
    assert client.post("/v1/probes/claims", idempotency_key="k1").status_code == 204
    client.post("/v1/probes", json={"name": "idle", "active": False})
    taken = client.post("/v1/probes/claims", idempotency_key="k1")
    assert (taken.status_code, taken.get_json()["name"]) == (200, "idle")
    again = client.post("/v1/probes/claims", idempotency_key="k1")
    assert again.get_json() == taken.get_json()
    assert again.headers["Idempotent-Replayed"] == "true"


def test_a_replay_comes_before_if_match(client: Client) -> None:
    made = client.post("/v1/probes", json={"name": "one"})
    address, etag = made.headers["Location"], made.headers["ETag"]
    first = client.patch(address, json={"name": "two"}, etag=etag, idempotency_key="k1")
    again = client.patch(address, json={"name": "two"}, etag=etag, idempotency_key="k1")
    assert first.get_json() == again.get_json()
    assert again.headers["Idempotent-Replayed"] == "true"
    assert client.patch(address, json={"name": "two"}, etag=etag, idempotency_key="k2").status_code == 412


def test_a_kept_answer_lasts_for_its_time(
    client: Client, clock: FixedClock, database: Database, config: Config
) -> None:
    first = client.post("/v1/probes", json={"name": "one"}, idempotency_key="k1")
    clock.advance(timedelta(days=7))
    again = client.post("/v1/probes", json={"name": "one"}, idempotency_key="k1")
    assert again.get_json() == first.get_json()
    assert forget_kept_answers(database, config, clock) == 0
    clock.advance(timedelta(seconds=1))
    fresh = client.post("/v1/probes", json={"name": "two"}, idempotency_key="k1")
    assert fresh.status_code == 201, "the key is free again"
    clock.advance(timedelta(days=8))
    assert forget_kept_answers(database, config, clock) == 1
    assert count(database, IdempotencyKey) == 0


def at_once(*requests: Callable[[], TestResponse]) -> list[TestResponse]:
    with ThreadPoolExecutor(len(requests)) as threads:
        return [each.result(HANG) for each in [threads.submit(request) for request in requests]]


def test_two_at_once_are_done_once(client: Client, database: Database) -> None:
    inside = threading.Event()

    def linger() -> None:
        inside.set()
        time.sleep(0.3)

    probe.meanwhile.append(linger)

    def second() -> TestResponse:
        assert inside.wait(HANG)
        return client.post("/v1/probes", json={"name": "one"}, idempotency_key="k1")

    first, other = at_once(
        lambda: client.post("/v1/probes", json={"name": "one"}, idempotency_key="k1"), second
    )
    assert (first.status_code, other.status_code) == (201, 201)
    assert first.get_json() == other.get_json()
    assert "Idempotent-Replayed" not in first.headers
    assert other.headers["Idempotent-Replayed"] == "true"
    assert count(database, Bench) == 2
    assert count(database, AuditEvent) == count(database, Bench) + 4, (
        "a line for each row, a technician, 3 keys"
    )


def test_many_at_once_are_done_once(client: Client, database: Database) -> None:
    answers = at_once(
        *[lambda: client.post("/v1/probes", json={"name": "one"}, idempotency_key="k1") for _ in range(6)]
    )
    assert {answer.status_code for answer in answers} == {201}
    assert len({answer.get_json()["id"] for answer in answers}) == 1
    assert sum("Idempotent-Replayed" not in answer.headers for answer in answers) == 1
    assert count(database, Bench) == 2


@pytest.fixture
def impatient(make_app: Callable[..., Flask], config: Config, staff: Staff) -> Client:
    """A client of a service that waits 0.2 s for a request under the same key."""
    app = make_app(
        config=dataclasses.replace(config, idempotency_wait=0.2), areas=(*AREAS, "tests.server.web.probe")
    )
    return Client(app, staff.tokens["manager"])


@pytest.mark.parametrize(
    "database_url", [pytest.param("postgresql", marks=pytest.mark.postgresql)], indirect=True
)
def test_a_request_that_takes_too_long_is_in_progress(impatient: Client) -> None:
    inside, finish = threading.Event(), threading.Event()

    def linger() -> None:
        inside.set()
        assert finish.wait(HANG)

    probe.meanwhile.append(linger)
    with ThreadPoolExecutor(1) as threads:
        first = threads.submit(impatient.post, "/v1/probes", json={"name": "one"}, idempotency_key="k1")
        assert inside.wait(HANG)
        busy = impatient.post("/v1/probes", json={"name": "one"}, idempotency_key="k1")
        assert (busy.status_code, code(busy)) == (409, "request-in-progress")
        assert busy.headers["Retry-After"] == "1"
        finish.set()
        assert first.result(HANG).status_code == 201
    probe.meanwhile.clear()
    again = impatient.post("/v1/probes", json={"name": "one"}, idempotency_key="k1")
    assert again.headers["Idempotent-Replayed"] == "true"


def test_when_the_first_fails_the_second_does_the_work(client: Client, database: Database) -> None:
    inside = threading.Event()
    failures = iter([True])

    def fail_once() -> None:
        inside.set()
        time.sleep(0.2)
        if next(failures, False):
            raise RuntimeError("the power went")

    probe.meanwhile.append(fail_once)

    def second() -> TestResponse:
        assert inside.wait(HANG)
        return client.post("/v1/probes", json={"name": "one"}, idempotency_key="k1")

    first, other = at_once(
        lambda: client.post("/v1/probes", json={"name": "one"}, idempotency_key="k1"), second
    )
    assert (first.status_code, other.status_code) == (500, 201)
    assert "Idempotent-Replayed" not in other.headers
    assert count(database, Bench) == 2
