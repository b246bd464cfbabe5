"""The booking website's part: services, free slots, bookings from the hold to the check-in."""

from .absence_routes import absence_routes
from .erasure import forget_owner
from .holds import let_holds_go
from .routes import booking_routes, service_routes
from .schemas import ServiceIn
from .services import add_service

blueprints = (service_routes, booking_routes, absence_routes)

__all__ = ["ServiceIn", "add_service", "blueprints", "forget_owner", "let_holds_go"]
