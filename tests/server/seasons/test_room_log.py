"""A room's log: single readings, batches, files, salt checks, clocks that go wrong; and warnings."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import uuid4

import pytest

from tests.reference.load import rows
from tests.server.clients import Client, code, pointers

from .conftest import OCTOBER, SeasonShop, degrees, percent

ON_SQLITE = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)


@pytest.fixture
def room(shop: SeasonShop) -> str:
    """The shop's back room."""
    made = shop.things.add("room", "/v1/rooms", {"name": "Back room", "use": "shop"})
    return str(made["id"])


def reading(
    room: str, *, hours: float = 0.0, warm: float = 21.0, damp: float = 45.0, **more: Any
) -> dict[str, Any]:
    taken_at = (OCTOBER + timedelta(hours=hours)).isoformat()
    values = {"temperature": degrees(warm), "relative_humidity": percent(damp)}
    return {"id": str(uuid4()), "room_id": room, "taken_at": taken_at, **values, **more}


def in_batch(room: str, readings: list[dict[str, Any]], **more: Any) -> dict[str, Any]:
    inner = [{name: value for name, value in one.items() if name != "room_id"} for one in readings]
    return {"room_id": room, "readings": inner, **more}


def test_a_reading_is_kept_once(shop: SeasonShop, room: str) -> None:
    first = reading(room)
    made = shop.bench.post("/v1/room-readings", json=first, idempotency_key=None)
    assert made.status_code == 201
    again = shop.bench.post("/v1/room-readings", json=first, idempotency_key=None)
    assert (again.status_code, again.get_json()) == (200, made.get_json())
    # the logger sends the same under another id
    twin = shop.bench.post("/v1/room-readings", json={**first, "id": str(uuid4())})
    assert (twin.status_code, twin.get_json()["id"]) == (200, first["id"])
    other = {**first, "relative_humidity": percent(50.0)}
    assert code(shop.bench.post("/v1/room-readings", json=other)) == "id-taken"
    beside = shop.bench.post("/v1/room-readings", json={**other, "id": str(uuid4())})
    assert code(beside) == "two-readings-at-once"
    assert "45 % at 21.0 degC before; now 50 %" in beside.get_json()["errors"][0]["message"]
    assert len(shop.bench.get("/v1/room-readings").get_json()["items"]) == 1
    assert shop.bench.get(made.headers["Location"]).get_json()["typed"]["temperature"] == degrees(21.0)


@ON_SQLITE
def test_a_sensor_names_no_technician(shop: SeasonShop, room: str) -> None:
    sensor = Client(shop.bench.app, shop.bench.token)
    assert sensor.post("/v1/room-readings", json=reading(room)).status_code == 201
    batch = in_batch(room, [reading(room, hours=-1.0)])
    assert sensor.post("/v1/room-readings/batch", json=batch).status_code == 200
    stranger = Client(shop.bench.app, shop.bench.token, uuid4())
    assert stranger.post("/v1/room-readings", json=reading(room, hours=-2.0)).status_code == 422


BAD = (
    ({"relative_humidity": percent(130.0)}, "/relative_humidity", "0 to 100"),
    ({"relative_humidity": percent(130.0), "confirmed": True}, "/relative_humidity", "0 to 100"),
    ({"relative_humidity": percent(0.45)}, "/relative_humidity", "a share of 1"),
    ({"temperature": degrees(70.0)}, "/temperature", "meant in degF"),
    ({"temperature": {"value": 21.0, "unit": "degF"}}, "/temperature", "meant in degC"),
    ({"temperature": degrees(-3.0)}, "/temperature", "confirm it"),
    ({"taken_at": "1999-12-31T00:00:00Z"}, "/taken_at", "clock was reset"),
    ({"temperature": {"value": 21.0, "unit": "percent"}}, "/temperature/unit", "degC or degF"),
    (
        {"taken_at": "2999-12-31T23:59:59Z", "confirm_clock": True},
        "/taken_at",
        "more than 48 hours cannot be confirmed",
    ),
    ({"taken_at": "2026-10-12T09:00:00"}, "/taken_at", "with its offset"),
)


@ON_SQLITE
def test_what_no_room_has_is_named(shop: SeasonShop, room: str) -> None:
    for more, at, words in BAD:
        answer = shop.bench.post("/v1/room-readings", json={**reading(room), **more})
        assert answer.status_code == 422, more
        assert pointers(answer) == [at]
        assert words in answer.get_json()["errors"][0]["message"]
    ahead = shop.bench.post("/v1/room-readings", json=reading(room, hours=2.0))
    assert code(ahead) == "clock-ahead"
    kept = shop.bench.post("/v1/room-readings", json=reading(room, hours=2.0, confirm_clock=True))
    assert (kept.status_code, kept.get_json()["clock_confirmed"]) == (201, True)
    cold = shop.bench.post("/v1/room-readings", json=reading(room, hours=-1, warm=-3.0, confirmed=True))
    assert cold.status_code == 201
    nowhere = reading(str(uuid4()), hygrometer_id=str(uuid4()))
    assert pointers(shop.bench.post("/v1/room-readings", json=nowhere)) == ["/room_id", "/hygrometer_id"]


