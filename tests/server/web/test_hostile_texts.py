"""Texts that are made to keep the processor busy: each costs about as much as a harmless one of its size."""

from __future__ import annotations

import json
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import pytest
from flask import Flask

from shimstock_server.web.fields import MOST_MARKS
from shimstock_server.web.operation import FILE_BODY
from tests.server.clients import Client
from tests.server.conftest import Staff

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)

BODY = 1024 * 1024
"""SHIMSTOCK_MAX_BODY as it comes [byte]."""
TIMES, SPARE = 8.0, 0.5
"""So many times what a harmless body of the same size takes, and so many seconds beside: each of 40,000 bad
fields costs some microseconds, in which other threads get their turn; judgement."""
MARKS = "\u0301\u0323"
"""Above and below: they stand in the wrong order, and normalising sorts them in quadratic time."""
AIR = "taken_at;temperature_degC;relative_humidity_percent;note\n"
JSON = "application/json"
TAKEN = (200, 201, 400, 401, 422)
"""It came to the reader, which took or refused it."""


@dataclass
class Sender:
    """Sends bodies with a manager's key and measures the processor's time."""

    app: Flask
    token: str

    def seconds(
        self, path: str, body: bytes, content_type: str, headers: dict[str, str] | None = None
    ) -> float:
        """Send a body and return what it took [s]; it must be refused, or taken, with an answer."""
        sent = {"Authorization": f"Bearer {self.token}", "Idempotency-Key": "one", **(headers or {})}
        with self.app.test_client() as browser:
            began = time.process_time()
            answer = browser.post(path, data=body, content_type=content_type, headers=sent)
            took = time.process_time() - began
        assert answer.status_code in TAKEN, answer.get_data(as_text=True)[:500]
        return took


@pytest.fixture
def sender(app: Flask, staff: Staff, client: Client) -> Sender:
    """A sender to a shop; its first request, which loads modules, is done."""
    shop = {"name": "Shop", "place": "Oberau", "zone": "Europe/Berlin"}
    assert client.put("/v1/shop", json=shop).status_code < 300
    made = Sender(app, staff.tokens["manager"])
    made.seconds("/v1/probes", probe("warm"), JSON)
    return made


def probe(name: Any, **more: Any) -> bytes:
    return json.dumps({"name": name, **more}, ensure_ascii=False).encode()


