"""The service's own fixtures, for what is measured."""

from __future__ import annotations

from tests.server.conftest import app, client, clock, config, database, make_app, staff

__all__ = ["app", "client", "clock", "config", "database", "make_app", "staff"]
