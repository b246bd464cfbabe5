"""The service with a busy shop on a port, and browsers that look at it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import ExitStack

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

from . import chromium
from .chromium import Chromium
from .driving import Driven
from .serving import Served


@pytest.fixture
def served(app: Flask, clock: FixedClock) -> Iterator[Served]:  # noqa: F811
    """The service on a port."""
    served = Served(app, clock)
    yield served
    served.stop()


Browsers = Callable[[str], Chromium]


@pytest.fixture(scope="session")
def browsers(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Browsers]:
    """One browser for each family of fonts, started when a test first wants it."""
    started: dict[str, Chromium] = {}
    with ExitStack() as stack:

        def browser(family: str) -> Chromium:
            if family not in started:
                folder = tmp_path_factory.mktemp(family)
                started[family] = stack.enter_context(chromium.start(folder, family))
            return started[family]

        yield browser


@pytest.fixture
def family() -> str:
    """Which fonts the browser finds; a test that measures asks for each."""
    return "wide"


@pytest.fixture
def driven(browsers: Browsers, family: str) -> Iterator[Driven]:
    """A page to drive."""
    with browsers(family).page() as page:
        yield page
