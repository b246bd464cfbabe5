"""The words that travel on the wire and stand in the tables, in kebab case; the trade's own come from its
vocabulary."""

from __future__ import annotations

from enum import StrEnum

from shimstock_calc.vocabulary import (
    BridgeKind,
    ConsentKind,
    FindingCode,
    Kind,
    Part,
    Quantity,
    RodKind,
    Side,
)

__all__ = [
    "OVER",
    "WENT_OUT",
    "BookingState",
    "BridgeKind",
    "BuiltFor",
    "ClimateOrigin",
    "ConsentKind",
    "DeliveryState",
    "FindingCode",
    "Handedness",
    "JobState",
    "Kind",
    "Method",
    "Movable",
    "Part",
    "Position",
    "Quantity",
    "ReminderHappening",
    "ReminderKind",
    "ReminderState",
    "ReportState",
    "ResponseKind",
    "ResponseLevel",
    "RodKind",
    "RoomUse",
    "Scope",
    "SettleLook",
    "Side",
    "Skill",
    "SpecScope",
    "Stage",
    "StudyState",
    "Units",
    "WaitingFor",
]


class BuiltFor(StrEnum):
    STEEL = "steel"
    NYLON = "nylon"


class Handedness(StrEnum):
    RIGHT = "right"
    LEFT = "left"


class Method(StrEnum):
    """How a reading was taken, where the trade knows more than one way."""

    STRING = "string"
    STRAIGHTEDGE = "straightedge"
    OPEN_STRING = "open-string"
    TUNER = "tuner"


class Position(StrEnum):
    PLAYING = "playing"
    ON_BACK = "on-back"


class Stage(StrEnum):
    AS_RECEIVED = "as-received"
    IN_PROGRESS = "in-progress"
    FINAL = "final"
    RECHECK = "recheck"


class JobState(StrEnum):
    BOOKED = "booked"
    RECEIVED = "received"
    QUEUED = "queued"
    ON_BENCH = "on-bench"
    SETTLING = "settling"
    WAITING = "waiting"
    FINAL_CHECK = "final-check"
    READY = "ready"
    COLLECTED = "collected"
    RETURNED_UNREPAIRED = "returned-unrepaired"
    CANCELLED = "cancelled"


OVER = frozenset({JobState.COLLECTED, JobState.RETURNED_UNREPAIRED, JobState.CANCELLED})
"""States from which a job does not move on."""

WENT_OUT = frozenset({JobState.READY, JobState.COLLECTED})
"""States of a job whose work is done: as it was last read it goes to its owner."""


class WaitingFor(StrEnum):
    CONSENT = "consent"
    PARTS = "parts"
    OWNER = "owner"


class SettleLook(StrEnum):
    """When a neck is looked at again: after about an hour, and the next day."""

    HOUR = "settle-hour"
    DAY = "settle-day"


class BookingState(StrEnum):
    HELD = "held"
    """For a few minutes, until it is confirmed."""
    EXPIRED = "expired"
    CONFIRMED = "confirmed"
    CHECKED_IN = "checked-in"
    CANCELLED = "cancelled"
    NO_SHOW = "no-show"


class DeliveryState(StrEnum):
    PENDING = "pending"
    DELIVERED = "delivered"
    PARKED = "parked"
    """Given up after days of trying; it can be replayed."""


class Skill(StrEnum):
    SETUP = "setup"
    ACOUSTIC = "acoustic"
    NYLON = "nylon"
    BASS = "bass"
    FRETWORK = "fretwork"
    NUT_AND_SADDLE = "nut-and-saddle"
    TREMOLO = "tremolo"
    ELECTRONICS = "electronics"


class Scope(StrEnum):
    BENCH = "bench"
    BOOKING = "booking"
    MANAGER = "manager"


class Units(StrEnum):
    MM = "mm"
    INCH = "inch"


class SpecScope(StrEnum):
    """Where a setup spec stands; the later in this list, the more it counts."""

    SHOP = "shop"
    MODEL = "model"
    INSTRUMENT = "instrument"
    JOB = "job"


class RoomUse(StrEnum):
    """Whose room it is: the shop's own rooms and an owner's home are kept differently."""

    SHOP = "shop"
    HOME = "home"


class ClimateOrigin(StrEnum):
    """How the monthly normals of a place came in."""

    ENTERED = "entered"
    CSV = "csv"
    EPW = "epw"


class ReminderKind(StrEnum):
    """What a reminder asks for."""

    SETTLE_HOUR = "settle-hour"
    SETTLE_DAY = "settle-day"
    SEASONAL = "seasonal"
    STRINGS = "strings"


class ReminderState(StrEnum):
    """Where a reminder stands; one that is done or cancelled is closed for good."""

    OPEN = "open"
    ACKNOWLEDGED = "acknowledged"
    SNOOZED = "snoozed"
    DONE = "done"
    CANCELLED = "cancelled"


class ReminderHappening(StrEnum):
    """What can happen to a reminder; its history is a list of these."""

    MADE = "made"
    MOVED = "moved"
    DUE = "due"
    ACKNOWLEDGED = "acknowledged"
    SNOOZED = "snoozed"
    DONE = "done"
    CANCELLED = "cancelled"


class Movable(StrEnum):
    """What the moisture of the wood moves; each has a sensitivity of its own."""

    RELIEF = "relief"
    SADDLE = "saddle-height"


class ResponseKind(StrEnum):
    """What is learned from readings before and after an adjustment."""

    ROD = "rod"
    """Relief per turn of the rod."""
    COUPLING = "coupling"
    """Action per relief, less what the geometry says."""
    COMPLIANCE = "compliance"
    """Relief per pull of the strings."""


class ResponseLevel(StrEnum):
    """How near to an instrument the samples are."""

    INSTRUMENT = "instrument"
    MODEL = "model"
    SHOP = "shop"


class ReportState(StrEnum):
    WAITING = "waiting"
    RUNNING = "running"
    DONE = "done"
    FAILED = "failed"


class StudyState(StrEnum):
    OPEN = "open"
    ENDED = "ended"
    ABANDONED = "abandoned"
