"""The shop's own record: settings, hours, closures, people, benches, tools."""

from __future__ import annotations

from typing import Any

import pytest

from tests.server.clients import Client, code, pointers

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)

OPEN = {"weekday": 1, "opens": "09:00", "closes": "18:00"}
SHOP: dict[str, Any] = {
    "name": "Werkbank Lindenfurt",
    "zone": "Europe/Berlin",
    "opening_hours": [
        {"weekday": 2, "opens": "09:00", "closes": "12:30"},
        {"weekday": 2, "opens": "13:30", "closes": "24:00"},
    ],
}


def mm(value: float, unit: str = "mm") -> dict[str, Any]:
    return {"value": value, "unit": unit}


def test_before_it_is_set_up_there_is_no_shop(client: Client) -> None:
    answer = client.get("/v1/shop")
    assert (answer.status_code, code(answer)) == (404, "no-shop-yet")
    assert client.patch("/v1/shop", json={"name": "x"}, etag='"1.mm"').status_code == 409


def test_the_shop_is_set_up_once_and_then_changed_by_its_version(client: Client) -> None:
    made = client.put("/v1/shop", json=SHOP).get_json()
    assert made["opening_hours"] == SHOP["opening_hours"]
    assert made["humidity_low"] == mm(35, "percent")
    assert client.put("/v1/shop", json=SHOP).status_code == 428
    changed = client.patch("/v1/shop", json={"settle_first_minutes": 90}, etag=f'"{made["version"]}.mm"')
    assert changed.get_json()["settle_first_minutes"] == 90
    assert changed.get_json()["opening_hours"] == SHOP["opening_hours"]
    assert client.put("/v1/shop", json=SHOP, etag=f'"{made["version"]}.mm"').status_code == 412


def test_a_change_of_the_hours_alone_is_a_new_version(client: Client) -> None:
    made = client.put("/v1/shop", json=SHOP)
    hours = [{"weekday": 6, "opens": "10:00", "closes": "14:00"}]
    changed = client.patch("/v1/shop", json={"opening_hours": hours}, etag=made.headers["ETag"])
    assert changed.get_json()["opening_hours"] == hours
    assert changed.headers["ETag"] != made.headers["ETag"]
    assert client.get("/v1/shop").get_json() == changed.get_json()


@pytest.mark.parametrize(
    ("changes", "pointer"),
    [
        ({"zone": "Europe/Lindenfurt"}, "/zone"),
        ({"currency": "euro"}, "/currency"),
        ({"language": "Deutsch, bitte"}, "/language"),
        ({"humidity_low": mm(70, "percent")}, "/humidity_low"),
        ({"humidity_low": mm(35, "mm")}, "/humidity_low/unit"),
        ({"recheck_probability": 2}, "/recheck_probability"),
        ({"opening_hours": [OPEN | {"weekday": 8}]}, "/opening_hours/0/weekday"),
        ({"opening_hours": [OPEN | {"opens": "9"}]}, "/opening_hours/0/opens"),
        ({"opening_hours": [OPEN | {"opens": "24:00"}]}, "/opening_hours/0/opens"),
        ({"opening_hours": [OPEN | {"closes": "08:00"}]}, "/opening_hours/0/closes"),
        ({"opening_hours": [*SHOP["opening_hours"], {"weekday": 2, "opens": "12:00", "closes": "14:00"}]},
         "/opening_hours/2/opens"),
    ],
)  # fmt: skip
def test_a_shop_that_cannot_be_is_refused_with_the_field(
    client: Client, changes: dict[str, Any], pointer: str
) -> None:
    answer = client.put("/v1/shop", json=SHOP | changes)
    assert answer.status_code == 422
    assert pointers(answer) == [pointer]
    assert client.get("/v1/shop").status_code == 404


def test_closures_are_added_listed_and_taken_back(client: Client) -> None:
    made = client.post("/v1/closures", json={"day": "2026-12-25", "reason": "holiday"})
    client.post("/v1/closures", json={"day": "2026-12-24", "opens": "09:00", "closes": "12:00"})
    days = [row["day"] for row in client.get("/v1/closures?first=2026-12-01").get_json()["items"]]
    assert days == ["2026-12-24", "2026-12-25"]
    again = client.post("/v1/closures", json={"day": "2026-12-25"})
    assert (again.status_code, code(again)) == (409, "day-taken")
    path = made.headers["Location"]
    assert client.delete(path, etag=made.headers["ETag"]).status_code == 204
    assert client.get(path).status_code == 404


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({"day": "2026-02-30"}, "/day"),
        ({"day": "2026-12-24", "opens": "09:00"}, "/closes"),
        ({"day": "2026-12-24", "opens": "12:00", "closes": "09:00"}, "/closes"),
    ],
)
def test_a_closure_that_cannot_be_is_refused(client: Client, body: dict[str, Any], pointer: str) -> None:
    assert pointers(client.post("/v1/closures", json=body)) == [pointer]


