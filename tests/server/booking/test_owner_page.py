"""The owner's page: what it tells at each stop, whom it opens for, and what cannot be reached from it."""

from __future__ import annotations

import base64
import hashlib
import re
import secrets
import threading
import time
from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from html.parser import HTMLParser
from typing import Any

import pytest
from flask import Flask
from sqlalchemy import select, text, update
from werkzeug.test import TestResponse

from shimstock_server.cards import links
from shimstock_server.clock import FixedClock
from shimstock_server.config import Config
from shimstock_server.database.session import Database
from shimstock_server.database.tables.cards import CardLink
from shimstock_server.database.tables.jobs import Job
from shimstock_server.database.words import Scope
from shimstock_server.web.context import Actor
from shimstock_server.web.tokens import redact
from tests.server.clients import Client
from tests.server.conftest import NOON, SECRET
from tests.server.workshop import Workshop, case_one_readings, sheet

from .conftest import OWNER, Website, etag

TEN = "2026-03-03T09:00:00Z"


def seen(answer: TestResponse) -> str:
    """What a person reads on a page."""
    page = re.sub(r"<style>.*?</style>", "", answer.get_data(as_text=True), flags=re.DOTALL)
    return " ".join(re.sub(r"<[^>]+>", " ", page).split())


@pytest.fixture
def booking(website: Website) -> dict[str, Any]:
    """A confirmed booking with the address of its page."""
    return website.book(TEN, instrument={"maker": "Alder & Finch", "model": "Heron", "serial": "AF-7"})


@pytest.fixture
def look(stranger: Client, booking: dict[str, Any]) -> Any:
    """Opens the page, as anybody who has its address."""

    def open_page(query: str = "") -> TestResponse:
        return stranger.get(booking["card_path"] + query)

    return open_page


def move(client: Client, booking: dict[str, Any], to: str, **wish: Any) -> None:
    path = f"/v1/jobs/{booking['job']['id']}"
    answer = client.post(f"{path}/moves", json={"to": to, **wish}, etag=client.get(path).headers["ETag"])
    assert answer.status_code == 200, answer.get_data(as_text=True)


def check_in(client: Client, booking: dict[str, Any], shop: Workshop) -> None:
    answer = client.post(
        f"/v1/bookings/{booking['id']}/check-in",
        json={"new_instrument": {"model_id": shop.ids["model"], "serial": "AF-7", "nickname": "Old Faithful",
                                 "notes": "an internal note"}},
        etag=etag(booking),
    )  # fmt: skip
    assert answer.status_code == 200, answer.get_data(as_text=True)


def test_its_way_through_the_shop(
    look: Any,
    client: Client,
    bench_client: Client,
    booking: dict[str, Any],
    workshop: Workshop,
    clock: FixedClock,
) -> None:
    told = seen(look())
    assert "Alder & Finch Heron" in told.replace("&amp;", "&")
    assert "We expect it on Tuesday, 3 March 2026 at 10:00." in told
    assert "Promised for Friday, 6 March 2026." in told
    assert "Setup, electric" in told
    clock.advance(timedelta(hours=22))
    check_in(client, booking, workshop)
    assert "It is with us. " in seen(look())
    assert "Old Faithful" in seen(look())
    move(client, booking, "queued")
    assert "waits for its turn" in seen(look())
    move(client, booking, "waiting", waiting_for="parts")
    assert "It waits for parts" in seen(look())
    move(client, booking, "queued")
    job = booking["job"]["id"]
    technician = {"Technician": workshop.ids["nils"]}
    claimed = bench_client.post(f"/v1/jobs/{job}/claim", json={}, headers=technician)
    assert claimed.status_code == 200, claimed.get_data(as_text=True)
    assert "It is on the bench." in seen(look())
    move(client, booking, "settling")
    told = seen(look())
    assert "Its neck is settling. Wood takes its time: we look again on Tuesday, 3 March 2026, from" in told
    clock.advance(timedelta(hours=2))
    bench_client.post(f"/v1/jobs/{job}/claim", json={}, headers=technician)
    readings = case_one_readings(workshop)
    client.post(f"/v1/jobs/{job}/reading-sheets", json=sheet(readings))
    move(client, booking, "final-check")
    assert "what it moved is measured once more" in seen(look())
    final = sheet(readings, stage="final", taken_at="2026-03-03T12:00:00Z")
    client.post(f"/v1/jobs/{job}/reading-sheets", json=final)
    move(client, booking, "ready", reason="the owner likes it so")
    told = seen(look())
    assert "It is ready. Come and get it." in told
    assert "Promised for" not in told
    assert "Before and after" in told  # the card
    assert "an internal note" not in told
    assert "Sasha Newcomer" in told  # on the card: it is the owner's own name
    move(client, booking, "collected")
    told = seen(look())
    assert "It is with you again." in told
    assert "On the bench 3 March 2026" in told


