"""A shop in Chicago's air, with an instrument that was read to the end in October."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import uuid4

import pytest
from flask import Flask
from sqlalchemy import select

from shimstock_server.clock import FixedClock
from shimstock_server.config import Config
from shimstock_server.database.session import Database
from shimstock_server.database.tables.operations import DomainEvent
from shimstock_server.seasons import every_night, learn_anew, tell_due, work_off_marks
from tests.reference.load import table
from tests.server.clients import Client
from tests.server.conftest import Staff
from tests.server.workshop import Workshop, mm, set_up

OCTOBER = datetime(2026, 10, 12, 9, 0, tzinfo=UTC)
CHICAGO = "Chicago OHare TMY3 (diyepw)"


@pytest.fixture
def clock() -> FixedClock:
    """The one clock, on the day of the final readings."""
    return FixedClock(OCTOBER)


def degrees(value: float) -> dict[str, Any]:
    """A temperature."""
    return {"value": value, "unit": "degC"}


def percent(value: float) -> dict[str, Any]:
    """A humidity."""
    return {"value": value, "unit": "percent"}


def months_of(dataset: str = CHICAGO, measure: str = "dew_point") -> list[dict[str, Any]]:
    """The monthly means of a typical year as they are sent."""
    columns = {
        "dew_point": ("Td_mean_C", "degC"),
        "relative_humidity": ("RH_mean_percent", "percent"),
        "vapour_pressure": ("pv_mean_Pa_AE_water", "Pa"),
    }
    column, unit = columns[measure]
    return [
        {
            "month": int(row["month"]),
            "temperature": degrees(float(row["T_mean_C"])),
            measure: {"value": float(row[column]), "unit": unit},
        }
        for row in table("climate_monthly")
        if row["dataset"] == dataset
    ]


@dataclass
class SeasonShop:
    """A shop with a climate, and the worker's tasks at hand."""

    things: Workshop
    bench: Client
    clock: FixedClock
    database: Database
    config: Config

    @property
    def manager(self) -> Client:
        """A client with a manager's key."""
        return self.things.manager

    @property
    def instrument(self) -> str:
        """The instrument's id."""
        return self.things.ids["instrument"]

    def work(self) -> int:
        """Let the worker take what is marked."""
        return work_off_marks(self.database, self.config, self.clock)

    def night(self) -> int:
        """Let the worker do its night's work."""
        return every_night(self.database, self.config, self.clock)

    def learn(self) -> int:
        """Let the worker learn."""
        return learn_anew(self.database, self.config, self.clock)

    def tell_due(self) -> int:
        """Let the worker tell what is due."""
        return tell_due(self.database, self.config, self.clock)

    def advance(self, **by: float) -> None:
        """Put the clock forward."""
        self.clock.advance(timedelta(**by))

    def read_to_the_end(
        self, relief: float = 0.22, stage: str = "final", room: tuple[float, float] | None = None, **more: Any
    ) -> dict[str, Any]:
        """Post a sheet with relief and action of both sides, now."""
        feelers, depth = self.things.ids["feelers"], self.things.ids["depth"]
        sheet: dict[str, Any] = {
            "id": str(uuid4()),
            "stage": stage,
            "taken_at": self.clock.now().isoformat(),
            "at_pitch": True,
            "readings": [
                {"quantity": "relief", "side": "bass", "value": mm(relief), "tool_id": feelers},
                {"quantity": "action", "side": "bass", "value": mm(1.7), "tool_id": depth},
                {"quantity": "action", "side": "treble", "value": mm(1.5), "tool_id": depth},
            ],
            **more,
        }
        if room is not None:
            sheet["room"] = {"temperature": degrees(room[0]), "relative_humidity": percent(room[1])}
        answer = self.bench.post(f"/v1/jobs/{self.things.ids['job']}/reading-sheets", json=sheet)
        assert answer.status_code == 201, answer.get_data(as_text=True)
        posted: dict[str, Any] = answer.get_json()
        return posted

    def forecast(self, **options: Any) -> dict[str, Any]:
        """Read the instrument's forecast."""
        answer = self.bench.get(f"/v1/instruments/{self.instrument}/forecast", **options)
        assert answer.status_code == 200, answer.get_data(as_text=True)
        found: dict[str, Any] = answer.get_json()
        return found

    def events(self, of: str) -> list[DomainEvent]:
        """Return what happened to objects of a type, the first first."""
        with self.database.read() as session:
            return list(
                session.scalars(
                    select(DomainEvent)
                    .where(DomainEvent.object_type == of)
                    .order_by(DomainEvent.at, DomainEvent.sequence, DomainEvent.id)
                )
            )

    def reminders(self, **query: Any) -> list[dict[str, Any]]:
        """List reminders."""
        answer = self.bench.get("/v1/reminders", query_string=query)
        assert answer.status_code == 200, answer.get_data(as_text=True)
        items: list[dict[str, Any]] = answer.get_json()["items"]
        return items


@pytest.fixture
def bare(
    app: Flask, staff: Staff, client: Client, bench_client: Client, clock: FixedClock, database: Database,
    config: Config,
) -> SeasonShop:  # fmt: skip
    """A shop that has said nothing of its climate yet, with one job."""
    things = set_up(client)
    shop = SeasonShop(things, bench_client, clock, database, config)
    things.job()
    return shop


@pytest.fixture
def shop(bare: SeasonShop) -> SeasonShop:
    """A shop in Chicago's air."""
    made = bare.things.add(
        "climate",
        "/v1/climates",
        {"name": "Chicago", "place": "Chicago", "source": "NREL TMY3", "months": months_of()},
    )
    bare.things.add("", "/v1/season-settings", {"climate_id": made["id"]}, "PUT")
    return bare


Posted = Callable[..., dict[str, Any]]
