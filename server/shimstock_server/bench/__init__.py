"""The bench: what is measured, what is recommended, what is done."""

from .adjustments import adjustments_of
from .recommendation import current_plan
from .routes import blueprint
from .sheets import sheets_of, standing

__all__ = ["adjustments_of", "current_plan", "sheets_of", "standing"]

blueprints = (blueprint,)
