"""Reading sheets: all or nothing, as typed and as kept, never lost and never changed."""

from __future__ import annotations

import threading
from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import UUID, uuid4

import pytest
from sqlalchemy import func, select

from shimstock_server.clock import FixedClock
from shimstock_server.database.session import Database
from shimstock_server.database.tables.bench import Reading, ReadingSheet
from tests.server.clients import Client
from tests.server.workshop import Workshop, case_one_readings, mm, sheet


@pytest.fixture
def job(workshop: Workshop) -> dict[str, Any]:
    """A received job."""
    return workshop.job()


def post(client: Client, job: dict[str, Any], body: dict[str, Any], **options: Any) -> Any:
    """Post a sheet."""
    return client.open("POST", f"/v1/jobs/{job['id']}/reading-sheets", json=body, **options)


def stored(database: Database) -> tuple[int, int]:
    """How many sheets and readings there are."""
    with database.read() as session:
        sheets = session.scalar(select(func.count()).select_from(ReadingSheet)) or 0
        readings = session.scalar(select(func.count()).select_from(Reading)) or 0
        return sheets, readings


def test_what_was_typed_is_kept_beside_what_counts(
    workshop: Workshop, bench_client: Client, job: dict[str, Any]
) -> None:
    readings = [
        {"quantity": "action", "side": "bass", "value": {"value": 5.5, "unit": "in/64"}},
        {"quantity": "relief", "side": "bass", "value": {"value": 12, "unit": "thou"}},
        {"quantity": "intonation", "string": 3, "value": {"value": -2.5, "unit": "cents"}},
    ]
    room = {
        "temperature": {"value": 70, "unit": "degF"},
        "relative_humidity": {"value": 45, "unit": "percent"},
    }
    body = sheet(readings, room=room)
    answer = post(bench_client, job, body)
    assert answer.status_code == 201
    assert answer.headers["Location"] == f"/v1/jobs/{job['id']}/reading-sheets/{body['id']}"
    kept = answer.get_json()
    # 25.4 mm to the inch is exact (ISO/IEC 80000-3: international yard and pound, 1959).
    assert kept["readings"][0]["value"] == {"value": 2.183, "unit": "mm"}
    assert kept["readings"][0]["typed"] == {"value": 5.5, "unit": "in/64"}
    assert kept["readings"][1]["value"] == {"value": 0.305, "unit": "mm"}
    assert (kept["readings"][1]["held"], kept["readings"][1]["fret"]) == ([1, 22], 9)
    assert kept["readings"][2]["fret"] == 12
    assert kept["room"]["temperature"] == {"value": 21.11, "unit": "degC"}
    assert kept["room"]["typed"]["temperature"] == {"value": 70, "unit": "degF"}
    inch = bench_client.open("GET", f"/v1/jobs/{job['id']}/reading-sheets/{body['id']}?units=inch").get_json()
    assert inch["readings"][0]["value"] == {"value": 5.5, "unit": "in/64"}
    assert inch["readings"][1]["value"] == {"value": 12.0, "unit": "thou"}


@pytest.mark.parametrize(
    "wrong, pointer, message",
    [
        ({"value": {"value": 1, "unit": "cents"}}, "/value/unit", "use mm, in, thou or in/64, not cents"),
        ({"value": {"value": 1, "unit": "furlong"}}, "/value/unit", "must be one of mm, in, thou, in/64"),
        ({"value": {"value": 0.4, "unit": "in/64"}}, "/value", "read again, or confirm it"),
        ({"value": mm(12)}, "/value", "plausible"),
        ({"value": {"value": "1.7", "unit": "mm"}}, "/value/value", "must be a number"),
        ({"value": None}, "/value", "is required"),
        ({"side": None, "string": 7}, "/string", "this instrument has 6 strings, 1 to 6; 7 was given"),
        ({"side": None, "string": 0}, "/string", "1 to 6; 0 was given"),
        ({"fret": 30}, "/fret", "this instrument has frets 1 to 22; 30 was given"),
        ({"string": 2}, "/side", "not both"),
        ({"side": None}, "/side", "name the side"),
        ({"held": [1, 22]}, "/held", "only relief"),
        ({"capo": 12}, "/capo", "between the nut and the fret"),
        ({"zero_or_less": True, "value": None}, "/zero_or_less", "only relief"),
        ({"accepted": True}, "/note", "say why"),
        ({"tool_id": str(uuid4())}, "/tool_id", "no tool of this shop"),
        ({"pickup": "neck"}, "/pickup", "only a pickup height"),
        ({"colour": "red"}, "/colour", "is not a field here"),
        ({"quantity": "relief", "value": mm(-0.1), "side": "bass"}, "/value", "use a straightedge"),
        ({"quantity": "relief", "value": mm(0), "side": "bass"}, "/value", "say zero_or_less"),
        ({"quantity": "relief", "held": [5], "value": mm(0.1)}, "/held", "name the two frets"),
        (
            {"quantity": "relief", "held": [1, 8], "fret": 9, "value": mm(0.1)},
            "/fret",
            "between the hold frets",
        ),
        ({"quantity": "intonation", "value": {"value": 1, "unit": "cents"}}, "/string", "string by string"),
    ],
)
def test_a_bad_reading_is_told_with_its_place_and_nothing_is_stored(
    workshop: Workshop,
    bench_client: Client,
    database: Database,
    job: dict[str, Any],
    wrong: dict[str, Any],
    pointer: str,
    message: str,
) -> None:
    good = {"quantity": "action", "side": "treble", "value": mm(1.5)}
    bad = {"quantity": "action", "side": "bass", "value": mm(1.7)} | wrong
    answer = post(bench_client, job, sheet([good, bad]))
    assert answer.status_code == 422
    told = {error["pointer"]: error["message"] for error in answer.get_json()["errors"]}
    assert set(told) == {f"/readings/1{pointer}"}
    assert message in told[f"/readings/1{pointer}"]
    assert stored(database) == (0, 0)


