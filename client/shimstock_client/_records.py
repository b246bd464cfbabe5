"""What the service answers with, as typed records of the shop, its catalogue and its owners."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from ._quantity import Quantity
from ._wire import Record


@dataclass(kw_only=True)
class Stored(Record):
    """Something that the service keeps under an id."""

    id: str = ""
    version: int | None = None
    created_at: datetime | None = None
    updated_at: datetime | None = None


@dataclass(kw_only=True)
class OpeningHours(Record):
    """Local wall times of one weekday, 1 = Monday."""

    weekday: int = 0
    opens: str = ""
    closes: str = ""


@dataclass(kw_only=True)
class WorkMinutes(Record):
    """What a reading or an adjustment takes, and where that is known from."""

    of: str = ""
    """`reading` or `adjustment`."""
    name: str = ""
    minutes: float = 0.0
    """What plans of new jobs reckon with."""
    source: str = ""
    """`own`, `learned` or `usual`."""
    usual: float = 0.0
    learned: float | None = None
    count: int = 0
    own: float | None = None


@dataclass(kw_only=True)
class Shop(Stored):
    """The shop's settings."""

    name: str = ""
    place: str = ""
    contact: str | None = None
    zone: str = ""
    units: str = ""
    currency: str = ""
    language: str = ""
    settle_first_minutes: int | None = None
    claims_per_technician: int | None = None
    recheck_probability: float | None = None
    string_hours: float | None = None
    string_days: int | None = None
    shop_rate: float | None = None
    humidity_low: Quantity | None = None
    humidity_high: Quantity | None = None
    everything_at_the_end: bool | None = None
    prices: dict[str, Any] = field(default_factory=dict)
    """Minutes of readings and adjustments, and what a mistake costs: what the plans reckon with."""
    minutes: list[WorkMinutes] = field(default_factory=list)
    """Where the minutes of each reading and adjustment come from."""
    opening_hours: list[OpeningHours] = field(default_factory=list)


@dataclass(kw_only=True)
class Closure(Stored):
    """A day on which the shop keeps other hours, or none."""

    day: str = ""
    reason: str = ""
    opens: str | None = None
    closes: str | None = None
    bookings: list[str] = field(default_factory=list)
    """Of one that was just added: the bookings that it shuts out."""


@dataclass(kw_only=True)
class Shift(Record):
    """When a technician works on one weekday, 1 = Monday."""

    weekday: int = 0
    starts: str = ""
    ends: str = ""


@dataclass(kw_only=True)
class Technician(Stored):
    """Somebody who works at a bench."""

    name: str = ""
    active: bool = True
    skills: list[str] = field(default_factory=list)
    shifts: list[Shift] = field(default_factory=list)


@dataclass(kw_only=True)
class Absence(Stored):
    """Days on which a technician is away, or hours of one day."""

    technician_id: str = ""
    first: str = ""
    last: str = ""
    starts: str | None = None
    ends: str | None = None
    uncovered: list[str] = field(default_factory=list)
    """Of one that was just added: the bookings that nobody else has bench minutes for."""


@dataclass(kw_only=True)
class Bench(Stored):
    """A bench."""

    name: str = ""
    active: bool = True
    skills: list[str] = field(default_factory=list)


@dataclass(kw_only=True)
class Tool(Stored):
    """A measuring tool, with what it resolves and how well it repeats."""

    name: str = ""
    quantities: list[str] = field(default_factory=list)
    resolution: Quantity | None = None
    repeatability: Quantity | None = None
    bench_id: str | None = None
    checked_at: datetime | None = None
    active: bool = True


@dataclass(kw_only=True)
class StringOfSet(Record):
    """One string of a set; string 1 is the outermost on the treble side."""

    number: int = 0
    gauge: Quantity | None = None
    wound: bool = False
    material: str = ""
    core: Quantity | None = None
    core_shape: str | None = None
    wrap: Quantity | None = None
    wrap_material: str | None = None
    linear_density: Quantity | None = None
    linear_density_source: str | None = None
    note: str | None = None


@dataclass(kw_only=True)
class StringSet(Stored):
    """A set of strings."""

    name: str = ""
    built_for: str = ""
    strings: list[StringOfSet] = field(default_factory=list)


@dataclass(kw_only=True)
class Tuning(Stored):
    """Open notes from string 1, and the reference pitch."""

    name: str = ""
    notes: list[str] = field(default_factory=list)
    reference_pitch: Quantity | None = None


@dataclass(kw_only=True)
class InstrumentModel(Stored):
    """A kind of instrument with its geometry and hardware; bridge, rod and nut as they travel."""

    maker: str = ""
    name: str = ""
    kind: str = ""
    built_for: str = ""
    strings: int | None = None
    scale_bass: Quantity | None = None
    scale_treble: Quantity | None = None
    perpendicular_fret: float | None = None
    frets: int | None = None
    body_joint_fret: float | None = None
    radius_nut: Quantity | None = None
    radius_body_end: Quantity | None = None
    bridge: dict[str, Any] = field(default_factory=dict)
    truss_rod: dict[str, Any] = field(default_factory=dict)
    nut: dict[str, Any] = field(default_factory=dict)
    neck_joint: dict[str, Any] = field(default_factory=dict)
    pickups: list[dict[str, Any]] = field(default_factory=list)
    parts: list[dict[str, Any]] = field(default_factory=list)
    greatest_pull: Quantity | None = None
    named_consents: bool | None = None
    delicate_finish: bool | None = None
    string_set_id: str | None = None
    tuning_id: str | None = None
    notes: str | None = None
    lacks: list[Any] = field(default_factory=list)
    """What the plan needs and this model does not say."""


@dataclass(kw_only=True)
class Owner(Stored):
    """Who an instrument belongs to."""

    name: str = ""
    email: str | None = None
    phone: str | None = None
    note: str | None = None
    units: str | None = None
    language: str | None = None


@dataclass(kw_only=True)
class Instrument(Stored):
    """One instrument of a model."""

    model_id: str = ""
    owner_id: str | None = None
    serial: str | None = None
    nickname: str | None = None
    made_in: int | None = None
    handedness: str | None = None
    string_set_id: str | None = None
    tuning_id: str | None = None
    notes: str | None = None


@dataclass(kw_only=True)
class SpecSource(Record):
    """Where an item of a resolved spec comes from."""

    scope: str = ""
    spec_id: str = ""
    number: int | None = None


@dataclass(kw_only=True)
class SpecItem(Record):
    """Target and limits of one quantity, with the frets that they are meant at."""

    quantity: str = ""
    side: str | None = None
    string: int | None = None
    pickup: str | None = None
    target: Quantity | None = None
    lower: Quantity | None = None
    upper: Quantity | None = None
    held: list[int] = field(default_factory=list)
    fret: int | None = None
    from_: SpecSource | None = None


@dataclass(kw_only=True)
class SetupSpec(Stored):
    """Targets of one scope, or resolved from all that apply."""

    scope: str | None = None
    kind: str | None = None
    number: int | None = None
    reason: str | None = None
    items: list[SpecItem] = field(default_factory=list)


@dataclass(kw_only=True)
class ApiKey(Stored):
    """An API key; its secret is told once, when it is made."""

    name: str = ""
    scope: str = ""
    bench_id: str | None = None
    secret: str | None = field(default=None, repr=False)
    expires_at: datetime | None = None
    revoked_at: datetime | None = None
