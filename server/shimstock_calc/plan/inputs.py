"""What the plan is made from."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import cached_property
from typing import Literal, TypeAlias

from ..vocabulary import (
    PARTS,
    QUANTITIES,
    BridgeWord,
    ConsentWord,
    FindingWord,
    KindWord,
    PartWord,
    QuantityWord,
    RodKindWord,
    SideWord,
)

Kind: TypeAlias = KindWord
Side: TypeAlias = SideWord
Quantity: TypeAlias = QuantityWord
BridgeKind: TypeAlias = BridgeWord
RodKind: TypeAlias = RodKindWord
Part: TypeAlias = PartWord


# ---------------------------------------------------------------- the instrument


@dataclass(frozen=True)
class InstrumentString:
    """One string as fitted or as wanted."""

    number: int
    """1 = outermost on the treble side."""
    frequency: float
    """Open pitch [Hz]."""
    gauge: float | None = None
    """Outside diameter [mm]."""
    linear_density: float | None = None
    """[g/m]; without it the string's pull cannot be computed."""
    core_diameter: float | None = None
    """Plain strings: the gauge [mm]."""
    core_shape: Literal["round", "hex"] = "round"
    material: Literal["steel", "nylon", "fluorocarbon", "gut"] = "steel"
    """Material of what carries the pull."""
    wound: bool = False
    note: str | None = None
    """Open note, for words only ("E4")."""
    course: int | None = None
    """Course on an instrument with pairs of strings."""
    course_role: Literal["principal", "octave", "unison"] | None = None


@dataclass(frozen=True)
class StringSet:
    """A set of strings with the pitches they are meant for."""

    name: str
    strings: tuple[InstrumentString, ...]


@dataclass(frozen=True)
class Bridge:
    """What raises, lowers and moves the strings' far end. Fields that a kind does not have stay None."""

    kind: BridgeKind
    post_spacing: float | None = None
    """Between the two height screws or pivots of a bridge that stands on two [mm]."""
    string_spread: float | None = None
    """Between the outermost strings at the bridge [mm]."""
    height_thread_pitch: float | None = None
    """Of posts, thumbwheels, pivots or the saddles' height screws [mm per turn]."""
    screws_per_saddle: int = 1
    """Height screws a saddle: 1 or 2."""
    height_left_up: float | None = None
    """How far the bridge or saddles can still rise [mm]; None = unknown."""
    height_left_down: float | None = None
    """How far they can still sink [mm]; None = unknown."""
    intonation_screw_pitch: float | None = None
    """[mm per turn]; None = not adjustable by a screw."""
    intonation_screw_head: Literal["tail", "nut"] = "tail"
    travel_away: tuple[tuple[int, float], ...] = ()
    """Travel left away from the nut, per string number [mm]; strings not named: unknown."""
    travel_toward: tuple[tuple[int, float], ...] = ()
    """Travel left toward the nut, per string number [mm]."""
    saddle_total_height: tuple[float, float] | None = None
    """Fixed saddle: its whole height on the bass and treble side, what stands in the slot included [mm]."""
    undersaddle_pickup: bool = False
    left_hand_thread: bool = False
    """Height thread is left-handed: every turning direction is reversed."""
    springs: int | None = None
    """Springs hooked on a tremolo's claw."""


@dataclass(frozen=True)
class TrussRod:
    """The rod in the neck."""

    kind: RodKind
    reversed: bool | None = False
    """True when anticlockwise tightens; None = not known yet: the first eighth of a turn is a test."""
    wrench_end: Literal["head", "body"] | None = None
    turns_left_tighten: float | None = None
    """Turns that it can still be tightened; None = unknown."""
    turns_left_loosen: float | None = None
    """Turns that it can still be loosened; 0 = its nut is loose; None = unknown."""
    free_play: float = 0.0
    """Turns in the middle of a dual-action rod that move nothing."""


@dataclass(frozen=True)
class Pickup:
    """A pickup whose height can be set."""

    name: str
    screw: Literal["ring", "body"] | None = "ring"
    """`ring`: screws run through a ring or guard, clockwise raises; `body`: through the pickup into the body,
    clockwise lowers; None: no screws (the height cannot be set)."""
    thread_pitch: float | None = None
    """[mm per turn]."""


@dataclass(frozen=True)
class Nut:
    """The nut."""

    slot_widths: tuple[tuple[int, float], ...] = ()
    """Width of each slot where known, per string number [mm]."""
    locking: bool = False
    """A clamping nut is shimmed or exchanged, never filed."""
    zero_fret: bool = False
    """A fret at the nut carries the strings: its height counts, not that of the slots."""


@dataclass(frozen=True)
class NeckJoint:
    """How the neck sits on the body."""

    kind: Literal["bolt-on", "set", "through"] = "set"
    pocket_length: float | None = None
    """Length of a bolt-on neck's pocket along the strings [mm]."""
    pocket_front: float | None = None
    """Distance from the nut to the pocket's front edge [mm]; None = at the body joint fret."""


