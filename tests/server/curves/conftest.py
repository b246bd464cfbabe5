"""The demo shop that these tests share."""

from tests.server.demo_shop import demo_shop

__all__ = ["demo_shop"]
