"""A shop that keeps its own records gets the plan that a job with the same history would get."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any
from uuid import uuid4

import pytest

from tests.server.clients import Client, pointers
from tests.server.workshop import (
    DENSITIES,
    GAUGES,
    NOTES,
    SPEC,
    Workshop,
    case_one_readings,
    intonation,
    mm,
    sheet,
    spec_item,
    two_post_electric,
)

START = datetime.fromisoformat("2026-03-02T09:00:00+00:00")
TURN = {"value": 0.25, "unit": "turn"}
TOOLS = [
    {"name": "Feeler leaves", "resolution": mm(0.05), "repeatability": mm(0.03)},
    {"name": "Depth gauge", "resolution": mm(0.01), "repeatability": mm(0.03)},
]


def at(minutes: float) -> str:
    return (START + timedelta(minutes=minutes)).isoformat()


def history(workshop: Workshop) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Sheets and adjustments of the first acceptance case, up to the rest after the rod."""
    relief, *others = case_one_readings(workshop)
    sheets = [sheet([relief, *others, *intonation()], taken_at=at(0))]
    done = []
    for number, value in enumerate((0.36, 0.26)):
        done.append({"done_at": at(10 + 20 * number), "part": "truss-rod", "turns": TURN})
        read = [{**relief, "value": mm(value)}]
        sheets.append(sheet(read, taken_at=at(20 + 20 * number), stage="in-progress"))
    done.append({"done_at": at(50), "part": "bridge-post", "side": "bass", "turns": {**TURN, "value": -0.25}})
    read = [{**others[0], "value": mm(1.78)}, {**others[1], "value": mm(1.72)}]
    sheets.append(sheet(read, taken_at=at(60), stage="in-progress"))
    return sheets, done


def by_the_job(workshop: Workshop, bench: Client) -> dict[str, Any]:
    """Enter the history in a job."""
    workshop.queued_job()
    job = bench.open("POST", "/v1/jobs/claims", json={}).get_json()
    path = f"/v1/jobs/{job['id']}"
    sheets, done = history(workshop)
    for each in sheets:
        assert bench.open("POST", f"{path}/reading-sheets", json=each).status_code == 201
    for each in done:
        body = {"id": str(uuid4()), "claim": job["claim"]["id"], **each}
        assert bench.open("POST", f"{path}/adjustments", json=body).status_code == 201
    found: dict[str, Any] = bench.open("GET", f"{path}/recommendation").get_json()
    return found


def told(reading: dict[str, Any], names: dict[str, str]) -> dict[str, Any]:
    """A reading whose tool is described in the request."""
    body = {name: value for name, value in reading.items() if name != "tool_id"}
    return body | ({"tool": names[reading["tool_id"]]} if "tool_id" in reading else {})


def records(workshop: Workshop, *, described: bool) -> dict[str, Any]:
    """The history as another system sends it, tools and instrument of the catalogue or described."""
    sheets, done = history(workshop)
    names = {workshop.ids["feelers"]: "Feeler leaves", workshop.ids["depth"]: "Depth gauge"}
    body: dict[str, Any] = {
        "instrument": {"instrument_id": workshop.ids["instrument"]},
        "sheets": [
            {
                "taken_at": each["taken_at"],
                "readings": [told(one, names) for one in each["readings"]] if described else each["readings"],
            }
            for each in reversed(sheets)
        ],
        "adjustments": done,
    }
    if not described:
        return body
    strings = [
        {"number": number + 1, "gauge": mm(GAUGES[number]), "wound": number >= 3,
         "linear_density": {"value": DENSITIES[number], "unit": "g/m"}} for number in range(6)
    ]  # fmt: skip
    model = {name: value for name, value in two_post_electric().items() if name not in {"maker", "name"}}
    return body | {
        "instrument": {**model, "string_set": {"strings": strings}, "tuning": {"notes": NOTES}},
        "spec": [spec_item(*row) for row in SPEC["electric"]],
        "tools": TOOLS,
    }


def work_out(bench: Client, body: dict[str, Any]) -> dict[str, Any]:
    answer = bench.open("POST", "/v1/recommendations", json=body)
    assert answer.status_code == 200, answer.get_data(as_text=True)
    found: dict[str, Any] = answer.get_json()
    return found


