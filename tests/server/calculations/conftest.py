"""Calculations need no rows: a service on SQLite that all these tests share."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from shimstock_server.app import create_app, open_database
from shimstock_server.clock import FixedClock
from shimstock_server.config import Config
from shimstock_server.database.migrate import upgrade
from shimstock_server.database.words import Scope
from shimstock_server.keys import make_key
from tests.server.clients import Client
from tests.server.conftest import NOON, SECRET

Ask = Callable[..., dict[str, Any]]


@pytest.fixture(scope="session")
def calculator(tmp_path_factory: pytest.TempPathFactory) -> Client:
    """A client of a service that nobody writes to; its key has the narrowest scope."""
    file: Path = tmp_path_factory.mktemp("calculations") / "shop.sqlite"
    config = Config(secret=SECRET, database_url=f"sqlite:///{file}", rate_per_minute=0)
    upgrade(config.database_url)
    clock = FixedClock(NOON)
    database = open_database(config)
    app = create_app(config, clock, database=database)
    app.debug = True
    with database.write({"now": clock.now(), "secret": SECRET}) as session:
        _, token = make_key(session, name="Website", scope=Scope.BOOKING, now=clock.now())
    return Client(app, token)


@pytest.fixture
def ask(calculator: Client) -> Ask:
    """Ask a calculation and return its answer."""

    def asked(name: str, units: str = "mm", **body: Any) -> dict[str, Any]:
        response = calculator.post(f"/v1/calculations/{name}?units={units}", json=body)
        assert response.status_code == 200, response.get_data(as_text=True)
        answered: dict[str, Any] = response.get_json()
        return answered

    return asked


@pytest.fixture
def refuse(calculator: Client) -> Ask:
    """Ask a calculation what it refuses, and return the problem."""

    def asked(name: str, **body: Any) -> dict[str, Any]:
        response = calculator.post(f"/v1/calculations/{name}", json=body)
        assert response.status_code == 422, response.get_data(as_text=True)
        problem: dict[str, Any] = response.get_json()
        assert problem["errors"], problem
        return problem

    return asked


def mm(value: float) -> dict[str, Any]:
    """Return a length in mm as it stands in a request."""
    return quantity(value, "mm")


def quantity(value: float, unit: str) -> dict[str, Any]:
    """Return a quantity as it stands in a request."""
    return {"value": value, "unit": unit}
