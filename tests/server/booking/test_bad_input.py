"""What a booking website, or whoever plays one, can send: refused with the field and what would be right."""

from __future__ import annotations

from typing import Any

import pytest

from shimstock_server.clock import FixedClock
from tests.server.clients import Client, code, pointers
from tests.server.conftest import NOON
from tests.server.workshop import Workshop

from .conftest import OWNER, Website

NO_SLOT: list[tuple[Any, str]] = [
    ("2026-03-02T11:00:00Z", "past"),
    ("2026-03-02T12:00:00Z", "past"),
    ("2026-03-02T12:30:00Z", "60 minutes before"),
    ("2026-06-30T08:00:00Z", "60 days"),
    ("2026-03-03T05:00:00Z", "no drop-off slot: 06:00"),
    ("2026-03-03T17:00:00Z", "no drop-off slot: 18:00"),
    ("2026-03-03T08:30:00Z", "no drop-off slot: 09:30"),
    ("2026-03-03T08:00:01Z", "no drop-off slot"),
    ("2026-03-08T09:00:00Z", "takes nothing in on 2026-03-08"),
    ("2999-12-31T23:59:59Z", "60 days"),
    ("1900-01-01T00:00:00Z", "past"),
    ("9999-12-31T23:59:59Z", "1900 to 2999"),
    ("0001-01-01T00:00:00Z", "1900 to 2999"),
    ("2026-03-03T09:00:00", "with its offset"),
    (None, "must not be null"),
    (5, "with its offset"),
]


def test_instants_that_are_no_slot(website: Website) -> None:
    for at, says in NO_SLOT:
        refused = website.hold(at)
        assert refused.status_code == 422, at
        assert pointers(refused) == ["/at"], at
        assert says in refused.get_json()["errors"][0]["message"], at


def test_a_service_that_is_not_there_or_not_offered(
    website: Website, client: Client, workshop: Workshop
) -> None:
    unknown = Website(website.client, "01890a5d-ac96-774b-bcce-b302099a8057")
    assert pointers(unknown.hold("2026-03-03T09:00:00Z")) == ["/service_id"]
    row = client.get(f"/v1/services/{workshop.ids['setup']}")
    client.patch(f"/v1/services/{workshop.ids['setup']}", json={"active": False}, etag=row.headers["ETag"])
    assert pointers(website.hold("2026-03-03T09:00:00Z")) == ["/service_id"]
    listed = website.client.get("/v1/services").get_json()["items"]
    assert [each["name"] for each in listed] == ["Setup, nylon"]
    assert website.client.get(f"/v1/services/{workshop.ids['setup']}").status_code == 404
    hidden = website.client.get(f"/v1/availability?service_id={workshop.ids['setup']}")
    assert pointers(hidden) == ["/query/service_id"]


MALICIOUS = [
    {"owner": {"name": "x" * 201}},
    {"owner": {"name": "\x00"}},
    {"owner": {"name": "a\ud800b"}},
    {"owner": {"name": "\u202egnp.exe"}},
    {"owner": {**OWNER, "email": "no address"}},
    {"owner": {**OWNER, "phone": "call me"}},
    {"owner": {**OWNER, "note": "internal"}},
    {"owner": {**OWNER, "id": "01890a5d-ac96-774b-bcce-b302099a8057"}},
    {"owner": None},
    {"owner": OWNER, "complaints": "x" * 4001},
    {"owner": OWNER, "instrument": {"instrument_id": "01890a5d-ac96-774b-bcce-b302099a8057"}},
    {"owner": OWNER, "instrument": {"kind": "harp"}},
    {"owner": OWNER, "instrument": {"kind": "bass"}},
    {"owner": OWNER, "instrument": {"serial": "x" * 101}},
    {"owner": OWNER, "wants": {"string_set_id": "01890a5d-ac96-774b-bcce-b302099a8057"}},
    {"owner": OWNER, "priority": 9},
]


def test_what_cannot_be_confirmed(website: Website) -> None:
    held = website.hold("2026-03-03T09:00:00Z").get_json()
    for body in MALICIOUS:
        refused = website.client.post(f"/v1/bookings/{held['id']}/confirm", json=body)
        assert refused.status_code == 422, body
        assert pointers(refused), body
    kept = website.client.get(f"/v1/bookings/{held['id']}").get_json()
    assert (kept["state"], kept["job"], kept["version"]) == ("held", None, held["version"])


def test_text_is_kept_as_it_is_and_never_run(website: Website, client: Client) -> None:
    nasty = "<script>alert(1)</script> '; DROP TABLE jobs; -- =cmd|' /C calc'!A0 {{7*7}}"
    booking = website.book(
        "2026-03-03T09:00:00Z", complaints=nasty, owner={"name": nasty}, instrument={"description": nasty}
    )
    assert booking["instrument"]["description"] == nasty
    assert client.get(f"/v1/jobs/{booking['job']['id']}").get_json()["complaints"] == nasty
    page = client.get(booking["card_path"], headers={"Authorization": None})
    assert page.status_code == 200
    assert "<script>" not in page.get_data(as_text=True)


def test_a_website_writes_in_nobodys_name(website: Website, workshop: Workshop) -> None:
    for name in (workshop.ids["nils"], workshop.ids["setup"]):  # nor learns who works here
        refused = website.hold("2026-03-03T09:00:00Z", headers={"Technician": name})
        assert (refused.status_code, pointers(refused)) == (422, ["/header/Technician"])
        assert "a website names nobody" in refused.get_data(as_text=True)