def without_names(plan: dict[str, Any]) -> dict[str, Any]:
    """A plan without what names the job's own rows and where its targets stand."""
    verdicts = [
        {name: value for name, value in each.items() if name not in {"reading", "source"}}
        for each in plan["verdicts"]
    ]
    others = {name: value for name, value in plan.items() if name not in {"digest", "job_id", "inputs"}}
    return others | {"verdicts": verdicts}


@pytest.mark.parametrize("described", [False, True])
def test_the_same_history_gets_the_same_plan(
    workshop: Workshop, bench_client: Client, described: bool
) -> None:
    job = by_the_job(workshop, bench_client)
    own = work_out(bench_client, records(workshop, described=described))
    assert without_names(own) == without_names(job)
    assert [each["now"] for each in own["verdicts"]] != [None] * len(own["verdicts"])
    assert own["steps"]
    assert len(own["inputs"]["adjustments"]) == 3


def test_times_count(workshop: Workshop, bench_client: Client) -> None:
    """Two hours of rest after the last turn are a rest; ten minutes are none."""
    body = records(workshop, described=True)
    early = work_out(bench_client, body)
    relief = next(each for each in body["sheets"][-1]["readings"] if each["quantity"] == "relief")
    readings = [{**relief, "value": mm(0.24)}]
    rested = work_out(bench_client, body | {"taken_at": at(200), "readings": readings})
    assert early["settling"]["state"] == "waiting"
    assert rested["settling"]["state"] == "settled"


def test_what_the_request_reckons_with_goes_before_the_shops(
    workshop: Workshop, bench_client: Client, client: Client
) -> None:
    relief, *others = case_one_readings(workshop)
    body = {
        "instrument": {"instrument_id": workshop.ids["instrument"]},
        "readings": [relief, *others, *intonation()],
    }
    assert "relief" in {step["kind"] for step in work_out(bench_client, body)["steps"]}
    shop = client.get("/v1/shop")
    prices = {"prices": {"wrong": 1}}
    assert client.patch("/v1/shop", json=prices, etag=shop.headers["ETag"]).status_code == 200
    cheap = work_out(bench_client, body)
    assert "relief" not in {step["kind"] for step in cheap["steps"]}
    own = {"prices": {"wrong": 160}, "everything_at_the_end": True}
    plan = work_out(bench_client, body | {"settings": own, "coupling_sd": 0.1})
    assert "relief" in {step["kind"] for step in plan["steps"]}
    assert "everything once more" in next(
        step["what"] for step in plan["steps"] if step["kind"] == "final-readings"
    )
    assert plan["inputs"]["coupling_sd"] == 0.1
    compliance = {"neck_compliance": {"value": 0.004, "unit": "mm/N"}}
    assert work_out(bench_client, body | compliance)["digest"] != cheap["digest"]


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"tools": [{**TOOLS[0], "repeatability": {"value": 1, "unit": "cents"}}]},
         "/tools/0/repeatability/unit"),
        ({"tools": [TOOLS[0], TOOLS[0]]}, "/tools/1/name"),
        ({"adjustments": [{"done_at": at(1), "part": "truss-rod"}]}, "/adjustments/0/turns"),
        ({"adjustments": [{"done_at": at(1), "part": "saddle-screw", "string": 9}]}, "/adjustments/0/string"),
        ({"sheets": [{"taken_at": at(1), "tool": "Feeler leaves",
                      "readings": [{"quantity": "relief", "value": mm(90)}]}]}, "/sheets/0/readings/0/value"),
        ({"sheets": [{"taken_at": at(1), "readings": [
            {"quantity": "intonation", "string": 1, "value": {"value": 1, "unit": "cents"},
             "tool": "Depth gauge"}]}]}, "/sheets/0/readings/0/tool"),
        ({"readings": [{"quantity": "relief", "value": mm(0.2), "tool": "a ruler"}]}, "/readings/0/tool"),
        ({"settings": {"prices": {"reading": {"relief": 0}}}}, "/settings/prices/reading/relief"),
        ({"settings": {"humidity_low": {"value": 70, "unit": "percent"}}}, "/settings/humidity_low"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused_with_the_field(
    workshop: Workshop, bench_client: Client, change: dict[str, Any], pointer: str
) -> None:
    body = {"instrument": {"instrument_id": workshop.ids["instrument"]}, "tools": TOOLS, **change}
    answer = bench_client.open("POST", "/v1/recommendations", json=body)
    assert (answer.status_code, pointers(answer)) == (422, [pointer])
