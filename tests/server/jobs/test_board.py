"""The board as JSON: what it tells, in which order, when it changes, and who may see it."""

from __future__ import annotations

from datetime import timedelta
from http.cookies import SimpleCookie
from typing import Any
from uuid import UUID

import pytest
from flask import Flask
from werkzeug.test import TestResponse

from shimstock_server.clock import FixedClock
from tests.server.clients import Client
from tests.server.conftest import Staff
from tests.server.workshop import Workshop

from .test_moves import claim_next, move


def board(client: Client) -> dict[str, Any]:
    """The board now."""
    found: dict[str, Any] = client.get("/v1/board").get_json()
    return found


def numbers(entries: list[dict[str, Any]]) -> list[int]:
    """The tickets, in order."""
    return [entry["number"] for entry in entries]


def test_everything_has_its_place(workshop: Workshop, bench_client: Client, clock: FixedClock) -> None:
    settles = workshop.queued_job(priority=9)
    rests = claim_next(bench_client)
    move(bench_client, rests, "settling", claim=rests["claim"]["id"])
    lies = workshop.queued_job(priority=9, skills=[])
    held = claim_next(bench_client)
    queued = workshop.queued_job(promised_on="2026-03-02")
    waits = move(workshop.manager, workshop.job(), "waiting", waiting_for="parts").get_json()
    received = workshop.job(promised_on="2026-03-01")
    seen = board(bench_client)
    assert seen["shop"] == {"name": "The Test Bench", "zone": "Europe/Berlin"}
    assert seen["day"] == "2026-03-02"
    (bench,) = seen["benches"]
    assert (bench["bench"], numbers(bench["jobs"])) == ("First bench", [lies["number"]])
    (entry,) = bench["jobs"]
    assert (entry["technician"], entry["maker"], entry["model"]) == (
        "First technician", "Alder & Finch", "Heron",
    )  # fmt: skip
    assert entry["since"] == held["claim"]["since"]
    assert numbers(seen["settling"]) == [settles["number"]]
    assert seen["settling"][0]["technician"] == "First technician"
    assert (seen["settling"][0]["due"], seen["settling"][0]["due_since"]) == (False, None)
    assert numbers(seen["queue"]) == [queued["number"]]
    assert [(each["number"], each["waiting_for"]) for each in seen["waiting"]] == [(waits["number"], "parts")]
    assert numbers(seen["received"]) == [received["number"]]
    assert [(each["number"], each["promise"]) for each in seen["promised"]] == [
        (received["number"], "late"), (queued["number"], "today"),
    ]  # fmt: skip
    assert seen["counts"] == {"queued": 1, "ready": 0}
    assert "Robin" not in str(seen)
    clock.advance(timedelta(hours=2, minutes=1))
    (due,) = board(bench_client)["settling"]
    assert (due["due"], due["due_since"]) == (True, "2026-03-02T14:00:00Z")


def test_the_queue_stands_in_the_order_of_the_claims(workshop: Workshop, bench_client: Client) -> None:
    workshop.queued_job(priority=3)
    workshop.queued_job(promised_on="2026-03-09")
    workshop.queued_job()
    workshop.queued_job(priority=9)
    workshop.queued_job(promised_on="2026-03-02", priority=1)
    workshop.queued_job(promised_on="2026-02-27", priority=0)
    workshop.queued_job(promised_on="2026-03-02", priority=6)
    told = numbers(board(bench_client)["queue"])
    shop = workshop.manager.get("/v1/shop").get_json()
    workshop.manager.patch("/v1/shop", json={"claims_per_technician": 9}, etag=f'"{shop["version"]}.mm"')
    assert [claim_next(bench_client)["number"] for _ in told] == told == [6, 7, 5, 4, 2, 3, 1]


def test_it_changes_only_when_what_it_tells_changes(
    workshop: Workshop, bench_client: Client, clock: FixedClock
) -> None:
    workshop.queued_job()
    job = claim_next(bench_client)
    move(bench_client, job, "settling", claim=job["claim"]["id"])
    tag = bench_client.get("/v1/board").headers["ETag"]

    def again() -> TestResponse:
        return bench_client.get("/v1/board", headers={"If-None-Match": tag})

    assert again().status_code == 304
    clock.advance(timedelta(minutes=119))
    assert again().status_code == 304
    workshop.manager.post("/v1/owners", json={"name": "Somebody Else"})
    assert again().status_code == 304
    clock.advance(timedelta(minutes=1))  # now it is due
    assert again().status_code == 200
    tag = again().headers["ETag"]
    clock.advance(timedelta(minutes=30))
    assert again().status_code == 304
    workshop.queued_job()
    assert again().status_code == 200


def test_a_long_queue_is_cut_and_counted(workshop: Workshop, bench_client: Client, app: Flask) -> None:
    from . import bulk

    bulk.fill(app.extensions["shimstock"].database, workshop, queued=130, finished=0)
    seen = board(bench_client)
    assert len(seen["queue"]) == 100
    assert seen["counts"]["queued"] == 130


def test_a_claim_left_overnight_is_stale_on_it(
    workshop: Workshop, bench_client: Client, clock: FixedClock
) -> None:
    workshop.queued_job()
    claim_next(bench_client)
    assert board(bench_client)["benches"][0]["jobs"][0]["stale"] is False
    clock.advance(timedelta(hours=20))
    assert board(bench_client)["benches"][0]["jobs"][0]["stale"] is True