def test_every_bad_reading_is_told_at_once(bench_client: Client, job: dict[str, Any]) -> None:
    readings = [
        {"quantity": "relief", "side": "bass", "value": {"value": 3, "unit": "cents"}},
        {"quantity": "action", "string": 7, "value": mm(2)},
        {"quantity": "action", "side": "bass", "value": mm(2)},
        {"quantity": "nut-action", "side": "bass", "fret": 40, "value": mm(9)},
    ]
    problem = post(bench_client, job, sheet(readings)).get_json()
    assert problem["detail"] == "3 of 4 readings cannot be taken; nothing was stored."
    assert {error["pointer"] for error in problem["errors"]} == {
        "/readings/0/value/unit", "/readings/1/string", "/readings/3/fret", "/readings/3/value",
    }  # fmt: skip


def test_an_implausible_reading_can_be_confirmed(bench_client: Client, job: dict[str, Any]) -> None:
    reading = {"quantity": "action", "side": "bass", "value": mm(9.5)}
    assert post(bench_client, job, sheet([reading])).status_code == 422
    kept = post(bench_client, job, sheet([reading | {"confirmed": True}]))
    assert kept.status_code == 201
    assert kept.get_json()["readings"][0]["confirmed"] is True


@pytest.mark.parametrize(
    "relief, nut_action, action, blamed",
    [(0.2, 0.45, 0.5, 2), (2.0, 0.02, 4.5, 1)],
)
def test_readings_that_contradict_each_other_are_refused(
    workshop: Workshop,
    bench_client: Client,
    database: Database,
    job: dict[str, Any],
    relief: float,
    nut_action: float,
    action: float,
    blamed: int,
) -> None:
    depth = workshop.ids["depth"]
    readings = [
        {"quantity": "relief", "side": "bass", "value": mm(relief), "tool_id": workshop.ids["feelers"]},
        {"quantity": "nut-action", "side": "bass", "value": mm(nut_action), "tool_id": depth},
        {"quantity": "action", "side": "bass", "value": mm(action), "tool_id": depth},
    ]
    if action == 0.5:
        readings[1]["value"], readings[2]["value"] = mm(1.6), mm(0.5)
    answer = post(bench_client, job, sheet(readings))
    assert answer.status_code == 422, answer.get_json()
    [error] = answer.get_json()["errors"]
    assert error["pointer"] == f"/readings/{blamed}/value"
    assert "cannot all be true of one string" in error["message"]
    assert stored(database) == (0, 0)
    confirmed = [reading | {"confirmed": True} for reading in readings]
    assert post(bench_client, job, sheet(confirmed)).status_code == 201


def test_a_sheet_sent_twice_is_one_sheet(
    bench_client: Client, database: Database, job: dict[str, Any]
) -> None:
    body = sheet([{"quantity": "action", "side": "bass", "value": mm(1.7)}])
    first, again = post(bench_client, job, body), post(bench_client, job, body)
    assert (first.status_code, again.status_code) == (201, 200)
    assert first.get_json() == again.get_json()
    other = body | {"note": "something else"}
    refused = post(bench_client, job, other)
    assert (refused.status_code, refused.get_json()["code"]) == (409, "id-taken")
    assert stored(database) == (1, 1)


