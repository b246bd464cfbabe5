"""Looks at a settling neck: proposed from the shop's hours, claimable by the clock, late ones seen."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import uuid4

import pytest

from shimstock_server.clock import FixedClock
from tests.server.clients import Client
from tests.server.workshop import Workshop, mm, sheet

from .test_moves import claim_next, move


def at(text: str) -> datetime:
    """An instant."""
    return datetime.fromisoformat(text).astimezone(UTC)


def set_clock(clock: FixedClock, text: str) -> None:
    """Put the clock to a moment; it goes forward alone."""
    ahead = at(text) - clock.now()
    assert ahead >= timedelta(0)
    clock.advance(ahead)


def turn_rod(client: Client, job: dict[str, Any], clock: FixedClock, ago: int = 0) -> None:
    """Tighten the rod by an eighth of a turn, some minutes ago."""
    done = clock.now() - timedelta(minutes=ago)
    body = {"id": str(uuid4()), "claim": job["claim"]["id"], "part": "truss-rod", "done_at": done.isoformat(),
            "turns": {"value": 0.125, "unit": "turn"}}  # fmt: skip
    posted = client.post(f"/v1/jobs/{job['id']}/adjustments", json=body)
    assert posted.status_code == 201, posted.get_data(as_text=True)


def restring(client: Client, job: dict[str, Any], clock: FixedClock, shop: Workshop) -> None:
    """Put new strings on."""
    body = {"id": str(uuid4()), "claim": job["claim"]["id"], "part": "strings",
            "done_at": clock.now().isoformat(), "string_set_id": shop.ids["strings"]}  # fmt: skip
    posted = client.post(f"/v1/jobs/{job['id']}/adjustments", json=body)
    assert posted.status_code == 201, posted.get_data(as_text=True)


def read(client: Client, shop: Workshop, job: dict[str, Any], clock: FixedClock, *quantities: str) -> None:
    """Read some quantities now."""
    values = {"relief": ("bass", 0.3), "action": ("bass", 2.0), "nut-action": ("bass", 0.5)}
    readings = [
        {"quantity": name, "side": values[name][0], "value": mm(values[name][1]),
         "tool_id": shop.ids["feelers" if name == "relief" else "depth"]} for name in quantities
    ]  # fmt: skip
    body = sheet(readings, stage="in-progress", taken_at=clock.now().isoformat())
    posted = client.post(f"/v1/jobs/{job['id']}/reading-sheets", json=body)
    assert posted.status_code == 201, posted.get_data(as_text=True)


def current(client: Client, job: dict[str, Any]) -> dict[str, Any]:
    """The job as it stands."""
    found: dict[str, Any] = client.get(f"/v1/jobs/{job['id']}").get_json()
    return found


def rest(client: Client, job: dict[str, Any], **more: Any) -> dict[str, Any]:
    """Put the job to rest, saying nothing that need not be said."""
    job = current(client, job)
    moved = move(client, job, "settling", claim=job["claim"]["id"], **more)
    assert moved.status_code == 200, moved.get_data(as_text=True)
    found: dict[str, Any] = moved.get_json()
    return found


def looks(client: Client, job: dict[str, Any]) -> list[dict[str, Any]]:
    """Every look at this job."""
    found: list[dict[str, Any]] = client.get(f"/v1/jobs/{job['id']}/looks").get_json()["items"]
    return found


@pytest.fixture
def job(workshop: Workshop, bench_client: Client) -> dict[str, Any]:
    """A job on the bench, at 13:00 of a Monday in the shop's zone."""
    workshop.queued_job()
    return claim_next(bench_client)


def test_two_hours_after_the_turn(bench_client: Client, job: dict[str, Any], clock: FixedClock) -> None:
    turn_rod(bench_client, job, clock, ago=20)
    settling = rest(bench_client, job)
    assert settling["look"] == "settle-hour"
    assert at(settling["available_at"]) == clock.now() + timedelta(minutes=100)
    assert settling["readings_asked"] == ["relief", "action"]
    assert (settling["due"], settling["late_minutes"]) == (False, 0)


