"""Seasons: from the air to a recheck reminder."""

from .air_routes import climate_routes, room_routes
from .air_schemas import ClimateIn, HygrometerIn, KeptRoomIn, SeasonSettingsIn
from .climates import add_climate
from .recompute import every_night, learn_anew, tell_due, work_off_marks
from .room_readings import Sent as RoomReadingSent
from .room_readings import line_id as room_line_id
from .room_readings import record as record_room_log
from .rooms import add_hygrometer, add_room, store_keeping, store_settings
from .season_routes import calendar_routes, forecast_routes, reminder_routes
from .season_schemas import KeepingIn

__all__ = [
    "ClimateIn",
    "HygrometerIn",
    "KeepingIn",
    "KeptRoomIn",
    "RoomReadingSent",
    "SeasonSettingsIn",
    "add_climate",
    "add_hygrometer",
    "add_room",
    "every_night",
    "learn_anew",
    "record_room_log",
    "room_line_id",
    "store_keeping",
    "store_settings",
    "tell_due",
    "work_off_marks",
]

blueprints = (climate_routes, room_routes, forecast_routes, reminder_routes, calendar_routes)
