"""What a reading sheet can hold and a setup spec can ask for: each quantity with all that is said of it.

A word stands here three times: for the type checker, as a member of the enum, and in its record.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from types import MappingProxyType
from typing import Literal, TypeAlias

from .instruments import KindWord
from .parts import PARTS, PartWord

QuantityWord: TypeAlias = Literal[
    "relief",
    "action",
    "nut-action",
    "pickup-height",
    "intonation",
    "break-clearance",
    "twist",
    "saddle-out",
]


class Quantity(StrEnum):
    """What a reading sheet can hold, and a setup spec can ask for."""

    RELIEF = "relief"
    ACTION = "action"
    NUT_ACTION = "nut-action"
    PICKUP_HEIGHT = "pickup-height"
    INTONATION = "intonation"
    BREAK_CLEARANCE = "break-clearance"
    TWIST = "twist"
    SADDLE_OUT = "saddle-out"

    @property
    def term(self) -> QuantityTerm:
        """All that is said of it."""
        return QUANTITIES[self.value]


Place: TypeAlias = Literal["neck", "across", "side or string", "string"]
Mark: TypeAlias = Literal["side", "string", "pickup"]


@dataclass(frozen=True)
class QuantityTerm:
    """One quantity of the trade.

    Attributes
    ----------
    word : str
        As it travels.
    name, title, explained : str
        In a sentence, at the head of a line, and in a few words with {low}, {high} and {fret}.
    dimension : "length" or "pitch difference"
        What it is; values are kept in mm or cents.
    inch : str
        The unit in which it is told to somebody who thinks in inches, and typed when none is written.
    place : str
        Where it is read: on the neck or one of its sides, across both sides as their difference, on a side
        or string, on a string.
    told_apart_by : frozenset of str
        What a setup spec can name its place by.
    outer_is_side : bool
        Whether a reading at an outermost string is one of that side.
    fret : int or None
        Where it is read when a spec does not say; None where the fret is not of one's choice.
    plausible, plausible_on : (low, high), and by kind of instrument
        What a reading can be without being confirmed [mm; cents]; judgement.
    aims : (low, high)
        Where a spec's target can lie [mm; cents]; judgement.
    width : float
        Width of the range over which a wrong reading may lie anywhere [mm; cents]; judgement.
    coarsest : (resolution, repeatability)
        Of the coarsest usual tool [mm; cents]; repeatabilities from memory.
    by_rule : bool
        Whether it is read with a rule, in 64ths of an inch; the others in thousandths; common practice.
    minutes : float
        What a reading costs, on a side or a string [bench minutes]; judgement.
    moved_by : frozenset of str
        Parts whose adjustment changes it.
    adjusted_by : frozenset of str
        Parts that are adjusted for its sake: it is read before anything more is done to it.
    part : str or None
        The part whose price decides whether it is adjusted; None where the bridge decides, or none does.
    prompt : int
        The prompt in which it is read again: 1 the neck, 2 nut and bridge, 3 what follows them; judgement.
    has_step : bool
        Whether a step of the plan is about it; the others are only read.
    follows_air : bool
        Whether there is no verdict on it while the instrument is cold or the room too dry or damp.
    follows_height : bool
        Whether what raises the strings changes it by an amount that is known where its own is recorded.
    told_as : str
        The kind of value that it is told as; its own word unless said otherwise.
    short : tuple of str
        What else it is called at the prompt.
    example : str
        How it is typed at the prompt.
    """

    word: QuantityWord
    name: str
    title: str
    explained: str
    example: str
    place: Place
    plausible: tuple[float, float]
    aims: tuple[float, float]
    width: float
    coarsest: tuple[float, float]
    minutes: float
    moved_by: frozenset[PartWord]
    adjusted_by: frozenset[PartWord] = frozenset()
    part: PartWord | None = None
    dimension: Literal["length", "pitch difference"] = "length"
    inch: Literal["thou", "in/64", "cents"] = "thou"
    told_apart_by: frozenset[Mark] = frozenset()
    outer_is_side: bool = False
    fret: int | None = None
    plausible_on: Mapping[KindWord, tuple[float, float]] = field(default_factory=dict)
    by_rule: bool = False
    prompt: int = 3
    has_step: bool = False
    follows_air: bool = False
    follows_height: bool = False
    told_as: str = ""
    short: tuple[str, ...] = ()

    @property
    def unit(self) -> Literal["mm", "cents"]:
        """The unit in which values are kept."""
        return "mm" if self.dimension == "length" else "cents"

    @property
    def kind_of_value(self) -> str:
        """The kind of value that it is told as."""
        return self.told_as or self.word


_SIDE: frozenset[Mark] = frozenset({"side"})
_SIDE_OR_STRING: frozenset[Mark] = frozenset({"side", "string"})
_LIFTED: frozenset[PartWord] = frozenset(
    {"bridge-post", "saddle-screw", "saddle", "spring-claw", "neck-shim", "strings", "frets"}
)
"""What moves whatever is measured between the strings and the body."""
_BENT: frozenset[PartWord] = frozenset({"truss-rod", "strings", "frets"})

_TERMS = (
    QuantityTerm(
        "relief",
        name="relief",
        title="Relief",
        explained="string held at frets {low} and {high}, read at fret {fret}",
        example="relief 0.45",
        place="neck",
        told_apart_by=_SIDE,
        outer_is_side=True,
        fret=8,
        plausible=(-1.5, 2.5),
        aims=(-1.5, 2.5),
        width=4.0,
        coarsest=(0.05, 0.03),
        minutes=1.0,
        prompt=1,
        moved_by=_BENT | {"spring-claw"},
        adjusted_by=frozenset({"truss-rod", "strings"}),
        part="truss-rod",
        has_step=True,
        follows_air=True,
    ),
    QuantityTerm(
        "twist",
        name="twist",
        title="Twist",
        explained="relief, bass side less treble side",
        example="twist 0.1",
        place="across",
        plausible=(-1.5, 1.5),
        aims=(-2.5, 2.5),
        width=2.0,
        coarsest=(0.05, 0.042),
        minutes=1.0,
        prompt=1,
        moved_by=_BENT,
        follows_air=True,
    ),
    QuantityTerm(
        "nut-action",
        name="nut action",
        title="Nut action",
        explained="open string above fret 1",
        short=("nut",),
        example="nut bass 0.45",
        place="side or string",
        told_apart_by=_SIDE_OR_STRING,
        outer_is_side=True,
        plausible=(0.0, 2.0),
        aims=(0.0, 10.0),
        width=2.0,
        coarsest=(0.25, 0.06),
        minutes=0.75,
        prompt=2,
        moved_by=_LIFTED | _BENT | {"nut-slot"},
        adjusted_by=frozenset({"nut-slot", "strings"}),
        part="nut-slot",
        has_step=True,
        follows_air=True,
        follows_height=True,
    ),
    QuantityTerm(
        "action",
        name="action",
        title="Action",
        explained="open string above fret {fret}",
        example="action bass 2.2mm or action bass 8/64in",
        inch="in/64",
        place="side or string",
        told_apart_by=_SIDE_OR_STRING,
        outer_is_side=True,
        fret=12,
        plausible=(0.5, 6.0),
        plausible_on=MappingProxyType({"classical-nylon": (1.0, 8.0)}),  # nylon strings stand higher
        aims=(0.5, 12.0),
        width=5.5,
        coarsest=(0.5, 0.08),
        by_rule=True,
        minutes=0.5,
        prompt=2,
        moved_by=_LIFTED | _BENT | {"nut-slot"},
        adjusted_by=frozenset({"bridge-post", "saddle-screw", "saddle", "neck-shim", "strings"}),
        has_step=True,
        follows_air=True,
        follows_height=True,
    ),
    QuantityTerm(
        "saddle-out",
        name="height of the saddle above its slot",
        title="Saddle out of its slot",
        explained="height of the saddle above its slot",
        short=("saddle",),
        example="saddle bass 3.2",
        inch="in/64",
        told_as="saddle-height",
        place="side or string",
        told_apart_by=_SIDE,
        outer_is_side=True,
        plausible=(0.0, 8.0),
        aims=(0.0, 8.0),
        width=8.0,
        coarsest=(0.5, 0.08),
        by_rule=True,
        minutes=0.5,
        prompt=2,
        moved_by=frozenset({"saddle"}),
        adjusted_by=frozenset({"saddle"}),
        follows_height=True,
    ),
    QuantityTerm(
        "break-clearance",
        name="break clearance",
        title="Break clearance",
        explained="string to bridge behind the saddle",
        short=("break",),
        example="break 2 0.5",
        place="string",
        told_apart_by=_SIDE_OR_STRING,
        outer_is_side=True,
        plausible=(0.0, 10.0),
        aims=(0.0, 10.0),
        width=10.0,
        coarsest=(0.5, 0.08),
        by_rule=True,
        minutes=0.5,
        moved_by=_LIFTED | {"tailpiece"},
        adjusted_by=frozenset({"tailpiece"}),
        has_step=True,
    ),
    QuantityTerm(
        "pickup-height",
        name="pickup height",
        title="Pickup height",
        explained="to the string held at the last fret",
        short=("pickup",),
        example="pickup bass 2.0 or pickup neck bass 2.0",
        inch="in/64",
        place="side or string",
        told_apart_by=frozenset({"side", "string", "pickup"}),
        outer_is_side=True,
        plausible=(0.3, 10.0),
        aims=(0.3, 10.0),
        width=9.7,
        coarsest=(0.5, 0.08),
        by_rule=True,
        minutes=0.375,
        moved_by=_LIFTED | {"pickup-screw"},  # held at the last fret, beyond the bend: a rod leaves it
        adjusted_by=frozenset({"pickup-screw"}),
        part="pickup-screw",
        has_step=True,
        follows_height=True,
    ),
    QuantityTerm(
        "intonation",
        name="intonation",
        title="Intonation",
        explained="at fret {fret} against the octave of the open string; sharp is positive",
        example="intonation 3 +2.5",
        dimension="pitch difference",
        inch="cents",
        place="string",
        told_apart_by=frozenset({"string"}),
        fret=12,
        plausible=(-60.0, 60.0),
        aims=(-60.0, 60.0),
        width=120.0,
        coarsest=(1.0, 1.2),
        minutes=0.75,
        moved_by=_LIFTED | _BENT | {"saddle-position", "nut-slot"},
        adjusted_by=frozenset({"saddle-position", "strings"}),
        part="saddle-position",
        has_step=True,
        follows_height=True,
    ),
)

QUANTITIES: Mapping[QuantityWord, QuantityTerm] = MappingProxyType({term.word: term for term in _TERMS})
"""Every quantity, in the order in which the trade sets them up."""

GEOMETRY: tuple[QuantityWord, ...] = ("relief", "nut-action", "action")
"""The three readings that fix a string over its neck."""

DISTURBS: Mapping[PartWord, frozenset[QuantityWord]] = MappingProxyType(
    {part: frozenset(term.word for term in _TERMS if part in term.moved_by) for part in PARTS}
)
"""What an adjustment of each part changes."""
