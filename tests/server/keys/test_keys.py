"""API keys: made, shown once, listed, revoked."""

from __future__ import annotations

from datetime import timedelta

import pytest

from shimstock_server.clock import FixedClock
from tests.server.clients import Client, code, pointers
from tests.server.conftest import Staff


def test_a_key_opens_the_service_until_it_is_revoked(client: Client) -> None:
    made = client.post("/v1/keys", json={"name": "Office", "scope": "manager"})
    assert made.status_code == 201
    office = Client(client.app, made.get_json()["secret"])
    assert office.get("/v1/keys").status_code == 200

    address = made.headers["Location"]
    assert client.delete(address, etag=client.get(address).headers["ETag"]).status_code == 204
    assert office.get("/v1/keys").status_code == 401
    assert client.get(address).get_json()["revoked_at"] is not None


def test_a_key_ends_by_itself(client: Client, clock: FixedClock) -> None:
    end = (clock.now() + timedelta(hours=1)).isoformat()
    made = client.post("/v1/keys", json={"name": "Trial", "scope": "manager", "expires_at": end})
    trial = Client(client.app, made.get_json()["secret"])
    clock.advance(timedelta(minutes=59, seconds=59))
    assert trial.get("/v1/keys").status_code == 200
    clock.advance(timedelta(seconds=1))
    assert trial.get("/v1/keys").status_code == 401


def test_the_secret_is_shown_once(client: Client) -> None:
    wanted = {"name": "Website", "scope": "booking"}
    first = client.post("/v1/keys", json=wanted, idempotency_key="website-key")
    again = client.post("/v1/keys", json=wanted, idempotency_key="website-key")
    assert first.get_json()["secret"].startswith(first.get_json()["prefix"] + "_")
    assert again.headers["Idempotent-Replayed"] == "true"
    assert again.get_json() == first.get_json() | {"secret": None}
    assert "secret" not in client.get(first.headers["Location"]).get_json()


@pytest.mark.parametrize(
    ("wanted", "bad"),
    [
        ({"name": "Bench", "scope": "bench"}, "/bench_id"),
        (
            {"name": "Bench", "scope": "bench", "bench_id": "01890a5d-ac96-774b-bcce-b302099a8057"},
            "/bench_id",
        ),
        (
            {"name": "Web", "scope": "booking", "bench_id": "01890a5d-ac96-774b-bcce-b302099a8057"},
            "/bench_id",
        ),
        ({"name": "Late", "scope": "manager", "expires_at": "2026-03-02T12:00:00Z"}, "/expires_at"),
        ({"name": "Late", "scope": "manager", "expires_at": "2026-03-02T12:00:00"}, "/expires_at"),
        ({"name": " ", "scope": "manager"}, "/name"),
        ({"name": "Owner", "scope": "owner"}, "/scope"),
    ],
)
def test_a_key_that_makes_no_sense_is_refused(client: Client, wanted: dict[str, str], bad: str) -> None:
    answer = client.post("/v1/keys", json=wanted)
    assert answer.status_code == 422
    assert pointers(answer) == [bad]


def test_a_key_cannot_revoke_itself(client: Client) -> None:
    address = f"/v1/keys/{client.key_id}"
    answer = client.delete(address, etag=client.get(address).headers["ETag"])
    assert (answer.status_code, code(answer)) == (409, "own-key")


def test_use_is_noted_to_the_hour(client: Client, booking_client: Client, clock: FixedClock) -> None:
    booking_client.get("/v1/keys")
    address = f"/v1/keys/{booking_client.key_id}"
    assert client.get(address).get_json()["last_used_at"] is None, "what was refused is no use"
    client.get(address)
    clock.advance(timedelta(hours=1, minutes=7))
    client.get(address)
    assert client.get(f"/v1/keys/{client.key_id}").get_json()["last_used_at"] == "2026-03-02T13:00:00Z"


def test_only_hashes_are_kept(client: Client, staff: Staff) -> None:
    listed = client.get("/v1/keys").get_data(as_text=True)
    for token in staff.tokens.values():
        assert token.split("_", 2)[2] not in listed