def test_a_body_that_is_too_large(website: Website) -> None:
    held = website.hold("2026-03-03T09:00:00Z").get_json()
    body = {"owner": OWNER, "complaints": "x" * (1024 * 1024)}
    assert website.client.post(f"/v1/bookings/{held['id']}/confirm", json=body).status_code == 413


BAD_QUESTIONS: list[tuple[dict[str, str], str]] = [
    ({}, "/query/service_id"),
    ({"service_id": "x"}, "/query/service_id"),
    ({"first": "2026-03-40"}, "/query/first"),
    ({"first": "2026-03-05", "last": "2026-03-04"}, "/query/last"),
    ({"first": "2026-03-01", "last": "2026-05-02"}, "/query/last"),
    ({"first": "9999-12-31"}, "/query/first"),
    ({"first": "0001-01-01"}, "/query/first"),
    ({"skill": "setup"}, "/query/skill"),
]


def test_questions_about_what_is_free(website: Website) -> None:
    for query, pointer in BAD_QUESTIONS:
        known = {"service_id": website.service_id} if query and "service_id" not in query else {}
        refused = website.client.get("/v1/availability", query_string={**known, **query})
        assert refused.status_code == 422, query
        assert pointers(refused) == [pointer], query


def test_the_past_has_no_free_slots(website: Website) -> None:
    assert website.slots(first="2020-03-02", last="2020-03-08") == []


def test_before_the_shop_is_set_up(booking_client: Client, client: Client) -> None:
    refused = booking_client.get("/v1/services")
    assert refused.status_code == 200
    made = client.post("/v1/services", json={"name": "Setup", "bench_minutes": 60})
    assert (made.status_code, code(made)) == (409, "shop-not-set-up")


def test_services_that_make_no_sense(client: Client, workshop: Workshop) -> None:
    for name, value in {
        "bench_minutes": 0,
        "step_minutes": 0,
        "places": 0,
        "price": -1,
        "skills": ["juggling"],
    }.items():
        refused = client.post("/v1/services", json={"name": "Other", "bench_minutes": 60, name: value})
        assert refused.status_code == 422
        assert pointers(refused)[0].startswith(f"/{name}")


def test_a_services_name_is_used_once(client: Client, workshop: Workshop) -> None:
    refused = client.post("/v1/services", json={"name": "Setup, nylon", "bench_minutes": 60})
    assert (refused.status_code, code(refused)) == (409, "service-name-in-use")


# ------------------------------------------------------------ clocks that change
# Europe/Berlin: forward at 01:00 UTC on 29 March 2026 (02:00 to 03:00), back at 01:00 UTC on 25 October 2026
# (03:00 to 02:00). Source: the IANA time zone database, EU rules.


@pytest.fixture
def night_shop(client: Client, workshop: Workshop) -> Workshop:
    """The shop opens in the nights in which the clocks change."""
    for day in ("2026-03-29", "2026-10-25"):
        client.post("/v1/closures", json={"day": day, "opens": "01:00", "closes": "05:00"})
    sunday = [{"weekday": 7, "starts": "00:00", "ends": "24:00"}]
    client.post("/v1/technicians", json={"name": "Owl", "skills": ["setup"], "shifts": sunday})
    return workshop


def test_a_wall_time_that_the_clocks_jump_over_is_not_offered(
    website: Website, night_shop: Workshop, clock: FixedClock
) -> None:
    slots = website.slots(first="2026-03-29", last="2026-03-29")
    assert [(slot["wall"][-5:], slot["at"]) for slot in slots] == [
        ("01:00", "2026-03-29T00:00:00Z"),
        ("03:00", "2026-03-29T01:00:00Z"),
        ("04:00", "2026-03-29T02:00:00Z"),
    ]
    # 02:30 at winter time is 03:30 in truth: no slot, and the message says what its clock shows.
    refused = website.hold("2026-03-29T02:30:00+01:00")
    assert "03:30 is not among" in refused.get_json()["errors"][0]["message"]
    # Opening hours from 1 to 5 are three hours that night: two of 90 minutes.
    assert website.hold(slots[0]["at"]).status_code == 201
    assert website.hold(slots[0]["at"]).status_code == 201
    assert code(website.hold(slots[1]["at"])) == "no-place"


def test_a_wall_time_that_comes_twice_is_offered_once(
    website: Website, night_shop: Workshop, clock: FixedClock
) -> None:
    clock.set(NOON.replace(month=10, day=20))
    slots = website.slots(first="2026-10-25", last="2026-10-25")
    assert [(slot["wall"][-5:], slot["at"]) for slot in slots] == [
        ("01:00", "2026-10-24T23:00:00Z"),
        ("02:00", "2026-10-25T00:00:00Z"),
        ("03:00", "2026-10-25T02:00:00Z"),
        ("04:00", "2026-10-25T03:00:00Z"),
    ]
    second = website.hold("2026-10-25T02:00:00+01:00")
    assert pointers(second) == ["/at"]
    assert (
        "comes twice that day and is offered once: 2026-10-25T00:00:00Z"
        in second.get_json()["errors"][0]["message"]
    )
    booking = website.book("2026-10-25T02:00:00+02:00")
    assert (booking["wall"], booking["zone"], booking["at"]) == (
        "2026-10-25T02:00", "Europe/Berlin", "2026-10-25T00:00:00Z",
    )  # fmt: skip
