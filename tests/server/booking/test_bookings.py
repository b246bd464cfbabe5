"""A booking's way: what is free, held, confirmed, moved, cancelled, missed, checked in."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest

from shimstock_server.booking import let_holds_go
from shimstock_server.clock import FixedClock
from shimstock_server.config import Config
from shimstock_server.database.session import Database
from tests.server.clients import Client, code, pointers
from tests.server.conftest import NOON
from tests.server.workshop import Workshop

from .conftest import OWNER, SETUP, Website, etag

TUESDAY = "2026-03-03"
TEN = f"{TUESDAY}T09:00:00Z"  # 10:00 in Berlin, an hour ahead of UTC in March


def test_slots_follow_from_the_opening_hours(website: Website) -> None:
    slots = website.slots(first=TUESDAY, last=TUESDAY)
    assert [slot["wall"][-5:] for slot in slots] == [f"{hour:02}:00" for hour in range(9, 18)]
    assert slots[0] == {"at": f"{TUESDAY}T08:00:00Z", "wall": f"{TUESDAY}T09:00", "places": 2}


def test_slots_too_near_or_too_far_are_not_offered(
    website: Website, client: Client, clock: FixedClock
) -> None:
    today = website.slots(first="2026-03-02", last="2026-03-02")
    assert today[0]["wall"] == "2026-03-02T14:00"  # noon in UTC is 13:00 there, and an hour's notice
    far = (NOON + timedelta(days=61)).date().isoformat()
    assert website.slots(first=far, last=far) == []


def test_a_closure_takes_the_slots_away_and_other_hours_move_them(website: Website, client: Client) -> None:
    client.post("/v1/closures", json={"day": TUESDAY, "reason": "inventory"})
    client.post("/v1/closures", json={"day": "2026-03-04", "opens": "13:15", "closes": "15:30"})
    assert website.slots(first=TUESDAY, last=TUESDAY) == []
    walls = [slot["wall"][-5:] for slot in website.slots(first="2026-03-04", last="2026-03-04")]
    assert walls == ["13:15", "14:15", "15:15"]


def test_a_closure_names_the_bookings_that_it_shuts_out(website: Website, client: Client) -> None:
    ten, two = website.book(TEN), website.book("2026-03-03T13:00:00Z")
    free = website.book("2026-03-04T09:00:00Z")
    afternoon = {"day": TUESDAY, "opens": "13:00", "closes": "18:00"}
    assert client.post("/v1/closures", json=afternoon).get_json()["bookings"] == [ten["id"]]
    (made,) = client.get("/v1/closures").get_json()["items"]
    assert "bookings" not in made
    client.delete(f"/v1/closures/{made['id']}", etag=f'"{made["version"]}.mm"')
    closed = client.post("/v1/closures", json={"day": TUESDAY, "reason": "flood"})
    assert closed.get_json()["bookings"] == [ten["id"], two["id"]]
    for booking in (ten, two, free):
        assert website.client.get(f"/v1/bookings/{booking['id']}").get_json()["state"] == "confirmed"


def test_only_days_on_which_somebody_can_do_it_are_offered(website: Website, workshop: Workshop) -> None:
    nylon = Website(website.client, workshop.ids["nylon"])
    days = {slot["wall"][:10] for slot in nylon.slots(first="2026-03-03", last="2026-03-08")}
    assert days == {"2026-03-03", "2026-03-04"}  # Mara works until Wednesday
    days = {slot["wall"][:10] for slot in website.slots(first="2026-03-03", last="2026-03-08")}
    assert days == {f"2026-03-0{day}" for day in (3, 4, 5, 6)}  # nobody works on Saturday


def test_bench_minutes_run_out_before_the_places(website: Website) -> None:
    # Thursday: Nils alone, 9 to 17, is 480 minutes: five of 90
    first = website.slots(first="2026-03-05", last="2026-03-05")
    assert len(first) == 9
    for slot in first[:5]:
        assert website.hold(slot["at"]).status_code == 201
    assert website.slots(first="2026-03-05", last="2026-03-05") == []
    refused = website.hold(first[5]["at"])
    assert (refused.status_code, code(refused)) == (409, "no-place")
    following = refused.get_json()["next_slots"]
    assert len(following) == 5
    assert following[0] == {"at": "2026-03-06T08:00:00Z", "wall": "2026-03-06T09:00", "places": 2}
    assert website.hold(following[0]["at"]).status_code == 201


def test_places_per_day_are_kept(website: Website, client: Client, workshop: Workshop) -> None:
    row = client.get(f"/v1/services/{workshop.ids['setup']}")
    changed = client.patch(
        f"/v1/services/{workshop.ids['setup']}", json={"places_per_day": 1}, etag=row.headers["ETag"]
    )
    assert changed.status_code == 200
    assert website.hold(TEN).status_code == 201
    assert website.slots(first=TUESDAY, last=TUESDAY) == []
    assert code(website.hold(f"{TUESDAY}T10:00:00Z")) == "no-place"


def test_a_hold_ends_by_the_clock(
    website: Website, clock: FixedClock, database: Database, config: Config
) -> None:
    held = website.hold(TEN).get_json()
    assert held["state"] == "held"
    assert held["hold_until"] == "2026-03-02T12:10:00Z"
    assert website.hold(TEN).status_code == 201
    assert code(website.hold(TEN)) == "no-place"
    clock.advance(timedelta(minutes=10))
    assert website.client.get(f"/v1/bookings/{held['id']}").get_json()["state"] == "expired"
    assert website.slots(first=TUESDAY, last=TUESDAY)[1]["places"] == 2
    late = website.confirm(held)
    assert (late.status_code, code(late)) == (409, "hold-ended")
    assert late.get_json()["next_slots"]
    # Nobody has noted it, and the place is there all the same.
    assert website.hold(TEN).status_code == 201
    listed = website.client.get("/v1/bookings?state=expired").get_json()["items"]
    assert held["id"] in [each["id"] for each in listed]
    clock.advance(timedelta(minutes=10))
    assert let_holds_go(database, config, clock) == 1  # the one hold that nobody has noted yet
    assert let_holds_go(database, config, clock) == 0


def test_confirming_opens_the_job(website: Website, client: Client) -> None:
    booking = website.book(
        TEN,
        instrument={"kind": "electric", "maker": "Alder & Finch", "serial": "AF-1", "description": "red"},
        wants={"restring": True, "playing_style": "slide", "note": "not too low"},
    )
    assert booking["state"] == "confirmed"
    assert booking["hold_until"] is None
    assert booking["price"] == 79
    assert booking["price_from"] is True
    assert booking["currency"] == "EUR"
    assert booking["promised_on"] == "2026-03-06"  # three opening days after Tuesday
    assert booking["job"]["state"] == "booked"
    assert booking["card_path"].startswith("/cards/")
    job = client.get(f"/v1/jobs/{booking['job']['id']}").get_json()
    assert job["complaints"] == "buzzes"
    assert job["services"] == [SETUP["name"]]
    assert job["estimated_minutes"] == 90
    assert job["skills"] == ["setup"]
    assert job["promised_on"] == "2026-03-06"
    assert job["wants"]["restring"] is True
    owner = client.get(f"/v1/owners/{job['owner_id']}").get_json()
    assert (owner["name"], owner["email"], owner["units"]) == (OWNER["name"], OWNER["email"], "mm")


def test_an_owner_is_never_matched_by_address(website: Website, client: Client) -> None:
    client.post("/v1/owners", json=OWNER)
    website.book(TEN)
    assert len(client.get("/v1/owners?name=Sasha").get_json()["items"]) == 2


def test_a_double_click_books_once(website: Website) -> None:
    first = website.hold(TEN, idempotency_key="one click")
    again = website.hold(TEN, idempotency_key="one click")
    assert again.headers["Idempotent-Replayed"] == "true"
    assert first.get_json() == again.get_json()
    path = f"/v1/bookings/{first.get_json()['id']}/confirm"
    one = website.client.post(path, json={"owner": OWNER}, idempotency_key="confirm")
    two = website.client.post(path, json={"owner": OWNER}, idempotency_key="confirm")
    assert one.get_json()["card_path"]
    assert two.get_json() == one.get_json()  # the owner's page too: the first answer may have been lost
    three = website.client.post(path, json={"owner": OWNER})
    assert (three.status_code, code(three)) == (409, "booking-settled")
    assert len(website.client.get("/v1/bookings").get_json()["items"]) == 1


def test_moving_takes_the_new_slot_and_frees_the_old(website: Website, client: Client) -> None:
    booking = website.book(TEN)
    path = f"/v1/bookings/{booking['id']}/move"
    moved = website.client.post(path, json={"at": "2026-03-05T09:00:00Z"}, etag=etag(booking))
    assert moved.status_code == 200
    assert moved.get_json()["wall"] == "2026-03-05T10:00"
    assert moved.get_json()["promised_on"] == "2026-03-09"  # Saturday is an opening day, Sunday is none
    assert client.get(f"/v1/jobs/{booking['job']['id']}").get_json()["promised_on"] == "2026-03-09"
    assert website.slots(first=TUESDAY, last=TUESDAY)[1]["places"] == 2
    # Onto a slot that is full: it stays where it is.
    for _ in range(2):
        website.hold(TEN)
    refused = website.client.post(path, json={"at": TEN}, etag=etag(moved.get_json()))
    assert (refused.status_code, code(refused)) == (409, "no-place")
    kept = website.client.get(f"/v1/bookings/{booking['id']}").get_json()
    assert (kept["wall"], kept["version"]) == ("2026-03-05T10:00", moved.get_json()["version"])
    assert website.client.post(path, json={"at": TEN}).status_code == 428
    assert website.client.post(path, json={"at": TEN}, etag='"1.mm"').status_code == 412


@pytest.mark.parametrize("confirmed", [False, True])
def test_cancelling_frees_the_slot(website: Website, client: Client, confirmed: bool) -> None:
    booking = website.book(TEN) if confirmed else website.hold(TEN).get_json()
    assert website.slots(first=TUESDAY, last=TUESDAY)[1]["places"] == 1
    path = f"/v1/bookings/{booking['id']}/cancel"
    gone = website.client.post(path, json={"reason": "ill"}, etag=etag(booking))
    assert gone.get_json()["state"] == "cancelled"
    assert website.slots(first=TUESDAY, last=TUESDAY)[1]["places"] == 2
    if confirmed:
        assert gone.get_json()["job"]["state"] == "cancelled"
        moves = client.get(f"/v1/jobs/{booking['job']['id']}/moves").get_json()["items"]
        assert moves[-1]["reason"] == "the booking was cancelled"
    assert client.get(f"/v1/bookings/{booking['id']}").get_json()["cancel_reason"] == "ill"
    again = website.client.post(path, json={}, etag=etag(gone.get_json()))
    assert (again.status_code, code(again)) == (409, "booking-settled")
    assert len([each for each in website.slots(first=TUESDAY, last=TUESDAY) if each["places"] == 2]) == 9


def test_a_job_cancelled_at_the_counter_frees_the_slot(website: Website, client: Client) -> None:
    booking = website.book(TEN)
    job = client.get(f"/v1/jobs/{booking['job']['id']}")
    client.post(
        f"/v1/jobs/{booking['job']['id']}/moves",
        json={"to": "cancelled", "reason": "called us"},
        etag=job.headers["ETag"],
    )
    assert website.client.get(f"/v1/bookings/{booking['id']}").get_json()["state"] == "cancelled"
    assert website.slots(first=TUESDAY, last=TUESDAY)[1]["places"] == 2


def test_nobody_came(website: Website, bench_client: Client, clock: FixedClock) -> None:
    booking = website.book(TEN)
    path = f"/v1/bookings/{booking['id']}/no-show"
    early = bench_client.post(path, etag=etag(booking))
    assert (early.status_code, code(early)) == (409, "not-yet-missed")
    clock.advance(timedelta(days=1))
    missed = bench_client.post(path, etag=etag(booking))
    assert missed.get_json()["state"] == "no-show"
    assert missed.get_json()["job"]["state"] == "cancelled"
    assert website.client.post(path, etag=etag(booking)).status_code == 403


# ------------------------------------------------------------ checking in


def check_in(client: Client, booking: dict[str, Any], **body: Any) -> Any:
    path = f"/v1/bookings/{booking['id']}"
    return client.post(f"{path}/check-in", json=body, etag=client.get(path).headers["ETag"])


@pytest.fixture
def known(client: Client, workshop: Workshop) -> str:
    """An instrument that the shop knows by its serial number."""
    made = client.post(
        "/v1/instruments",
        json={"model_id": workshop.ids["model"], "owner_id": workshop.ids["owner"], "serial": "AF-7"},
    )
    return str(made.get_json()["id"])


def test_an_instrument_known_by_its_serial_number(website: Website, bench_client: Client, known: str) -> None:
    booking = website.book(TEN, instrument={"serial": "AF-7"})
    assert booking["instruments"] == []  # the website is not told whether the shop knows it
    assert bench_client.get(f"/v1/bookings/{booking['id']}").get_json()["instruments"] == [known]
    here = check_in(
        bench_client,
        booking,
        condition="no cracks",
        consents=[{"covers": "general", "given": True, "given_by": "Sasha", "how": "in-person"}],
    )
    assert here.status_code == 200, here.get_data(as_text=True)
    assert here.get_json()["state"] == "checked-in"
    assert here.get_json()["job"]["state"] == "received"
    job = bench_client.get(f"/v1/jobs/{booking['job']['id']}").get_json()
    assert (job["instrument_id"], job["condition"]) == (known, "no cracks")
    assert job["owner_id"] == here.get_json()["owner_id"]
    consents = bench_client.get(f"/v1/jobs/{job['id']}/consents").get_json()["items"]
    assert [each["covers"] for each in consents] == ["general"]
    again = check_in(bench_client, booking)
    assert (again.status_code, code(again)) == (409, "booking-settled")


def test_a_new_instrument_and_an_owner_whom_the_shop_knows(
    website: Website, client: Client, workshop: Workshop
) -> None:
    booking = website.book(TEN, instrument={"serial": "NEW-1"})
    made_by_the_site = client.get(f"/v1/bookings/{booking['id']}").get_json()["owner_id"]
    here = check_in(
        client,
        booking,
        new_instrument={"model_id": workshop.ids["model"], "serial": "NEW-1"},
        owner_id=workshop.ids["owner"],
    )
    assert here.status_code == 200, here.get_data(as_text=True)
    assert here.get_json()["owner_id"] == workshop.ids["owner"]
    job = client.get(f"/v1/jobs/{booking['job']['id']}").get_json()
    assert job["owner_id"] == workshop.ids["owner"]
    instrument = client.get(f"/v1/instruments/{job['instrument_id']}").get_json()
    assert (instrument["serial"], instrument["owner_id"]) == ("NEW-1", workshop.ids["owner"])
    # Whom the website added was somebody known: the double is taken out.
    assert client.get(f"/v1/owners/{made_by_the_site}").get_json()["erased_at"] is not None


NOWHERE = "01890a5d-ac96-774b-bcce-b302099a8057"
CANNOT_BE_CHECKED_IN: list[tuple[dict[str, Any], str]] = [
    ({}, "/instrument_id"),
    ({"instrument_id": NOWHERE}, "/instrument_id"),
    ({"owner_id": NOWHERE}, "/owner_id"),
    ({"instrument_id": NOWHERE, "new_instrument": {"model_id": NOWHERE}}, "/new_instrument"),
    ({"new_instrument": {"model_id": NOWHERE}}, "/model_id"),
]


def test_what_cannot_be_checked_in(website: Website, client: Client) -> None:
    booking = website.book(TEN, instrument={"serial": "nobody knows it"})
    for body, pointer in CANNOT_BE_CHECKED_IN:
        refused = check_in(client, booking, **body)
        assert refused.status_code == 422, body
        assert pointers(refused) == [pointer], body
    assert client.get(f"/v1/bookings/{booking['id']}").get_json()["state"] == "confirmed"


def test_a_recheck_is_named_by_the_owners_page(website: Website, client: Client, known: str) -> None:
    booking = website.book(TEN, instrument={"serial": "AF-7"})
    check_in(client, booking)
    token = booking["card_path"].removeprefix("/cards/")
    held = website.hold("2026-03-04T09:00:00Z").get_json()
    again = website.client.post(f"/v1/bookings/{held['id']}/confirm", json={"recheck_of": token})
    assert again.status_code == 200, again.get_data(as_text=True)
    job = client.get(f"/v1/jobs/{again.get_json()['job']['id']}").get_json()
    assert (job["follows_id"], job["instrument_id"]) == (booking["job"]["id"], known)
    held = website.hold("2026-03-04T10:00:00Z").get_json()
    wrong = website.client.post(f"/v1/bookings/{held['id']}/confirm", json={"recheck_of": "x" * 27})
    assert pointers(wrong) == ["/recheck_of"]
    assert wrong.status_code == 422


def recheck(website: Website, at: str, path: str) -> Any:
    """Book a recheck with the address of an owner's page."""
    held = website.hold(at).get_json()
    body = {"recheck_of": path.removeprefix("/cards/")}
    return website.client.post(f"/v1/bookings/{held['id']}/confirm", json=body)