def test_a_sheet_is_taken_in_every_state_and_from_anybody(
    workshop: Workshop, bench_client: Client, job: dict[str, Any]
) -> None:
    reading = {"quantity": "action", "side": "bass", "value": mm(1.7)}
    cancelled = workshop.manager.open(
        "POST",
        f"/v1/jobs/{job['id']}/moves",
        json={"to": "cancelled", "reason": "no-show"},
        etag=f'"{job["version"]}.mm"',
    )
    assert cancelled.status_code == 200
    kept = post(bench_client, job, sheet([reading]))
    assert kept.status_code == 201
    assert kept.get_json()["outside_claim"] is True


def test_a_clock_ahead_is_told_and_can_be_confirmed(bench_client: Client, job: dict[str, Any]) -> None:
    reading = {"quantity": "action", "side": "bass", "value": mm(1.7)}
    within = sheet([reading], taken_at="2026-03-02T12:04:59Z")
    assert post(bench_client, job, within).status_code == 201
    ahead = sheet([reading], taken_at="2026-03-02T12:05:01Z")
    refused = post(bench_client, job, ahead)
    assert (refused.status_code, refused.get_json()["code"]) == (422, "clock-ahead")
    assert refused.get_json()["errors"][0]["pointer"] == "/taken_at"
    assert post(bench_client, job, ahead | {"confirm_clock": True}).status_code == 201
    naive = sheet([reading], taken_at="2026-03-02T12:00:00")
    assert post(bench_client, job, naive).get_json()["errors"][0]["pointer"] == "/taken_at"


def test_a_time_far_ahead_is_refused_even_when_it_is_confirmed(
    bench_client: Client, job: dict[str, Any]
) -> None:
    reading = {"quantity": "action", "side": "bass", "value": mm(1.7)}
    within = sheet([reading], taken_at="2026-03-04T12:00:00Z", confirm_clock=True)
    assert post(bench_client, job, within).status_code == 201
    for far in ("2026-03-04T12:00:01Z", "2999-01-01T00:00:00Z"):
        refused = post(bench_client, job, sheet([reading], taken_at=far, confirm_clock=True))
        assert (refused.status_code, refused.get_json()["code"]) == (422, "clock-ahead")
        assert "more than 48 cannot be confirmed" in refused.get_json()["errors"][0]["message"]


def test_a_stored_time_far_ahead_never_counts_as_newest(
    bench_client: Client, job: dict[str, Any], database: Database, clock: FixedClock
) -> None:
    """Earlier releases took it when it was confirmed; it counts from when it was received."""
    astray = sheet([{"quantity": "action", "side": "bass", "value": mm(2.9)}])
    assert post(bench_client, job, astray).status_code == 201
    with database.write() as session:
        session.get_one(ReadingSheet, UUID(astray["id"])).taken_at = datetime(2999, 1, 1, tzinfo=UTC)
    clock.advance(timedelta(minutes=1))
    late = sheet([{"quantity": "action", "side": "bass", "value": mm(1.7)}], taken_at=clock.now().isoformat())
    assert post(bench_client, job, late).status_code == 201
    path = f"/v1/jobs/{job['id']}/readings?newest=true&quantity=action"
    (newest,) = bench_client.get(path).get_json()["items"]
    assert newest["sheet_id"] == late["id"]
    plan = bench_client.get(f"/v1/jobs/{job['id']}/recommendation").get_json()
    (verdict,) = [each for each in plan["verdicts"] if (each["quantity"], each["side"]) == ("action", "bass")]
    assert verdict["reading"]["sheet_id"] == late["id"]


def test_a_correction_supersedes_once_and_says_why(bench_client: Client, job: dict[str, Any]) -> None:
    wrong = sheet([{"quantity": "action", "side": "bass", "value": mm(2.7)}])
    assert post(bench_client, job, wrong).status_code == 201
    right = sheet([{"quantity": "action", "side": "bass", "value": mm(1.7)}], supersedes=wrong["id"])
    unsaid = post(bench_client, job, right)
    assert unsaid.get_json()["errors"][0]["pointer"] == "/supersedes_reason"
    right |= {"supersedes_reason": "misread the gauge"}
    assert post(bench_client, job, right).status_code == 201
    second = sheet(
        [{"quantity": "action", "side": "bass", "value": mm(1.8)}],
        supersedes=wrong["id"],
        supersedes_reason="again",
    )
    refused = post(bench_client, job, second)
    assert (refused.status_code, refused.get_json()["superseded_by"]) == (409, right["id"])
    every = bench_client.open("GET", f"/v1/jobs/{job['id']}/reading-sheets").get_json()["items"]
    assert {each["id"]: each["superseded_by"] for each in every} == {
        wrong["id"]: right["id"],
        right["id"]: None,
    }
    standing = bench_client.open("GET", f"/v1/jobs/{job['id']}/readings?quantity=action").get_json()["items"]
    assert [each["value"]["value"] for each in standing] == [1.7]
    plan = bench_client.open("GET", f"/v1/jobs/{job['id']}/recommendation").get_json()
    action = [each for each in plan["verdicts"] if each["quantity"] == "action" and each["side"] == "bass"]
    assert action[0]["value"]["value"] == 1.7