def test_a_technician_has_skills_and_shifts(client: Client) -> None:
    body = {
        "name": "Mirela Quentrop",
        "skills": ["fretwork", "setup"],
        "shifts": [{"weekday": 3, "starts": "09:00", "ends": "18:00"}],
    }
    made = client.post("/v1/technicians", json=body)
    assert made.get_json()["skills"] == ["setup", "fretwork"]
    path = made.headers["Location"]
    changed = client.patch(path, json={"skills": ["setup", "bass"]}, etag=made.headers["ETag"])
    assert changed.get_json()["skills"] == ["setup", "bass"]
    assert changed.get_json()["shifts"] == body["shifts"]
    assert changed.get_json()["version"] == 2
    assert client.patch(path, json={"active": False}, etag=made.headers["ETag"]).status_code == 412
    shifts = [{"weekday": 1, "starts": "18:00", "ends": "09:00"}]
    assert pointers(client.post("/v1/technicians", json={"name": "x", "shifts": shifts})) == [
        "/shifts/0/ends"
    ]
    assert code(client.post("/v1/technicians", json=body)) == "name-in-use"


def test_those_in_use_are_listed_alone_when_asked(client: Client) -> None:
    client.post("/v1/benches", json={"name": "window bench", "skills": ["fretwork"]})
    client.post("/v1/benches", json={"name": "old bench", "active": False})
    everything = {row["name"] for row in client.get("/v1/benches").get_json()["items"]}
    in_use = {row["name"] for row in client.get("/v1/benches?active=true").get_json()["items"]}
    assert everything - in_use == {"old bench"}


def test_a_tool_is_told_in_the_readers_units_and_as_typed(client: Client) -> None:
    body = {
        "name": "rule in 64ths",
        "quantities": ["action", "pickup-height"],
        "resolution": mm(1, "in/64"),
        "repeatability": mm(0.08),
    }
    made = client.post("/v1/tools", json=body).get_json()
    # 1/64 in = 0.396875 mm, exact: 1 in = 25.4 mm
    assert made["resolution"] == mm(0.397)
    assert made["typed"] == {"resolution": mm(1, "in/64"), "repeatability": mm(0.08)}
    told = client.get(f"/v1/tools/{made['id']}?units=inch").get_json()
    assert told["resolution"] == mm(15.6, "thou")
    tuner = {"name": "strobe", "quantities": ["intonation"], "resolution": mm(0.1, "cents")}
    assert client.post("/v1/tools", json=tuner).get_json()["resolution"] == mm(0.1, "cents")


@pytest.mark.parametrize(
    ("changes", "pointer"),
    [
        ({"resolution": mm(0)}, "/resolution/value"),
        ({"resolution": mm(1, "Hz")}, "/resolution/unit"),
        ({"repeatability": mm(1, "cents")}, "/repeatability/unit"),
        ({"quantities": ["intonation"]}, "/quantities/0"),
        ({"quantities": ["colour"]}, "/quantities/0"),
        ({"quantities": ["action", "action"]}, "/quantities/1"),
        ({"bench_id": "01890a5d-ac96-774b-bcce-b302099a8057"}, "/bench_id"),
    ],
)
def test_a_tool_that_cannot_be_is_refused(client: Client, changes: dict[str, Any], pointer: str) -> None:
    body = {"name": "gauge", "quantities": ["action"], "resolution": mm(0.25), **changes}
    answer = client.post("/v1/tools", json=body)
    assert answer.status_code == 422
    assert pointers(answer) == [pointer]


def test_a_tools_repeatability_can_be_learned_later(client: Client) -> None:
    made = client.post("/v1/tools", json={"name": "gauge", "quantities": ["action"], "resolution": mm(0.25)})
    changed = client.patch(
        made.headers["Location"], json={"repeatability": mm(0.06)}, etag=made.headers["ETag"]
    )
    assert changed.get_json()["repeatability"] == mm(0.06)
    wrong = {"quantities": ["intonation"]}
    answer = client.patch(made.headers["Location"], json=wrong, etag=changed.headers["ETag"])
    assert pointers(answer) == ["/quantities/0"]
    assert client.get(made.headers["Location"]).get_json() == changed.get_json()


def test_the_bench_reads_the_shop_and_the_website_does_not(
    client: Client, bench_client: Client, booking_client: Client
) -> None:
    client.put("/v1/shop", json=SHOP)
    assert bench_client.get("/v1/shop").status_code == 200
    assert bench_client.patch("/v1/shop", json={"name": "x"}, etag='"1.mm"').status_code == 403
    assert booking_client.get("/v1/shop").status_code == 403
    assert booking_client.get("/v1/tools").status_code == 403
