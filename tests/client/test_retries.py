"""What is sent again, how often, and under which key."""

from __future__ import annotations

import time

import pytest
import requests
from requests.adapters import HTTPAdapter
from urllib3.exceptions import ProtocolError

from shimstock_client import BoundedRetry, Client, InvalidFields, NotReachable, ServiceFailed
from shimstock_client import _retries as retries
from tests.client.answering import PROBLEM, Says, listening

DONE = Says(201, {"id": "o1", "name": "Robin"})
AWAY = Says(503, {"code": "database-away", "detail": "The database is away."}, {"Retry-After": "0"})
LOST = Says(lost=True)


@pytest.mark.parametrize(
    "failures",
    [[AWAY], [LOST], [LOST, AWAY], [Says(429, {"code": "too-many-requests"}, {"Retry-After": "0"})],
     [Says(500, {}), Says(502, "proxy")]],
)  # fmt: skip
def test_a_change_goes_out_again_under_the_same_key(failures: list[Says]) -> None:
    with listening([*failures, DONE]) as (service, url), Client(url, "k") as client:
        assert client.owners.create(name="Robin").id == "o1"
    assert len(service.asked) == len(failures) + 1
    assert len({asked.headers["Idempotency-Key"] for asked in service.asked}) == 1
    assert all(asked.body == {"name": "Robin"} for asked in service.asked)


def test_reading_is_asked_again() -> None:
    with listening([LOST, AWAY, Says(200, {"id": "j"})]) as (service, url), Client(url, "k") as client:
        client.jobs.get("j")
    assert [asked.method for asked in service.asked] == ["GET"] * 3


def test_what_cannot_be_taken_is_not_sent_again() -> None:
    with (
        listening([Says(422, PROBLEM)]) as (service, url),
        Client(url, "k") as client,
        pytest.raises(InvalidFields),
    ):
        client.owners.create(name="")
    assert len(service.asked) == 1


def impatient() -> requests.Session:
    """A session with the client's retries, without the waits between them."""
    session = requests.Session()
    session.mount(
        "http://", HTTPAdapter(max_retries=BoundedRetry.usual().new(backoff_factor=0, backoff_jitter=0))
    )
    return session


def test_trying_ends_with_what_the_service_said() -> None:
    with (
        listening([AWAY]) as (service, url),
        Client(url, "k", session=impatient()) as client,
        pytest.raises(ServiceFailed, match="The database is away") as caught,
    ):
        client.owners.create(name="Robin")
    assert caught.value.code == "database-away"
    assert len(service.asked) == 5


def test_a_request_still_at_work_elsewhere_is_waited_for(monkeypatch: pytest.MonkeyPatch) -> None:
    waits: list[float] = []
    monkeypatch.setattr("shimstock_client._connection.time.sleep", waits.append)
    busy = Says(409, {"code": "request-in-progress", "detail": "Still at work."}, {"Retry-After": "2"})
    with listening([busy, busy, DONE]) as (service, url), Client(url, "k") as client:
        assert client.owners.create(name="Robin").id == "o1"
    assert waits == [2.0, 2.0]
    assert len({asked.headers["Idempotency-Key"] for asked in service.asked}) == 1


def test_trying_ends_when_the_time_is_over(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(retries, "LONGEST", 0.01)
    with (
        listening([AWAY]) as (service, url),
        Client(url, "k", timeout=(0.005, 0.5)) as client,
        pytest.raises(ServiceFailed),
    ):
        client.owners.create(name="Robin")
    assert 1 <= len(service.asked) < 5


def test_the_time_is_counted_for_each_request_by_itself(monkeypatch: pytest.MonkeyPatch) -> None:
    policy = BoundedRetry.usual()
    cut = ProtocolError("the connection was cut")
    first = policy.increment("GET", "/", error=cut)
    assert policy._ends is None
    assert first._ends is not None
    assert first.increment("GET", "/", error=cut)._ends == first._ends


def test_the_service_cannot_make_the_client_wait_for_hours() -> None:
    policy = BoundedRetry.usual()
    assert policy.retry_after_max == 30
    assert policy.parse_retry_after("7200") == 30
    assert policy.total == 4
    assert policy.backoff_jitter > 0
    assert policy.allowed_methods is None


def test_an_answer_that_does_not_come_is_not_reachable() -> None:
    def slow(_: object) -> Says:
        time.sleep(0.5)
        return DONE

    with (
        listening(slow) as (_, url),
        Client(url, "k", timeout=(0.2, 0.05), session=impatient()) as client,
        pytest.raises(NotReachable, match="did not answer in time"),
    ):
        client.owners.create(name="Robin")


@pytest.mark.parametrize("name", ["HTTP_PROXY", "http_proxy", "ALL_PROXY"])
def test_a_proxy_does_not_stand_between_the_client_and_its_own_machine(
    name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(name, "http://127.0.0.1:9")
    monkeypatch.delenv("NO_PROXY", raising=False)
    monkeypatch.delenv("no_proxy", raising=False)
    with listening([Says(200, {"id": "j"})]) as (_, url), Client(url, "k") as client:
        assert client.jobs.get("j").id == "j"
