"""An example booking website: copy it, and make it yours.

The key stays on this side; the page in the browser knows nothing of it. What the shop does afterwards comes
in as webhooks. A real site keeps what stands in `Memory` in its database.

    SHIMSTOCK_URL=http://127.0.0.1:8765 SHIMSTOCK_KEY=shim_… python website.py --port 8766
"""

from __future__ import annotations

import argparse
import json
import os
import secrets
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

from flask import Flask, Response, jsonify, render_template, request
from werkzeug.serving import make_server

from shimstock_client import (
    Client,
    Event,
    ForgedWebhook,
    NotAllowed,
    NotSignedIn,
    Refused,
    ShimstockError,
    verify_webhook,
)

HERE = Path(__file__).parent
NAME = "the website"
FIELDS = ("owner", "instrument", "complaints", "recheck_of")
"""What a visitor's browser may say of a booking."""
EVENTS = ["booking.moved", "booking.cancelled", "booking.no-show", "booking.checked-in", "job.moved"]


@dataclass
class Memory:
    """What the site remembers: its visitors' bookings, and what it was told of them."""

    bookings: dict[str, dict[str, Any]] = field(default_factory=dict)
    states: dict[str, tuple[int, str]] = field(default_factory=dict)
    seen: set[str] = field(default_factory=set)

    def hear(self, event: Event) -> None:
        """Keep the newest state of a booking or a job; the same message twice changes nothing."""
        if event.id not in self.seen and "state" in event.data:
            known, _ = self.states.get(event.object.id, (0, ""))
            if event.object.sequence > known:
                self.states[event.object.id] = (event.object.sequence, event.data["state"])
        self.seen.add(event.id)


def make_site(  # noqa: C901 - it holds all its views
    url: str, key: str, webhook_secrets: list[str], public_url: str | None = None
) -> Flask:
    """Make the website of a shop whose service is at `url`; browsers reach owners' pages at `public_url`."""
    site, memory = Flask(__name__, template_folder=str(HERE), static_folder=None), Memory()
    site.config["MAX_CONTENT_LENGTH"] = 64 * 1024
    cards_at = (public_url or url).rstrip("/")  # card_path begins with a slash

    @site.get("/")
    def page() -> Response:
        nonce = secrets.token_urlsafe(16)
        answer = Response(render_template("page.html", nonce=nonce))
        answer.headers["Content-Security-Policy"] = (
            f"default-src 'none'; script-src 'nonce-{nonce}'; style-src 'nonce-{nonce}'; "
            "connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
        )
        return answer

    @site.get("/services")
    def services() -> Response:
        with Client(url, key) as shop:
            return jsonify([service.raw for service in shop.services.list()])

    @site.get("/slots/<service>")
    def slots(service: str) -> Response:
        with Client(url, key) as shop:
            return jsonify(shop.availability.of(service).raw)

    @site.post("/hold")
    def hold() -> Response:
        wish = request.get_json()
        with Client(url, key) as shop:
            at = datetime.fromisoformat(wish["at"])
            held = shop.bookings.hold(wish["service"], at, idempotency_key=wish["click"])
        visit = secrets.token_urlsafe(16)  # what this visitor's browser knows the booking by
        memory.bookings[visit] = {"id": held.id}
        return jsonify(visit=visit, wall=held.wall, hold_until=held.raw["hold_until"])

    @site.post("/confirm/<visit>")
    def confirm(visit: str) -> Response:
        wish = request.get_json()
        mine = memory.bookings[visit]
        told = {name: wish["fields"][name] for name in FIELDS if name in wish["fields"]}
        with Client(url, key) as shop:
            booking = shop.bookings.confirm(mine["id"], **told, idempotency_key=wish["click"])
            card = booking.card_path  # None when the service's secret was changed since the first try
            card = card or shop.bookings.make_card_link(booking, idempotency_key=wish["click"]).path
        mine["job"] = booking.job.id if booking.job else None
        mine["card"] = f"{cards_at}{card}" if card else mine.get("card")
        return status(visit)

    @site.post("/release/<visit>")
    def release(visit: str) -> Response:
        """Give a held slot back, so that this visitor can choose another and others can have it."""
        with Client(url, key) as shop:
            held = shop.bookings.get(memory.bookings[visit]["id"])
            if held.state == "held":
                shop.bookings.cancel(held)
        return jsonify(released=True)

    @site.get("/status/<visit>")
    def status(visit: str) -> Response:
        """What was heard of a booking: no question to the service, however often a browser asks."""
        mine = memory.bookings[visit]
        heard = {part: memory.states.get(mine.get(name, ""), (0, None))[1]
                 for part, name in (("booking", "id"), ("job", "job"))}  # fmt: skip
        return jsonify(**heard, card=mine.get("card"))

    @site.post("/shimstock")
    def webhook() -> tuple[str, int]:
        try:
            memory.hear(verify_webhook(request.headers, request.get_data(), webhook_secrets))
        except ForgedWebhook:
            return "", 400
        return "", 204

    @site.errorhandler(ShimstockError)
    def refused(error: ShimstockError) -> tuple[Response, int]:
        if not isinstance(error, Refused) or isinstance(error, (NotSignedIn, NotAllowed)):
            site.logger.error("%s", error)  # between this site and the service, and no matter of a visitor's
            return jsonify(code="shop-away", fields={}), 503
        fields = {each.pointer: each.message for each in error.errors}
        told = {"code": error.code, "detail": error.detail, "fields": fields, **error.extra}
        return jsonify(told), error.status or 503

    @site.errorhandler(KeyError)
    def unknown(_: KeyError) -> tuple[Response, int]:
        return jsonify(code="unknown", detail="That is not known here.", fields={}), 404

    @site.errorhandler(RecursionError)
    @site.errorhandler(ValueError)
    @site.errorhandler(TypeError)
    @site.errorhandler(AttributeError)
    def nonsense(_: Exception) -> tuple[Response, int]:
        return jsonify(code="nonsense", detail="That is not what this page sends.", fields={}), 400

    return site


def subscribe(url: str, key: str, address: str, kept: Path) -> str:
    """Have the shop's events sent to this site, once; return the secret that they are signed with."""
    with Client(url, key) as shop:
        there = [endpoint for endpoint in shop.webhook_endpoints.list() if endpoint.description == NAME]
        with suppress(FileNotFoundError):
            known = json.loads(kept.read_text())
            if [(each.id, each.url) for each in there] == [(known["id"], address)]:
                return str(known["secret"])
        for former in there:
            shop.webhook_endpoints.delete(former)
        endpoint = shop.webhook_endpoints.create(url=address, types=EVENTS, description=NAME)
    kept.unlink(missing_ok=True)
    kept.touch(mode=0o600)
    kept.write_text(json.dumps({"id": endpoint.id, "secret": endpoint.secret}))
    return str(endpoint.secret)


def main() -> None:
    """Serve the site on loopback until stopped."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--port", type=int, default=8766)
    parser.add_argument("--fd", type=int, help="a socket that listens already, instead of --port")
    parser.add_argument("--kept", type=Path, default=HERE / "webhook.json", help="where the secret is kept")
    arguments = parser.parse_args()
    url, key = os.environ["SHIMSTOCK_URL"], os.environ["SHIMSTOCK_KEY"]
    webhook_secrets: list[str] = []
    site = make_site(url, key, webhook_secrets)
    server = make_server("127.0.0.1", arguments.port, site, threaded=True, fd=arguments.fd)
    webhook_secrets.append(subscribe(url, key, f"http://127.0.0.1:{server.port}/shimstock", arguments.kept))
    server.serve_forever()


if __name__ == "__main__":
    main()
