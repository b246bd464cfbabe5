"""How long a call takes at most, how often it is sent, and what is logged of it."""

from __future__ import annotations

import logging
import pydoc
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import pytest

from shimstock_client import Client, NotReachable, ServiceFailed, ShimstockError, TooManyRequests
from tests.client.answering import Says, listening

AWAY = Says(503, {"code": "database-away", "detail": "The database is away."}, {"Retry-After": "0"})
SLACK = 0.8
"""Seconds that a busy machine may add; each of these calls took far longer with its waits uncounted."""


@contextmanager
def speaking(say: Callable[[socket.socket], None]) -> Iterator[str]:
    """Accept connections on a loopback port and let a function answer each; yields the address."""
    stop = threading.Event()

    def serve(server: socket.socket) -> None:
        while not stop.is_set():
            try:
                connection, _ = server.accept()
            except OSError:
                continue
            with connection:
                try:
                    connection.recv(65536)
                    say(connection)
                except OSError:
                    pass  # the client has hung up, as it should

    with socket.create_server(("127.0.0.1", 0)) as server:
        server.settimeout(0.05)
        threads = [threading.Thread(target=serve, args=(server,), daemon=True) for _ in range(3)]
        for thread in threads:
            thread.start()
        try:
            yield f"http://127.0.0.1:{server.getsockname()[1]}"
        finally:
            stop.set()
            for thread in threads:
                thread.join()


def silent(_: socket.socket) -> None:
    time.sleep(1.5)


def trickling(close: bool) -> Callable[[socket.socket], None]:
    """Begin an answer at once, and send a byte of its body every twentieth of a second."""

    def say(connection: socket.socket) -> None:
        head = "HTTP/1.1 200 OK\r\nContent-Type: application/json\r\nContent-Length: 1000\r\n"
        connection.sendall((head + ("Connection: close\r\n" if close else "") + "\r\n").encode())
        for _ in range(60):
            time.sleep(0.05)
            connection.sendall(b" ")

    return say


def took(call: Callable[[], object], error: type[ShimstockError]) -> float:
    """Return the seconds until a call fails."""
    began = time.monotonic()
    with pytest.raises(error):
        call()
    return time.monotonic() - began


@pytest.mark.parametrize(
    "say",
    [silent, trickling(close=False), trickling(close=True)],
    ids=["silent", "trickle", "trickle, close"],
)
def test_a_call_takes_no_longer_than_its_timeout(say: Callable[[socket.socket], None]) -> None:
    with speaking(say) as url, Client(url, "k") as client:
        assert took(lambda: client.jobs.get("j", timeout=0.5), NotReachable) < 0.5 + SLACK


def test_a_client_has_a_timeout_for_each_call_too() -> None:
    with speaking(silent) as url, Client(url, "k", timeout=0.4) as client:
        assert took(lambda: client.jobs.get("j"), NotReachable) < 0.4 + SLACK
        assert took(lambda: client.owners.create(name="Robin"), NotReachable) < 0.4 + SLACK


@pytest.mark.parametrize(("status", "error"), [(503, ServiceFailed), (429, TooManyRequests)])
def test_a_wait_that_would_end_too_late_is_not_begun(status: int, error: type[ShimstockError]) -> None:
    busy = Says(status, {"code": "busy", "detail": "Later."}, {"Retry-After": "20"})
    with listening([busy]) as (service, url), Client(url, "k") as client:
        assert took(lambda: client.owners.create(name="Robin", timeout=2.0), error) < SLACK
    assert len(service.asked) == 1


def test_waiting_for_the_same_request_elsewhere_counts_too() -> None:
    busy = Says(409, {"code": "request-in-progress", "detail": "Still at work."}, {"Retry-After": "5"})
    with listening([busy]) as (service, url), Client(url, "k") as client:
        assert took(lambda: client.owners.create(name="Robin", timeout=2.0), ShimstockError) < SLACK
    assert len(service.asked) == 1


@pytest.mark.parametrize("retries", [0, 1, 6])
def test_a_call_says_how_often_it_is_sent_again(retries: int) -> None:
    with listening([AWAY] * retries + [Says(200, {"id": "j"})]) as (service, url), Client(url, "k") as client:
        assert client.jobs.get("j", retries=retries, timeout=60.0).id == "j"
    assert len(service.asked) == retries + 1


def test_no_retries_means_one_request() -> None:
    with listening([AWAY]) as (service, url), Client(url, "k", retries=0) as client:
        assert took(lambda: client.owners.create(name="Robin"), ServiceFailed) < SLACK
        assert took(lambda: client.jobs.get("j"), ServiceFailed) < SLACK
    assert len(service.asked) == 2


@pytest.mark.parametrize("timeout", [0, -1.0, (0.0, 1.0)])
def test_a_timeout_is_above_zero(timeout: float | tuple[float, float]) -> None:
    with pytest.raises(ValueError, match="timeout: seconds above zero"):
        Client("http://127.0.0.1:1", "k", timeout=timeout)


def test_options_of_a_call_are_not_sent_as_fields() -> None:
    with listening([Says(200, {"items": [], "next": None})]) as (service, url), Client(url, "k") as client:
        list(client.jobs.list(state="queued", timeout=5.0, retries=1))
        client.bookings.confirm("b", owner={"name": "Robin"}, timeout=5.0, idempotency_key="key-1")
    assert service.asked[0].query == {"state": "queued"}
    assert service.asked[1].body == {"owner": {"name": "Robin"}}
    assert service.asked[1].headers["Idempotency-Key"] == "key-1"


def test_the_log_tells_of_calls_and_never_of_secrets(caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level(logging.DEBUG, logger="shimstock_client")
    with listening([AWAY, Says(201, {"id": "o1"})]) as (_, url), Client(url, "shim_secret_key") as client:
        client.owners.create(name="Robin Quillfeather")
    said = [record.getMessage() for record in caplog.records if record.name == "shimstock_client"]
    assert any("POST /v1/owners: status 503, sent again in" in line for line in said)
    assert any("POST /v1/owners: 201 in" in line and line.endswith("req-1") for line in said)
    assert not [line for line in said if "secret" in line or "Quillfeather" in line]


def test_nothing_is_said_to_a_program_that_does_not_ask(capfd: pytest.CaptureFixture[str]) -> None:
    code = (
        "from shimstock_client import Client, NotReachable\n"
        "try: Client('http://127.0.0.1:9', 'k', retries=0).jobs.get('j')\n"
        "except NotReachable: print('no answer')"
    )
    subprocess.run([sys.executable, "-c", code], check=True)
    assert capfd.readouterr() == ("no answer\n", "")


def test_the_log_does_not_tell_what_was_searched_for(caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level(logging.DEBUG, logger="shimstock_client")
    page = Says(200, {"items": [], "next": None})
    with listening([AWAY, page]) as (_, url), Client(url, "k") as client:
        assert list(client.owners.list(name="Quillfeather")) == []
    assert len(caplog.records) >= 2
    assert "Quillfeather" not in caplog.text


def test_help_names_what_a_client_offers() -> None:
    shown = pydoc.plain(pydoc.render_doc(Client))
    with Client("http://127.0.0.1:1", "k") as client:
        for name in ("jobs", "owners", "reading_sheets", "recommendations", "bookings", "webhook_endpoints"):
            assert hasattr(client, name)
            assert f" |  {name}\n" in shown
    assert "Work orders" in shown
