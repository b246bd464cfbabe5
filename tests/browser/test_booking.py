"""The example website and the owner's page in a browser: book, hear of it, see where the instrument is."""

from __future__ import annotations

import json
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest
from flask import Flask

from shimstock_server.cards.owner_page import owner_page, unknown_page
from shimstock_server.cards.whereabouts import STOPS, Asked, OpenDay, Stop, Whereabouts
from shimstock_server.clock import FixedClock, SystemClock
from shimstock_server.config import Config
from shimstock_server.database.session import Database
from shimstock_server.database.words import JobState
from shimstock_server.operations import seed as seeds
from shimstock_server.webhooks import tell
from tests.client.live import load_website
from tests.house.files import CHECKOUT
from tests.server.cards.samples import EACH_NUT, ELECTRIC, FULLEST, speech
from tests.server.clients import Client
from tests.server.conftest import SECRET, Staff

from . import measures
from .conftest import Browsers
from .driving import Driven
from .fonts import FAMILIES
from .serving import Served

pytestmark = pytest.mark.browser

PHONE, DESK = 390, 1200


@pytest.fixture
def clock() -> FixedClock:
    """A browser's own clock cannot be set: the service stands where it is."""
    return FixedClock(SystemClock().now().replace(microsecond=0))


@pytest.fixture
def app(
    make_app: Callable[..., Flask], config: Config, database: Database, clock: FixedClock, unused_port: int
) -> Flask:
    """The service with the demo's shop in it, which may call this machine."""
    seeds.load(database, CHECKOUT / "seed", clock.now(), secret=SECRET)
    return make_app(
        config=Config(
            secret=SECRET,
            database_url=config.database_url,
            rate_per_minute=0,
            webhook_private=True,
            booking_page=f"http://127.0.0.1:{unused_port}/",
        )
    )


@pytest.fixture
def unused_port() -> int:
    """A port that nobody listens on."""
    import socket

    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


class Site:
    """The website on its port, and a round of the worker that tells it what happened."""

    def __init__(self, served: Served, told: Callable[[], int]) -> None:
        self.url, self.tell = served.url, told


