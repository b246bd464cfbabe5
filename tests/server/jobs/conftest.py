"""A shop with one instrument for the tests of jobs."""

from __future__ import annotations

import pytest

from tests.server.clients import Client
from tests.server.workshop import Workshop, set_up


@pytest.fixture
def workshop(client: Client) -> Workshop:
    """A shop with one model, one owner and one instrument."""
    return set_up(client)
