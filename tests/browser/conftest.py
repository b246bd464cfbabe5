"""The service with a busy shop on a port, and a browser that looks at it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from flask import Flask

from shimstock_server.clock import FixedClock
from tests.server.conftest import (  # noqa: F401 - fixtures of the service's own tests
    app,
    client,
    clock,
    config,
    database,
    make_app,
    staff,
)

from .driving import Driven, drive
from .serving import Served


@pytest.fixture
def served(app: Flask, clock: FixedClock) -> Iterator[Served]:  # noqa: F811
    """The service on a port."""
    served = Served(app, clock)
    yield served
    served.stop()


@pytest.fixture
def driven(tmp_path: Path) -> Iterator[Driven]:
    """A browser to drive."""
    with drive(tmp_path) as browser:
        yield browser
