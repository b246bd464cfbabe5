"""Learning: how instruments answer to adjustments."""

from .recount import work_off_marks
from .responses import learned_responses
from .routes import blueprint

__all__ = ["learned_responses", "work_off_marks"]

blueprints = (blueprint,)
