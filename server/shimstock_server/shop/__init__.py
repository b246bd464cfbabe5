"""The shop: settings, hours, people, benches, tools."""

from .hours import ShopNotSetUp, last_opening, local_day, next_opening, opening, settings

__all__ = ["ShopNotSetUp", "last_opening", "local_day", "next_opening", "opening", "settings"]

blueprints = ()
