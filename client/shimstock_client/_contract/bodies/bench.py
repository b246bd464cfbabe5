"""Bodies and filters of bench, made by client/generate.py: do not edit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import NotRequired, TypedDict
from uuid import UUID

from ..._quantity import Quantity, QuantityDict
from ..._writes import CallOptions, WriteOptions
from ..words import (
    AdjustmentPart,
    BuiltFor,
    ConsentStep,
    FindingCode,
    Handedness,
    InstrumentKind,
    Position,
    QuantityName,
    ReadingMethod,
    Side,
    Stage,
)
from .instrument_models import BridgeIn, NeckJointIn, NutIn, PickupIn, TrussRodIn, WoodPartIn
from .jobs import RoomIn, WantsIn
from .setup_specs import SpecItemIn
from .shop import ShopPricesIn
from .strings import StringIn


class AdjustmentIn(TypedDict):
    """A dictionary as it travels."""

    amount: NotRequired[Quantity | QuantityDict | None]
    claim: NotRequired[UUID | str | None]
    confirm_clock: NotRequired[bool]
    confirmed: NotRequired[bool]
    done_at: datetime | str
    id: UUID | str
    minutes: NotRequired[int | None]
    note: NotRequired[str | None]
    part: AdjustmentPart
    pickup: NotRequired[str | None]
    plan: NotRequired[str | None]
    side: NotRequired[Side | None]
    string: NotRequired[int | None]
    string_set_id: NotRequired[UUID | str | None]
    supersedes: NotRequired[UUID | str | None]
    supersedes_reason: NotRequired[str | None]
    tuning_id: NotRequired[UUID | str | None]
    turns: NotRequired[Quantity | QuantityDict | None]


class AdjustmentWithdrawalIn(TypedDict):
    """A dictionary as it travels."""

    reason: str


class FindingIn(TypedDict):
    """A dictionary as it travels."""

    code: FindingCode
    fret: NotRequired[int | None]
    note: NotRequired[str | None]
    string: NotRequired[int | None]


@dataclass(frozen=True, kw_only=True)
class NewFinding:
    """`FindingIn` to be built bit by bit; fields that are None are not sent."""

    code: FindingCode
    fret: int | None = None
    note: str | None = None
    string: int | None = None


class ReadingIn(TypedDict):
    """A dictionary as it travels."""

    accepted: NotRequired[bool]
    capo: NotRequired[int | None]
    confirmed: NotRequired[bool]
    fret: NotRequired[int | None]
    held: NotRequired[Sequence[int] | None]
    method: NotRequired[ReadingMethod | None]
    note: NotRequired[str | None]
    pickup: NotRequired[str | None]
    quantity: QuantityName
    side: NotRequired[Side | None]
    string: NotRequired[int | None]
    tool_id: NotRequired[UUID | str | None]
    value: NotRequired[Quantity | QuantityDict | None]
    zero_or_less: NotRequired[bool]


@dataclass(frozen=True, kw_only=True)
class NewReading:
    """`ReadingIn` to be built bit by bit; fields that are None are not sent."""

    quantity: QuantityName
    accepted: bool | None = None
    capo: int | None = None
    confirmed: bool | None = None
    fret: int | None = None
    held: Sequence[int] | None = None
    method: ReadingMethod | None = None
    note: str | None = None
    pickup: str | None = None
    side: Side | None = None
    string: int | None = None
    tool_id: UUID | str | None = None
    value: Quantity | None = None
    zero_or_less: bool | None = None


class ReadingSheetIn(TypedDict):
    """A dictionary as it travels."""

    acclimatised: NotRequired[bool]
    at_pitch: bool
    confirm_clock: NotRequired[bool]
    findings: NotRequired[Sequence[NewFinding | FindingIn]]
    id: UUID | str
    looked_over: NotRequired[bool]
    note: NotRequired[str | None]
    position: NotRequired[Position]
    readings: Sequence[NewReading | ReadingIn]
    room: NotRequired[RoomIn | None]
    stage: Stage
    supersedes: NotRequired[UUID | str | None]
    supersedes_reason: NotRequired[str | None]
    taken_at: datetime | str
    tool_id: NotRequired[UUID | str | None]


class AdjustmentSaidIn(TypedDict):
    """A dictionary as it travels."""

    amount: NotRequired[Quantity | QuantityDict | None]
    confirmed: NotRequired[bool]
    done_at: datetime | str
    id: NotRequired[UUID | str | None]
    part: AdjustmentPart
    pickup: NotRequired[str | None]
    side: NotRequired[Side | None]
    string: NotRequired[int | None]
    turns: NotRequired[Quantity | QuantityDict | None]


class ConsentSaidIn(TypedDict):
    """A dictionary as it travels."""

    covers: ConsentStep
    given: bool


class InlineStringSetIn(TypedDict):
    """A dictionary as it travels."""

    name: NotRequired[str]
    strings: Sequence[StringIn]


class InlineTuningIn(TypedDict):
    """A dictionary as it travels."""

    notes: Sequence[str]
    reference_pitch: NotRequired[Quantity | QuantityDict | None]


class PlanInstrumentIn(TypedDict):
    """A dictionary as it travels."""

    body_joint_fret: NotRequired[float | None]
    bridge: NotRequired[BridgeIn]
    built_for: NotRequired[BuiltFor | None]
    courses: NotRequired[Sequence[Sequence[int]] | None]
    delicate_finish: NotRequired[bool]
    frets: NotRequired[int]
    greatest_pull: NotRequired[Quantity | QuantityDict | None]
    handedness: NotRequired[Handedness]
    instrument_id: NotRequired[UUID | str]
    kind: NotRequired[InstrumentKind]
    model_id: NotRequired[UUID | str]
    named_consents: NotRequired[bool]
    neck_joint: NotRequired[NeckJointIn | None]
    nut: NotRequired[NutIn | None]
    parts: NotRequired[Sequence[WoodPartIn]]
    perpendicular_fret: NotRequired[float | None]
    pickups: NotRequired[Sequence[PickupIn]]
    radius_body_end: NotRequired[Quantity | QuantityDict | None]
    radius_nut: NotRequired[Quantity | QuantityDict | None]
    scale_bass: NotRequired[Quantity | QuantityDict]
    scale_treble: NotRequired[Quantity | QuantityDict]
    string_set: NotRequired[InlineStringSetIn]
    string_set_id: NotRequired[UUID | str]
    strings: NotRequired[int]
    truss_rod: NotRequired[TrussRodIn]
    tuning: NotRequired[InlineTuningIn]
    tuning_id: NotRequired[UUID | str]


class ReadingSaidIn(TypedDict):
    """A dictionary as it travels."""

    accepted: NotRequired[bool]
    capo: NotRequired[int | None]
    confirmed: NotRequired[bool]
    fret: NotRequired[int | None]
    held: NotRequired[Sequence[int] | None]
    method: NotRequired[ReadingMethod | None]
    note: NotRequired[str | None]
    pickup: NotRequired[str | None]
    quantity: QuantityName
    side: NotRequired[Side | None]
    string: NotRequired[int | None]
    tool: NotRequired[str | None]
    tool_id: NotRequired[UUID | str | None]
    value: NotRequired[Quantity | QuantityDict | None]
    zero_or_less: NotRequired[bool]


class RodResponseIn(TypedDict):
    """A dictionary as it travels."""

    mean: Quantity | QuantityDict
    sd: Quantity | QuantityDict


class SettingsSaidIn(TypedDict):
    """A dictionary as it travels."""

    everything_at_the_end: NotRequired[bool]
    humidity_high: NotRequired[Quantity | QuantityDict]
    humidity_low: NotRequired[Quantity | QuantityDict]
    prices: NotRequired[ShopPricesIn]
    settle_first_minutes: NotRequired[int]


class SheetSaidIn(TypedDict):
    """A dictionary as it travels."""

    acclimatised: NotRequired[bool]
    at_pitch: NotRequired[bool]
    findings: NotRequired[Sequence[NewFinding | FindingIn]]
    id: NotRequired[UUID | str | None]
    position: NotRequired[Position]
    readings: NotRequired[Sequence[ReadingSaidIn]]
    room: NotRequired[RoomIn | None]
    taken_at: datetime | str
    tool: NotRequired[str | None]
    tool_id: NotRequired[UUID | str | None]


class ToolSaidIn(TypedDict):
    """A dictionary as it travels."""

    bench: NotRequired[str | None]
    name: str
    offset: NotRequired[Quantity | QuantityDict | None]
    offset_uncertainty: NotRequired[Quantity | QuantityDict | None]
    repeatability: NotRequired[Quantity | QuantityDict | None]
    reproducibility: NotRequired[Quantity | QuantityDict | None]
    resolution: Quantity | QuantityDict


class RecommendationIn(TypedDict):
    """A dictionary as it travels."""

    acclimatised: NotRequired[bool]
    adjustments: NotRequired[Sequence[AdjustmentSaidIn]]
    at_pitch: NotRequired[bool]
    consents: NotRequired[Sequence[ConsentSaidIn]]
    coupling_sd: NotRequired[float | None]
    findings: NotRequired[Sequence[NewFinding | FindingIn]]
    instrument: PlanInstrumentIn
    looked_over: NotRequired[bool]
    neck_compliance: NotRequired[Quantity | QuantityDict | None]
    position: NotRequired[Position]
    readings: NotRequired[Sequence[ReadingSaidIn]]
    rod_response: NotRequired[RodResponseIn | None]
    room: NotRequired[RoomIn | None]
    settings: NotRequired[SettingsSaidIn]
    sheets: NotRequired[Sequence[SheetSaidIn]]
    spec: NotRequired[Sequence[SpecItemIn] | None]
    taken_at: NotRequired[datetime | str | None]
    tool: NotRequired[str | None]
    tool_id: NotRequired[UUID | str | None]
    tools: NotRequired[Sequence[ToolSaidIn]]
    wants: NotRequired[WantsIn]


class JobsReadingsFilters(CallOptions, total=False):
    """What `/v1/jobs/{job_id}/readings` can be asked for."""

    quantity: QuantityName | None
    stage: Stage | None
    newest: bool | None


class SettlingFilters(CallOptions, total=False):
    """What `/v1/settling` can be asked for."""

    limit: int | None
    due: bool | None


class AdjustmentFields(WriteOptions):
    """A dictionary as it travels."""

    amount: NotRequired[Quantity | QuantityDict | None]
    confirm_clock: NotRequired[bool]
    confirmed: NotRequired[bool]
    done_at: NotRequired[datetime | str | None]
    id: NotRequired[UUID | str | None]
    minutes: NotRequired[int | None]
    note: NotRequired[str | None]
    pickup: NotRequired[str | None]
    plan: NotRequired[str | None]
    side: NotRequired[Side | None]
    string: NotRequired[int | None]
    string_set_id: NotRequired[UUID | str | None]
    supersedes: NotRequired[UUID | str | None]
    supersedes_reason: NotRequired[str | None]
    tuning_id: NotRequired[UUID | str | None]
    turns: NotRequired[Quantity | QuantityDict | None]


class PlanFields(WriteOptions):
    """A dictionary as it travels."""

    acclimatised: NotRequired[bool]
    adjustments: NotRequired[Sequence[AdjustmentSaidIn]]
    at_pitch: NotRequired[bool]
    consents: NotRequired[Sequence[ConsentSaidIn]]
    coupling_sd: NotRequired[float | None]
    findings: NotRequired[Sequence[NewFinding | FindingIn]]
    instrument: PlanInstrumentIn
    looked_over: NotRequired[bool]
    neck_compliance: NotRequired[Quantity | QuantityDict | None]
    position: NotRequired[Position]
    readings: NotRequired[Sequence[ReadingSaidIn]]
    rod_response: NotRequired[RodResponseIn | None]
    room: NotRequired[RoomIn | None]
    settings: NotRequired[SettingsSaidIn]
    sheets: NotRequired[Sequence[SheetSaidIn]]
    spec: NotRequired[Sequence[SpecItemIn] | None]
    taken_at: NotRequired[datetime | str | None]
    tool: NotRequired[str | None]
    tool_id: NotRequired[UUID | str | None]
    tools: NotRequired[Sequence[ToolSaidIn]]
    wants: NotRequired[WantsIn]


class SheetFields(WriteOptions):
    """A dictionary as it travels."""

    acclimatised: NotRequired[bool]
    at_pitch: bool
    confirm_clock: NotRequired[bool]
    findings: NotRequired[Sequence[NewFinding | FindingIn]]
    id: NotRequired[UUID | str | None]
    looked_over: NotRequired[bool]
    note: NotRequired[str | None]
    position: NotRequired[Position]
    room: NotRequired[RoomIn | None]
    stage: Stage
    supersedes: NotRequired[UUID | str | None]
    supersedes_reason: NotRequired[str | None]
    taken_at: NotRequired[datetime | str | None]
    tool_id: NotRequired[UUID | str | None]
