"""A shop that turns rods and reads what comes of it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from uuid import uuid4

import pytest

from shimstock_server.clock import FixedClock
from shimstock_server.config import Config
from shimstock_server.database.session import Database
from shimstock_server.learning import work_off_marks
from tests.server.clients import Client
from tests.server.workshop import Workshop, mm, set_up, two_post_electric


@dataclass
class Shop:
    """Books, reads and turns, with a clock that goes on by itself."""

    workshop: Workshop
    manager: Client
    bench: Client
    clock: FixedClock
    count: Callable[[], int]
    """One round of the worker."""

    @property
    def now(self) -> str:
        return self.clock.now().isoformat().replace("+00:00", "Z")

    def instrument(self, model: str = "model") -> str:
        made = self.manager.post(
            "/v1/instruments",
            json={"model_id": self.workshop.ids[model], "owner_id": self.workshop.ids["owner"]},
        )
        return str(made.get_json()["id"])

    def model(self, name: str) -> str:
        body = two_post_electric(name) | {
            "string_set_id": self.workshop.ids["strings"],
            "tuning_id": self.workshop.ids["tuning"],
        }
        self.workshop.add(name, "/v1/instrument-models", body)
        return name

    def job(self, instrument: str) -> dict[str, Any]:
        """A job on the bench."""
        made = self.manager.post("/v1/jobs", json={"instrument_id": instrument}).get_json()
        moved = self.manager.post(
            f"/v1/jobs/{made['id']}/moves", json={"to": "queued"}, etag=f'"{made["version"]}.mm"'
        )
        assert moved.status_code == 200, moved.get_data(as_text=True)
        claimed = self.bench.post(f"/v1/jobs/{made['id']}/claim", json={})
        assert claimed.status_code in (200, 201), claimed.get_data(as_text=True)
        job: dict[str, Any] = claimed.get_json()
        return job

    def read(self, job: dict[str, Any], readings: list[dict[str, Any]], **more: Any) -> str:
        """A sheet taken now."""
        body = {
            "id": str(uuid4()), "stage": "in-progress", "taken_at": self.now, "at_pitch": True,
            "readings": readings, **more,
        }  # fmt: skip
        answer = self.bench.post(f"/v1/jobs/{job['id']}/reading-sheets", json=body)
        assert answer.status_code == 201, answer.get_data(as_text=True)
        return str(body["id"])

    def relief(self, job: dict[str, Any], value: float, **more: Any) -> str:
        """A relief reading with feelers, taken now."""
        reading = {
            "quantity": "relief", "side": "bass", "value": mm(value), "tool_id": self.workshop.ids["feelers"],
            "confirmed": True,
        }  # fmt: skip
        return self.read(job, [reading], **more)

    def turn(self, job: dict[str, Any], turns: float | None, part: str = "truss-rod", **more: Any) -> str:
        """A turn, or other work, done now."""
        body = {
            "id": str(uuid4()), "claim": job["claim"]["id"], "done_at": self.now, "part": part,
            "turns": None if turns is None else {"value": turns, "unit": "turn"}, **more,
        }  # fmt: skip
        answer = self.bench.post(f"/v1/jobs/{job['id']}/adjustments", json=body)
        assert answer.status_code == 201, answer.get_data(as_text=True)
        return str(body["id"])

    def wait(self, minutes: float) -> None:
        self.clock.advance(timedelta(minutes=minutes))

    def give_back(self, job: dict[str, Any]) -> None:
        """End the claim: a technician holds only a few jobs at once."""
        answer = self.bench.delete(f"/v1/jobs/{job['id']}/claim/{job['claim']['id']}")
        assert answer.status_code in (200, 204), answer.get_data(as_text=True)

    def run(self, instrument: str, turns: float, before: float, after: float) -> dict[str, Any]:
        """A job with relief read, the rod turned, and relief read again once it has settled."""
        job = self.job(instrument)
        self.relief(job, before)
        self.wait(5)
        self.turn(job, turns)
        self.wait(70)
        self.relief(job, after)
        self.give_back(job)
        return job


@pytest.fixture
def shop(client: Client, bench_client: Client, clock: FixedClock, database: Database, config: Config) -> Shop:
    """A shop with one model, one owner and one instrument."""
    return Shop(set_up(client), client, bench_client, clock, lambda: work_off_marks(database, config, clock))


def instant(text: str) -> datetime:
    """An instant as it stands in an answer."""
    return datetime.fromisoformat(text)