@dataclass(frozen=True)
class Instrument:
    """The geometry and hardware that the plan reckons with."""

    kind: Kind
    strings: tuple[InstrumentString, ...]
    scale_bass: float
    scale_treble: float
    frets: int
    body_joint_fret: float
    bridge: Bridge
    rod: TrussRod
    built_for: Literal["steel", "nylon"] = "steel"
    perpendicular_fret: float = 0.0
    radius_nut: float | None = None
    """Fretboard radius at the nut [mm]; None = flat."""
    radius_end: float | None = None
    """Fretboard radius at the board's body end [mm]; None = flat."""
    left_handed: bool = False
    nut: Nut = field(default_factory=Nut)
    neck_joint: NeckJoint = field(default_factory=NeckJoint)
    pickups: tuple[Pickup, ...] = ()
    max_total_pull: float | None = None
    """Most that all strings together may pull [N]; None = not stated."""
    delicate: bool = False
    """Old, valuable, lightly braced: an irreversible step needs a consent that names it."""
    delicate_finish: bool = False
    """Old nitrocellulose or celluloid: no flame, no heat, no solvent."""

    @cached_property
    def numbers(self) -> tuple[int, ...]:
        """Numbers of the strings, from the treble side."""
        return tuple(sorted(string.number for string in self.strings))


# ---------------------------------------------------------------- spec, readings, what was done


@dataclass(frozen=True)
class SpecItem:
    """Target and tolerance of one quantity, with the frets that they are meant at."""

    quantity: Quantity
    target: float
    lower: float | None = None
    upper: float | None = None
    side: Side | None = None
    """None = holds for both sides."""
    string: int | None = None
    """None = holds for every string."""
    pickup: str | None = None
    """None = holds for every pickup."""
    fret: int | None = None
    """Fret at which it is read (relief, action, intonation)."""
    held: tuple[int, ...] = ()
    """Frets at which the string is held: two for relief, the last for pickup height."""
    source: str = "shop default"
    """Where it came from: shop default, model, instrument, this job."""


@dataclass(frozen=True)
class BenchOffset:
    """By how much a bench reads a quantity too high with a tool: one number for the whole job [mm; cents]."""

    bench: str
    """Name of the bench; empty = not said."""
    mean: float
    sd: float = 0.0
    """Standard uncertainty of the mean."""
    reproducibility: float = 0.0
    """How far benches still differ, from each other or from piece to piece: standard deviation."""
    source: str = ""
    """The study or check piece that found it."""

    @property
    def spread(self) -> float:
        """Standard deviation of what is not known of it."""
        return math.hypot(self.sd, self.reproducibility)


@dataclass(frozen=True)
class Reading:
    """One reading as normalised by the service; newest = largest `order`."""

    id: str
    quantity: Quantity
    value: float | None
    """Less the bench's offset [mm] or [cents]; None only together with `zero_or_less`."""
    order: int
    """Rank of (taken_at, id) among all readings and adjustments of the job."""
    at: float = 0.0
    """When it was taken, on the same clock as the adjustments [min]."""
    side: Side | None = None
    string: int | None = None
    pickup: str | None = None
    fret: int | None = None
    held: tuple[int, ...] = ()
    """Relief: the two hold frets. Nut action: empty, or (3,) for the gap with the string held at fret 3."""
    method: Literal["string", "straightedge", "open string", "tuner"] | None = None
    zero_or_less: bool = False
    """The string touched: the value lies at or below zero."""
    tool: str | None = None
    resolution: float | None = None
    repeatability: float | None = None
    repeatability_source: str | None = None
    """The study that found how well this bench repeats; None = the tool's own figure."""
    noise: float = 1.0
    """How much more the tool scatters than that, as this bench's earlier readings have shown [-]."""
    offset: BenchOffset | None = None
    """What was taken off the value; None = nothing is known of the bench with this tool."""
    position: Literal["playing", "on-back"] = "playing"
    capo: int | None = None
    """Fret of the capo, None = no capo."""
    at_pitch: bool = True
    """Every string within 5 cents of its pitch when the reading was taken."""
    acclimatised: bool = True
    humidity: float | None = None
    """Relative humidity of the room [%]."""
    confirmed: bool = False
    """It was looked at twice, so that it stands for two readings."""
    accepted: bool = False
    """The technician accepts a reading that is too close to call, with a note."""


@dataclass(frozen=True)
class Adjustment:
    """What a technician did."""

    id: str
    part: Part
    order: int
    at: float = 0.0
    turns: float | None = None
    """Signed as the module says [turns]."""
    amount: float | None = None
    """Signed as the module says [mm]."""
    side: Side | None = None
    string: int | None = None
    pickup: str | None = None
    pull_change: float | None = None
    """How much harder new strings pull than those before them [N]; None = not known."""


