"""A client that dies between its claim and the answer: with its key it gets the same job again."""

from __future__ import annotations

import json
import socket
import subprocess
import sys
import urllib.request
from collections.abc import Iterator
from typing import Any

import pytest
from flask import Flask
from sqlalchemy import select

from shimstock_server.clock import FixedClock
from shimstock_server.database.session import Database
from shimstock_server.database.tables.jobs import Claim
from tests.browser.serving import Served
from tests.server.clients import Client
from tests.server.workshop import Workshop, set_up
from tests.waiting import HANG, wait_until

DYING = """
import socket, sys, time
connection = socket.create_connection(("127.0.0.1", int(sys.argv[1])))
connection.sendall(sys.argv[2].encode())
print("sent", flush=True)
time.sleep(600)
"""


@pytest.fixture
def served(app: Flask, clock: FixedClock) -> Iterator[Served]:
    """The service on a port."""
    served = Served(app, clock)
    yield served
    served.stop()


@pytest.fixture
def workshop(client: Client) -> Workshop:
    """A shop with one instrument."""
    return set_up(client)


def request_of(client: Client, key: str) -> str:
    """A claim as it goes over the wire."""
    return (
        "POST /v1/jobs/claims HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Type: application/json\r\n"
        f"Content-Length: 2\r\nAuthorization: Bearer {client.token}\r\nTechnician: {client.technician_id}\r\n"
        f"Idempotency-Key: {key}\r\n\r\n{{}}"
    )


def claims(database: Database) -> list[Any]:
    """Every claim there is."""
    with database.read() as session:
        return list(session.scalars(select(Claim)))


def until_claimed(database: Database, count: int) -> list[Any]:
    """Wait until there are so many claims."""
    wait_until(lambda: len(claims(database)) >= count, lambda: "the claim was never made")
    return claims(database)


def test_a_killed_client_gets_the_same_job_again(
    workshop: Workshop, bench_client: Client, database: Database, served: Served
) -> None:
    for _ in range(3):
        workshop.queued_job()
    for n in range(3):
        key = f"dying {n}"
        with subprocess.Popen(
            [sys.executable, "-c", DYING, str(served.port), request_of(bench_client, key)],
            stdout=subprocess.PIPE,
        ) as process:
            assert process.stdout is not None
            assert process.stdout.readline() == b"sent\n"
            process.kill()  # nobody reads the answer
        found = until_claimed(database, n + 1)
        again = urllib.request.Request(
            f"{served.url}/v1/jobs/claims", data=b"{}", method="POST",
            headers={"Authorization": f"Bearer {bench_client.token}", "Idempotency-Key": key,
                     "Technician": str(bench_client.technician_id), "Content-Type": "application/json"},
        )  # fmt: skip
        with urllib.request.urlopen(again, timeout=HANG) as response:
            job = json.load(response)
            assert response.headers["Idempotent-Replayed"] == "true"
        newest = max(found, key=lambda claim: claim.id)  # ids rise with time
        assert job["claim"]["id"] == str(newest.id)
        assert len(claims(database)) == n + 1


def test_a_client_that_hangs_up_at_once_loses_nothing(
    workshop: Workshop, bench_client: Client, database: Database, served: Served
) -> None:
    workshop.queued_job()
    connection = socket.create_connection(("127.0.0.1", served.port))
    connection.sendall(request_of(bench_client, "hung up").encode())
    connection.close()
    (claim,) = until_claimed(database, 1)
    answer = bench_client.post("/v1/jobs/claims", json={}, idempotency_key="hung up")
    assert answer.get_json()["claim"]["id"] == str(claim.id)
