"""Records of instrument models, made by client/generate.py: do not edit."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TypedDict

from ..._quantity import Quantity, QuantityDict
from ..._wire import UNKNOWN, Record, Stored, empty
from ..words import (
    BridgeKind,
    BuiltFor,
    InstrumentKind,
    IntonationScrewHead,
    NeckJointKind,
    Screw,
    TrussRodKind,
    WoodPartPart,
    WrenchEnd,
)


@dataclass(kw_only=True, repr=False, eq=False)
class Sides(Record):
    """A value for each side."""

    bass: Quantity | None = None
    treble: Quantity | None = None


@dataclass(kw_only=True, repr=False, eq=False)
class StringTravel(Record):
    """How far a string's saddle travels."""

    distance: Quantity | None = None
    string: int = 0


class Bridge(TypedDict):
    """A dictionary as it travels."""

    height_left_down: QuantityDict | None
    height_left_up: QuantityDict | None
    height_thread_pitch: QuantityDict | None
    intonation_screw_head: IntonationScrewHead | None
    intonation_screw_pitch: QuantityDict | None
    kind: BridgeKind
    left_hand_thread: bool
    post_spacing: QuantityDict | None
    saddle_total_height: Sides | None
    screws_per_saddle: int | None
    springs: int | None
    string_spread: QuantityDict | None
    travel_away: list[StringTravel]
    travel_toward: list[StringTravel]
    undersaddle_pickup: bool


class Lack(TypedDict):
    """A dictionary as it travels."""

    field: str
    why: str


class NeckJoint(TypedDict):
    """A dictionary as it travels."""

    kind: NeckJointKind
    pocket_front: QuantityDict | None
    pocket_length: QuantityDict | None


@dataclass(kw_only=True, repr=False, eq=False)
class SlotWidth(Record):
    """The width of a nut slot."""

    string: int = 0
    width: Quantity | None = None


class Nut(TypedDict):
    """A dictionary as it travels."""

    locking: bool
    slot_widths: list[SlotWidth]
    zero_fret: bool


class WoodPart(TypedDict):
    """A dictionary as it travels."""

    coats: int | None
    finish: str | None
    part: WoodPartPart
    species: str | None


class Pickup(TypedDict):
    """A dictionary as it travels."""

    name: str
    screw: Screw | None
    thread_pitch: QuantityDict | None


class TrussRod(TypedDict):
    """A dictionary as it travels."""

    free_play: QuantityDict | None
    kind: TrussRodKind
    reversed: bool | None
    turns_left_loosen: QuantityDict | None
    turns_left_tighten: QuantityDict | None
    wrench_end: WrenchEnd | None


@dataclass(kw_only=True, repr=False, eq=False)
class InstrumentModel(Stored):
    """A kind of instrument with its geometry and hardware."""

    body_joint_fret: float | None = None
    bridge: Bridge = field(default_factory=empty)
    built_for: BuiltFor = UNKNOWN
    courses: list[list[int]] | None = None
    delicate_finish: bool = False
    frets: int = 0
    greatest_pull: Quantity | None = None
    kind: InstrumentKind = UNKNOWN
    lacks: list[Lack] = field(default_factory=list)
    maker: str = ""
    name: str = ""
    named_consents: bool = False
    neck_joint: NeckJoint | None = None
    notes: str | None = None
    nut: Nut | None = None
    parts: list[WoodPart] = field(default_factory=list)
    perpendicular_fret: float | None = None
    pickups: list[Pickup] = field(default_factory=list)
    radius_body_end: Quantity | None = None
    radius_nut: Quantity | None = None
    scale_bass: Quantity | None = None
    scale_treble: Quantity | None = None
    string_set_id: str | None = None
    strings: int = 0
    truss_rod: TrussRod = field(default_factory=empty)
    tuning_id: str | None = None
    typed: dict[str, Quantity] = field(default_factory=dict)