def test_newest_is_by_the_bench_clock_not_by_arrival(bench_client: Client, job: dict[str, Any]) -> None:
    late = sheet([{"quantity": "action", "side": "bass", "value": mm(1.7)}], taken_at="2026-03-02T11:30:00Z")
    early = sheet([{"quantity": "action", "side": "bass", "value": mm(2.2)}], taken_at="2026-03-02T09:00:00Z")
    assert post(bench_client, job, late).status_code == 201
    assert post(bench_client, job, early).status_code == 201
    newest = bench_client.open("GET", f"/v1/jobs/{job['id']}/readings?newest=true").get_json()["items"]
    assert [each["value"]["value"] for each in newest] == [1.7]


def test_a_reading_off_pitch_is_kept_and_no_plan_is_built_on_it(
    workshop: Workshop, bench_client: Client, job: dict[str, Any]
) -> None:
    assert post(bench_client, job, sheet(case_one_readings(workshop), at_pitch=False)).status_code == 201
    plan = bench_client.open("GET", f"/v1/jobs/{job['id']}/recommendation").get_json()
    assert all(verdict["verdict"] is None for verdict in plan["verdicts"])
    assert all(not move["turns"] for each in plan["steps"] for move in each["moves"])


def test_a_tool_that_changes_later_does_not_change_the_past(
    workshop: Workshop, bench_client: Client, job: dict[str, Any]
) -> None:
    body = sheet(case_one_readings(workshop))
    assert post(bench_client, job, body).status_code == 201
    path = f"/v1/tools/{workshop.ids['depth']}"
    tool = workshop.manager.open("GET", path)
    changed = workshop.manager.open("PATCH", path, json={"repeatability": mm(0.2)}, etag=tool.headers["ETag"])
    assert changed.status_code == 200
    kept = bench_client.open("GET", f"/v1/jobs/{job['id']}/reading-sheets/{body['id']}").get_json()
    assert kept["readings"][1]["repeatability"] == {"value": 0.03, "unit": "mm"}


def test_two_benches_posting_at_once_lose_nothing(
    bench_client: Client, database: Database, job: dict[str, Any]
) -> None:
    each_posts = 10
    bodies = [
        [
            sheet([{"quantity": "action", "side": "bass", "value": mm(1.5 + n / 100)}])
            for n in range(each_posts)
        ]
        for _ in range(4)
    ]
    answers: list[int] = []

    def work(mine: list[dict[str, Any]]) -> None:
        for body in mine:
            answers.append(post(bench_client, job, body).status_code)

    threads = [threading.Thread(target=work, args=(mine,)) for mine in bodies]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert answers == [201] * 4 * each_posts
    assert stored(database) == (4 * each_posts, 4 * each_posts)
    every = bench_client.open("GET", f"/v1/jobs/{job['id']}/reading-sheets").get_json()["items"]
    assert {each["id"] for each in every} == {body["id"] for mine in bodies for body in mine}


def test_the_same_sheet_from_two_threads_at_once_is_one_sheet(
    bench_client: Client, database: Database, job: dict[str, Any]
) -> None:
    body = sheet([{"quantity": "action", "side": "bass", "value": mm(1.7)}])
    answers: list[int] = []
    threads = [
        threading.Thread(target=lambda: answers.append(post(bench_client, job, body).status_code))
        for _ in range(6)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(answers) == [200] * 5 + [201]
    assert stored(database) == (1, 1)


def test_the_plan_asks_for_a_look_over_until_one_is_noted(
    workshop: Workshop, bench_client: Client, job: dict[str, Any]
) -> None:
    assert post(bench_client, job, sheet(case_one_readings(workshop), looked_over=False)).status_code == 201
    plan = bench_client.open("GET", f"/v1/jobs/{job['id']}/recommendation").get_json()
    assert [step["kind"] for step in plan["steps"][:2]] == ["look-over", "relief"]
    assert plan["steps"][1]["do_now"]
    noted = post(bench_client, job, sheet([], findings=[{"code": "fret-ends-sharp"}], looked_over=False))
    assert noted.get_json()["looked_over"] is True
    plan = bench_client.open("GET", f"/v1/jobs/{job['id']}/recommendation").get_json()
    assert plan["steps"][0]["kind"] == "relief"