@pytest.fixture
def site(
    served: Served,
    staff: Staff,
    tmp_path: Path,
    unused_port: int,
    database: Database,
    config: Config,
    clock: FixedClock,
) -> Iterator[Site]:
    """The example website, which has subscribed to its events."""
    website = load_website()
    address = f"http://127.0.0.1:{unused_port}/shimstock"
    key = staff.tokens["booking"]
    kept = tmp_path / "website.json"
    secret = website.subscribe(served.url, key, address, kept)
    assert website.subscribe(served.url, key, address, kept) == secret  # once
    assert kept.stat().st_mode & 0o077 == 0
    private = replace(config, webhook_private=True)
    running = Served.__new__(Served)
    running._app, running._clock, running._server = website.make_site(served.url, key, [secret]), clock, None
    running.port = unused_port
    running.start()
    yield Site(running, lambda: tell(database, private, clock))
    running.stop()


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_from_the_first_look_to_the_card(
    site: Site, driven: Driven, served: Served, client: Client, tmp_path: Path, clock: FixedClock
) -> None:
    driven.size(PHONE, 900)
    driven.go(site.url)
    driven.until("document.querySelectorAll('#services button').length === 6")
    driven.say("[...document.querySelectorAll('#services button')].find("
               "b => b.textContent.startsWith('Setup, electric')).click()")  # fmt: skip
    driven.until("document.querySelectorAll('#slots button').length > 0")
    driven.picture(tmp_path / "slots.png")
    # A slot that is given back is free at once.
    driven.say("document.querySelector('#slots button').click()")
    driven.until("!document.getElementById('who').hidden")
    driven.say("document.getElementById('other').click()")
    driven.until("!document.getElementById('choose').hidden && document.getElementById('who').hidden")
    driven.until("document.querySelectorAll('#slots button').length > 0")
    assert [each["state"] for each in client.get("/v1/bookings").get_json()["items"]] == ["cancelled"]
    # A double click: two clicks in one go hold one slot.
    driven.say("(() => { const b = document.querySelector('#slots button'); b.click(); b.click(); })()")
    driven.until("!document.getElementById('who').hidden")
    driven.say("document.getElementById('book').click()")  # without a name
    driven.until("document.getElementById('trouble').textContent.includes('must not be empty')")
    for field, text in {
        "name": "Sasha <b>Newcomer</b>",
        "email": "sasha@newcomer.example",
        "maker": "Brackwater",
        "serial": "K-0117",
        "complaints": "buzzes & rattles",
    }.items():
        driven.say(f"document.getElementById('{field}').focus()")
        driven.type(text)
    driven.picture(tmp_path / "form.png")
    driven.say("document.getElementById('book').click()")
    driven.until("!document.getElementById('done').hidden")
    assert driven.say("document.getElementById('state').textContent") == "booked"
    assert driven.say("document.documentElement.scrollWidth") <= PHONE
    (booking,) = client.get("/v1/bookings?state=confirmed").get_json()["items"]  # one, though clicked twice
    assert len(client.get("/v1/bookings").get_json()["items"]) == 2
    job = f"/v1/jobs/{booking['job']['id']}"
    assert client.get(job).get_json()["complaints"] == "buzzes & rattles"

    here = client.post(f"/v1/bookings/{booking['id']}/check-in", json={}, etag=f'"{booking["version"]}.mm"')
    assert here.status_code == 200, here.get_data(as_text=True)  # known by its serial number
    assert site.tell() > 0
    driven.until("document.getElementById('state').textContent === 'received'")
    driven.picture(tmp_path / "done.png")

    page = driven.say("document.getElementById('card').href")
    assert page.startswith(f"{served.url}/cards/")
    driven.told.clear()
    driven.go(page)
    assert driven.say("document.querySelector('h1').textContent") == "It is with us."
    assert "Brackwater Kessim" in driven.say("document.body.innerText")
    asked = [
        event["params"]["request"]["url"]
        for event in driven.told
        if event.get("method") == "Network.requestWillBeSent"
    ]
    assert {url for url in asked if not url.endswith("/favicon.ico")} == {page}  # nothing else is fetched
    errors = [event for event in driven.told if event.get("method") == "Log.entryAdded"]
    assert not [each for each in errors if "favicon" not in json.dumps(each)]


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_a_slot_that_somebody_else_took_is_said(site: Site, driven: Driven, client: Client) -> None:
    driven.size(DESK, 900)
    driven.go(site.url)
    driven.until("document.querySelectorAll('#services button').length === 6")
    driven.say("[...document.querySelectorAll('#services button')].find("
               "b => b.textContent.startsWith('Setup, bass')).click()")  # fmt: skip
    driven.until("document.querySelectorAll('#slots button').length > 0")
    service = next(
        each for each in client.get("/v1/services").get_json()["items"] if each["name"] == "Setup, bass"
    )
    free = client.get("/v1/availability", query_string={"service_id": service["id"]}).get_json()
    taken = client.post(
        "/v1/bookings", json={"service_id": service["id"], "at": free["days"][0]["slots"][0]["at"]}
    )
    assert taken.status_code == 201
    before = driven.say("document.querySelectorAll('#slots button').length")
    driven.say("document.querySelector('#slots button').click()")
    driven.until("document.getElementById('trouble').textContent.includes('Nothing is left in this slot')")
    assert driven.say("document.getElementById('who').hidden")
    assert driven.say("document.querySelectorAll('#slots button').length") == before - 1


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_a_page_without_scripts_says_what_to_do(site: Site, driven: Driven) -> None:
    driven.ask("Emulation.setScriptExecutionDisabled", value=True)
    driven.ask("Page.navigate", url=site.url)
    end = time.monotonic() + 60
    while not any("Please call us" in part["name"] for part in driven.tree()):
        assert time.monotonic() < end, driven.tree()
        time.sleep(0.1)
    assert not any("What is it to be?" in part["name"] for part in driven.tree())


NONSENSE: list[tuple[str, Any, int]] = [
    ("/hold", {"service": "x", "at": "soon", "click": "1"}, 400),
    ("/hold", {"service": "x", "at": "2026-03-03T09:00:00", "click": "1"}, 400),
    ("/hold", ["x"], 400),
    ("/hold", {}, 404),
    ("/confirm/nobody", {"fields": {}, "click": "1"}, 404),
    ("/release/nobody", {}, 404),
]


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_forged_messages_change_nothing(site: Site) -> None:
    import requests

    for headers in ({}, {"webhook-id": "1", "webhook-timestamp": "1", "webhook-signature": "v1,x"}):
        answer = requests.post(f"{site.url}/shimstock", data=b"{}", headers=headers, timeout=10)
        assert answer.status_code == 400
    assert requests.get(f"{site.url}/status/nobody", timeout=10).status_code == 404
    for path, body, status in NONSENSE:
        assert requests.post(f"{site.url}{path}", json=body, timeout=10).status_code == status, (path, body)
    deep = requests.post(
        f"{site.url}/hold", data="[" * 60_000, headers={"Content-Type": "application/json"}, timeout=10
    )
    assert (deep.status_code, deep.json()["code"]) == (400, "nonsense")
    flood = requests.post(f"{site.url}/shimstock", data=b"x" * 100_000, timeout=10)
    assert flood.status_code == 413
    assert "script-src 'nonce-" in requests.get(site.url, timeout=10).headers["Content-Security-Policy"]
    assert "shim_" not in requests.get(site.url, timeout=10).text  # the key stays on the site's own side


