"""A service of its own for each test, on SQLite and on PostgreSQL, with a key of each scope."""

from __future__ import annotations

import secrets
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Any
from uuid import UUID

import pytest
from flask import Flask

from shimstock_server.app import AREAS, create_app, open_database
from shimstock_server.clock import FixedClock
from shimstock_server.config import Config
from shimstock_server.database.session import Database
from shimstock_server.database.tables.shop import Bench, Technician
from shimstock_server.database.words import Scope
from shimstock_server.keys import make_key
from shimstock_server.web.limits import RateLimit
from tests.statements import share

from .beginnings import Beginning
from .clients import Client

share()

SECRET = secrets.token_urlsafe(40)
NOON = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)
"""A Monday."""


@dataclass(frozen=True)
class Staff:
    """Who and what is there before a test begins."""

    bench_id: UUID
    technician_id: UUID
    tokens: dict[str, str]
    key_ids: dict[str, UUID]


_STAFF: Beginning[Staff] = Beginning()
_whole: dict[tuple[str, ...], Flask] = {}


@pytest.fixture
def clock() -> FixedClock:
    """The one clock, standing at noon."""
    return FixedClock(NOON)


@pytest.fixture
def config(database_url: str) -> Config:
    """The settings, without a limit of requests, and patient: a busy machine is no lost database."""
    return Config(secret=SECRET, database_url=database_url, rate_per_minute=0, pool_size=4, write_wait=30.0)


@pytest.fixture
def database(config: Config) -> Iterator[Database]:
    """The database, migrated and empty."""
    database = open_database(config)
    yield database
    database.dispose()


@pytest.fixture
def make_app(config: Config, clock: FixedClock, database: Database) -> Callable[..., Flask]:
    """Make the service, with further options of `create_app`.

    Putting up the routes takes longer than most tests: services with the same areas share an application, and
    each puts its own settings, clock and database into it.
    """

    def make(*, areas: tuple[str, ...] = AREAS, **options: Any) -> Flask:
        if options or areas[: len(AREAS)] != AREAS:
            app = create_app(options.pop("config", config), clock, database=database, areas=areas, **options)
            app.debug = True
            return app
        if areas not in _whole:
            _whole[areas] = create_app(config, clock, database=database, areas=areas)
            _whole[areas].debug = True
        app = _whole[areas]
        app.extensions["shimstock"] = replace(
            app.extensions["shimstock"],
            config=config,
            clock=clock,
            database=database,
            limit=RateLimit(config.rate_per_minute),
        )
        return app

    return make


@pytest.fixture
def app(make_app: Callable[..., Flask]) -> Flask:
    """The service."""
    return make_app()


@pytest.fixture
def staff(database: Database, clock: FixedClock) -> Staff:
    """A bench, its technician, and a key of each scope."""
    return _STAFF.begin(database, lambda: make_staff(database, clock), now=clock.now())


def make_staff(database: Database, clock: FixedClock) -> Staff:
    """Make a bench, its technician, and a key of each scope."""
    tokens, key_ids = {}, {}
    with database.write({"now": clock.now(), "secret": SECRET}) as session:
        bench = Bench(name="First bench", active=True, skills=[])
        technician = Technician(name="First technician", active=True, shifts=[])
        session.add_all([bench, technician])
        session.flush()
        for scope in Scope:
            key, token = make_key(
                session,
                name=f"{scope} key",
                scope=scope,
                now=clock.now(),
                bench_id=bench.id if scope is Scope.BENCH else None,
            )
            tokens[scope.value], key_ids[scope.value] = token, key.id
        return Staff(bench.id, technician.id, tokens, key_ids)


@pytest.fixture
def client(app: Flask, staff: Staff) -> Client:
    """A client with a manager's key."""
    return Client(app, staff.tokens["manager"], key_id=staff.key_ids["manager"])


@pytest.fixture
def bench_client(app: Flask, staff: Staff) -> Client:
    """A client with a bench's key, whose technician stands at it."""
    return Client(
        app,
        staff.tokens["bench"],
        technician_id=staff.technician_id,
        bench_id=staff.bench_id,
        key_id=staff.key_ids["bench"],
    )


@pytest.fixture
def booking_client(app: Flask, staff: Staff) -> Client:
    """A client with the booking website's key."""
    return Client(app, staff.tokens["booking"], key_id=staff.key_ids["booking"])


@pytest.fixture
def stranger(app: Flask) -> Client:
    """A client without a key."""
    return Client(app, None)
