"""The states of a job and the moves between them, which the database holds as `allowed_moves`."""

from __future__ import annotations

from enum import StrEnum
from typing import Final

from shimstock_server.database.words import JobState as S


class Needs(StrEnum):
    """What a move needs, told to the client beside each allowed move."""

    CLAIM = "claim"
    """The claim that holds the job, named in the move (a manager may move without it)."""
    NEW_CLAIM = "new-claim"
    """Made by claiming the job, never by a plain move."""
    INSTRUMENT = "instrument"
    REASON = "reason"
    AVAILABLE_AT = "available-at"
    """From when on it can be looked at again; left out, it is proposed from the shop's settings."""
    WAITING_FOR = "waiting-for"
    FINAL_READINGS = "final-readings-or-reason"
    GIVE_BACK = "give-back"
    """Made by giving the claim back."""


MOVES: Final[dict[S, dict[S, tuple[Needs, ...]]]] = {
    S.BOOKED: {S.RECEIVED: (Needs.INSTRUMENT,), S.CANCELLED: (Needs.REASON,)},
    S.RECEIVED: {
        S.QUEUED: (),
        S.WAITING: (Needs.WAITING_FOR,),
        S.RETURNED_UNREPAIRED: (Needs.REASON,),
        S.CANCELLED: (Needs.REASON,),
    },
    S.QUEUED: {
        S.ON_BENCH: (Needs.NEW_CLAIM,),
        S.WAITING: (Needs.WAITING_FOR,),
        S.CANCELLED: (Needs.REASON,),
    },
    S.ON_BENCH: {
        S.SETTLING: (Needs.CLAIM, Needs.AVAILABLE_AT),
        S.WAITING: (Needs.CLAIM, Needs.WAITING_FOR),
        S.FINAL_CHECK: (Needs.CLAIM,),
        S.QUEUED: (Needs.GIVE_BACK,),
        S.RETURNED_UNREPAIRED: (Needs.CLAIM, Needs.REASON),
    },
    S.SETTLING: {S.ON_BENCH: (Needs.NEW_CLAIM,)},
    S.WAITING: {
        S.QUEUED: (),
        S.RETURNED_UNREPAIRED: (Needs.REASON,),
        S.CANCELLED: (Needs.REASON,),
    },
    S.FINAL_CHECK: {S.READY: (Needs.CLAIM, Needs.FINAL_READINGS), S.ON_BENCH: (Needs.CLAIM,)},
    S.READY: {S.COLLECTED: (), S.ON_BENCH: (Needs.NEW_CLAIM,)},
    S.COLLECTED: {},
    S.RETURNED_UNREPAIRED: {},
    S.CANCELLED: {},
}

CLAIMED: Final = frozenset({S.ON_BENCH, S.FINAL_CHECK})
"""States in which a technician holds the job."""


def pairs() -> list[tuple[S, S]]:
    """Every move there is, as rows for the database."""
    return [(before, after) for before, targets in MOVES.items() for after in targets]
