"""Requests made up from the OpenAPI document, right ones and wrong ones, against every address.

Schemathesis (https://schemathesis.readthedocs.io) derives them; the seed is fixed, so a failure
can be repeated.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import schemathesis
from flask import Flask
from hypothesis import HealthCheck, Phase, seed, settings
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    allow_header_conformance,
    content_type_conformance,
    ignored_auth,
    negative_data_rejection,
    response_headers_conformance,
    response_schema_conformance,
    status_code_conformance,
    unsupported_method,
)
from sqlalchemy import select

from shimstock_server.app import create_app, open_database
from shimstock_server.clock import FixedClock
from shimstock_server.config import Config
from shimstock_server.database.session import Database
from shimstock_server.database.tables.catalogue import InstrumentModel, StringSet, Tuning
from shimstock_server.database.tables.keys import ApiKey
from shimstock_server.database.tables.owners import Instrument, Owner
from shimstock_server.database.tables.seasons import Climate, Hygrometer, Reminder, Room, RoomReading
from shimstock_server.database.tables.shop import Bench, Closure, Technician, Tool
from shimstock_server.operations import seed as seed_shop
from shimstock_server.seasons import work_off_marks
from tests.databases import SqliteDatabases
from tests.server.conftest import NOON, SECRET, Staff, make_staff

CHECKS = [
    not_a_server_error,
    status_code_conformance,
    content_type_conformance,
    response_headers_conformance,
    response_schema_conformance,
    negative_data_rejection,
    ignored_auth,
    unsupported_method,
    allow_header_conformance,
]
EXAMPLES = 20
SEED = Path(__file__).resolve().parents[2] / "seed"
TABLES: dict[str, Any] = {
    "bench_id": Bench,
    "climate_id": Climate,
    "closure_id": Closure,
    "hygrometer_id": Hygrometer,
    "instrument_id": Instrument,
    "key_id": ApiKey,
    "model_id": InstrumentModel,
    "owner_id": Owner,
    "reminder_id": Reminder,
    "room_id": Room,
    "room_reading_id": RoomReading,
    "string_set_id": StringSet,
    "technician_id": Technician,
    "tool_id": Tool,
    "tuning_id": Tuning,
}


@pytest.fixture(scope="module")
def database(
    sqlite_databases: SqliteDatabases, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Database]:
    url = sqlite_databases.migrated(tmp_path_factory.mktemp("made-up"))
    database = open_database(Config(secret=SECRET, database_url=url))
    yield database
    database.dispose()


@pytest.fixture(scope="module")
def staff(database: Database) -> Staff:
    return make_staff(database, FixedClock(NOON))


@pytest.fixture(scope="module")
def app(database: Database, staff: Staff) -> Flask:
    config = Config(secret=SECRET, database_url=str(database.engine.url), rate_per_minute=0)
    return create_app(config, FixedClock(NOON), database=database)


class Later:
    """A WSGI application that is put in place when the tests run; the document is needed before that."""

    def __init__(self, app: Flask) -> None:
        self.app = app

    def __call__(self, environ: Any, start_response: Any) -> Any:
        return self.app(environ, start_response)


later = Later(create_app(Config(secret=SECRET, database_url="sqlite:////dev/null"), check_revision=False))
# A wrong If-Match is no bad request: it names a version that is not there (412).
REFUSALS = [400, 401, 403, 404, 405, 409, 412, 413, 415, 422, 428]
schema = schemathesis.openapi.from_wsgi(
    "/openapi.json",
    later,
    config=schemathesis.Config.from_dict(
        {
            "checks": {"negative_data_rejection": {"expected-statuses": REFUSALS}},
            # One request for each bound of each field makes 18,000 of them; a random sample must do here.
            "phases": {"coverage": {"enabled": False}},
        }
    ),
)


@pytest.fixture(scope="module")
def known(app: Flask, database: Database) -> dict[str, str]:
    """The ids of objects that are there, by the name that they have in an address."""
    seed_shop.load(database, SEED, NOON, secret=SECRET)
    work_off_marks(database, Config(secret=SECRET, database_url=str(database.engine.url)), FixedClock(NOON))
    later.app = app
    found = {}
    with database.read() as session:
        for name, table in TABLES.items():
            identifier = session.scalar(select(table.id).order_by(table.id).limit(1))
            if identifier is not None:
                found[name] = str(identifier)
    return found


@schema.parametrize()
@seed(1987)
@settings(
    max_examples=EXAMPLES,
    deadline=None,
    database=None,
    phases=[Phase.explicit, Phase.generate],
    suppress_health_check=list(HealthCheck),
)
def test_made_up_requests(case: schemathesis.Case, staff: Staff, known: dict[str, str]) -> None:
    case.path_parameters = {
        name: known.get(name, value) for name, value in (case.path_parameters or {}).items()
    }
    headers = {"Authorization": f"Bearer {staff.tokens['manager']}"}
    case.call_and_validate(headers=headers, checks=CHECKS)
