"""Bodies and filters of instrument models, made by client/generate.py: do not edit."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NotRequired, TypedDict
from uuid import UUID

from ..._quantity import Quantity, QuantityDict
from ..._writes import CallOptions
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


class SidesIn(TypedDict):
    """A dictionary as it travels."""

    bass: Quantity | QuantityDict
    treble: Quantity | QuantityDict


class StringTravelIn(TypedDict):
    """A dictionary as it travels."""

    distance: Quantity | QuantityDict
    string: int


class BridgeIn(TypedDict):
    """A dictionary as it travels."""

    height_left_down: NotRequired[Quantity | QuantityDict | None]
    height_left_up: NotRequired[Quantity | QuantityDict | None]
    height_thread_pitch: NotRequired[Quantity | QuantityDict | None]
    intonation_screw_head: NotRequired[IntonationScrewHead | None]
    intonation_screw_pitch: NotRequired[Quantity | QuantityDict | None]
    kind: BridgeKind
    left_hand_thread: NotRequired[bool]
    post_spacing: NotRequired[Quantity | QuantityDict | None]
    saddle_total_height: NotRequired[SidesIn | None]
    screws_per_saddle: NotRequired[int | None]
    springs: NotRequired[int | None]
    string_spread: NotRequired[Quantity | QuantityDict | None]
    travel_away: NotRequired[Sequence[StringTravelIn]]
    travel_toward: NotRequired[Sequence[StringTravelIn]]
    undersaddle_pickup: NotRequired[bool]


class NeckJointIn(TypedDict):
    """A dictionary as it travels."""

    kind: NeckJointKind
    pocket_front: NotRequired[Quantity | QuantityDict | None]
    pocket_length: NotRequired[Quantity | QuantityDict | None]


class SlotWidthIn(TypedDict):
    """A dictionary as it travels."""

    string: int
    width: Quantity | QuantityDict


class NutIn(TypedDict):
    """A dictionary as it travels."""

    locking: NotRequired[bool]
    slot_widths: NotRequired[Sequence[SlotWidthIn]]
    zero_fret: NotRequired[bool]


class WoodPartIn(TypedDict):
    """A dictionary as it travels."""

    coats: NotRequired[int | None]
    finish: NotRequired[str | None]
    part: WoodPartPart
    species: NotRequired[str | None]


class PickupIn(TypedDict):
    """A dictionary as it travels."""

    name: str
    screw: NotRequired[Screw | None]
    thread_pitch: NotRequired[Quantity | QuantityDict | None]


class TrussRodIn(TypedDict):
    """A dictionary as it travels."""

    free_play: NotRequired[Quantity | QuantityDict | None]
    kind: TrussRodKind
    reversed: NotRequired[bool | None]
    turns_left_loosen: NotRequired[Quantity | QuantityDict | None]
    turns_left_tighten: NotRequired[Quantity | QuantityDict | None]
    wrench_end: NotRequired[WrenchEnd | None]


class InstrumentModelIn(TypedDict):
    """A dictionary as it travels."""

    body_joint_fret: NotRequired[float | None]
    bridge: BridgeIn
    built_for: NotRequired[BuiltFor | None]
    courses: NotRequired[Sequence[Sequence[int]] | None]
    delicate_finish: NotRequired[bool]
    frets: int
    greatest_pull: NotRequired[Quantity | QuantityDict | None]
    kind: InstrumentKind
    maker: str
    name: str
    named_consents: NotRequired[bool]
    neck_joint: NotRequired[NeckJointIn | None]
    notes: NotRequired[str | None]
    nut: NotRequired[NutIn | None]
    parts: NotRequired[Sequence[WoodPartIn]]
    perpendicular_fret: NotRequired[float | None]
    pickups: NotRequired[Sequence[PickupIn]]
    radius_body_end: NotRequired[Quantity | QuantityDict | None]
    radius_nut: NotRequired[Quantity | QuantityDict | None]
    scale_bass: Quantity | QuantityDict
    scale_treble: Quantity | QuantityDict
    string_set_id: NotRequired[UUID | str | None]
    strings: int
    truss_rod: TrussRodIn
    tuning_id: NotRequired[UUID | str | None]


class InstrumentModelChange(TypedDict):
    """A dictionary as it travels."""

    body_joint_fret: NotRequired[float | None]
    bridge: NotRequired[BridgeIn]
    built_for: NotRequired[BuiltFor | None]
    courses: NotRequired[Sequence[Sequence[int]] | None]
    delicate_finish: NotRequired[bool]
    frets: NotRequired[int]
    greatest_pull: NotRequired[Quantity | QuantityDict | None]
    kind: NotRequired[InstrumentKind]
    maker: NotRequired[str]
    name: NotRequired[str]
    named_consents: NotRequired[bool]
    neck_joint: NotRequired[NeckJointIn | None]
    notes: NotRequired[str | None]
    nut: NotRequired[NutIn | None]
    parts: NotRequired[Sequence[WoodPartIn]]
    perpendicular_fret: NotRequired[float | None]
    pickups: NotRequired[Sequence[PickupIn]]
    radius_body_end: NotRequired[Quantity | QuantityDict | None]
    radius_nut: NotRequired[Quantity | QuantityDict | None]
    scale_bass: NotRequired[Quantity | QuantityDict]
    scale_treble: NotRequired[Quantity | QuantityDict]
    string_set_id: NotRequired[UUID | str | None]
    strings: NotRequired[int]
    truss_rod: NotRequired[TrussRodIn]
    tuning_id: NotRequired[UUID | str | None]


class InstrumentModelsFilters(CallOptions, total=False):
    """What `/v1/instrument-models` can be asked for."""

    limit: int | None
    kind: InstrumentKind | None
    maker: str | None