@dataclass(frozen=True)
class Finding:
    """Something seen while looking over the instrument."""

    code: FindingWord
    order: int = 0
    fret: int | None = None
    string: int | None = None
    note: str = ""


@dataclass(frozen=True)
class Consent:
    """What the owner said about steps that cannot be undone."""

    id: str
    given: bool
    """False = refused."""
    steps: tuple[ConsentWord, ...] = ()
    """Empty = general, as asked for at check-in."""


@dataclass(frozen=True)
class Wanted:
    """What the owner asked for beyond the spec."""

    restring: bool = False
    """New strings are wanted; an adjustment of the strings in this job counts as done."""
    strings: StringSet | None = None
    """The new set; None = the same set again."""


@dataclass(frozen=True)
class RodResponse:
    """Change of relief per turn of tightening, held at the first and last fret [mm per turn]."""

    mean: float = -0.40
    sd: float = 0.16
    samples: int = 0
    """Jobs that it was learned from."""
    source: str = "stated prior; no samples of this model yet"
    parts: tuple[float, ...] = ()
    """What comes at once, with 45 min, with 400 min [mm per turn]; empty = the stated split of the mean."""
    covariance: tuple[float, ...] = ()
    """Of the parts, the lower triangle row by row [(mm per turn)²]; empty = the stated one."""


@dataclass(frozen=True)
class Responses:
    """What is known about how this instrument answers, for relief held at the first and last fret."""

    rod: RodResponse = field(default_factory=RodResponse)
    coupling: tuple[float, float] = (0.0, 0.0)
    """What d(action)/d(relief) and d(nut action)/d(relief) are beyond the geometry [-]."""
    coupling_sd: float = 0.3
    """Standard uncertainty of the first [-]; judgement: a bend in one place gives ± 0.3."""
    nut_coupling_sd: float = 0.1
    """Standard uncertainty of the second [-]; judgement."""
    neck_compliance: float | None = None
    """Change of relief per newton of pull [mm/N]; None = beam estimate, uncertain by a factor 2."""
    neck_compliance_sd: float = 0.0
    """Standard uncertainty of a learned one [mm/N]."""
    neck_compliance_source: str = "learned from this model's restrings"


LEAST_REST = 60.0
"""Least rest after the last turn of the rod or change of strings, whatever the shop says [min]; judgement."""


@dataclass(frozen=True)
class Prices:
    """What a shop reckons with; judgement, settings of the shop.

    Attributes
    ----------
    wrong : float
        What an instrument costs that goes out wrong [bench minutes].
    prompt, visit : float
        What it costs to be told something, and to come back to the bench [bench minutes].
    retune, retune_floating : float
        What tuning costs after an adjustment that detunes, on a bridge that stands and one that floats
        [bench minutes].
    reading, adjustment : mapping
        What a reading (a side, a string) and an adjustment cost [bench minutes].
    """

    wrong: float = 160.0
    prompt: float = 1.0
    visit: float = 10.0
    retune: float = 2.0
    retune_floating: float = 4.0
    reading: dict[Quantity, float] = field(
        default_factory=lambda: {word: term.minutes for word, term in QUANTITIES.items()}
    )
    adjustment: dict[Part, float] = field(
        default_factory=lambda: {
            word: term.minutes for word, term in PARTS.items() if term.minutes is not None
        }
    )


@dataclass(frozen=True)
class Settings:
    """The shop's own thresholds."""

    settle_minutes: float = 120.0
    """Rest after the last turn of the rod or change of strings [min]; `LEAST_REST` at the least."""
    humidity_low: float = 35.0
    humidity_high: float = 60.0
    everything_at_the_end: bool = False
    """Whether the final readings take in every quantity, or those alone that have moved since they
    were read."""
    prices: Prices = field(default_factory=Prices)
    """What readings, adjustments and mistakes cost."""
    least_saddle_out: float | None = None
    """Least height of a fixed saddle above its slot [mm]; None = 2.0 for steel, 1.5 for nylon."""

    @property
    def rest(self) -> float:
        """How long a neck rests [min]."""
        return max(self.settle_minutes, LEAST_REST)


@dataclass(frozen=True)
class PlanInput:
    """Everything that the plan depends on; the same input gives the same plan."""

    instrument: Instrument
    """With the strings that are on it now."""
    spec: tuple[SpecItem, ...]
    readings: tuple[Reading, ...] = ()
    adjustments: tuple[Adjustment, ...] = ()
    findings: tuple[Finding, ...] = ()
    looked_over: bool = True
    """False puts looking over the instrument first."""
    wanted: Wanted = field(default_factory=Wanted)
    other_sets: tuple[StringSet, ...] = ()
    """Sets that the shop could fit instead; weighed when the rod cannot give what is needed."""
    responses: Responses = field(default_factory=Responses)
    consents: tuple[Consent, ...] = ()
    settings: Settings = field(default_factory=Settings)