def test_a_batch_is_all_or_nothing_and_accounts_for_every_reading(shop: SeasonShop, room: str) -> None:
    hours = [-30.0, -29.0, -28.0, -27.0, -12.0, -11.0, -13.0, -10.0]
    sent = [reading(room, hours=each) for each in hours]
    sent.append({**sent[2], "id": str(uuid4())})
    bad = [*sent, reading(room, hours=-5.0, damp=130.0), reading(room, hours=-4.0, warm=90.0)]
    refused = shop.bench.post("/v1/room-readings/batch", json=in_batch(room, bad))
    assert pointers(refused) == ["/readings/9/relative_humidity", "/readings/10/temperature"]
    assert shop.bench.get("/v1/room-readings").get_json()["items"] == []
    kept = shop.bench.post("/v1/room-readings/batch", json=in_batch(room, sent)).get_json()
    assert (kept["sent"], kept["stored"], kept["reordered"]) == (9, 8, 2)
    assert [(one["at"], one["kept_as"]) for one in kept["known"]] == [("/readings/8", sent[2]["id"])]
    assert [gap["hours"] for gap in kept["gaps"]] == [14.0]
    again = shop.bench.post("/v1/room-readings/batch", json=in_batch(room, sent)).get_json()
    assert (again["stored"], len(again["known"])) == (0, 9)
    listed = shop.bench.get("/v1/room-readings", query_string={"limit": 5}).get_json()
    more = shop.bench.get("/v1/room-readings", query_string={"limit": 5, "cursor": listed["next"]}).get_json()
    times = [one["taken_at"] for one in [*listed["items"], *more["items"]]]
    assert times == sorted(times, reverse=True)
    assert len(times) == 8


def post_log(shop: SeasonShop, room: str, text: str, **query: Any) -> Any:
    return shop.bench.post(
        "/v1/room-readings/csv", data=text.encode(), content_type="text/csv",
        query_string={"room_id": room, **query},
    )  # fmt: skip


HEADINGS = "taken_at;temperature_degC;relative_humidity_percent"


def test_a_loggers_file_can_be_sent_again(shop: SeasonShop, room: str) -> None:
    lines = [
        f"2026-10-0{day} {hour:02}:00;21,{hour % 10};4{hour % 10},5" for day in (1, 2) for hour in range(24)
    ]
    text = "\n".join([HEADINGS, *lines])
    kept = post_log(shop, room, text)
    assert kept.status_code == 200, kept.get_data(as_text=True)
    assert (kept.get_json()["stored"], kept.get_json()["gaps"]) == (48, [])
    # Berlin, two hours ahead of UTC on that day
    assert kept.get_json()["first"] == "2026-09-30T22:00:00Z"
    longer = post_log(shop, room, text + "\n2026-10-03 00:00;21;45").get_json()
    assert (longer["stored"], len(longer["known"])) == (1, 48)
    shifted = post_log(shop, room, text.replace("2026", "2006"), shift_minutes=20 * 365 * 1440 + 5 * 1440)
    assert shifted.get_json()["known"][0]["kept_as"]
    fahrenheit = f"{HEADINGS.replace('degC', 'degF')}\n2026-10-04 00:00;70;45"
    post_log(shop, room, fahrenheit)
    another = post_log(shop, room, f"{HEADINGS}\n2026-10-04 00:00;25;45")
    assert (code(another), pointers(another)) == ("two-readings-at-once", ["/lines/2/taken_at"])
    newest = shop.bench.get("/v1/room-readings").get_json()["items"][0]
    assert newest["temperature"]["value"] == pytest.approx(21.11, abs=0.01)
    assert newest["typed"]["temperature"] == {"value": 70.0, "unit": "degF"}


