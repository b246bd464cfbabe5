"""Requests made up from the OpenAPI document, right ones and wrong ones, against every address.

Schemathesis (https://schemathesis.readthedocs.io) derives them from the document of the running service. The
operations are those of the published document, which is quickly read: `test_every_route` compares the two.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from flask import Flask
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
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
from tests.depth import amount
from tests.server.conftest import NOON, SECRET, Staff, make_staff

pytestmark = pytest.mark.long

CHECKS = (
    "not_a_server_error",
    "status_code_conformance",
    "content_type_conformance",
    "response_headers_conformance",
    "response_schema_conformance",
    "negative_data_rejection",
    "ignored_auth",
    "unsupported_method",
    "allow_header_conformance",
)
EXAMPLES = amount(8, deep=150)
CHECKOUT = Path(__file__).resolve().parents[2]
METHODS = {"get", "post", "put", "patch", "delete"}
OPERATIONS = [
    (path, method.upper())
    for path, item in json.loads((CHECKOUT / "openapi" / "shimstock.json").read_text())["paths"].items()
    for method in item
    if method in METHODS
]
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


# A wrong If-Match is no bad request: it names a version that is not there (412).
REFUSALS = [400, 401, 403, 404, 405, 409, 412, 413, 415, 422, 428]


@pytest.fixture(scope="module")
def schema(app: Flask) -> Any:
    """The document, as Schemathesis reads it; its import alone takes a second."""
    import schemathesis

    @schemathesis.serializer("audio/wav")
    def _as_it_is(_context: Any, value: Any) -> bytes:
        return value if isinstance(value, bytes) else str(value).encode(errors="replace")

    config = {"checks": {"negative_data_rejection": {"expected-statuses": REFUSALS}}}
    return schemathesis.openapi.from_wsgi("/openapi.json", app, config=schemathesis.Config.from_dict(config))


@pytest.fixture(scope="module")
def checks() -> list[Any]:
    """What every answer is held against."""
    from schemathesis.checks import CHECKS as KNOWN
    from schemathesis.checks import load_all_checks

    load_all_checks()
    return KNOWN.get_by_names(CHECKS)


@pytest.fixture(scope="module")
def known(app: Flask, database: Database) -> dict[str, str]:
    """The ids of objects that are there, by the name that they have in an address."""
    seed_shop.load(database, CHECKOUT / "seed", NOON, secret=SECRET)
    work_off_marks(database, Config(secret=SECRET, database_url=str(database.engine.url)), FixedClock(NOON))
    found = {}
    with database.read() as session:
        for name, table in TABLES.items():
            identifier = session.scalar(select(table.id).order_by(table.id).limit(1))
            if identifier is not None:
                found[name] = str(identifier)
    return found


@pytest.mark.parametrize("path, method", OPERATIONS, ids=[f"{method} {path}" for path, method in OPERATIONS])
def test_made_up_requests(
    schema: Any, path: str, method: str, checks: list[Any], staff: Staff, known: dict[str, str]
) -> None:
    from schemathesis import GenerationMode

    headers = {"Authorization": f"Bearer {staff.tokens['manager']}"}
    operation = schema[path][method]

    def ask(cases: st.SearchStrategy[Any], examples: int) -> None:
        @settings(max_examples=examples, phases=[Phase.generate], suppress_health_check=list(HealthCheck))
        @given(case=cases)
        def asked(case: Any) -> None:
            case.path_parameters = {
                name: known.get(name, value) for name, value in (case.path_parameters or {}).items()
            }
            case.call_and_validate(headers=headers, checks=checks)

        asked()

    for documented in operation.get_strategies_from_examples():
        ask(documented, 1)
    ask(st.one_of([operation.as_strategy(generation_mode=mode) for mode in GenerationMode]), EXAMPLES)
