"""The shop: settings, hours, people, benches, tools."""

from .hours import (
    ShopNotSetUp,
    last_opening,
    local_day,
    next_opening,
    opening,
    settings,
    span,
    wall_hours,
)
from .people import add_bench, add_technician, add_tool
from .record import add_closure, set_up
from .routes import shop, staff
from .schemas import BenchIn, ClosureIn, ShopIn, TechnicianIn, ToolIn

blueprints = (shop, staff)

__all__ = [
    "BenchIn",
    "ClosureIn",
    "ShopIn",
    "ShopNotSetUp",
    "TechnicianIn",
    "ToolIn",
    "add_bench",
    "add_closure",
    "add_technician",
    "add_tool",
    "blueprints",
    "last_opening",
    "local_day",
    "next_opening",
    "opening",
    "set_up",
    "settings",
    "span",
    "wall_hours",
]
