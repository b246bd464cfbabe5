"""Versions: nobody's change is lost, and nothing is sent twice."""

from __future__ import annotations

import threading
from concurrent.futures import ThreadPoolExecutor

import pytest

from tests.server.clients import Client, code
from tests.waiting import HANG


@pytest.fixture
def address(client: Client) -> str:
    """The address of a probe at version 1."""
    return client.post("/v1/probes", json={"name": "one"}).headers["Location"]


def test_the_second_of_two_editors_is_told(client: Client, address: str) -> None:
    etag = client.get(address).headers["ETag"]
    assert etag == '"1.mm"'
    changed = client.patch(address, json={"name": "two"}, etag=etag)
    assert (changed.status_code, changed.headers["ETag"], changed.get_json()["version"]) == (200, '"2.mm"', 2)
    stale = client.patch(address, json={"name": "three"}, etag=etag)
    assert (stale.status_code, code(stale)) == (412, "precondition-failed")
    assert (stale.headers["ETag"], stale.get_json()["current_version"]) == ('"2.mm"', 2)
    assert client.get(address).get_json()["name"] == "two"


@pytest.mark.parametrize(
    ("etag", "status"),
    [
        (None, 428),
        ("*", 428),
        ("", 428),
        ('W/"1.mm"', 412),  # RFC 9110, section 13.1.1: If-Match compares strongly.
        ('"1.inch"', 200),  # The same version, read in other units.
        ('"7.mm", "1.mm"', 200),
        ('"1"', 412),
        ("1.mm", 412),
        ('"1.cm"', 412),
    ],
)
def test_which_tags_match(client: Client, address: str, etag: str | None, status: int) -> None:
    assert client.patch(address, json={"name": "two"}, etag=etag).status_code == status


@pytest.mark.parametrize(
    ("etag", "told"),
    [
        ("1.mm", "no ETag"),
        ("'1.mm'", "no ETag"),
        ('W/"1.mm"', "weak"),
        ('W/"2.mm"', "weak"),
        ('"2"', "never read with"),
        ('"3.mm"', "never read with"),
        ('"2.mm.html"', "never read with"),
        ('"another-object"', "never read with"),
        ('"1.mm"', "Somebody changed it"),
        ('W/"2.mm", "1.inch"', "Somebody changed it"),
    ],
)
def test_a_tag_that_does_not_match_is_told_why(client: Client, address: str, etag: str, told: str) -> None:
    assert client.patch(address, json={"name": "two"}, etag='"1.mm"').status_code == 200
    refused = client.patch(address, json={"name": "three"}, etag=etag)
    assert (refused.status_code, code(refused)) == (412, "precondition-failed")
    assert told in refused.get_json()["detail"]
    assert refused.headers["ETag"] == '"2.mm"'


def test_a_change_that_changes_nothing_keeps_the_version(client: Client, address: str) -> None:
    assert client.patch(address, json={"name": "one"}, etag='"1.mm"').headers["ETag"] == '"1.mm"'


@pytest.mark.parametrize(
    ("held", "status"),
    [
        ('"1.mm"', 304),
        ('W/"1.mm"', 304),
        ("*", 304),
        ('"0.mm", "1.mm"', 304),
        ('"1.inch"', 200),
        ('"2.mm"', 200),
    ],
)
def test_what_is_held_is_not_sent_again(client: Client, address: str, held: str, status: int) -> None:
    answer = client.get(address, headers={"If-None-Match": held})
    assert (answer.status_code, bool(answer.data)) == (status, status == 200)
    assert answer.headers["ETag"] == '"1.mm"'
    assert answer.headers["Vary"] == "Authorization, Accept"


def test_units_have_tags_of_their_own(client: Client) -> None:
    metric = client.get("/v1/probes/length?relief=1")
    inch = client.get("/v1/probes/length?relief=1&units=inch")
    assert metric.get_json() == {"relief": {"value": 1.0, "unit": "mm"}}
    assert inch.get_json() == {"relief": {"value": 39.4, "unit": "thou"}}
    assert (metric.headers["ETag"], inch.headers["ETag"]) == ('"length-1.mm"', '"length-1.inch"')


def test_a_deletion_names_its_version(client: Client, address: str) -> None:
    assert client.delete(address).status_code == 428
    assert client.delete(address, etag='"2.mm"').status_code == 412
    assert client.delete(address, etag='"1.mm"').status_code == 204
    assert client.get(address).status_code == 404
    assert client.delete(address, etag='"1.mm"').status_code == 404


def test_of_many_editors_at_once_one_wins_each_version(client: Client, address: str) -> None:
    ready = threading.Barrier(4)

    def edit(editor: int) -> list[int]:
        ready.wait(HANG)
        won = []
        for turn in range(5):
            etag = client.get(address).headers["ETag"]
            if client.patch(address, json={"name": f"{editor}-{turn}"}, etag=etag).status_code == 200:
                won.append(turn)
        return won

    with ThreadPoolExecutor(4) as threads:
        wins = sum(len(won) for won in threads.map(edit, range(4)))
    assert wins >= 1
    assert client.get(address).get_json()["version"] == wins + 1
