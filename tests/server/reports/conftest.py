"""A simulated shop, counted."""

from __future__ import annotations

from dataclasses import dataclass
from uuid import UUID

import pytest

from shimstock_server.clock import FixedClock
from shimstock_server.config import Config
from shimstock_server.database.session import Database
from shimstock_server.learning import rebuild
from tests.server.beginnings import Beginning
from tests.server.clients import Client
from tests.server.conftest import Staff
from tests.server.workshop import Workshop, set_up

from .simulated import Size, fill


@dataclass
class Counted:
    """A shop whose readings are counted."""

    workshop: Workshop
    manager: Client
    database: Database
    config: Config
    clock: FixedClock
    models: list[UUID]
    size: Size


_COUNTED: Beginning[list[UUID]] = Beginning()


@pytest.fixture
def counted(client: Client, staff: Staff, database: Database, config: Config, clock: FixedClock) -> Counted:
    """A small simulated shop, its readings written past the service and counted by one command."""
    workshop = set_up(client)
    size = Size()

    def write_and_count() -> list[UUID]:
        models = fill(database, workshop.ids, staff.key_ids["manager"], staff.technician_id, size)
        assert rebuild(database, config, clock) == len(models) + 1
        return models

    models = _COUNTED.begin(database, write_and_count, now=clock.now())
    return Counted(workshop, client, database, config, clock, models, size)
