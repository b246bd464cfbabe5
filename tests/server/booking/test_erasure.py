"""An owner who is erased leaves no word of theirs in any table."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import text

from shimstock_server.clock import FixedClock
from shimstock_server.config import Config
from shimstock_server.database.session import Database
from shimstock_server.database.tables import Base
from shimstock_server.webhooks.delivery import deliver
from shimstock_server.webhooks.outbox import number_events
from tests.server.clients import Client
from tests.server.webhooks.conftest import Receiver, endpoint_of
from tests.server.workshop import Workshop

from .conftest import Website, etag

OWNER = {
    "name": "Quillon Wexmarsh",
    "email": "quillon@wexmarsh.example",
    "phone": "+99 555 7731",
    "language": "en",
}
SAID = (
    "Quillon", "quillon", "Wexmarsh", "wexmarsh", "+99 555 7731",
    "heirloom-maker", "heirloom-model", "heirloom-serial", "heirloom-words",
    "left at the club", "fast runs", "my bad thumb", "moving abroad", "changed my mind",
    "call me first", "Old Rosie", "attic", "third floor", "rosewood parlour", "by the stove",
)  # fmt: skip
"""What the owner says below, and what is said of the owner."""


def every_value(database: Database) -> Iterator[tuple[str, str]]:
    """Yield each row of each table as text, with the table's name."""
    with database.read() as session:
        for table in Base.metadata.sorted_tables:
            for row in session.execute(text(f'SELECT * FROM "{table.name}"')):
                yield table.name, repr(tuple(row))


def found(database: Database) -> set[tuple[str, str]]:
    """Return which of the owner's words stand in which tables."""
    return {(table, word) for table, row in every_value(database) for word in SAID if word in row}


def erase_owner_of(client: Client, booking: dict[str, Any]) -> None:
    """Erase whoever made a booking."""
    booked = client.get(f"/v1/bookings/{booking['id']}").get_json()
    owner = f"/v1/owners/{booked['owner_id']}"
    erased = client.post(f"{owner}/erasure", json={"force": True}, etag=client.get(owner).headers["ETag"])
    assert erased.status_code == 200, erased.get_data(as_text=True)


def test_nothing_is_left_of_what_an_owner_said(
    website: Website,
    client: Client,
    workshop: Workshop,
    database: Database,
    config: Config,
    clock: FixedClock,
) -> None:
    receiver = Receiver(clock)
    endpoint_of(website.client)
    said = {
        "owner": OWNER,
        "complaints": "left at the club",
        "wants": {"playing_style": "fast runs", "note": "my bad thumb"},
        "instrument": {
            "kind": "electric", "maker": "heirloom-maker", "model": "heirloom-model",
            "serial": "heirloom-serial", "description": "heirloom-words",
        },
    }  # fmt: skip
    came, cancelled = (
        website.book("2026-03-03T09:00:00Z", **said),
        website.book("2026-03-04T09:00:00Z", **said),
    )
    path = f"/v1/bookings/{cancelled['id']}"
    answer = website.client.post(f"{path}/cancel", json={"reason": "moving abroad"}, etag=etag(cancelled))
    assert answer.get_json()["cancel_reason"] == "moving abroad"
    here = client.post(
        f"/v1/bookings/{came['id']}/check-in",
        json={
            "new_instrument": {"model_id": workshop.ids["model"], "nickname": "Old Rosie"},
            "consents": [{"covers": "general", "given": True, "given_by": OWNER["name"], "how": "phone",
                          "note": "call me first"}],
        },
        etag=etag(came),
    )  # fmt: skip
    assert here.status_code == 200, here.get_data(as_text=True)
    job = client.get(f"/v1/jobs/{came['job']['id']}").get_json()
    (consent,) = client.get(f"/v1/jobs/{job['id']}/consents").get_json()["items"]
    withdrawn = client.post(
        f"/v1/jobs/{job['id']}/consents/{consent['id']}/withdrawal", json={"reason": "changed my mind"}
    )
    assert withdrawn.status_code == 200, withdrawn.get_data(as_text=True)
    instrument = f"/v1/instruments/{job['instrument_id']}"
    home = {"place": "attic", "note": "third floor"}
    assert (
        client.patch(instrument, json={"home": home}, etag=client.get(instrument).headers["ETag"]).status_code
        == 200
    )
    room = client.post("/v1/rooms", json={"name": "rosewood parlour", "use": "home", "note": "by the stove"})
    assert room.status_code == 201, room.get_data(as_text=True)
    kept = client.put(
        f"{instrument}/keeping",
        json={"room_id": room.get_json()["id"], "hours_per_week": None},
    )
    assert kept.status_code in (200, 201), kept.get_data(as_text=True)
    number_events(database, config, clock)
    deliver(database, config, clock, receiver)
    assert receiver.heard
    assert {word for _, word in found(database)} >= {"Quillon", "heirloom-words", "moving abroad", "attic"}

    erase_owner_of(client, came)
    erase_owner_of(client, cancelled)
    assert found(database) == set()
    told = website.client.get(path).get_json()
    assert (told["cancel_reason"], told["instrument"]["kind"]) == (None, "electric")


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_nothing_is_left_in_the_file(website: Website, client: Client, database: Database) -> None:
    """What SQLite frees it overwrites: the words are not in the file's unused parts either."""
    bookings = [website.book(f"2026-03-0{day}T09:00:00Z", owner=OWNER, complaints="left at the club " * 200)
                for day in (3, 4, 5)]  # fmt: skip
    assert b"left at the club" in whole_file(database)
    for booking in bookings:
        erase_owner_of(client, booking)
    left = whole_file(database)
    assert not [word for word in SAID if word.encode() in left]


def whole_file(database: Database) -> bytes:
    """Return the bytes of an SQLite database, once all that was written stands in its one file."""
    path = Path(str(database.engine.url.database))
    with closing(sqlite3.connect(path)) as connection:
        busy, _, _ = connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
    assert not busy
    return path.read_bytes()
