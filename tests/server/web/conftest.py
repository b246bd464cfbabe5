"""The service with the probes beside its own areas."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import pytest
from flask import Flask

from shimstock_server.app import AREAS
from tests.server.web import probe


@pytest.fixture
def app(make_app: Callable[..., Flask]) -> Flask:
    """The service with the probes."""
    return make_app(areas=(*AREAS, "tests.server.web.probe"))


@pytest.fixture(autouse=True)
def nothing_meanwhile() -> Iterator[None]:
    """Forget what a test let happen inside the views."""
    yield
    probe.meanwhile.clear()