def revoke_first_link(client: Client, booking: dict[str, Any]) -> None:
    links = client.get(f"/v1/jobs/{booking['job']['id']}/card-links").get_json()["items"]
    first = f"/v1/card-links/{links[0]['id']}"
    assert client.delete(first, etag=client.get(first).headers["ETag"]).status_code == 204


def test_what_came_from_an_address_is_revoked_with_it(
    website: Website, client: Client, stranger: Client, known: str
) -> None:
    booking = website.book(TEN, instrument={"serial": "AF-7"})
    check_in(client, booking)
    second = recheck(website, "2026-03-04T09:00:00Z", booking["card_path"]).get_json()
    check_in(client, second, instrument_id=known)
    third = recheck(website, "2026-03-05T09:00:00Z", second["card_path"]).get_json()
    more = f"/v1/bookings/{third['id']}/card-links"
    paths = [booking["card_path"], second["card_path"], third["card_path"]]
    paths.append(website.client.post(more, json={}).get_json()["path"])
    assert [stranger.get(path).status_code for path in paths] == [200] * 4
    revoke_first_link(client, booking)
    assert [stranger.get(path).status_code for path in paths] == [404] * 4
    assert recheck(website, "2026-03-06T09:00:00Z", third["card_path"]).status_code == 422
    refused = website.client.post(more, json={})
    assert (refused.status_code, refused.get_json()["code"]) == (409, "address-ended")
    by_the_shop = client.post(more, json={})
    assert stranger.get(by_the_shop.get_json()["path"]).status_code == 200