class Screen:
    """A browser on the wall: a cookie, no key."""

    def __init__(self, app: Flask) -> None:
        self.app = app
        self.cookie: str | None = None
        self.client = Client(app, None)

    def sign_in(self, token: str, **options: Any) -> TestResponse:
        """Type the key."""
        answer = Client(self.app, token).open("POST", "/board/session", idempotency_key=None, **options)
        self.take(answer)
        return answer

    def take(self, answer: TestResponse) -> None:
        """Keep the cookie that an answer brings."""
        if "Set-Cookie" in answer.headers:
            kept = SimpleCookie(answer.headers["Set-Cookie"])
            self.cookie = kept["shimstock_board"].value or None

    def look(self, path: str = "/board/data") -> TestResponse:
        """Ask for something with the cookie alone."""
        cookie = {"Cookie": f"shimstock_board={self.cookie}"} if self.cookie else {}
        return self.client.open("GET", path, headers=cookie)


@pytest.fixture
def screen(app: Flask) -> Screen:
    """A browser on the wall."""
    return Screen(app)


def test_a_screen_sees_the_board_and_nothing_else(
    workshop: Workshop, bench_client: Client, screen: Screen, staff: Staff
) -> None:
    workshop.queued_job()
    assert screen.look().status_code == 401
    signed_in = screen.sign_in(staff.tokens["bench"])
    assert signed_in.status_code == 204
    attributes = [part.strip() for part in signed_in.headers["Set-Cookie"].split(";")[1:]]
    assert attributes == ["Path=/board", "Max-Age=7776000", "HttpOnly", "SameSite=Strict"]
    assert staff.tokens["bench"].split("_", 2)[2] not in signed_in.headers["Set-Cookie"]
    seen = screen.look()
    assert seen.get_json() == board(bench_client)
    assert (seen.headers["Cache-Control"], seen.headers["Vary"]) == ("no-store", "Cookie")
    for path in ("/v1/board", "/v1/jobs", "/v1/shop"):
        assert screen.look(path).status_code == 401


def test_behind_tls_the_cookie_stays_there(workshop: Workshop, screen: Screen, staff: Staff) -> None:
    signed_in = screen.sign_in(staff.tokens["manager"], base_url="https://localhost")
    assert signed_in.headers["Set-Cookie"].endswith("; Secure")


def test_a_booking_website_gets_no_screen(workshop: Workshop, screen: Screen, staff: Staff) -> None:
    assert screen.sign_in(staff.tokens["booking"]).status_code == 403
    assert screen.look().status_code == 401


def test_a_forged_cookie_opens_nothing(workshop: Workshop, screen: Screen, staff: Staff) -> None:
    screen.sign_in(staff.tokens["bench"])
    assert screen.cookie is not None
    key, made, signature = screen.cookie.split(".")
    other = staff.key_ids["manager"].hex
    for forged in (
        f"{other}.{made}.{signature}",
        f"{key}.{int(made) + 1}.{signature}",
        f"{key}.{made}.{signature[:-1]}0",
        f"{key}.{made}.",
        "nonsense",
        "",
    ):
        if forged != screen.cookie:
            fake = Screen(screen.app)
            fake.cookie = forged
            assert fake.look().status_code == 401, forged


@pytest.mark.parametrize("how", ["revoked", "too old", "other secret"])
def test_a_screen_ends_with_its_key(
    workshop: Workshop, screen: Screen, staff: Staff, clock: FixedClock, how: str
) -> None:
    screen.sign_in(staff.tokens["bench"])
    assert screen.look().status_code == 200
    if how == "revoked":
        keys = workshop.manager.get("/v1/keys").get_json()["items"]
        key = next(each for each in keys if UUID(each["id"]) == staff.key_ids["bench"])
        workshop.manager.delete(f"/v1/keys/{key['id']}", etag=f'"{key["version"]}.mm"')
    elif how == "too old":
        clock.advance(timedelta(days=90, seconds=1))
    else:
        service = screen.app.extensions["shimstock"]
        service.config = service.config.__class__(
            secret="another-secret-of-the-service-9f3kQ0zX7vBn2", database_url=service.config.database_url
        )
    assert screen.look().status_code == 401


def test_a_screen_that_is_looked_at_stays(
    workshop: Workshop, screen: Screen, staff: Staff, clock: FixedClock
) -> None:
    screen.sign_in(staff.tokens["bench"])
    for _ in range(5):
        clock.advance(timedelta(days=40))
        answer = screen.look()
        assert answer.status_code == 200
        screen.take(answer)
    assert Client(screen.app, None).open("DELETE", "/board/session").status_code == 204


def test_taking_the_key_away_empties_the_cookie(workshop: Workshop, screen: Screen, staff: Staff) -> None:
    screen.sign_in(staff.tokens["bench"])
    screen.take(Client(screen.app, None).open("DELETE", "/board/session"))
    assert screen.cookie is None


def test_the_page_holds_no_data_and_allows_nothing_foreign(workshop: Workshop, stranger: Client) -> None:
    page = stranger.get("/board")
    assert page.mimetype == "text/html"
    assert "The Test Bench" not in page.get_data(as_text=True)
    policy = dict(part.strip().split(" ", 1) for part in page.headers["Content-Security-Policy"].split(";"))
    assert policy["default-src"] == "'none'"
    assert policy["connect-src"] == "'self'"
    assert policy["script-src"].startswith("'sha256-")
    assert "unsafe" not in page.headers["Content-Security-Policy"]
    again = stranger.get("/board", headers={"If-None-Match": page.headers["ETag"]})
    assert again.status_code == 304
    # A browser takes these in the place of those it kept: without them the page would be dead.
    assert again.headers["Content-Security-Policy"] == page.headers["Content-Security-Policy"]
