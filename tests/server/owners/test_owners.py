"""Owners: found by name, changed by version, erased for good."""

from __future__ import annotations

from typing import Any
from uuid import UUID

import pytest

from shimstock_server import owners
from shimstock_server.clock import FixedClock
from shimstock_server.database.session import Database
from shimstock_server.database.tables.operations import AuditEvent, IdempotencyKey
from shimstock_server.database.tables.owners import Instrument, Owner
from tests.server.catalogue.bodies import model
from tests.server.clients import Client, code, pointers

EIGHT = {"value": 8, "unit": "mm"}
PERSON: dict[str, Any] = {
    "name": "Zoë Ångström-Fenstropp",
    "email": "zoe@fenstropp.example",
    "phone": "+00 555 0101",
    "note": "rings in the evening",
    "units": "inch",
    "language": "de",
}


def add_owner(client: Client, **changes: Any) -> Any:
    answer = client.post("/v1/owners", json=PERSON | changes)
    assert answer.status_code == 201
    return answer.get_json()


def add_instrument(client: Client, owner_id: str, **own: Any) -> Any:
    made = client.post("/v1/instrument-models", json=model()).get_json()
    body = {"model_id": made["id"], "owner_id": owner_id, **own}
    answer = client.post("/v1/instruments", json=body)
    assert answer.status_code == 201, answer.get_data(as_text=True)
    return answer.get_json()


def test_an_owner_is_kept_and_changed_at_the_counter(bench_client: Client) -> None:
    made = add_owner(bench_client)
    assert {field: made[field] for field in PERSON} == PERSON
    path = f"/v1/owners/{made['id']}"
    changed = bench_client.patch(path, json={"phone": None}, etag='"1.mm"').get_json()
    assert (changed["phone"], changed["email"], changed["version"]) == (None, PERSON["email"], 2)
    assert bench_client.patch(path, json={"phone": None}, etag='"1.mm"').status_code == 412


@pytest.mark.parametrize(
    ("changes", "pointer"),
    [
        ({"email": "at home"}, "/email"),
        ({"phone": "ask Wilma"}, "/phone"),
        ({"language": "?"}, "/language"),
        ({"name": ""}, "/name"),
        ({"birthday": "2000-01-01"}, "/birthday"),
    ],
)
def test_an_owner_that_cannot_be_is_refused(client: Client, changes: dict[str, Any], pointer: str) -> None:
    assert pointers(client.post("/v1/owners", json=PERSON | changes)) == [pointer]


@pytest.mark.parametrize("typed", ["zoe", "ZOË", "angst", "Fen", "ångström-fen"])
def test_an_owner_is_found_by_the_beginning_of_any_name(client: Client, typed: str) -> None:
    add_owner(client)
    add_owner(client, name="Ansel Drumgoolde")
    found = client.get("/v1/owners", query_string={"name": typed}).get_json()["items"]
    assert [row["name"] for row in found] == [PERSON["name"]]


@pytest.mark.parametrize("typed", ["oe", "stropp", "%", "_", "…"])
def test_the_middle_of_a_name_and_wildcards_find_nobody(client: Client, typed: str) -> None:
    add_owner(client)
    assert client.get("/v1/owners", query_string={"name": typed}).get_json()["items"] == []


def test_an_erased_owner_leaves_the_instrument_and_no_name(client: Client, database: Database) -> None:
    made = add_owner(client)
    home = {"place": "Lindenfurt", "kept": "case", "note": "by the stove"}
    row = add_instrument(client, made["id"], nickname="Old Faithful", home=home)
    answer = client.post(f"/v1/owners/{made['id']}/erasure", json={})
    erased = answer.get_json()
    assert answer.status_code == 200
    assert {erased[field] for field in ("name", "email", "phone", "note")} == {None}
    assert erased["erased_at"] == "2026-03-02T12:00:00Z"
    left = client.get(f"/v1/instruments/{row['id']}").get_json()
    assert (left["nickname"], left["home"]["place"], left["home"]["note"]) == (None, None, None)
    assert left["home"]["kept"] == "case"
    assert client.get("/v1/owners?name=zoe").get_json()["items"] == []
    refused = client.patch(f"/v1/owners/{made['id']}", json={"name": "again"}, etag=answer.headers["ETag"])
    assert code(refused) == "owner-erased"
    again = client.post(f"/v1/owners/{made['id']}/erasure", json={}).get_json()
    assert again["version"] == erased["version"]
    with database.read() as session:
        trail = " ".join(str((event.before, event.after)) for event in session.query(AuditEvent))
    for personal in ("Fenstropp", "fenstropp", "5550101", "evening", "Old Faithful"):
        assert personal not in trail


