"""One belief over HTTP: what does not fit is asked again, is stored all the same, and nothing rests on it."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any
from uuid import uuid4

import pytest

from tests.server.clients import Client
from tests.server.workshop import Workshop, case_one_readings, mm, sheet

START = datetime.fromisoformat("2026-03-02T10:00:00+00:00")


class Bench:
    """A job on the bench whose entries follow each other by ten minutes."""

    def __init__(self, client: Client, workshop: Workshop) -> None:
        self.client, self.workshop, self.entries = client, workshop, 0
        workshop.queued_job()
        self.job: dict[str, Any] = client.open("POST", "/v1/jobs/claims", json={}).get_json()

    def at(self) -> str:
        self.entries += 1
        return (START + timedelta(minutes=10 * self.entries)).isoformat()

    def post(self, what: str, body: dict[str, Any]) -> None:
        answer = self.client.open("POST", f"/v1/jobs/{self.job['id']}/{what}", json=body)
        assert answer.status_code == 201, answer.get_json()

    def received(self, relief: float) -> None:
        """Post what came in, with this relief."""
        readings = [
            {**each, "value": mm(relief)} if each["quantity"] == "relief" else each
            for each in case_one_readings(self.workshop)
        ]
        self.post("reading-sheets", sheet(readings, taken_at=self.at()))

    def relief(self, value: float) -> None:
        """Post one relief reading."""
        (reading,) = [each for each in case_one_readings(self.workshop) if each["quantity"] == "relief"]
        body = sheet([{**reading, "value": mm(value)}], taken_at=self.at(), stage="in-progress")
        self.post("reading-sheets", body)

    def tighten(self, turns: float = 0.25) -> None:
        """Say that the rod was tightened."""
        body = {
            "id": str(uuid4()),
            "claim": self.job["claim"]["id"],
            "done_at": self.at(),
            "part": "truss-rod",
            "turns": {"value": turns, "unit": "turn"},
        }
        self.post("adjustments", body)

    def plan(self) -> dict[str, Any]:
        found: dict[str, Any] = self.client.open(
            "GET", f"/v1/jobs/{self.job['id']}/recommendation"
        ).get_json()
        return found

    def verdict(self) -> dict[str, Any]:
        """The verdict on relief."""
        return next(each for each in self.plan()["verdicts"] if each["quantity"] == "relief")


@pytest.fixture
def bench(bench_client: Client, workshop: Workshop) -> Bench:
    """A job on the bench, nothing read yet."""
    return Bench(bench_client, workshop)


def changing(plan: dict[str, Any]) -> list[str]:
    return [step["kind"] for step in plan["steps"] if step["do_now"] and step["moves"]]


def test_relief_that_rises_after_a_tightening_is_read_again_before_any_turn(bench: Bench) -> None:
    bench.received(0.60)
    for value in (0.50, 0.40, 0.45):
        bench.tighten()
        bench.relief(value)
    plan = bench.plan()
    first = plan["steps"][0]
    assert (first["kind"], first["do_now"]) == ("read-again", True)
    assert "0.45 mm where about 0.3" in first["why"]
    assert changing(plan) == []


def test_one_reading_out_of_line_is_not_in_spec(bench: Bench) -> None:
    bench.received(0.35)
    for value in (0.35, 0.35, 0.24):
        bench.relief(value)
    found = bench.verdict()
    assert found["verdict"] != "in spec"
    assert found["now"]["value"]["value"] > 0.30


def test_a_misread_first_reading_leads_to_no_turn(bench: Bench) -> None:
    bench.received(1.15)
    bench.relief(0.10)
    assert bench.plan()["steps"][0]["kind"] == "read-again"
    bench.relief(0.10)
    assert bench.verdict()["now"]["value"]["value"] == pytest.approx(0.10, abs=0.01)


def test_a_rod_that_was_turned_is_read_before_it_is_turned_again(bench: Bench) -> None:
    bench.received(0.60)
    bench.tighten()
    plan = bench.plan()
    asked = [step for step in plan["steps"] if step["do_now"]]
    assert changing(plan) == []
    assert {reading["quantity"] for reading in asked[0]["readings_next"]} == {"relief"}


def test_a_rod_that_moves_nothing_is_given_up_in_a_sentence(bench: Bench) -> None:
    bench.received(0.45)
    for _ in range(4):
        bench.tighten()
        bench.relief(0.45)
    for _ in range(3):
        bench.relief(0.45)
    plan = bench.plan()
    assert plan["rod_doubt"] >= 0.8
    assert "rod-no-response" in {note["code"] for note in plan["notes"]}
    assert changing(plan) == []
