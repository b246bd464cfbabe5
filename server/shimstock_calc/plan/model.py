"""What the plan is made from and what it says: plain frozen records in fixed units.

Units: mm, cents, turns, N, g/m, Hz, min.

Signs, everywhere: truss rod turns and spring claw turns positive = tighten; heights positive = up (raise,
shim); saddle along the string positive = away from the nut; what a file takes off is positive.
Sides: `side` is "bass" or "treble"; string 1 is the outermost on the treble side; what is read on a side is
read at its outermost string.
"""

from __future__ import annotations

from .inputs import (
    Adjustment,
    Bridge,
    BridgeKind,
    Consent,
    Finding,
    Instrument,
    InstrumentString,
    Kind,
    NeckJoint,
    Nut,
    Part,
    Pickup,
    PlanInput,
    Prices,
    Quantity,
    Reading,
    Responses,
    RodKind,
    RodResponse,
    Settings,
    Side,
    SpecItem,
    StringSet,
    TrussRod,
    Wanted,
)
from .outputs import (
    Believed,
    Block,
    Caution,
    Change,
    Move,
    Note,
    Plan,
    ReadingWanted,
    Settling,
    Step,
    StepKind,
    Verdict,
    VerdictWord,
)
from .words import Measure, Sentence

__all__ = [
    "Adjustment",
    "Believed",
    "Block",
    "Bridge",
    "BridgeKind",
    "Caution",
    "Change",
    "Consent",
    "Finding",
    "Instrument",
    "InstrumentString",
    "Kind",
    "Measure",
    "Move",
    "NeckJoint",
    "Note",
    "Nut",
    "Part",
    "Pickup",
    "Plan",
    "PlanInput",
    "Prices",
    "Quantity",
    "Reading",
    "ReadingWanted",
    "Responses",
    "RodKind",
    "RodResponse",
    "Sentence",
    "Settings",
    "Settling",
    "Side",
    "SpecItem",
    "Step",
    "StepKind",
    "StringSet",
    "TrussRod",
    "Verdict",
    "VerdictWord",
    "Wanted",
]