def test_the_shop_says_how_long(
    workshop: Workshop, bench_client: Client, job: dict[str, Any], clock: FixedClock
) -> None:
    shop = workshop.manager.get("/v1/shop").get_json()
    changed = workshop.manager.patch(
        "/v1/shop", json={"settle_first_minutes": 90}, etag=f'"{shop["version"]}.mm"'
    )
    assert changed.status_code == 200
    turn_rod(bench_client, job, clock)
    assert at(rest(bench_client, job)["available_at"]) == clock.now() + timedelta(minutes=90)


def test_an_hour_is_the_least(
    workshop: Workshop, bench_client: Client, job: dict[str, Any], clock: FixedClock
) -> None:
    shop = workshop.manager.get("/v1/shop").get_json()
    changed = workshop.manager.patch(
        "/v1/shop", json={"settle_first_minutes": 10}, etag=f'"{shop["version"]}.mm"'
    )
    assert changed.status_code == 200
    turn_rod(bench_client, job, clock)
    assert at(rest(bench_client, job)["available_at"]) == clock.now() + timedelta(hours=1)


def test_what_rested_long_enough_on_the_bench_rests_as_long_again(
    bench_client: Client, job: dict[str, Any], clock: FixedClock
) -> None:
    turn_rod(bench_client, job, clock, ago=118)
    assert at(rest(bench_client, job)["available_at"]) == clock.now() + timedelta(hours=2)


def test_nobody_looks_while_the_shop_is_shut(
    bench_client: Client, job: dict[str, Any], clock: FixedClock
) -> None:
    set_clock(clock, "2026-03-02T17:30:00+01:00")
    turn_rod(bench_client, job, clock)
    assert at(rest(bench_client, job)["available_at"]) == at("2026-03-03T09:00:00+01:00")


def test_then_the_next_opening_day(
    workshop: Workshop, bench_client: Client, job: dict[str, Any], clock: FixedClock
) -> None:
    set_clock(clock, "2026-03-07T10:00:00+01:00")  # a Saturday; Sunday is shut
    turn_rod(bench_client, job, clock)
    rest(bench_client, job)
    clock.advance(timedelta(hours=2))
    again = claim_next(bench_client)
    assert again["id"] == job["id"]
    read(bench_client, workshop, again, clock, "relief", "action")
    settling = rest(bench_client, again)
    assert settling["look"] == "settle-day"
    assert at(settling["available_at"]) == at("2026-03-09T09:00:00+01:00")
    assert [look["outcome"] for look in looks(bench_client, job)] == ["read", "settling"]


def test_a_closed_day_is_passed_over(
    workshop: Workshop, bench_client: Client, job: dict[str, Any], clock: FixedClock
) -> None:
    closed = workshop.manager.post("/v1/closures", json={"day": "2026-03-03", "reason": "stocktaking"})
    assert closed.status_code == 201, closed.get_data(as_text=True)
    settling = rest(bench_client, job, look="settle-day")
    assert at(settling["available_at"]) == at("2026-03-04T09:00:00+01:00")


@pytest.mark.parametrize(
    "evening, morning",
    [
        # In Europe/Berlin clocks go forward on 29 March 2026 and back on 25 October 2026, at 01:00 UTC
        # (IANA time zone database), both Sundays; the shop is shut on Sundays.
        ("2026-03-28T16:00:00+01:00", "2026-03-30T09:00:00+02:00"),
        ("2026-10-24T16:00:00+02:00", "2026-10-26T09:00:00+01:00"),
    ],
)
def test_the_next_day_across_a_change_of_the_clocks(
    bench_client: Client, job: dict[str, Any], clock: FixedClock, evening: str, morning: str
) -> None:
    set_clock(clock, evening)
    settling = rest(bench_client, job, look="settle-day")
    assert at(settling["available_at"]) == at(morning)
    clock.advance(at(morning) - clock.now() - timedelta(seconds=1))
    assert bench_client.post("/v1/jobs/claims", json={}).status_code == 204
    clock.advance(timedelta(seconds=1))
    assert claim_next(bench_client)["id"] == job["id"]


