"""The demo shop on SQLite, which tests share: each brings instruments of its own."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest
from flask import Flask

from shimstock_server.app import create_app, open_database
from shimstock_server.clock import FixedClock
from shimstock_server.config import Config
from shimstock_server.database.migrate import upgrade
from shimstock_server.operations.seed import load
from tests.house.files import CHECKOUT

from .clients import Client
from .conftest import NOON, SECRET, Staff, make_staff

SVG = "image/svg+xml"
# The demo shop's own targets: relief, action bass and treble side, nut action bass and treble side.
TARGETS = {
    "electric": (0.20, 1.7, 1.5, 0.45, 0.35),
    "acoustic-steel": (0.20, 2.4, 1.9, 0.50, 0.40),
    "classical-nylon": (0.25, 4.0, 3.1, 0.75, 0.60),
    "bass": (0.30, 2.4, 2.0, 0.55, 0.45),
}


def mm(value: float) -> dict[str, Any]:
    """A length in mm."""
    return {"value": value, "unit": "mm"}


def cents(value: float) -> dict[str, Any]:
    """A difference of pitch."""
    return {"value": value, "unit": "cents"}


@dataclass
class DemoShop:
    """The demo shop, and what a test does in it."""

    app: Flask
    staff: Staff
    manager: Client
    bench: Client
    models: dict[str, dict[str, Any]]
    owner_id: str = field(default="")

    def instrument(self, model: str, **more: Any) -> str:
        """Bring in an instrument of a model; return its id."""
        body = {"model_id": self.models[model]["id"], "owner_id": self.owner_id, **more}
        made = self.manager.post("/v1/instruments", json=body)
        assert made.status_code == 201, made.get_data(as_text=True)
        return str(made.get_json()["id"])

    def job(self, instrument_id: str, **more: Any) -> str:
        """Open a job for an instrument; return its id."""
        made = self.manager.post("/v1/jobs", json={"instrument_id": instrument_id, **more})
        assert made.status_code == 201, made.get_data(as_text=True)
        return str(made.get_json()["id"])

    def read(self, job_id: str, readings: list[dict[str, Any]], **more: Any) -> dict[str, Any]:
        """Post a sheet of readings."""
        sheet = {
            "id": str(uuid4()), "stage": "as-received", "taken_at": "2026-03-02T11:00:00Z", "at_pitch": True,
            "looked_over": True, "readings": readings, **more,
        }  # fmt: skip
        made = self.bench.post(f"/v1/jobs/{job_id}/reading-sheets", json=sheet)
        assert made.status_code == 201, made.get_data(as_text=True)
        answer: dict[str, Any] = made.get_json()
        return answer

    def set_up(self, model: str, *, intonation: bool = False) -> str:
        """Bring in an instrument that stands at the shop's targets; return its id."""
        instrument_id = self.instrument(model)
        known = self.models[model]
        readings = at_targets(known["kind"])
        if intonation:
            readings += [
                {"quantity": "intonation", "string": number, "value": cents(2.0)}
                for number in range(1, known["strings"] + 1)
            ]
        self.read(self.job(instrument_id), readings)
        return instrument_id

    def get(self, instrument_id: str, what: str, query: str = "", status: int = 200) -> dict[str, Any]:
        """Read a map or a curve as data."""
        answer = self.bench.get(f"/v1/instruments/{instrument_id}/{what}{query}")
        assert answer.status_code == status, answer.get_data(as_text=True)
        data: dict[str, Any] = answer.get_json()
        return data

    def picture(self, instrument_id: str, what: str, query: str = "") -> str:
        """Read a map or a curve as a picture."""
        answer = self.bench.get(f"/v1/instruments/{instrument_id}/{what}{query}", headers={"Accept": SVG})
        assert answer.status_code == 200, answer.get_data(as_text=True)
        assert answer.mimetype == SVG
        return answer.get_data(as_text=True)


def at_targets(kind: str) -> list[dict[str, Any]]:
    """Return readings of an instrument that stands at the shop's targets."""
    relief, bass, treble, nut_bass, nut_treble = TARGETS[kind]
    return [
        {"quantity": "relief", "side": "bass", "value": mm(relief)},
        {"quantity": "action", "side": "bass", "value": mm(bass)},
        {"quantity": "action", "side": "treble", "value": mm(treble)},
        {"quantity": "nut-action", "side": "bass", "value": mm(nut_bass)},
        {"quantity": "nut-action", "side": "treble", "value": mm(nut_treble)},
    ]


@pytest.fixture(scope="session")
def demo_shop(tmp_path_factory: pytest.TempPathFactory) -> DemoShop:
    """The demo shop, loaded from its seeds."""
    file: Path = tmp_path_factory.mktemp("demo") / "shop.sqlite"
    config = Config(secret=SECRET, database_url=f"sqlite:///{file}", rate_per_minute=0)
    upgrade(config.database_url)
    clock = FixedClock(NOON)
    database = open_database(config)
    load(database, CHECKOUT / "seed", NOON, secret=SECRET)
    staff = make_staff(database, clock)
    app = create_app(config, clock, database=database)
    app.debug = True
    manager = Client(app, staff.tokens["manager"], key_id=staff.key_ids["manager"])
    bench = Client(
        app, staff.tokens["bench"], technician_id=staff.technician_id, bench_id=staff.bench_id,
        key_id=staff.key_ids["bench"],
    )  # fmt: skip
    items = manager.get("/v1/instrument-models?limit=100").get_json()["items"]
    shop = DemoShop(app, staff, manager, bench, {item["name"]: item for item in items})
    shop.owner_id = manager.post("/v1/owners", json={"name": "Robin Example"}).get_json()["id"]
    return shop
