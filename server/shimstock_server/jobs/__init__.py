"""Work orders: from check-in to the day they are collected."""

from .board import blueprint as board_blueprint
from .claims import named_claim
from .consents import add_consent, consents_of, covering_consent, standing_consents
from .erasure import forget_owner
from .moves import move_job, on_final_check, on_move
from .problems import ClaimEnded, FinalReadingsNeeded, MoveNotAllowed
from .routes import blueprint
from .schemas import ConsentIn, JobIn, RoomIn, RoomTypedOut, WantsIn
from .settling import late_minutes, looks
from .work import NO_PROMISE, change_job, check_in, load_job, next_number

__all__ = [
    "NO_PROMISE",
    "ClaimEnded",
    "ConsentIn",
    "FinalReadingsNeeded",
    "JobIn",
    "MoveNotAllowed",
    "RoomIn",
    "RoomTypedOut",
    "WantsIn",
    "add_consent",
    "change_job",
    "check_in",
    "consents_of",
    "covering_consent",
    "forget_owner",
    "late_minutes",
    "load_job",
    "looks",
    "move_job",
    "named_claim",
    "next_number",
    "on_final_check",
    "on_move",
    "standing_consents",
]

blueprints = (blueprint, board_blueprint)