BAD_LOGS = (
    ("", "/lines/1", "empty"),
    (HEADINGS, "/lines/2", "no reading"),
    ("taken_at;temperature_degC\n", "/lines/1", "a column relative_humidity_percent was expected"),
    (
        "Time;Temp(C);RH(%)\n",
        "/lines/1",
        "columns taken_at, temperature_degC or temperature_degF, relative_humidity_percent were expected",
    ),
    (f"{HEADINGS}\n2026-10-01 00:00;21;130", "/lines/2/relative_humidity_percent", "0 to 100"),
    (f"{HEADINGS}\n2026-10-01 00:00;99;45", "/lines/2/temperature_degC", "meant in degF"),
    (f"{HEADINGS}\n2026-10-01 00:00;;45", "/lines/2/temperature_degC", "leave the line out"),
    (f"{HEADINGS}\n2026-10-01 00:00;21;n/a", "/lines/2/relative_humidity_percent", "no number"),
    (f"{HEADINGS}\n01.10.2026 00:00;21;45", "/lines/2/taken_at", "2026-03-02 09:30"),
    (f"{HEADINGS}\n2026-02-30 00:00;21;45", "/lines/2/taken_at", "calendar"),
    (f"{HEADINGS}\n2026-03-29 02:30;21;45", "/lines/2/taken_at", "no clock in Europe/Berlin"),
    (f"{HEADINGS}\n1970-01-01 00:00;21;45", "/lines/2/taken_at", "clock was reset"),
    (f"{HEADINGS}\n2027-01-01 00:00;21;45", "/lines/2/taken_at", "ahead"),
    (f"{HEADINGS};id\n2026-10-01 00:00;21;45;7", "/lines/2/id", "UUID"),
    (f"{HEADINGS};{HEADINGS}\n", "/lines/1", "stands twice"),
    (f"{HEADINGS}\n0001-01-01 00:00;21;45", "/lines/2/taken_at", "calendar"),
    (f"{HEADINGS}\n9999-12-31T23:59-14:00;21;45", "/lines/2/taken_at", "calendar"),
    (f"{HEADINGS}\n9999-12-31T20:00Z;21;45", "/lines/2/taken_at", "more than 48 hours cannot be confirmed"),
    (f"{HEADINGS};note\n2026-10-01 00:00;21;45;a\u202eb", "/lines/2/note", "U+202E"),
    (f"{HEADINGS};note\n2026-10-01 00:00;21;45;{'a' * 1001}", "/lines/2/note", "at most 1000"),
    (f"{HEADINGS};note\n2026-10-01 00:00;21;45;{'a' * 140_000}", "/lines/2", "100000 characters"),
    (";" * 50_000, "/lines/1", "200 columns"),
    (f"{HEADINGS}\n" + "\n" * 9 + "x\n" * 100_001, "", "100000 lines"),
    (HEADINGS.replace(";", "|"), "/lines/1", "separated by '|'"),
    (f"{HEADINGS.replace(';', ',')}\n2026-10-01 00:00,21,5,45", "/lines/2/", "with a point"),
    (f"{HEADINGS}\n2029-01-01 00:00;21;45", "/lines/2/taken_at", "812 days ahead"),
    (f"{HEADINGS}\n2026-10-01 00:00;0,7;45", "/lines/2/temperature_degC", "5 to 40 degC"),
)


@ON_SQLITE
def test_bad_lines_of_a_log_are_named(shop: SeasonShop, room: str) -> None:
    for text, at, words in BAD_LOGS:
        answer = post_log(shop, room, text)
        assert answer.status_code == 422, text
        said = {error["pointer"]: error["message"] for error in answer.get_json()["errors"]}
        assert words in said[at], said
    assert pointers(post_log(shop, room, HEADINGS, zone="Mars/Base")) == ["/query/zone"]
    far = post_log(shop, room, f"{HEADINGS}\n9990-10-01 00:00;21;45", shift_minutes=21_000_000)
    assert pointers(far) == ["/lines/2/taken_at"]
    assert shop.bench.get("/v1/room-readings").get_json()["items"] == []
    two = post_log(shop, room, f"{HEADINGS}\n2026-10-01 00:00;21;45\n2026-10-01 00:00;21;47")
    assert (code(two), pointers(two)) == ("two-readings-at-once", ["/lines/3/taken_at"])
    many = "\n".join([HEADINGS, *(f"2026-10-01 00:{minute:02};99;200" for minute in range(60))])
    answer = post_log(shop, room, many).get_json()
    assert len(answer["errors"]) == 100
    assert "120 values" in answer["detail"]


@ON_SQLITE
def test_the_hour_that_comes_twice_is_two_hours(shop: SeasonShop, room: str) -> None:
    shop.clock.set(datetime(2026, 11, 1, tzinfo=UTC))
    # Berlin puts its clocks back at 03:00 on 25 October 2026 (IANA time zone data base)
    walls = ["01:30", "02:00", "02:30", "02:00", "02:30", "03:00"]
    text = "\n".join([HEADINGS, *(f"2026-10-25 {wall};21;45" for wall in walls)])
    kept = post_log(shop, room, text).get_json()
    assert (kept["stored"], kept["reordered"]) == (6, 0)
    assert (kept["first"], kept["last"]) == ("2026-10-24T23:30:00Z", "2026-10-25T02:00:00Z")