def marks(size: int) -> str:
    """A letter under so many bytes of combining marks."""
    return "a" + MARKS * (size // 4)


def filled(before: str, piece: str, after: str = "", size: int = BODY) -> bytes:
    """Return a body of about this size: the piece again and again between the two ends."""
    times = (size - len(before.encode()) - len(after.encode())) // len(piece.encode())
    return (before + piece * times + after).encode()


HARMLESS = probe("x" * (BODY - 100))
CASES: dict[str, tuple[str, Callable[[], bytes]]] = {
    "marks in a short text": ("/v1/probes", lambda: probe(marks(BODY - 100))),
    "marks in runs that are just allowed": (
        "/v1/imports/readings",
        lambda: filled('{"dry_run": true, "csv": "', "a" + MARKS * (MOST_MARKS // 2), '"}'),
    ),
    "marks in a long text": (
        "/v1/imports/readings",
        lambda: filled('{"dry_run": true, "csv": "', MARKS, '"}', 800_000),
    ),
    "marks in a field's name": ("/v1/probes", lambda: filled('{"', MARKS, '": 1}')),
    "joiners alone": ("/v1/imports/readings", lambda: filled('{"csv": "', "\u200d", '"}')),
    "blanks alone": ("/v1/imports/readings", lambda: filled('{"csv": "', "\u3000", '"}')),
    "syllables to compose": ("/v1/imports/readings", lambda: filled('{"csv": "', "\u1100\u1161\u11a8", '"}')),
    "a long whole number": ("/v1/probes", lambda: filled('{"name": ', "9", "}")),
    "a long fraction": ("/v1/probes", lambda: filled('{"name": 1.', "9", "}")),
    "a number between two": (
        "/v1/probes",
        lambda: filled('{"name": 1.00000000000000011102230246251565404236316680908203125', "0", "1}"),
    ),
    "a large exponent": ("/v1/probes", lambda: filled('{"name": 1e', "9", "}")),
    "lists in lists": ("/v1/probes", lambda: filled("", "[")),
    "objects in objects": ("/v1/probes", lambda: filled("", '{"a":')),
    "a field given often": ("/v1/probes", lambda: filled("{", '"a":1,', '"b":1}')),
    "unknown fields": (
        "/v1/probes",
        lambda: json.dumps({f"field {n}": n for n in range(40_000)}).encode(),
    ),
    "many faults below a long name": (
        "/v1/probes",
        lambda: b'{"' + b"n" * (BODY - 20_000) + b'": [' + b"NaN," * 4_000 + b"1]}",
    ),
    "a backslash before each letter": ("/v1/probes", lambda: filled('{"name": "', "\\u0301\\u0323", '"}')),
    "cells of marks": ("/v1/imports/readings", lambda: csv_of_marks("instrument_id,note\n")),
    "rows that are all wrong": (
        "/v1/imports/readings",
        lambda: filled('{"csv": "serial,taken_at,stage,quantity,value\\n', "x,y,z,q,1\\n", '"}', 900_000),
    ),
    "an open quotation": ("/v1/imports/readings", lambda: filled('{"csv": "a,b\\n\\"', "x,", '"}', 900_000)),
}  # fmt: skip


def csv_of_marks(headings: str) -> bytes:
    return json.dumps({"dry_run": True, "csv": headings + ("," + marks(400) + "\n") * 800}).encode()


@pytest.mark.parametrize("case", CASES)
def test_no_body_costs_much_more_than_a_harmless_one(sender: Sender, case: str) -> None:
    path, made = CASES[case]
    body = made()
    harmless = sender.seconds("/v1/probes", HARMLESS, JSON)
    assert sender.seconds(path, body, JSON) < TIMES * harmless + SPARE


def test_no_log_costs_much_more_than_a_harmless_one(sender: Sender, client: Client) -> None:
    room = client.post("/v1/rooms", json={"name": "Back room", "use": "shop"}).get_json()["id"]
    path = f"/v1/room-readings/csv?room_id={room}"

    def log(note: str) -> bytes:
        line = f"2026-03-02T09:00:00Z;21;45;{note}\n"
        return filled(AIR, line, size=FILE_BODY)

    harmless = sender.seconds(path, log("x" * 99_000), "text/csv")
    for note in (marks(99_000), "\u3000" * 33_000 + "x", "9" * 99_000):
        assert sender.seconds(path, log(note), "text/csv") < TIMES * harmless + SPARE
    number = filled("taken_at;temperature_degC;relative_humidity_percent\n2026-03-02T09:00:00Z;1", "1",
                    ";45\n", size=99_000)  # fmt: skip
    assert sender.seconds(path, number, "text/csv") < TIMES * harmless + SPARE


def test_no_year_of_weather_costs_much_more_than_a_harmless_one(sender: Sender) -> None:
    path = "/v1/climates/epw"
    head = "LOCATION,{0},,,,,0,0,0,0\n" + "\n" * 7
    harmless = sender.seconds(path, filled(head.format("x"), "x", size=FILE_BODY), "text/plain")
    for body in (
        filled(head.format(marks(1900)), "1,1,1,1," + "9" * 4000 + "\n", size=FILE_BODY),
        filled(head.format("x") + "1,", "1", ",1,1,1,1,1,1,1\n", size=FILE_BODY),
        filled(head.format("x") + "1,1,1,1,0,0,", "1", ",1,1\n", size=FILE_BODY),
    ):
        assert sender.seconds(path, body, "text/plain") < TIMES * harmless + SPARE


def test_no_header_and_no_query_costs_much(sender: Sender, client: Client) -> None:
    harmless = sender.seconds("/v1/probes", probe("x"), JSON)
    for name, value in {
        "Idempotency-Key": '\\"' * 4000,
        "If-Match": '"a' * 2700,
        "If-None-Match": "W/" * 4000,
        "Accept": "a/b;q=0.1," * 800,
        "Accept-Language": "a-" * 4000,
        "Authorization": "Bearer shim_" + "a_" * 4000,
        "Technician": "0" * 8000,
        "Request-Id": "a" * 8000,
        "Cookie": "a=b;" * 2000,
        "Host": "\u00e4" * 4000,
    }.items():
        assert sender.seconds("/v1/probes", probe("x"), JSON, {name: value}) < TIMES * harmless + SPARE, name
    for query in ("names=" + "%CC%81%CC%A3" * 650, "cursor=" + "a" * 8000, "limit=" + "9" * 8000):
        began = time.process_time()
        assert client.get(f"/v1/probes?{query}").status_code < 500
        assert time.process_time() - began < TIMES * harmless + SPARE, query[:20]