def test_a_promise_that_is_not_kept_is_said(
    look: Any, clock: FixedClock, client: Client, booking: Any, workshop: Workshop
) -> None:
    clock.advance(timedelta(days=9))
    told = seen(look())
    assert "We expected it on Tuesday, 3 March 2026 at 10:00. Please tell us when you bring it." in told
    assert "late" not in told
    check_in(client, booking, workshop)
    assert "We promised it for Friday, 6 March 2026 and are late." in seen(look())
    move(client, booking, "cancelled", reason="sold it")
    told = seen(look())
    assert "This job was cancelled." in told
    assert "sold it" not in told
    assert "Promised" not in told


def test_a_quote_waits_for_an_answer(
    look: Any,
    client: Client,
    booking: dict[str, Any],
    workshop: Workshop,
) -> None:
    check_in(client, booking, workshop)
    job = booking["job"]["id"]
    quote = client.post(f"/v1/jobs/{job}/quotes", json={"work": "Level the frets <now>", "amount": 240})
    move(client, booking, "waiting", waiting_for="owner")
    told = seen(look())
    assert "We have a question for you." in told
    assert "Level the frets &lt;now&gt;" in told
    assert "240.00" in told
    assert "Promised" not in told
    client.patch(
        f"/v1/jobs/{job}/quotes/{quote.get_json()['id']}",
        json={"approved": False, "answered_how": "phone"},
        etag=quote.headers["ETag"],
    )
    assert "Level the frets" not in seen(look())


# ------------------------------------------------------------ the address


def test_the_address_has_160_secret_bits_and_is_kept_as_a_hash(
    booking: dict[str, Any], database: Database
) -> None:
    token = booking["card_path"].removeprefix("/cards/")
    assert len(base64.urlsafe_b64decode(token + "=")) * 8 == 160
    with database.read() as session:
        (row,) = session.query(CardLink)
        assert row.token_hash == hashlib.sha256(token.encode()).digest()
        for table in ("card_links", "bookings", "audit_events", "domain_events", "idempotency_keys"):
            rows = session.execute(text(f"SELECT * FROM {table}"))
            assert all(token not in str(each) for each in rows), table


class LostConfirmation:
    """A confirmation whose answer was lost, and its repetition."""

    def __init__(self, website: Website) -> None:
        self.website = website
        self.held = website.hold(TEN).get_json()
        self.first = self.send().get_json()

    def send(self, app: Flask | None = None) -> TestResponse:
        client = self.website.client if app is None else replace(self.website.client, app=app)
        path = f"/v1/bookings/{self.held['id']}/confirm"
        answer = client.post(path, json={"owner": OWNER}, idempotency_key="one click")
        assert answer.status_code == 200
        return answer


@pytest.fixture
def lost(website: Website) -> LostConfirmation:
    return LostConfirmation(website)


def test_a_lost_answer_shows_the_address_again(lost: LostConfirmation, stranger: Client) -> None:
    again = lost.send()
    assert again.headers["Idempotent-Replayed"] == "true"
    assert again.get_json() == lost.first
    assert stranger.get(again.get_json()["card_path"]).status_code == 200


def test_a_lost_answer_shows_a_further_address_again(
    lost: LostConfirmation, client: Client, stranger: Client
) -> None:
    paths = {lost.first["card_path"]}
    for sender, path in (
        (lost.website.client, f"/v1/bookings/{lost.held['id']}/card-links"),
        (client, f"/v1/jobs/{lost.first['job']['id']}/card-links"),
    ):
        first, again = (sender.post(path, json={}, idempotency_key="another").get_json() for _ in range(2))
        assert first == again
        assert stranger.get(again["path"]).status_code == 200
        paths.add(again["path"])
    assert len(paths) == 3, "each address is another one"


