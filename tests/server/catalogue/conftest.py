"""A manager's way into the catalogue."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from tests.server.clients import Client

Add = Callable[[str, dict[str, Any]], dict[str, Any]]


@pytest.fixture
def add(client: Client) -> Add:
    """Add something as a manager and return the answer."""

    def post(path: str, body: dict[str, Any]) -> dict[str, Any]:
        answer = client.post(path, json=body)
        assert answer.status_code == 201, answer.get_data(as_text=True)
        return dict(answer.get_json())

    return post