@pytest.mark.parametrize(
    "evening, morning",
    [
        ("2026-03-28T16:00:00+01:00", "2026-03-29T16:00:00+02:00"),
        ("2026-10-24T16:00:00+02:00", "2026-10-25T16:00:00+01:00"),
    ],
)
def test_a_shop_without_hours_looks_at_the_same_time_tomorrow(
    workshop: Workshop, bench_client: Client, job: dict[str, Any], clock: FixedClock,
    evening: str, morning: str,
) -> None:  # fmt: skip
    shop = workshop.manager.get("/v1/shop").get_json()
    cleared = workshop.manager.patch("/v1/shop", json={"opening_hours": []}, etag=f'"{shop["version"]}.mm"')
    assert cleared.status_code == 200, cleared.get_data(as_text=True)
    set_clock(clock, evening)
    assert at(rest(bench_client, job, look="settle-day")["available_at"]) == at(morning)


def test_two_hours_are_two_hours_when_the_clocks_go_forward(
    workshop: Workshop, bench_client: Client, job: dict[str, Any], clock: FixedClock
) -> None:
    night = {"day": "2026-03-29", "opens": "00:00", "closes": "12:00"}
    assert workshop.manager.post("/v1/closures", json=night).status_code == 201
    set_clock(clock, "2026-03-29T01:30:00+01:00")
    turn_rod(bench_client, job, clock)
    assert at(rest(bench_client, job)["available_at"]) == at("2026-03-29T04:30:00+02:00")


def test_a_new_turn_starts_over(
    workshop: Workshop, bench_client: Client, job: dict[str, Any], clock: FixedClock
) -> None:
    turn_rod(bench_client, job, clock)
    rest(bench_client, job)
    clock.advance(timedelta(hours=2))
    again = claim_next(bench_client)
    clock.advance(timedelta(minutes=5))
    turn_rod(bench_client, again, clock)
    assert rest(bench_client, again)["look"] == "settle-hour"


def test_the_claimed_job_asks_for_what_matters_until_it_is_read(
    workshop: Workshop, bench_client: Client, job: dict[str, Any], clock: FixedClock
) -> None:
    restring(bench_client, job, clock, workshop)
    rest(bench_client, job)
    clock.advance(timedelta(hours=2, minutes=25))
    again = claim_next(bench_client)
    assert again["look"] == "settle-hour"
    assert again["readings_asked"] == ["relief", "action", "intonation"]
    assert again["late_minutes"] == 25
    read(bench_client, workshop, again, clock, "relief")
    assert current(bench_client, job)["readings_asked"] == ["action", "intonation"]
    read(bench_client, workshop, again, clock, "action")
    assert current(bench_client, job)["readings_asked"] == ["intonation"]
    asked = workshop.manager.get(f"/v1/jobs/{job['id']}/moves").get_json()["items"][-2]
    assert (asked["look"], asked["readings_asked"]) == ("settle-hour", ["relief", "action", "intonation"])


def test_hours_while_the_shop_is_shut_are_not_late(
    workshop: Workshop, bench_client: Client, job: dict[str, Any], clock: FixedClock
) -> None:
    settling = rest(bench_client, job, available_at="2026-03-02T20:00:00+01:00")
    set_clock(clock, "2026-03-03T09:10:00+01:00")
    assert current(bench_client, settling)["late_minutes"] == 10
    read(bench_client, workshop, job, clock, "relief")
    (look,) = looks(bench_client, job)
    assert (look["outcome"], look["late_minutes"]) == ("read", 10)


def test_a_sunday_is_not_late(
    workshop: Workshop, bench_client: Client, job: dict[str, Any], clock: FixedClock
) -> None:
    set_clock(clock, "2026-03-07T16:00:00+01:00")  # a Saturday; open from 9 to 18, Sundays shut
    settling = rest(bench_client, job, available_at="2026-03-07T17:30:00+01:00")
    set_clock(clock, "2026-03-09T09:15:00+01:00")
    assert current(bench_client, settling)["late_minutes"] == 45
    (listed,) = bench_client.get("/v1/settling?due=true").get_json()["items"]
    assert listed["late_minutes"] == 45
    workshop.manager.post("/v1/closures", json={"day": "2026-03-09", "opens": "11:00", "closes": "12:00"})
    assert current(bench_client, settling)["late_minutes"] == 30