def test_after_another_secret_an_address_opens_and_is_not_shown_again(
    lost: LostConfirmation, make_app: Callable[..., Flask], config: Config, stranger: Client
) -> None:
    other = make_app(config=replace(config, secret=secrets.token_urlsafe(40)), check_revision=False)
    assert lost.send(other).get_json() == {**lost.first, "card_path": None}
    assert Client(other, None).get(lost.first["card_path"]).status_code == 200
    client = replace(lost.website.client, app=other)
    more = client.post(f"/v1/bookings/{lost.held['id']}/card-links", json={}).get_json()
    assert stranger.get(more["path"]).status_code == 200


def test_an_address_of_an_earlier_release_opens_and_is_not_shown_again(
    lost: LostConfirmation, database: Database, stranger: Client
) -> None:
    token = secrets.token_urlsafe(20)  # as earlier releases made it
    with database.write({"now": NOON, "secret": SECRET}) as session:
        session.execute(update(CardLink).values(token_hash=hashlib.sha256(token.encode()).digest()))
    assert stranger.get(f"/cards/{token}").status_code == 200
    assert lost.send().get_json()["card_path"] is None


def test_a_revoked_address_is_not_shown_again(
    lost: LostConfirmation, database: Database, clock: FixedClock
) -> None:
    with database.write({"now": clock.now(), "secret": SECRET}) as session:
        links.revoke(session, session.scalars(select(CardLink)).one(), now=clock.now())
    assert lost.send().get_json()["card_path"] is None


@pytest.mark.parametrize("token", ["x", "x" * 27, "x" * 500, "%00", "' OR 1=1 --"])
def test_other_addresses_open_nothing(stranger: Client, token: str) -> None:
    answer = stranger.get(f"/cards/{token}")
    assert answer.status_code == 404
    assert "This address opens nothing" in seen(answer)


def test_it_ends_and_can_be_revoked(
    stranger: Client,
    website: Website,
    client: Client,
    booking: dict[str, Any],
    clock: FixedClock,
) -> None:
    path = f"/v1/bookings/{booking['id']}/card-links"
    second = website.client.post(path, json={"days": 1})
    assert second.status_code == 201
    assert stranger.get(second.get_json()["path"]).status_code == 200
    clock.advance(timedelta(days=1))
    assert stranger.get(second.get_json()["path"]).status_code == 404
    assert stranger.get(booking["card_path"]).status_code == 200
    links = client.get(f"/v1/jobs/{booking['job']['id']}/card-links").get_json()["items"]
    assert [link["active"] for link in links] == [True, False]
    assert all("path" not in link for link in links)
    first = f"/v1/card-links/{links[0]['id']}"
    assert client.delete(first).status_code == 428
    assert client.delete(first, etag=client.get(first).headers["ETag"]).status_code == 204
    assert stranger.get(booking["card_path"]).status_code == 404


def test_a_revocation_waits_for_the_address_that_is_being_made(
    booking: dict[str, Any], database: Database, clock: FixedClock
) -> None:
    token = booking["card_path"].removeprefix("/cards/")
    info = {"now": clock.now(), "secret": SECRET}
    manager = Actor(None, "the shop", Scope.MANAGER)
    found = threading.Event()

    def make() -> None:
        with database.write(info) as session:
            link = links.find_for_recheck(session, token, actor=manager, now=clock.now())
            assert link is not None
            found.set()
            time.sleep(0.5)
            job = session.get_one(Job, link.job_id)
            links.make_link(session, job, actor=manager, now=clock.now(), derived_from=link)

    maker = threading.Thread(target=make)
    maker.start()
    assert found.wait(10)
    with database.write(info) as session:
        row = session.scalars(select(CardLink).where(CardLink.derived_from_id.is_(None))).one()
        links.revoke(session, row, now=clock.now())
    maker.join(10)
    with database.read() as session:
        rows = session.scalars(select(CardLink)).all()
        assert [row.revoked_at for row in rows] == [clock.now()] * 2


def test_a_page_of_a_held_slot_is_not_made(website: Website) -> None:
    held = website.hold(TEN).get_json()
    refused = website.client.post(f"/v1/bookings/{held['id']}/card-links", json={})
    assert refused.status_code == 409


