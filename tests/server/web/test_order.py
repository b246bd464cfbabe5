"""Which refusal comes first: 401, 403 or 404, 429, 415, 413, 400, 422, the replay, 428 or 412, 409."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from uuid import UUID

import pytest
from flask import Flask

from shimstock_server.app import AREAS
from shimstock_server.config import Config
from shimstock_server.database.session import Database
from shimstock_server.database.tables.shop import Technician
from tests.server.clients import Client, code, pointers
from tests.server.conftest import SECRET, Staff

NOBODY = "01890a5d-ac96-774b-bcce-b302099a8057"


@pytest.fixture
def limited(make_app: Callable[..., Flask], config: Config) -> Flask:
    """The service with a limit of three requests a minute."""
    return make_app(
        config=dataclasses.replace(config, rate_per_minute=3), areas=(*AREAS, "tests.server.web.probe")
    )


def test_each_fault_hides_those_after_it(limited: Flask, staff: Staff) -> None:
    """One request with every fault there is, of which one after the other is put right."""
    client = Client(limited, None)
    junk = {"data": b"\xff" * (1024 * 1024 + 1), "content_type": "text/plain"}
    address = f"/v1/probes/{NOBODY}?nonsense=1"

    def patch(token: str | None, path: str, **options: object) -> int:
        client.token = token
        return client.patch(path, idempotency_key="\x01bad", **options).status_code

    assert patch(None, address, **junk) == 401
    assert patch(staff.tokens["booking"], address, **junk) == 403
    assert patch(staff.tokens["manager"], address, **junk) == 404
    address = f"/v1/probes/{staff.bench_id}?nonsense=1"
    assert patch(staff.tokens["manager"], address, **junk) == 415
    junk["content_type"] = "application/json"
    assert patch(staff.tokens["manager"], address, **junk) == 413
    assert patch(staff.tokens["manager"], address, **junk) == 429
    assert patch(staff.tokens["manager"], f"/v1/probes/{NOBODY}", **junk) == 404
    assert patch(staff.tokens["booking"], address, **junk) == 403


def test_the_rest_of_the_order(client: Client, staff: Staff) -> None:
    address = f"/v1/probes/{staff.bench_id}"
    key = {"idempotency_key": "\x01bad"}
    assert (
        client.patch(
            address + "?nonsense=1", data=b"\xff", content_type="application/json", **key
        ).status_code
        == 400
    )
    assert client.patch(address + "?nonsense=1", json={}, **key).status_code == 400
    assert client.patch(address + "?nonsense=1", json={}).status_code == 422
    assert client.patch(address, json={}).status_code == 428
    assert client.patch(address, json={}, etag='"7.mm"').status_code == 412
    assert client.post("/v1/probes", json={"name": "First bench"}).status_code == 409


def test_a_limit_tells_when_to_come_back(limited: Flask, staff: Staff) -> None:
    client = Client(limited, staff.tokens["manager"])
    assert [client.get("/v1/probes").status_code for _ in range(4)] == [200, 200, 200, 429]
    refused = client.get("/v1/probes")
    assert 1 <= int(refused.headers["Retry-After"]) <= 60
    assert Client(limited, staff.tokens["bench"]).get("/v1/probes").status_code == 200, "each key has its own"
    assert client.get("/livez").status_code == 200


@pytest.mark.parametrize(
    "authorization",
    [
        None,
        "",
        "Bearer",
        "Bearer shim_",
        "Basic c2hpbTpzaGlt",
        "Bearer shim_0000000000000000_" + "A" * 43,
        "Bearer ÿ",
        "Bearer " + "x" * 5000,
    ],
)
def test_no_key_and_a_bad_key_are_one(stranger: Client, authorization: str | None) -> None:
    answer = stranger.get("/v1/probes", headers={"Authorization": authorization})
    assert (answer.status_code, code(answer)) == (401, "unauthorized")
    # RFC 9110, section 11.6.1: a 401 names its challenge.
    assert answer.headers["WWW-Authenticate"].startswith("Bearer")


def test_a_right_key_with_a_wrong_secret_is_refused(stranger: Client, staff: Staff) -> None:
    token = staff.tokens["manager"]
    forged = token[:-1] + ("A" if token[-1] != "A" else "B")
    assert stranger.get("/v1/probes", headers={"Authorization": f"Bearer {forged}"}).status_code == 401


def test_a_bench_says_who_works_at_it(bench_client: Client, client: Client) -> None:
    made = bench_client.post("/v1/probes", json={"name": "one"}, headers={"Technician": None})
    assert (made.status_code, code(made)) == (400, "technician-required")
    for wrong in (NOBODY, "nonsense", ""):
        made = bench_client.post("/v1/probes", json={"name": ""}, headers={"Technician": wrong})
        assert sorted(pointers(made)) == ["/header/Technician", "/name"]
    assert bench_client.post("/v1/probes", json={"name": "one"}).status_code == 201
    assert client.post("/v1/probes", json={"name": "two"}).status_code == 201, "a manager need not"


def test_who_has_left_does_no_more_work(bench_client: Client, database: Database, staff: Staff) -> None:
    with database.write({"secret": SECRET}) as session:
        session.get_one(Technician, UUID(str(staff.technician_id))).active = False
    made = bench_client.post("/v1/probes", json={"name": "one"})
    assert pointers(made) == ["/header/Technician"]


@pytest.mark.parametrize("method", ["GET", "PUT", "POST", "PATCH", "DELETE", "OPTIONS", "TRACE", "QUERY"])
def test_a_wrong_method_names_the_right_ones(client: Client, method: str) -> None:
    answer = client.open(method, "/v1/probes")
    if method in ("GET", "POST"):
        assert answer.status_code in (200, 415)
    else:
        assert answer.status_code == 405
        assert answer.headers["Allow"] == "GET, HEAD, POST"


def test_an_unknown_address_is_not_found(client: Client, stranger: Client) -> None:
    for address in ("/", "/v1", "/v1/nothing", "/v1/probes/not-a-uuid", "/v1//probes", "/v2/probes"):
        for each in (client, stranger):
            assert code(each.get(address)) == "not-found"