def test_erasing_waits_for_open_jobs_unless_forced(client: Client, bench_client: Client) -> None:
    made = add_owner(client)
    row = add_instrument(client, made["id"])
    client.put("/v1/shop", json={"name": "Werkbank", "zone": "Europe/Berlin"})
    job = client.post("/v1/jobs", json={"instrument_id": row["id"]}).get_json()
    path = f"/v1/owners/{made['id']}/erasure"
    assert bench_client.post(path, json={}).status_code == 403
    refused = client.post(path, json={})
    assert (refused.status_code, code(refused), refused.get_json()["jobs"]) == (
        409,
        "job-open",
        [job["number"]],
    )
    assert client.get(f"/v1/owners/{made['id']}").get_json()["name"] == PERSON["name"]
    assert client.post(path, json={"force": True}).get_json()["name"] is None


def test_the_jobs_of_an_erased_owner_keep_no_word_of_the_owners(client: Client, database: Database) -> None:
    made = add_owner(client)
    row = add_instrument(client, made["id"])
    client.put("/v1/shop", json={"name": "Werkbank", "zone": "Europe/Berlin"})
    body = {
        "instrument_id": row["id"],
        "complaints": "Zoë says that it buzzes",
        "wants": {"restring": True, "playing_style": "like Zoë", "note": "call Zoë"},
        "consents": [{"covers": "general", "given": True, "given_by": "Zoë Fenstropp", "how": "in-person"}],
    }
    job = client.post("/v1/jobs", json=body).get_json()
    assert client.post(f"/v1/owners/{made['id']}/erasure", json={"force": True}).status_code == 200
    left = client.get(f"/v1/jobs/{job['id']}").get_json()
    assert (left["complaints"], left["wants"]["note"], left["wants"]["playing_style"]) == (None, None, None)
    assert left["wants"]["restring"]
    consents = client.get(f"/v1/jobs/{job['id']}/consents").get_json()["items"]
    assert [(consent["given"], consent["given_by"]) for consent in consents] == [(True, "erased")]
    with database.read() as session:
        trail = " ".join(str((event.before, event.after)) for event in session.query(AuditEvent))
    assert "Zoë" not in trail


def test_kept_answers_forget_with_the_rest_and_are_kept(client: Client, database: Database) -> None:
    made = client.post("/v1/owners", json=PERSON, idempotency_key="owner").get_json()
    row = add_instrument(client, made["id"], nickname="Old Faithful")
    client.put("/v1/shop", json={"name": "Werkbank", "zone": "Europe/Berlin"})
    job = {
        "instrument_id": row["id"],
        "complaints": "Zoë says that it buzzes",
        "wants": {"note": "call Zoë"},
        "consents": [
            {"covers": "general", "given": True, "given_by": "Zoë", "how": "in-person", "note": "Zoë nodded"}
        ],
    }
    client.post("/v1/jobs", json=job, idempotency_key="job")
    assert client.post(f"/v1/owners/{made['id']}/erasure", json={"force": True}).status_code == 200
    with database.read() as session:
        kept = " ".join(row.body or "" for row in session.query(IdempotencyKey))
        trail = " ".join(str((event.before, event.after)) for event in session.query(AuditEvent))
    for personal in ("Zoë", "Fenstropp", "555 0101", "Old Faithful"):
        assert personal not in kept
        assert personal not in trail
    again = client.post("/v1/owners", json=PERSON, idempotency_key="owner")
    assert (again.status_code, again.get_json()["id"], again.get_json()["name"]) == (201, made["id"], None)
    assert client.post("/v1/jobs", json=job, idempotency_key="job").get_json()["wants"]["note"] is None


def test_an_erasure_is_done_again_after_an_older_copy_was_put_back(
    client: Client, database: Database, clock: FixedClock
) -> None:
    made = add_owner(client)
    client.post(f"/v1/owners/{made['id']}/erasure", json={})
    with database.read() as session:
        done = owners.erasures(session)
    assert [erasure.owner_id for erasure in done] == [UUID(made["id"])]
    with database.write({"now": clock.now(), "secret": "x" * 40}) as session:
        row = session.get_one(Owner, UUID(made["id"]))
        row.name, row.erased_at = "back again", None
    with database.write({"now": clock.now(), "secret": "x" * 40}) as session:
        assert owners.erase_again(session, done) == 1
        assert owners.erase_again(session, done) == 0
    assert client.get(f"/v1/owners/{made['id']}").get_json()["name"] is None


