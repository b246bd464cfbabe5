"""Work orders: from check-in to the day they are collected."""

from .board import blueprint as board_blueprint
from .claims import named_claim
from .consents import consents_of, covering_consent, standing_consents
from .erasure import forget_owner
from .moves import has_final_readings
from .problems import ClaimEnded
from .routes import blueprint
from .schemas import RoomIn, RoomTypedOut, WantsIn
from .work import load_job

__all__ = [
    "ClaimEnded",
    "RoomIn",
    "RoomTypedOut",
    "WantsIn",
    "consents_of",
    "covering_consent",
    "forget_owner",
    "has_final_readings",
    "load_job",
    "named_claim",
    "standing_consents",
]

blueprints = (blueprint, board_blueprint)
