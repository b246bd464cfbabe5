"""A shop with one instrument, and one job of it from check-in to ready."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest

from shimstock_server.clock import FixedClock
from tests.server.clients import Client
from tests.server.workshop import Workshop, case_one_readings, mm, set_up, sheet

ROOM = {"temperature": {"value": 21, "unit": "degC"}, "relative_humidity": {"value": 46, "unit": "percent"}}


@pytest.fixture
def workshop(client: Client) -> Workshop:
    """A shop with one model, one owner and one instrument."""
    return set_up(client)


class Session:
    """What one bench does with one job."""

    def __init__(self, workshop: Workshop, bench: Client, clock: FixedClock, **job: Any) -> None:
        self.workshop, self.bench, self.clock = workshop, bench, clock
        self.job = workshop.queued_job(**job)
        self.id = self.job["id"]
        answer = bench.post(f"/v1/jobs/{self.id}/claim", json={})
        assert answer.status_code == 200, answer.get_data(as_text=True)
        self.claim = answer.get_json()["claim"]["id"]

    def now(self) -> str:
        """The clock's time as it is sent."""
        return self.clock.now().isoformat()

    def read(self, readings: list[dict[str, Any]], stage: str, **more: Any) -> None:
        """Post a sheet of readings."""
        body = sheet(readings, stage=stage, taken_at=self.now(), **more)
        answer = self.bench.post(f"/v1/jobs/{self.id}/reading-sheets", json=body)
        assert answer.status_code == 201, answer.get_data(as_text=True)
        self.clock.advance(timedelta(minutes=20))

    def do(self, part: str, **what: Any) -> None:
        """Say what was done."""
        body = {"id": str(uuid4()), "claim": self.claim, "done_at": self.now(), "part": part, **what}
        answer = self.bench.post(f"/v1/jobs/{self.id}/adjustments", json=body)
        assert answer.status_code == 201, answer.get_data(as_text=True)
        self.clock.advance(timedelta(minutes=20))

    def finish(self) -> None:
        """The first acceptance case from its first sheet to its last."""
        self.read(case_one_readings(self.workshop), "as-received", room=ROOM)
        for turns in (0.25, 0.25, 0.125):
            self.do("truss-rod", turns={"value": turns, "unit": "turn"})
        self.clock.advance(timedelta(hours=2))
        feelers, depth = self.workshop.ids["feelers"], self.workshop.ids["depth"]
        self.read(
            [{"quantity": "relief", "side": "bass", "value": mm(0.20), "tool_id": feelers}], "in-progress"
        )
        self.do("bridge-post", side="bass", turns={"value": -0.125, "unit": "turn"})
        self.clock.advance(timedelta(hours=1))
        self.read(
            [
                {"quantity": "relief", "side": "bass", "value": mm(0.20), "tool_id": feelers},
                {"quantity": "action", "side": "bass", "value": mm(1.72), "tool_id": depth},
                {"quantity": "action", "side": "treble", "value": mm(1.47), "tool_id": depth},
                {"quantity": "nut-action", "side": "bass", "value": mm(0.42), "tool_id": depth},
                {"quantity": "nut-action", "side": "treble", "value": mm(0.33), "tool_id": depth},
                *(
                    {
                        "quantity": "intonation",
                        "string": string + 1,
                        "value": {"value": value, "unit": "cents"},
                    }
                    for string, value in enumerate((0.3, -0.2, 2.4, 0.1, 0.0, 0.4))
                ),
            ],
            "final",
            room=ROOM,
        )

    def move(self, to: str, **more: Any) -> None:
        """Move the job."""
        now = self.bench.get(f"/v1/jobs/{self.id}")
        answer = self.bench.post(
            f"/v1/jobs/{self.id}/moves",
            json={"to": to, "claim": self.claim, **more},
            etag=now.headers["ETag"],
        )
        assert answer.status_code == 200, answer.get_data(as_text=True)

    def card(self, client: Client | None = None, query: str = "", accept: str | None = None) -> Any:
        """Ask for the card."""
        headers = {} if accept is None else {"Accept": accept}
        return (client or self.bench).get(f"/v1/jobs/{self.id}/card{query}", headers=headers)


@pytest.fixture
def begin(workshop: Workshop, bench_client: Client, clock: FixedClock) -> Callable[..., Session]:
    """Take a job to the bench."""
    return lambda **job: Session(workshop, bench_client, clock, **job)
