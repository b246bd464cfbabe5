"""The booking website's part: services, free slots, bookings from the hold to the check-in."""

from .erasure import forget_owner
from .holds import let_holds_go
from .routes import blueprints
from .schemas import ServiceIn
from .services import add_service

__all__ = ["ServiceIn", "add_service", "blueprints", "forget_owner", "let_holds_go"]
