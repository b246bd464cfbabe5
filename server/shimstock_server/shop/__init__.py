"""The shop: settings, hours, people, benches, tools."""

from .hours import (
    ShopNotSetUp,
    last_opening,
    local_day,
    next_opening,
    open_minutes,
    opening,
    settings,
    span,
    wall_hours,
)
from .people import add_bench, add_technician, add_tool, on_roster, told_in
from .prices import LEAST_SAMPLES, LEAST_WORK, learned_minutes, merge_prices, plan_settings, prices_of
from .record import add_closure, set_up
from .routes import shop, staff
from .schemas import (
    BenchIn,
    ClosureIn,
    ShopIn,
    ShopPrices,
    TechnicianIn,
    ToolIn,
    ToolSizeIn,
    WallTime,
)

blueprints = (shop, staff)

__all__ = [
    "LEAST_SAMPLES",
    "LEAST_WORK",
    "BenchIn",
    "ClosureIn",
    "ShopIn",
    "ShopNotSetUp",
    "ShopPrices",
    "TechnicianIn",
    "ToolIn",
    "ToolSizeIn",
    "WallTime",
    "add_bench",
    "add_closure",
    "add_technician",
    "add_tool",
    "blueprints",
    "last_opening",
    "learned_minutes",
    "local_day",
    "merge_prices",
    "next_opening",
    "on_roster",
    "open_minutes",
    "opening",
    "plan_settings",
    "prices_of",
    "set_up",
    "settings",
    "span",
    "told_in",
    "wall_hours",
]