def test_other_areas_forget_in_the_same_transaction(
    client: Client, database: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("shimstock_server.owners.people._forgetters", [])
    made = add_owner(client)
    told: list[UUID] = []

    def forget(session: Any, owner_id: UUID) -> None:
        told.append(owner_id)
        raise RuntimeError("the other area failed")

    owners.on_erasure(forget)
    assert client.post(f"/v1/owners/{made['id']}/erasure", json={}).status_code == 500
    assert told == [UUID(made["id"])]
    assert client.get(f"/v1/owners/{made['id']}").get_json()["name"] == PERSON["name"]


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_the_website_sees_no_owner(client: Client, booking_client: Client) -> None:
    made = add_owner(client)
    assert booking_client.get("/v1/owners").status_code == 403
    assert booking_client.get(f"/v1/owners/{made['id']}").status_code in (403, 404)


# ---------------------------------------------------------------- instruments


def test_an_instrument_tells_its_model_and_what_is_its_own(bench_client: Client, client: Client) -> None:
    made = add_owner(client)
    row = add_instrument(
        client,
        made["id"],
        serial="K-0117",
        truss_rod={"turns_left_loosen": {"value": 0, "unit": "turn"}},
        bridge={"travel_away": [{"string": 3, "distance": {"value": 2, "unit": "mm"}}]},
    )
    told = bench_client.get(f"/v1/instruments/{row['id']}").get_json()
    assert (told["model"]["name"], told["model"]["frets"]) == ("Quillon", 22)
    assert told["truss_rod"]["turns_left_loosen"] == {"value": 0.0, "unit": "turn"}
    assert told["truss_rod"]["turns_left_tighten"] is None
    assert told["bridge"]["travel_away"] == [{"string": 3, "distance": {"value": 2.0, "unit": "mm"}}]
    found = bench_client.get(f"/v1/instruments?owner_id={made['id']}&serial=K-0117").get_json()["items"]
    assert found == [told]


@pytest.mark.parametrize(
    ("own", "pointer"),
    [
        ({"owner_id": "01890a5d-ac96-774b-bcce-b302099a8057"}, "/owner_id"),
        ({"model_id": "01890a5d-ac96-774b-bcce-b302099a8057"}, "/model_id"),
        ({"tuning_id": "01890a5d-ac96-774b-bcce-b302099a8057"}, "/tuning_id"),
        ({"bridge": {"saddle_total_height": {"bass": EIGHT, "treble": EIGHT}}},
         "/bridge/saddle_total_height"),
        ({"bridge": {"travel_away": [{"string": 7, "distance": EIGHT}]}},
         "/bridge/travel_away/0/string"),
        ({"bridge": {"kind": "two-post"}}, "/bridge/kind"),
        ({"made_in": 2030}, "/made_in"),
        ({"strings_fitted_on": "2026-04-01"}, "/strings_fitted_on"),
        ({"home": {"humidifier_set_point": {"value": 55, "unit": "percent"},
                   "dehumidifier_set_point": {"value": 45, "unit": "percent"}}},
         "/home/humidifier_set_point"),
        ({"home": {"heating_set_point": {"value": 20, "unit": "percent"}}}, "/home/heating_set_point/unit"),
    ],
)  # fmt: skip
@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_an_instrument_that_cannot_be_is_refused(client: Client, own: dict[str, Any], pointer: str) -> None:
    owner = add_owner(client)
    made = client.post("/v1/instrument-models", json=model()).get_json()
    answer = client.post("/v1/instruments", json={"model_id": made["id"], "owner_id": owner["id"], **own})
    assert answer.status_code == 422
    assert pointers(answer) == [pointer]
    assert client.get("/v1/instruments").get_json()["items"] == []


def test_a_serial_number_is_one_instruments(client: Client) -> None:
    owner = add_owner(client)
    row = add_instrument(client, owner["id"], serial="K-1")
    body = {"model_id": row["model_id"], "owner_id": owner["id"], "serial": "K-1"}
    assert code(client.post("/v1/instruments", json=body)) == "serial-taken"
    assert client.post("/v1/instruments", json=body | {"serial": "K-2"}).status_code == 201
    same = client.patch(f"/v1/instruments/{row['id']}", json={"serial": "K-1"}, etag='"1.mm"')
    assert same.status_code == 200


def test_an_instrument_is_changed_by_its_version_and_keeps_the_rest(client: Client) -> None:
    row = add_instrument(client, add_owner(client)["id"], nickname="red", made_in=1998)
    path = f"/v1/instruments/{row['id']}"
    changed = client.patch(path, json={"nickname": "blue"}, etag='"1.mm"').get_json()
    assert (changed["nickname"], changed["made_in"], changed["version"]) == ("blue", 1998, 2)
    assert client.patch(path, json={"nickname": "green"}, etag='"1.mm"').status_code == 412


def test_new_strings_are_noted_with_their_day(client: Client, database: Database, clock: FixedClock) -> None:
    row = add_instrument(client, add_owner(client)["id"])
    with database.write({"now": clock.now(), "secret": "x" * 40}) as session:
        instrument = session.get_one(Instrument, UUID(row["id"]))
        owners.fit_strings(session, instrument, string_set_id=None, tuning_id=None, day=clock.now().date())
    assert client.get(f"/v1/instruments/{row['id']}").get_json()["strings_fitted_on"] == "2026-03-02"
