"""The engines of the tests share what SQLAlchemy has compiled, as all requests of a service do.

Each test has a database and an engine of its own, and an engine compiles every statement for itself: without
sharing that is a fifth of the time that the tests of the service take.
"""

from __future__ import annotations

from typing import Any

from sqlalchemy import Engine
from sqlalchemy import create_engine as create
from sqlalchemy.util import LRUCache

from shimstock_server.database import engine as engines

ALL_STATEMENTS = 5000
_first: dict[str, Engine] = {}


def has_connected(engine: Engine) -> bool:
    """Tell whether the engine's dialect has learned from a connection what the database can do."""
    return getattr(engine.dialect, "server_version_info", None) is not None


def create_engine(*args: Any, **options: Any) -> Engine:
    """Make an engine that knows the statements of the first one of its kind."""
    engine = create(*args, **options)
    first = _first.get(engine.dialect.name)
    if first is not None and has_connected(first):
        # A compiled statement is kept under its dialect.
        engine.dialect, engine._compiled_cache = first.dialect, first._compiled_cache
    else:
        engine._compiled_cache = LRUCache(ALL_STATEMENTS)
        _first[engine.dialect.name] = engine
    return engine


def share() -> None:
    """Have the service make its engines so."""
    engines.create_engine = create_engine