def test_an_erased_owner_leaves_no_words_and_no_page(
    website: Website, client: Client, stranger: Client, database: Database
) -> None:
    mine = website.book(TEN, instrument={"serial": "S-1", "description": "my late uncle's"})
    owner = client.get(f"/v1/bookings/{mine['id']}").get_json()["owner_id"]
    path = f"/v1/owners/{owner}"
    erased = client.post(f"{path}/erasure", json={"force": True}, etag=client.get(path).headers["ETag"])
    assert erased.status_code == 200, erased.get_data(as_text=True)
    assert stranger.get(mine["card_path"]).status_code == 404
    told = client.get(f"/v1/bookings/{mine['id']}").get_json()["instrument"]
    assert (told["serial"], told["description"]) == (None, None)
    with database.read() as session:
        trail = session.execute(text("SELECT * FROM audit_events")).all()
        assert not any("late uncle" in str(row) for row in trail)
        assert not any("Sasha" in str(row) for row in trail)


# ------------------------------------------------------------ what it lets through


class Found(HTMLParser):
    """Everything on a page that could run, fetch or lead somewhere."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: set[str] = set()
        self.leads: list[str] = []
        self.feed(page)

    def handle_starttag(self, tag: str, attributes: list[tuple[str, str | None]]) -> None:
        self.tags.add(tag)
        for name, value in attributes:
            assert not name.startswith("on")
            assert name != "style"
            if name in ("href", "src", "action", "srcset", "data", "poster", "formaction", "xlink:href"):
                self.leads.append(str(value))


def test_nothing_runs_nothing_is_fetched_nothing_is_kept(look: Any) -> None:
    answer = look()
    page = answer.get_data(as_text=True)
    found = Found(page)
    assert found.leads == []
    assert not found.tags & {"script", "img", "link", "iframe", "form", "object", "embed", "base", "video"}
    style = re.search(r"<style>(.*?)</style>", page, re.DOTALL)
    assert style is not None
    digest = base64.b64encode(hashlib.sha256(style[1].encode()).digest()).decode()
    assert answer.headers["Content-Security-Policy"] == (
        f"default-src 'none'; style-src 'sha256-{digest}'; base-uri 'none'; form-action 'none'; "
        "frame-ancestors 'none'"
    )
    assert "url(" not in style[1]
    assert "@import" not in style[1]
    assert answer.headers["Cache-Control"] == "no-store"
    assert answer.headers["X-Robots-Tag"].startswith("noindex")
    assert answer.headers["Referrer-Policy"] == "no-referrer"
    assert answer.headers["X-Content-Type-Options"] == "nosniff"
    assert "ETag" not in answer.headers
    assert "Set-Cookie" not in answer.headers
    assert '<meta name="robots" content="noindex' in page


def test_the_secret_part_is_in_no_log(
    look: Any, booking: dict[str, Any], caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level("INFO")
    look()
    token = booking["card_path"].removeprefix("/cards/")
    written = [str(vars(record)) for record in caplog.records if record.name == "shimstock.access"]
    assert written
    assert not any(token in line for line in written)
    assert token not in redact(f"GET {booking['card_path']} HTTP/1.1")


def test_units_and_language_are_the_owners(
    website: Website,
    client: Client,
    stranger: Client,
    look: Any,
) -> None:
    booking = website.book("2026-03-04T09:00:00Z", owner={"name": "A", "units": "inch", "language": "de-AT"})
    answer = stranger.get(booking["card_path"])
    assert answer.headers["Content-Language"] == "en"  # the only language that is supplied
    assert client.get(f"/v1/bookings/{booking['id']}").status_code == 200
    assert look("?units=furlong").status_code == 422


# ------------------------------------------------------------ the recheck


def reminder(database: Database, clock: FixedClock, instrument_id: str, kind: str = "seasonal") -> None:
    """Put a reminder that is due now."""
    from uuid import UUID

    from shimstock_server.database.tables.seasons import Reminder
    from shimstock_server.database.words import ReminderKind, ReminderState

    with database.write({"now": clock.now(), "secret": SECRET}) as session:
        session.add(
            Reminder(
                kind=ReminderKind(kind), state=ReminderState.OPEN, instrument_id=UUID(instrument_id),
                basis="test", due_at=clock.now(), all_day=True, reason={},
            )
        )  # fmt: skip


def test_the_recheck_is_offered_when_it_is_due(
    website: Website,
    make_app: Any,
    config: Config,
    client: Client,
    stranger: Client,
    booking: dict[str, Any],
    workshop: Workshop,
    database: Database,
    clock: FixedClock,
    app: Flask,
) -> None:
    check_in(client, booking, workshop)
    path = f"/v1/jobs/{booking['job']['id']}"
    instrument = client.get(path).get_json()["instrument_id"]
    token = booking["card_path"].removeprefix("/cards/")
    with database.write({"now": clock.now(), "secret": SECRET}) as session:
        for table in ("job_moves", "allowed_moves"):
            assert session.execute(text(f"SELECT count(*) FROM {table}")).scalar()
    move(client, booking, "queued")
    technician = {"Technician": workshop.ids["nils"]}
    client.post(f"{path}/claim", json={}, headers=technician)
    move(client, booking, "final-check")
    move(client, booking, "ready", reason="a look alone")
    move(client, booking, "collected")
    assert "Time to look at it again" not in seen(stranger.get(booking["card_path"]))
    reminder(database, clock, instrument, "settle-day")
    assert "Time to look at it again" not in seen(stranger.get(booking["card_path"]))
    reminder(database, clock, instrument)
    told = seen(stranger.get(booking["card_path"]))
    assert "Time to look at it again" in told
    assert "Please call us or write to us for a time." in told
    with_page = Config(
        secret=SECRET, database_url=config.database_url, rate_per_minute=0,
        booking_page="https://shop.example/book",
    )  # fmt: skip
    owner = Client(make_app(config=with_page), None)
    answer = owner.get(booking["card_path"])
    assert Found(answer.get_data(as_text=True)).leads == [f"https://shop.example/book#card={token}"]

    held = website.hold("2026-03-04T09:00:00Z").get_json()
    again = website.confirm(held, owner=None, recheck_of=token)
    assert again.status_code == 200
    answer = owner.get(booking["card_path"])
    assert "The next look is booked: we expect it on Wednesday, 4 March 2026 at 10:00." in seen(answer)
    assert Found(answer.get_data(as_text=True)).leads == []

    # Sold meanwhile: when somebody else comes is nothing for whoever had it before.
    path = f"/v1/jobs/{again.get_json()['job']['id']}"
    buyer = client.post("/v1/owners", json={"name": "A buyer"}).get_json()["id"]
    sold = client.patch(path, json={"owner_id": buyer}, etag=client.get(path).headers["ETag"])
    assert sold.status_code == 200, sold.get_data(as_text=True)
    assert "The next look is booked" not in seen(owner.get(booking["card_path"]))


def test_it_tells_how_to_reach_the_shop_and_when_it_is_open(
    look: Any, client: Client, clock: FixedClock, booking: dict[str, Any]
) -> None:
    client.patch(
        "/v1/shop",
        json={"contact": "0555 0137 <b>ring</b>\nMillrace 3"},
        etag=client.get("/v1/shop").headers["ETag"],
    )
    client.post("/v1/closures", json={"day": "2026-03-03", "reason": "inventory"})
    told = seen(look())
    assert "0555 0137 &lt;b&gt;ring&lt;/b&gt; Millrace 3" in told
    # Monday at one in the afternoon: today, not tomorrow, and no farther than three days
    assert (
        "Monday, 2 March 2026 09:00 to 18:00 Wednesday, 4 March 2026 09:00 to 18:00 "
        "Thursday, 5 March 2026 09:00 to 18:00"
    ) in told
    assert "Friday, 6 March 2026 09:00" not in told
    clock.advance(timedelta(hours=6))
    assert "Monday, 2 March 2026" not in seen(look())


def test_a_cancelled_booking_leads_to_another_time(
    make_app: Any, config: Config, booking: dict[str, Any], website: Website
) -> None:
    website.client.post(f"/v1/bookings/{booking['id']}/cancel", json={}, etag=etag(booking))
    with_page = Config(
        secret=SECRET, database_url=config.database_url, rate_per_minute=0,
        booking_page="https://shop.example/book",
    )  # fmt: skip
    page = Client(make_app(config=with_page), None).get(booking["card_path"]).get_data(as_text=True)
    assert Found(page).leads == ["https://shop.example/book"]
