"""What was told and not done: taken back or corrected, with a reason; plan, card and counts follow."""

from __future__ import annotations

from typing import Any
from uuid import uuid4

import pytest

from tests.server.clients import Client
from tests.server.workshop import Workshop, case_one_readings, sheet

WHY = {"reason": "told of the wrong instrument"}


@pytest.fixture
def job(workshop: Workshop, bench_client: Client) -> dict[str, Any]:
    """A job on the bench, read as received."""
    workshop.queued_job()
    job: dict[str, Any] = bench_client.open("POST", "/v1/jobs/claims", json={}).get_json()
    posted = bench_client.open(
        "POST", f"/v1/jobs/{job['id']}/reading-sheets", json=sheet(case_one_readings(workshop))
    )
    assert posted.status_code == 201
    return job


def _told(job: dict[str, Any], part: str = "truss-rod", **more: Any) -> dict[str, Any]:
    body = {"id": str(uuid4()), "claim": job["claim"]["id"], "done_at": "2026-03-02T12:00:00Z", "part": part}
    if part == "truss-rod":
        body["turns"] = {"value": 0.25, "unit": "turn"}
    return body | more


def _post(client: Client, job: dict[str, Any], body: dict[str, Any], status: int = 201) -> dict[str, Any]:
    answer = client.open("POST", f"/v1/jobs/{job['id']}/adjustments", json=body)
    assert answer.status_code == status, answer.get_data(as_text=True)
    told: dict[str, Any] = answer.get_json()
    return told


def _take_back(
    client: Client, job: dict[str, Any], adjustment: dict[str, Any], status: int = 200, **body: Any
) -> dict[str, Any]:
    path = f"/v1/jobs/{job['id']}/adjustments/{adjustment['id']}/withdrawal"
    answer = client.open("POST", path, json=body or WHY)
    assert answer.status_code == status, answer.get_data(as_text=True)
    told: dict[str, Any] = answer.get_json()
    return told


def _get(client: Client, path: str) -> dict[str, Any]:
    answer = client.open("GET", path)
    assert answer.status_code == 200, answer.get_data(as_text=True)
    told: dict[str, Any] = answer.get_json()
    return told


def test_the_plan_is_again_the_one_before_the_mistake(bench_client: Client, job: dict[str, Any]):
    path = f"/v1/jobs/{job['id']}/recommendation"
    before = _get(bench_client, path)
    wrong = _post(bench_client, job, _told(job, minutes=10))
    assert _get(bench_client, path)["digest"] != before["digest"]
    taken_back = _take_back(bench_client, job, wrong)
    assert taken_back["withdrawn"]["reason"] == WHY["reason"]
    assert taken_back["withdrawn"]["replaced_by_id"] is None
    assert _get(bench_client, path) == before
    assert _get(bench_client, f"/v1/jobs/{job['id']}")["worked_minutes"] == 0
    (kept,) = _get(bench_client, f"/v1/jobs/{job['id']}/adjustments")["items"]
    assert kept == taken_back
    assert (kept["turns"], kept["minutes"]) == ({"value": 0.25, "unit": "turn"}, 10)


def test_a_correction_counts_in_its_place(bench_client: Client, job: dict[str, Any]):
    path = f"/v1/jobs/{job['id']}/recommendation"
    right = {"turns": {"value": 0.125, "unit": "turn"}}
    first = _post(bench_client, job, _told(job, **right))
    wanted = _get(bench_client, path)
    _take_back(bench_client, job, first)
    wrong = _post(bench_client, job, _told(job, minutes=10))
    correction = _told(
        job, minutes=4, supersedes=wrong["id"], supersedes_reason="an eighth, not a quarter", **right
    )
    new = _post(bench_client, job, correction)
    assert (new["supersedes"], new["withdrawn"]) == (wrong["id"], None)
    assert _post(bench_client, job, correction, status=200) == new
    found = _get(bench_client, path)
    for member in ("verdicts", "steps", "not_asked", "rod_doubt"):
        assert found[member] == wanted[member]
    told = {each["id"]: each for each in _get(bench_client, f"/v1/jobs/{job['id']}/adjustments")["items"]}
    assert told[wrong["id"]]["withdrawn"]["replaced_by_id"] == new["id"]
    assert _get(bench_client, f"/v1/jobs/{job['id']}")["worked_minutes"] == 4


def test_what_was_taken_back_once_is_not_taken_back_again(bench_client: Client, job: dict[str, Any]):
    wrong = _post(bench_client, job, _told(job))
    _take_back(bench_client, job, wrong)
    assert _take_back(bench_client, job, wrong, status=409)["code"] == "adjustment-withdrawn"
    late = _told(job, supersedes=wrong["id"], supersedes_reason="again")
    assert _post(bench_client, job, late, status=409)["code"] == "adjustment-withdrawn"
    assert len(_get(bench_client, f"/v1/jobs/{job['id']}/adjustments")["items"]) == 1


@pytest.mark.parametrize(
    ("more", "pointer"),
    [
        ({"supersedes": "own"}, "/supersedes_reason"),
        ({"supersedes_reason": "wrong string"}, "/supersedes_reason"),
        ({"supersedes": str(uuid4()), "supersedes_reason": "wrong string"}, "/supersedes"),
    ],
)
def test_a_correction_says_what_it_corrects_and_why(
    bench_client: Client, job: dict[str, Any], more: dict[str, Any], pointer: str
):
    first = _post(bench_client, job, _told(job))
    more = {name: first["id"] if value == "own" else value for name, value in more.items()}
    refused = _post(bench_client, job, _told(job, **more), status=422)
    assert [error["pointer"] for error in refused["errors"]] == [pointer]


def test_taking_back_says_why_and_names_an_adjustment_of_the_job(
    workshop: Workshop, bench_client: Client, job: dict[str, Any]
):
    first = _post(bench_client, job, _told(job))
    assert _take_back(bench_client, job, first, status=422, reason="")["errors"][0]["pointer"] == "/reason"
    assert _take_back(bench_client, job, {"id": str(uuid4())}, status=404)["code"] == "not-found"
    other = workshop.queued_job()
    assert _take_back(bench_client, other, first, status=404)["code"] == "not-found"


def test_strings_that_were_not_put_on_leave_the_instrument_as_it_was(
    workshop: Workshop, bench_client: Client, job: dict[str, Any]
):
    path = f"/v1/instruments/{workshop.ids['instrument']}"
    shown = ("string_set_id", "tuning_id", "strings_fitted_on")
    before = {name: _get(workshop.manager, path)[name] for name in shown}
    one = _post(bench_client, job, _told(job, "strings"))
    assert _get(workshop.manager, path)["strings_fitted_on"] == "2026-03-02"
    _take_back(bench_client, job, one)
    assert {name: _get(workshop.manager, path)[name] for name in shown} == before
    first = _post(bench_client, job, _told(job, "strings", done_at="2026-03-02T11:30:00Z"))
    _post(bench_client, job, _told(job, "strings"))
    _take_back(bench_client, job, first)
    assert _get(workshop.manager, path)["strings_fitted_on"] == "2026-03-02"


def test_the_card_shows_what_was_done_and_not_what_was_taken_back(bench_client: Client, job: dict[str, Any]):
    wrong = _post(bench_client, job, _told(job))
    right = _told(
        job, turns={"value": 0.125, "unit": "turn"}, supersedes=wrong["id"], supersedes_reason="less"
    )
    _post(bench_client, job, right)
    (done,) = _get(bench_client, f"/v1/jobs/{job['id']}/card")["done"]
    assert "1/8" in done
