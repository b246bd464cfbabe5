"""Deliveries: in order for each object, retried for days, parked, replayed; and a worker that dies."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import timedelta
from itertools import pairwise
from typing import Any

import pytest
from sqlalchemy import select, text

from shimstock_server.clock import FixedClock
from shimstock_server.config import Config
from shimstock_server.database.history import emit
from shimstock_server.database.session import Database
from shimstock_server.database.tables.operations import DomainEvent
from shimstock_server.database.tables.shop import Bench
from shimstock_server.webhooks import delivery, forget_delivered, outbox, sending
from shimstock_server.webhooks.sending import Outcome
from tests.server.booking.conftest import Website, etag
from tests.server.clients import Client, code
from tests.server.conftest import SECRET

from .conftest import Endpoint, Receiver, endpoint_of

TEN = "2026-03-03T09:00:00Z"
Tell = Callable[[], int]


def test_a_website_hears_of_its_bookings_and_their_jobs(
    website: Website,
    other_website: Website,
    site_endpoint: Endpoint,
    receiver: Receiver,
    tell: Tell,
    client: Client,
) -> None:
    booking = website.book(TEN)
    other_website.book("2026-03-04T09:00:00Z")
    client.post("/v1/owners", json={"name": "Somebody else"})
    tell()
    assert receiver.types() == ["booking.held", "job.moved", "booking.confirmed"]
    held, moved, confirmed = receiver.heard
    assert held["object"] == {"type": "booking", "id": booking["id"], "sequence": 1, "version": 1}
    assert held["data"] == {"state": "held", "service": website.service_id, "at": TEN}
    assert moved["object"]["id"] == booking["job"]["id"]
    assert moved["data"]["state"] == "booked"
    assert confirmed["data"]["job"] == booking["job"]["id"]
    assert confirmed["object"]["sequence"] == 2
    assert tell() == 0
    assert len(receiver.heard) == 3


def test_no_name_leaves_the_service(
    website: Website, shop_endpoint: Endpoint, receiver: Receiver, tell: Tell
) -> None:
    website.book(TEN, complaints="hums loudly", instrument={"serial": "S-99"})
    tell()
    assert "owner.created" in receiver.types()
    told = b"".join(receiver.bodies).decode()
    for personal in ("Sasha", "newcomer.example", "hums", "S-99"):
        assert personal not in told


def test_types_choose(client: Client, website: Website, receiver: Receiver, tell: Tell) -> None:
    endpoint_of(client, types=["booking.confirmed"])
    website.book(TEN)
    tell()
    assert receiver.types() == ["booking.confirmed"]


def test_nothing_is_told_of_what_was_before(
    website: Website, client: Client, receiver: Receiver, tell: Tell, clock: FixedClock
) -> None:
    website.hold(TEN)
    clock.advance(timedelta(seconds=1))
    endpoint_of(client)
    clock.advance(timedelta(seconds=1))
    website.hold(TEN)
    tell()
    assert receiver.types() == ["booking.held"]
    assert receiver.heard[0]["timestamp"] == "2026-03-02T12:00:02Z"


# ------------------------------------------------------------ retried


def test_the_schedule_is_kept_and_then_it_is_parked(
    website: Website, site_endpoint: Endpoint, receiver: Receiver, tell: Tell, clock: FixedClock
) -> None:
    receiver.answer = lambda message: Outcome(500, "answered 500")
    website.hold(TEN)
    begun = clock.now()
    for _ in range(4 * 24 * 12):  # four days, five minutes at a time and a look just before and at each step
        tell()
        due = site_endpoint.deliveries()[0]["due_at"]
        if due is None:
            break
        clock.advance(timedelta(seconds=-1) + _until(due, clock))
        assert tell() == 0
        clock.advance(timedelta(seconds=1))
    # Standard Webhooks 1.0.0, "Delivery retries": now, 5 s, 5 min, 30 min, 2 h, 5 h, 10 h, 14 h, 20 h, 24 h;
    # 15 s and 1 min between, and each up to a fifth later: judgement
    seconds = [5, 15, 60, 300, 1800, 7200, 18000, 36000, 50400, 72000, 86400]
    tried = [when for when, _ in receiver.tried]
    assert tried[0] == begun
    waited = [(later - when).total_seconds() for when, later in pairwise(tried)]
    assert len(waited) == len(seconds)
    assert all(step <= wait <= 1.2 * step for wait, step in zip(waited, seconds, strict=True)), waited
    assert waited != seconds, "chance spreads them"
    assert len({message for _, message in receiver.tried}) == 1
    assert len({each["webhook-timestamp"] for each in receiver.headers}) == 12
    (parked,) = site_endpoint.deliveries(state="parked")
    assert parked["attempts"] == len(parked["log"]) == 12
    assert parked["last_status"] == 500


def _until(instant: str, clock: FixedClock) -> timedelta:
    from datetime import datetime

    return datetime.fromisoformat(instant) - clock.now()


def test_a_parked_head_lets_the_next_go(
    website: Website, site_endpoint: Endpoint, receiver: Receiver, tell: Tell, clock: FixedClock
) -> None:
    receiver.answer = lambda message: Outcome(500 if message["type"] == "booking.held" else 204)
    booking = website.book(TEN)
    tell()
    assert receiver.types() == ["job.moved"]  # another object does not wait
    for pause in (timedelta(0), *delivery.SCHEDULE):
        clock.advance(1.2 * pause)  # each up to a fifth later
        tell()
    tell()
    assert receiver.types() == ["job.moved", "booking.confirmed"]
    (parked,) = site_endpoint.deliveries(state="parked")
    assert (parked["type"], parked["object"]["id"]) == ("booking.held", booking["id"])


def test_down_for_three_days_then_everything_in_order(
    website: Website,
    site_endpoint: Endpoint,
    receiver: Receiver,
    tell: Tell,
    clock: FixedClock,
    client: Client,
) -> None:
    up_again = clock.now() + timedelta(days=3)
    receiver.answer = lambda message: Outcome(204) if clock.now() >= up_again else Outcome(None, "refused")
    bookings: list[dict[str, Any]] = []
    while clock.now() < up_again:
        hour = int((up_again - clock.now()).total_seconds() // 3600)
        if hour % 6 == 0 and len(bookings) < 8:
            booking = website.book(website.slots()[-1]["at"])
            bookings.append(booking)
            if len(bookings) % 2:
                client.post(f"/v1/bookings/{booking['id']}/cancel", json={}, etag=etag(booking))
        tell()
        clock.advance(timedelta(hours=1))
    assert receiver.heard == []
    assert len(bookings) == 8
    for _ in range(30):
        tell()
        clock.advance(timedelta(hours=1))
    by_object: dict[str, list[int]] = defaultdict(list)
    for message in receiver.heard:
        by_object[message["object"]["id"]].append(message["object"]["sequence"])
    assert set(by_object) == {each["id"] for each in bookings} | {each["job"]["id"] for each in bookings}
    for sequences in by_object.values():
        assert sequences == list(range(1, len(sequences) + 1))
    assert Counter(receiver.types()) == {
        "booking.held": 8, "booking.confirmed": 8, "booking.cancelled": 4, "job.moved": 12,
    }  # fmt: skip
    assert site_endpoint.deliveries(state="pending") == site_endpoint.deliveries(state="parked") == []


WISHES = {
    "120": 120,
    "1": 5,  # never sooner than the schedule
    "999999999999": 86400,
    "Mon, 02 Mar 2026 12:10:00 GMT": 600,
    "Mon, 02 Mar 2020 12:10:00 GMT": 5,
    "soon": 5,
    "-5": 5,
}


def test_an_endpoint_may_ask_for_time(
    website: Website,
    site_endpoint: Endpoint,
    receiver: Receiver,
    tell: Tell,
    clock: FixedClock,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(delivery.random, "uniform", lambda low, high: low)
    wishes = iter(WISHES)
    receiver.answer = lambda message: Outcome(503, "answered 503", retry_after=next(wishes))
    for slot in website.slots()[: len(WISHES)]:
        website.hold(slot["at"])
    tell()
    found = sorted(_until(each["due_at"], clock).total_seconds() for each in site_endpoint.deliveries())
    assert found == sorted(WISHES.values())


def test_gone_switches_the_endpoint_off_until_it_is_switched_on(
    website: Website, site_endpoint: Endpoint, receiver: Receiver, tell: Tell
) -> None:
    receiver.answer = lambda message: Outcome(410, "answered 410")
    website.hold(TEN)
    tell()
    shown = site_endpoint.show()
    assert (shown["active"], shown["disabled_reason"]) == (False, "gone")
    website.hold(TEN)
    assert tell() == 0  # what happens meanwhile is in the feed
    receiver.answer = lambda message: Outcome(204)
    client = website.client
    on = client.patch(
        site_endpoint.path, json={"active": True}, etag=client.get(site_endpoint.path).headers["ETag"]
    )
    assert (on.get_json()["active"], on.get_json()["disabled_reason"]) == (True, None)
    tell()
    assert receiver.types() == ["booking.held"]


def test_a_redirect_is_a_failure(
    website: Website, site_endpoint: Endpoint, receiver: Receiver, tell: Tell
) -> None:
    receiver.answer = lambda message: Outcome(302, "answered 302; redirects are not followed")
    website.hold(TEN)
    tell()
    (waiting,) = site_endpoint.deliveries(state="pending")
    assert (waiting["attempts"], waiting["last_status"]) == (1, 302)


# ------------------------------------------------------------ replayed, forgotten


def test_replay_sends_the_same_message_again(
    website: Website, site_endpoint: Endpoint, receiver: Receiver, tell: Tell
) -> None:
    website.hold(TEN)
    tell()
    (sent,) = site_endpoint.deliveries()
    path = f"/v1/webhook-deliveries/{sent['id']}"
    again = website.client.post(f"{path}/replay")
    assert (again.get_json()["state"], again.get_json()["attempts"]) == ("pending", 0)
    tell()
    assert receiver.bodies[0] == receiver.bodies[1]
    assert receiver.headers[0]["webhook-id"] == receiver.headers[1]["webhook-id"] == sent["event_id"]
    shown = website.client.get(path).get_json()
    assert (shown["state"], len(shown["log"])) == ("delivered", 2)


def away(message: Any) -> Outcome:
    """A receiver that is being restarted."""
    return Outcome(502, "answered 502", answer="no backend")


def test_a_receiver_that_was_away_for_ten_seconds_hears_within_half_a_minute(
    website: Website, site_endpoint: Endpoint, receiver: Receiver, tell: Tell, clock: FixedClock
) -> None:
    begun = clock.now()
    receiver.answer = lambda message: (
        Outcome(204) if clock.now() - begun > timedelta(seconds=10) else away(message)
    )
    website.book(TEN)
    while len(receiver.heard) < 3:
        tell()
        clock.advance(timedelta(seconds=1))
        assert clock.now() - begun < timedelta(seconds=30)


def test_replay_hurries_what_is_on_its_way_and_what_stands_before_it(
    website: Website, site_endpoint: Endpoint, receiver: Receiver, tell: Tell, clock: FixedClock
) -> None:
    receiver.answer = away
    booking = website.book(TEN)
    for _ in range(6):
        tell()
        clock.advance(timedelta(minutes=10))
    receiver.answer = lambda message: Outcome(204)
    assert tell() == 0, "half an hour has not passed"
    of_booking = [each for each in site_endpoint.deliveries() if each["object"]["id"] == booking["id"]]
    assert [each["type"] for each in of_booking] == ["booking.held", "booking.confirmed"]
    again = website.client.post(f"/v1/webhook-deliveries/{of_booking[1]['id']}/replay")
    assert (again.status_code, again.get_json()["state"]) == (200, "pending")
    tell()
    assert receiver.types() == ["booking.held", "booking.confirmed"]


def test_switching_on_again_sends_what_waits(
    website: Website, site_endpoint: Endpoint, receiver: Receiver, tell: Tell, clock: FixedClock
) -> None:
    receiver.answer = away
    website.hold(TEN)
    for _ in range(6):
        tell()
        clock.advance(timedelta(minutes=10))
    receiver.answer = lambda message: Outcome(204)
    for active in (False, True):
        tag = website.client.get(site_endpoint.path).headers["ETag"]
        assert website.client.patch(site_endpoint.path, json={"active": active}, etag=tag).status_code == 200
        assert tell() == int(active)
    assert receiver.types() == ["booking.held"]


def test_a_test_reaches_the_one_endpoint_whatever_it_hears(
    website: Website, site_endpoint: Endpoint, shop_endpoint: Endpoint, receiver: Receiver, tell: Tell
) -> None:
    picky = endpoint_of(website.client, types=["booking.moved"])
    receiver.answer = away
    path = f"{picky.path}/test"
    first = website.client.post(path)
    assert (first.status_code, first.get_json()["type"]) == (201, "webhook-endpoint.tested")
    tell()
    shown = website.client.get(first.headers["Location"]).get_json()
    assert (shown["state"], shown["last_status"], shown["last_answer"]) == ("pending", 502, "no backend")
    receiver.answer = lambda message: Outcome(204)
    second = website.client.post(path)
    tell()
    assert [each["object"]["sequence"] for each in receiver.heard] == [1, 2], "the first did not wait"
    assert all(each["object"]["id"] == picky.id for each in receiver.heard)
    assert website.client.get(second.headers["Location"]).get_json()["state"] == "delivered"
    assert site_endpoint.deliveries() == []
    assert "webhook-endpoint.tested" not in {each["type"] for each in shop_endpoint.deliveries()}


def test_an_endpoint_that_is_switched_off_is_not_tested(website: Website, site_endpoint: Endpoint) -> None:
    client = website.client
    client.patch(
        site_endpoint.path, json={"active": False}, etag=client.get(site_endpoint.path).headers["ETag"]
    )
    refused = client.post(f"{site_endpoint.path}/test")
    assert (refused.status_code, code(refused)) == (409, "endpoint-switched-off")


def test_a_website_does_not_read_in_the_operators_own_network(
    website: Website,
    site_endpoint: Endpoint,
    shop_endpoint: Endpoint,
    receiver: Receiver,
    database: Database,
    config: Config,
    clock: FixedClock,
) -> None:
    within = replace(config, webhook_private=True)
    receiver.answer = away
    website.hold(TEN)
    outbox.number_events(database, within, clock)
    delivery.deliver(database, within, clock, receiver)
    assert [each["last_answer"] for each in site_endpoint.deliveries()] == [None]
    assert {each["last_answer"] for each in shop_endpoint.deliveries()} == {"no backend"}


def test_the_log_keeps_a_month(
    website: Website,
    site_endpoint: Endpoint,
    receiver: Receiver,
    tell: Tell,
    clock: FixedClock,
    database: Database,
    config: Config,
) -> None:
    website.hold(TEN)
    tell()
    clock.advance(timedelta(days=30))
    assert forget_delivered(database, config, clock) == 0
    clock.advance(timedelta(seconds=1))
    assert forget_delivered(database, config, clock) == 1
    assert site_endpoint.deliveries() == []


def test_deleting_an_endpoint_takes_its_log_along(
    website: Website, site_endpoint: Endpoint, receiver: Receiver, tell: Tell
) -> None:
    website.hold(TEN)
    tell()
    client = website.client
    gone = client.delete(site_endpoint.path, etag=client.get(site_endpoint.path).headers["ETag"])
    assert gone.status_code == 204
    assert client.get(site_endpoint.path).status_code == 404
    assert client.get("/v1/webhook-deliveries").get_json()["items"] == []


# ------------------------------------------------------------ workers that die, workers that meet


def test_a_worker_that_dies_leaves_nothing_undone(
    website: Website,
    site_endpoint: Endpoint,
    receiver: Receiver,
    tell: Tell,
    clock: FixedClock,
    database: Database,
    config: Config,
) -> None:
    website.hold(TEN)
    outbox.number_events(database, config, clock)
    (leased,) = delivery.lease_due(database, config, clock)  # and then it was killed, before or after sending
    assert tell() == 0  # nobody else sends it while the lease lasts
    clock.advance(delivery.LEASE)
    tell()
    assert receiver.types() == ["booking.held"]
    assert receiver.headers[0]["webhook-id"] == leased.message_id
    # It was not dead after all, only slow: what it has to say comes too late and changes nothing.
    delivery.note(database, config, leased, Outcome(500, "answered 500"), now=clock.now())
    (sent,) = site_endpoint.deliveries()
    assert (sent["state"], sent["attempts"], len(sent["log"])) == ("delivered", 1, 2)


def test_what_was_leased_too_long_ago_is_not_sent(
    website: Website,
    site_endpoint: Endpoint,
    receiver: Receiver,
    tell: Tell,
    clock: FixedClock,
    database: Database,
    config: Config,
) -> None:
    """A batch was held up: another worker may have told this, and what came after it, in the meantime."""
    website.hold(TEN)
    outbox.number_events(database, config, clock)
    (leased,) = delivery.lease_due(database, config, clock)
    clock.advance(delivery.LEASE)
    delivery.send_leased(database, config, clock, leased, receiver)
    assert receiver.tried == []
    tell()
    assert receiver.types() == ["booking.held"]


def test_slow_endpoints_leave_room_for_the_others(
    client: Client, database: Database, config: Config, clock: FixedClock
) -> None:
    for _ in range(delivery.BATCH // delivery.EACH + 4):
        endpoint_of(client)
    for n in range(delivery.EACH + 1):
        client.post("/v1/owners", json={"name": f"Owner {n}"})
    outbox.number_events(database, config, clock)
    # As many as can be sent before their leases end, even when each endpoint takes all the time it may.
    assert len(delivery.lease_due(database, config, clock)) == delivery.BATCH
    rounds = delivery.BATCH / delivery.THREADS
    assert rounds * sending.DEADLINE <= delivery.LEASE.total_seconds() / 2


def test_two_workers_send_each_message_once_and_in_order(
    client: Client, receiver: Receiver, clock: FixedClock, database: Database, config: Config
) -> None:
    endpoint_of(client)
    rows: list[Bench] = []
    with database.write({"now": clock.now(), "secret": SECRET}) as session:
        rows += [Bench(name=f"bench {n}", skills=[]) for n in range(6)]
        session.add_all(rows)
        session.flush()
        for _ in range(8):
            for row in rows:
                emit(session, "bench.tested", row)

    def work(_: int) -> int:
        outbox.number_events(database, config, clock)
        return delivery.deliver(database, config, clock, receiver)

    with ThreadPoolExecutor(2) as threads:
        list(threads.map(work, range(2)))
    work(0)
    seen: dict[str, list[int]] = defaultdict(list)
    for message in receiver.heard:
        if message["type"] == "bench.tested":
            seen[message["object"]["id"]].append(message["object"]["sequence"])
    assert len(seen) == 6
    assert all(sequences == list(range(1, 9)) for sequences in seen.values())


def test_a_transaction_that_commits_late_is_not_left_out(
    client: Client, database: Database, config: Config, clock: FixedClock
) -> None:
    """Its event is older than one that is in the feed already; a reader at the end of the feed gets it."""
    if database.is_sqlite:
        pytest.skip("on SQLite one transaction writes at a time")
    first = client.get("/v1/events").get_json()["cursor"]
    with database.write({"now": clock.now(), "secret": SECRET}) as slow:
        bench = Bench(name="slow", skills=[])
        slow.add(bench)
        late = emit(slow, "bench.tested", bench)
        client.post("/v1/owners", json={"name": "Quick"})
        outbox.number_events(database, config, clock)
        page = client.get(f"/v1/events?cursor={first}").get_json()
        assert [each["type"] for each in page["items"]] == ["owner.created"]
        assert str(late) < page["items"][0]["id"]
    outbox.number_events(database, config, clock)
    page = client.get("/v1/events", query_string={"cursor": page["cursor"]}).get_json()
    assert [each["id"] for each in page["items"]] == [str(late)]


def test_sending_holds_no_transaction_open(
    website: Website,
    client: Client,
    receiver: Receiver,
    tell: Tell,
    database: Database,
) -> None:
    """While an endpoint takes its time, others write."""
    endpoint_of(website.client)

    def slow(message: Any) -> Outcome:
        with database.write() as session:  # would wait for ever, were the worker's transaction open
            session.execute(text("UPDATE job_numbers SET last = last"))
        return Outcome(204)

    receiver.answer = slow
    website.hold(TEN)
    assert tell() == 1
    assert receiver.types() == ["booking.held"]


# ------------------------------------------------------------ the feed


def test_the_feed_goes_on_where_it_stopped(
    website: Website, client: Client, tell: Tell, database: Database
) -> None:
    website.book(TEN)
    assert client.get("/v1/events").get_json()["items"] == []  # the worker has not been round
    tell()
    seen: list[str] = []
    cursor = None
    while True:
        query = {"limit": "2"} | ({"cursor": cursor} if cursor else {})
        page = client.get("/v1/events", query_string=query).get_json()
        seen += [each["id"] for each in page["items"]]
        cursor = page["cursor"]
        if page["next"] is None:
            break
        assert page["next"] == cursor
    with database.read() as session:
        every = session.scalars(select(DomainEvent.id).order_by(DomainEvent.position))
        assert seen == [str(each) for each in every]
    page = client.get("/v1/events", query_string={"limit": "2", "cursor": cursor}).get_json()
    assert (page["items"], page["cursor"]) == ([], cursor)
    website.hold(TEN)
    tell()
    page = client.get("/v1/events", query_string={"limit": "2", "cursor": cursor}).get_json()
    assert [each["type"] for each in page["items"]] == ["booking.held"]


def test_a_websites_feed_is_its_own(
    website: Website, other_website: Website, client: Client, tell: Tell
) -> None:
    mine = website.book(TEN)
    other_website.book("2026-03-04T09:00:00Z")
    tell()
    items = website.client.get("/v1/events").get_json()["items"]
    assert [each["type"] for each in items] == ["booking.held", "job.moved", "booking.confirmed"]
    assert {each["object"]["id"] for each in items} == {mine["id"], mine["job"]["id"]}
    only = website.client.get("/v1/events?type=job.moved").get_json()["items"]
    assert [each["type"] for each in only] == ["job.moved"]
    cursor = website.client.get("/v1/events").get_json()["cursor"]
    stolen = other_website.client.get("/v1/events", query_string={"cursor": cursor})
    assert (stolen.status_code, code(stolen)) == (400, "invalid-cursor")
