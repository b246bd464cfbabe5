"""Seasons: from the air to a recheck reminder."""

from .air_routes import climate_routes, room_routes
from .climates import add_climate
from .recompute import every_night, learn_anew, tell_due, work_off_marks
from .rooms import add_hygrometer, add_room, store_keeping, store_settings
from .season_routes import calendar_routes, forecast_routes, reminder_routes

__all__ = [
    "add_climate",
    "add_hygrometer",
    "add_room",
    "every_night",
    "learn_anew",
    "store_keeping",
    "store_settings",
    "tell_due",
    "work_off_marks",
]

blueprints = (climate_routes, room_routes, forecast_routes, reminder_routes, calendar_routes)
