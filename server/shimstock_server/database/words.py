"""The words that travel on the wire and stand in the tables: the trade's own, in kebab case."""

from __future__ import annotations

from enum import StrEnum


class Kind(StrEnum):
    ELECTRIC = "electric"
    ACOUSTIC_STEEL = "acoustic-steel"
    CLASSICAL_NYLON = "classical-nylon"
    BASS = "bass"


class BuiltFor(StrEnum):
    STEEL = "steel"
    NYLON = "nylon"


class Handedness(StrEnum):
    RIGHT = "right"
    LEFT = "left"


class Quantity(StrEnum):
    """What a reading sheet can hold, and a setup spec can ask for."""

    RELIEF = "relief"
    ACTION = "action"
    NUT_ACTION = "nut-action"
    PICKUP_HEIGHT = "pickup-height"
    INTONATION = "intonation"
    BREAK_CLEARANCE = "break-clearance"
    TWIST = "twist"
    SADDLE_HEIGHT = "saddle-height"


class Side(StrEnum):
    BASS = "bass"
    TREBLE = "treble"


class Method(StrEnum):
    """How a reading was taken, where the trade knows more than one way."""

    STRING = "string"
    STRAIGHTEDGE = "straightedge"
    CAPO = "capo"
    FRET_3 = "fret-3"


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


class WaitingFor(StrEnum):
    CONSENT = "consent"
    PARTS = "parts"
    OWNER = "owner"


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


class ConsentKind(StrEnum):
    """What cannot be undone, and therefore needs the owner's yes."""

    GENERAL = "general"
    NUT_SLOTS = "nut-slots"
    SADDLE = "saddle"
    FRETS = "frets"
    NUT_REPLACEMENT = "nut-replacement"
    RESTRING = "restring"


class AdjustmentPart(StrEnum):
    TRUSS_ROD = "truss-rod"
    BRIDGE_POST = "bridge-post"
    SADDLE_HEIGHT = "saddle-height"
    SADDLE_POSITION = "saddle-position"
    FIXED_SADDLE = "fixed-saddle"
    NUT_SLOT = "nut-slot"
    NUT = "nut"
    PICKUP = "pickup"
    TREMOLO_CLAW = "tremolo-claw"
    STRINGS = "strings"
    TUNING = "tuning"
    FRETS = "frets"
    NECK_SHIM = "neck-shim"
    BREAK = "break"
    OTHER = "other"