def test_what_is_wrong_between_site_and_service_is_no_matter_of_a_visitors(
    served: Served, unused_port: int
) -> None:
    website = load_website()
    for url, key in ((served.url, "shim_0"), (f"http://127.0.0.1:{unused_port}", "shim_0")):
        answer = website.make_site(url, key, []).test_client().get("/services")
        assert (answer.status_code, answer.get_json()) == (503, {"code": "shop-away", "fields": {}})


# ------------------------------------------------------------ what the owner's page looks like


def stops(reached: int) -> tuple[Stop, ...]:
    days = [date(2026, 3, day) for day in (2, 3, 4, 6, 6, 9)]
    return tuple(
        Stop(name, days[n] if n <= reached else None, n == reached) for n, (name, _) in enumerate(STOPS)
    )


BENCH = Whereabouts(
    shop="The Test Bench", place="Lindenfurt", number=128, instrument="Alder & Finch Heron",
    nickname="Old Faithful with a name that goes on and on", state=JobState.ON_BENCH, waiting_for=None,
    stops=stops(2), services=("Setup, electric",), today=date(2026, 3, 4), promised_on=date(2026, 3, 6),
    drop_off=None, look_again_at=None, asked=(), recheck=None, card=None, ends_on=date(2027, 3, 2),
    contact="0555 0137, bench@lindenfurt.example\nMillrace 3, " + "W" * 300,
    openings=tuple(
        OpenDay(date(2026, 3, day), (("09:00", "12:30"), ("13:30", "18:00"))) for day in (4, 5, 6)
    ),
)  # fmt: skip
SAMPLES = {
    "booked": replace(
        BENCH, state=JobState.BOOKED, stops=stops(0), drop_off=datetime(2026, 3, 3, 9, 30, tzinfo=UTC)
    ),
    "bench": BENCH,
    "late": replace(BENCH, today=date(2026, 3, 20)),
    "waiting": replace(
        BENCH,
        state=JobState.WAITING,
        waiting_for="owner",
        asked=(
            Asked("Level and crown the frets, worn up to the seventh", 240.0, "EUR"),
            Asked("W" * 300, 1e6, "EUR"),
        ),
    ),
    "ready": replace(BENCH, state=JobState.READY, stops=stops(4), card=ELECTRIC),
    "each-nut": replace(BENCH, state=JobState.READY, stops=stops(4), card=EACH_NUT),
    "fullest": replace(BENCH, state=JobState.READY, stops=stops(4), card=FULLEST),
    "recheck": replace(BENCH, state=JobState.COLLECTED, stops=stops(5), card=ELECTRIC, recheck="seasonal"),
    "again": replace(
        BENCH, state=JobState.COLLECTED, stops=stops(5), next_visit=datetime(2026, 9, 3, 9, 30, tzinfo=UTC)
    ),
    "cancelled": replace(BENCH, state=JobState.CANCELLED),
}
WIDTHS = (320, PHONE, 768, DESK)


def pages() -> dict[str, tuple[str, int]]:
    """Every page at every width, by name."""
    texts = {
        f"{name}-{units}": owner_page(
            found, speech(units), recheck_at="https://shop.example/book#card=x",
            booking_page="https://shop.example/book",
        )
        for name, found in SAMPLES.items()
        for units in ("mm", "inch")
    }  # fmt: skip
    texts["unknown"] = unknown_page(speech())
    return {f"{name}-{width}": (text, width) for name, text in texts.items() for width in WIDTHS}


SCRIPTS = {
    "overflow": measures.OVERFLOW,
    "contrasts": measures.CONTRASTS,
    "smallest": measures.SMALLEST,
    "out_of_cells": measures.OUT_OF_CELLS,
    "taps": "(d) => [...d.querySelectorAll('a')].map(a => a.getBoundingClientRect().height)",
}


@pytest.mark.parametrize("family", FAMILIES)
def test_an_owners_page_fits_and_can_be_read(browsers: Browsers, family: str) -> None:
    for shown, measured in browsers(family).measure(pages(), SCRIPTS).items():
        # WCAG 2.2, success criteria 1.4.10 (reflow at 320 CSS px), 1.4.3 (4.5 to 1), 2.5.8 (24 CSS px)
        assert measured["overflow"]["scroll"] <= measured["overflow"]["width"], shown
        assert measured["overflow"]["sticking"] == [], shown
        assert measured["out_of_cells"] == [], shown
        assert measured["contrasts"], shown
        assert [each for each in measured["contrasts"] if each["ratio"] < 4.5] == [], shown
        assert measured["smallest"] >= 12.0, shown
        assert all(height >= 44 for height in measured["taps"]), shown