def test_an_address_ends_with_the_one_that_it_came_from(
    website: Website, client: Client, stranger: Client, clock: FixedClock, known: str
) -> None:
    booking = website.book(TEN, instrument={"serial": "AF-7"})
    check_in(client, booking)
    short = website.client.post(f"/v1/bookings/{booking['id']}/card-links", json={"days": 2}).get_json()
    again = recheck(website, "2026-03-04T09:00:00Z", short["path"]).get_json()
    more = website.client.post(f"/v1/bookings/{again['id']}/card-links", json={"days": 90}).get_json()
    links = client.get(f"/v1/jobs/{again['job']['id']}/card-links").get_json()["items"]
    assert [link["expires_at"] for link in links] == [short["expires_at"]] * 2
    clock.advance(timedelta(days=2))
    for path in (short["path"], again["card_path"], more["path"]):
        assert stranger.get(path).status_code == 404
    assert stranger.get(booking["card_path"]).status_code == 200


def test_another_websites_key_books_no_recheck(
    website: Website, other_website: Website, client: Client, workshop: Workshop, known: str
) -> None:
    booking = website.book(TEN, instrument={"serial": "AF-7"})
    check_in(client, booking)
    refused = recheck(other_website, "2026-03-04T09:00:00Z", booking["card_path"])
    assert (refused.status_code, pointers(refused)) == (422, ["/recheck_of"])
    # A job that came in over the counter belongs to no website: its owner may book anywhere.
    job = client.post("/v1/jobs", json={"instrument_id": known, "services": ["setup"]}).get_json()
    card = client.post(f"/v1/jobs/{job['id']}/card-links", json={}).get_json()["path"]
    taken = recheck(other_website, "2026-03-04T09:00:00Z", card)
    assert taken.status_code == 200, taken.get_data(as_text=True)


def test_bookings_are_found_by_serial_and_number(website: Website, client: Client, known: str) -> None:
    told, other = website.book(TEN, instrument={"serial": "AF-7"}), website.book(TEN)

    def found(who: Client, **query: Any) -> list[str]:
        answer = who.get("/v1/bookings", query_string=query)
        assert answer.status_code == 200, answer.get_data(as_text=True)
        return [each["id"] for each in answer.get_json()["items"]]

    assert found(client, serial="AF-7") == found(website.client, serial="AF-7") == [told["id"]]
    assert found(client, number=other["job"]["number"]) == [other["id"]]
    assert found(client, serial="nobody's") == []
    # One that turned out to be that instrument is found by the shop; a website finds what it told itself.
    here = check_in(client, other, instrument_id=known)
    assert here.status_code == 200, here.get_data(as_text=True)
    assert sorted(found(client, serial="AF-7")) == sorted([told["id"], other["id"]])
    assert found(website.client, serial="AF-7") == [told["id"]]