def test_a_salt_check_corrects_what_is_read_from_then_on(shop: SeasonShop, room: str) -> None:
    made = shop.things.add("meter", "/v1/hygrometers", {"name": "Brass one", "room_id": room})
    path = f"/v1/hygrometers/{made['id']}/checks"
    # L. Greenspan, J. Res. NBS 81A, 89 (1977): MgCl2 32.79, NaCl 75.30 % at 25 degC
    check = {
        "checked_at": OCTOBER.isoformat(), "temperature": degrees(25.0),
        "low_reading": percent(36.0), "high_reading": percent(77.0),
    }  # fmt: skip
    kept = shop.bench.post(path, json=check)
    assert kept.status_code == 201, kept.get_data(as_text=True)
    gain = (75.30 - 32.79) / (77.0 - 36.0)
    assert kept.get_json()["gain"] == pytest.approx(gain, abs=1e-3)
    meter = {"hygrometer_id": made["id"]}
    before = shop.bench.post("/v1/room-readings", json=reading(room, hours=-1, damp=50.0, **meter)).get_json()
    assert before["relative_humidity"]["value"] == 50.0
    assert before["uncertainty"]["value"] == 4.0  # judgement: an unchecked hygrometer
    after = shop.bench.post("/v1/room-readings", json=reading(room, damp=50.0, **meter)).get_json()
    assert after["relative_humidity"]["value"] == pytest.approx(32.79 + gain * (50.0 - 36.0), abs=0.02)
    assert (after["shown"]["value"], after["check_id"]) == (50.0, kept.get_json()["id"])
    swapped = {**check, "low_reading": percent(77.0), "high_reading": percent(36.0)}
    assert pointers(shop.bench.post(path, json=swapped)) == ["/high_reading"]
    assert len(shop.bench.get(path).get_json()["items"]) == 1
    ahead = {**check, "checked_at": (OCTOBER + timedelta(days=1)).isoformat()}
    assert code(shop.bench.post(path, json=ahead)) == "clock-ahead"
    long_ago = {**check, "checked_at": "1999-01-01T00:00:00Z"}
    assert pointers(shop.bench.post(path, json=long_ago)) == ["/checked_at"]


def test_a_room_warns_for_the_instruments_in_it(shop: SeasonShop, room: str) -> None:
    shop.things.add("", f"/v1/instruments/{shop.instrument}/keeping", {"room_id": room}, "PUT")
    band = next(row for row in rows("room_air_guidance") if row["guidance"] == "no verdict outside")
    # judgement: no verdict below 35 and above 60 %, nor after 10 % within a day
    assert (float(band["rh_low"]), float(band["rh_high"])) == (35.0, 60.0)
    quiet = [reading(room, hours=-20, damp=44.0), reading(room, hours=-1, damp=45.0)]
    shop.bench.post("/v1/room-readings/batch", json=in_batch(room, quiet))
    air = shop.bench.get(f"/v1/rooms/{room}/air").get_json()
    assert (air["fit_for_verdicts"], air["warnings"], air["instruments"]) == (True, [], [shop.instrument])
    shop.bench.post("/v1/room-readings", json=reading(room, damp=32.0))
    air = shop.bench.get(f"/v1/rooms/{room}/air").get_json()
    assert [one["code"] for one in air["warnings"]] == ["too-dry", "swing"]
    assert air["warnings"][1]["value"]["value"] == 13.0
    shop.work()
    lasting = shop.bench.get("/v1/room-warnings", query_string={"lasting": "true"}).get_json()["items"]
    assert {(one["code"], tuple(one["instruments"])) for one in lasting} == {
        ("too-dry", (shop.instrument,)), ("swing", (shop.instrument,))
    }  # fmt: skip
    shop.work()
    shop.advance(hours=50)
    shop.bench.post("/v1/room-readings", json=reading(room, hours=50, damp=48.0))
    shop.work()
    assert shop.bench.get("/v1/room-warnings", query_string={"lasting": "true"}).get_json()["items"] == []
    over = shop.bench.get("/v1/room-warnings", query_string={"lasting": "false"}).get_json()["items"]
    assert len(over) == 2
    events = [event.type for event in shop.events("room") if event.type.startswith("room.w")]
    assert events == ["room.warning", "room.warning", "room.warning-ended", "room.warning-ended"]


@ON_SQLITE
def test_the_shops_own_limits_hold(shop: SeasonShop, room: str) -> None:
    limits = {"humidity_low": percent(42.0), "humidity_high": percent(55.0)}
    version = shop.manager.get("/v1/shop").headers["ETag"]
    assert shop.manager.patch("/v1/shop", json=limits, etag=version).status_code == 200
    shop.bench.post("/v1/room-readings", json=reading(room, damp=40.0))
    air = shop.bench.get(f"/v1/rooms/{room}/air").get_json()
    assert [one["code"] for one in air["warnings"]] == ["too-dry"]
