"""Work orders: from check-in to the day they are collected."""

from .claims import named_claim
from .consents import consents_of, covering_consent, standing_consents
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
    "has_final_readings",
    "load_job",
    "named_claim",
    "standing_consents",
]

blueprints = (blueprint,)
