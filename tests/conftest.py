"""What all tests share: databases of their own, and no way out of this machine."""

from __future__ import annotations

import pytest

pytest_plugins = [
    "tests.depth",
    "tests.databases",
    "tests.figures",
    "tests.missing",
    "tests.network",
]


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Put long modules first, so that processes side by side end together; else keep the order."""
    items.sort(key=lambda item: item.get_closest_marker("long") is None)