def test_a_day_without_an_hour_is_late_by_an_hour_less(
    workshop: Workshop, bench_client: Client, job: dict[str, Any], clock: FixedClock
) -> None:
    set_clock(clock, "2026-03-28T17:00:00+01:00")  # a Saturday; on Sunday at 2:00 the clocks go to 3:00
    workshop.manager.post("/v1/closures", json={"day": "2026-03-29", "opens": "01:00", "closes": "05:00"})
    settling = rest(bench_client, job, available_at="2026-03-28T18:00:00+01:00")
    set_clock(clock, "2026-03-30T08:00:00+02:00")
    assert current(bench_client, settling)["late_minutes"] == 3 * 60
    (listed,) = bench_client.get("/v1/settling?due=true").get_json()["items"]
    assert listed["late_minutes"] == 3 * 60


def test_a_look_taken_early_says_so(
    workshop: Workshop, bench_client: Client, job: dict[str, Any], clock: FixedClock
) -> None:
    rest(bench_client, job)
    clock.advance(timedelta(minutes=10))
    assert bench_client.post(f"/v1/jobs/{job['id']}/claim", json={}).status_code == 200
    read(bench_client, workshop, job, clock, "relief")
    (look,) = looks(bench_client, job)
    assert (look["outcome"], look["late_minutes"]) == ("early", 0)


def test_a_skipped_look_stays_visible(
    workshop: Workshop, bench_client: Client, job: dict[str, Any], clock: FixedClock
) -> None:
    turn_rod(bench_client, job, clock)
    rest(bench_client, job)
    assert [look["outcome"] for look in looks(bench_client, job)] == ["settling"]
    clock.advance(timedelta(hours=2))
    assert [look["outcome"] for look in looks(bench_client, job)] == ["due"]
    again = claim_next(bench_client)
    assert looks(bench_client, job)[0]["outcome"] == "on-bench"
    again = move(bench_client, again, "final-check", claim=again["claim"]["id"]).get_json()
    again = move(
        bench_client, again, "ready", claim=again["claim"]["id"], reason="owner in a hurry"
    ).get_json()
    hour, day = looks(bench_client, job)
    assert (hour["look"], hour["outcome"]) == ("settle-hour", "skipped")
    # Nobody asked for the next day's look: it is told all the same, and blocked nothing.
    assert (day["look"], day["outcome"], day["sequence"]) == ("settle-day", "settling", None)
    assert at(day["available_at"]) == at("2026-03-03T09:00:00+01:00")
    clock.advance(timedelta(days=1))
    assert looks(bench_client, job)[1]["outcome"] == "due"
    late = looks(bench_client, job)[1]["late_minutes"]
    assert late > 0
    assert move(workshop.manager, again, "collected").status_code == 200
    assert looks(bench_client, job)[1]["outcome"] == "skipped"
    clock.advance(timedelta(days=30))
    assert looks(bench_client, job)[1]["late_minutes"] == late, "nobody is late for what nobody waits for"


def test_a_reading_off_pitch_is_no_look(
    workshop: Workshop, bench_client: Client, job: dict[str, Any], clock: FixedClock
) -> None:
    rest(bench_client, job)
    clock.advance(timedelta(hours=2))
    body = sheet(
        [{"quantity": "relief", "side": "bass", "value": mm(0.3), "tool_id": workshop.ids["feelers"]}],
        stage="in-progress", taken_at=clock.now().isoformat(), at_pitch=False,
    )  # fmt: skip
    assert bench_client.post(f"/v1/jobs/{job['id']}/reading-sheets", json=body).status_code == 201
    assert [look["outcome"] for look in looks(bench_client, job)] == ["due"]


def test_other_moves_name_no_look(workshop: Workshop) -> None:
    job = workshop.job()
    refused = move(workshop.manager, job, "queued", look="settle-day")
    assert refused.status_code == 422
    assert refused.get_json()["errors"] == [
        {"pointer": "/look", "message": "only a move to settling has this"}
    ]


def test_a_job_that_never_rested_has_no_looks(
    workshop: Workshop, bench_client: Client, job: dict[str, Any]
) -> None:
    assert looks(bench_client, job) == []
    assert (job["look"], job["readings_asked"], job["late_minutes"]) == (None, [], None)
