"""The service's own fixtures, for what goes wrong."""

from __future__ import annotations

from tests.server.conftest import app, bench_client, client, clock, config, database, make_app, staff

__all__ = ["app", "bench_client", "client", "clock", "config", "database", "make_app", "staff"]
