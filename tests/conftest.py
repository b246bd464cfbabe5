"""What all tests share: databases of their own, and no way out of this machine."""

from __future__ import annotations

pytest_plugins = ["tests.databases", "tests.network"]
