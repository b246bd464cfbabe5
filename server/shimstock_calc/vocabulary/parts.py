"""What a technician turns, files, shims or moves: each part with all that is said of it.

A word stands here three times: for the type checker, as a member of the enum, and in its record.
What moves a quantity stands with the quantity.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType
from typing import Literal, TypeAlias

PartWord: TypeAlias = Literal[
    "truss-rod",
    "strings",
    "bridge-post",
    "saddle-screw",
    "saddle",
    "saddle-position",
    "nut-slot",
    "spring-claw",
    "neck-shim",
    "pickup-screw",
    "tailpiece",
    "frets",
    "tuners",
    "instrument",
]


class Part(StrEnum):
    """What a technician turns, files, shims or moves."""

    TRUSS_ROD = "truss-rod"
    STRINGS = "strings"
    BRIDGE_POST = "bridge-post"
    SADDLE_SCREW = "saddle-screw"
    SADDLE = "saddle"
    SADDLE_POSITION = "saddle-position"
    NUT_SLOT = "nut-slot"
    SPRING_CLAW = "spring-claw"
    NECK_SHIM = "neck-shim"
    PICKUP_SCREW = "pickup-screw"
    TAILPIECE = "tailpiece"
    FRETS = "frets"
    TUNERS = "tuners"
    INSTRUMENT = "instrument"

    @property
    def term(self) -> PartTerm:
        """All that is said of it."""
        return PARTS[self.value]


ConsentWord: TypeAlias = Literal["nut-filing", "saddle-filing", "fret-work", "high-pull"]


class ConsentKind(StrEnum):
    """What the owner says yes or no to; everything but `general` names a step that cannot be undone."""

    GENERAL = "general"
    NUT_FILING = "nut-filing"
    SADDLE_FILING = "saddle-filing"
    FRET_WORK = "fret-work"
    HIGH_PULL = "high-pull"


@dataclass(frozen=True)
class Way:
    """A direction in which parts are moved, and its opposite; the first is positive.

    Parameters
    ----------
    verb : str
        The name of the direction.
    more, less : tuple of str
        Words for either way as they are typed, the usual one first.
    unit : "turn" or "mm"
        In which a move is told.
    """

    verb: str
    more: tuple[str, ...]
    less: tuple[str, ...]
    unit: Literal["turn", "mm"] = "turn"


TIGHTEN = Way("tighten", ("tighten", "tightened"), ("loosen", "loosened"))
RAISE = Way("raise", ("raise", "raised", "up"), ("lower", "lowered", "down"))
AWAY = Way("away", ("away",), ("toward", "towards"))
FILE = Way("file", ("file", "filed", "sand", "sanded"), ("shim", "shimmed", "fill", "filled"), unit="mm")
WAYS: tuple[Way, ...] = (TIGHTEN, RAISE, AWAY, FILE)


@dataclass(frozen=True)
class PartTerm:
    """One part of the trade.

    Parameters
    ----------
    word : str
        As it travels.
    ways : tuple of Way
        Which way it moves, as typed at the prompt; empty where nothing is measured, or without a direction.
    told : (str, str)
        What a move of it is called, positive and negative, in the present.
    done : (str, str) or None
        The texts of the card that say so in the past; None where only the note tells.
    places : tuple of str
        How each is named where there are several, the usual way first; a part of each string names it first.
    consent : str or None
        What the owner agrees to before something is taken off that does not come back; None = reversible.
    minutes : float or None
        What an adjustment costs [bench minutes]; judgement. None where the plan sets no price.
    measured : bool
        Whether it is turned, filed or moved by so and so much; else it is simply done.
    until_seen : bool
        Whether the plan says until when it is moved, not how far.
    lifts : bool
        Whether it raises the strings' far end.
    detunes : bool
        Whether the strings are tuned after it.
    slow : bool
        Whether the neck answers it slowly, so that it rests after it.
    short : tuple of str
        What it is called at the prompt, beside its word.
    example : str
        How its adjustment is typed at the prompt; empty where it is not.
    """

    word: PartWord
    ways: tuple[Way, ...] = ()
    told: tuple[str, str] = ("raise", "lower")
    done: tuple[str, str] | None = None
    places: tuple[Literal["side", "string"], ...] = ()
    consent: ConsentWord | None = None
    minutes: float | None = None
    measured: bool = True
    until_seen: bool = False
    lifts: bool = False
    detunes: bool = False
    slow: bool = False
    short: tuple[str, ...] = ()
    example: str = ""

    @property
    def of_a_string(self) -> bool:
        """Whether each string has one of its own."""
        return self.places[:1] == ("string",)

    @property
    def is_filed(self) -> bool:
        """Whether its amount is what was taken off."""
        return FILE in self.ways


_RAISED = ("raised", "lowered")
_TURNED = ("tightened", "loosened")

_TERMS = (
    PartTerm("strings", measured=False, slow=True, example="strings"),
    PartTerm(
        "truss-rod",
        ways=(TIGHTEN,),
        told=("tighten", "loosen"),
        done=_TURNED,
        minutes=1.0,
        detunes=True,
        slow=True,
        short=("rod",),
        example="rod tighten 1/4",
    ),
    PartTerm(
        "neck-shim",
        told=("", ""),
        done=("shim_fitted", "shim_removed"),
        short=("shim",),
        example="shim 0.5mm",
    ),
    PartTerm(
        "spring-claw",
        ways=(TIGHTEN,),
        told=("tighten", "loosen"),
        done=_TURNED,
        minutes=5.0,
        detunes=True,
        short=("claw",),
        example="claw tighten 1/2",
    ),
    PartTerm(
        "nut-slot",
        ways=(FILE,),
        told=("take off", "fill by"),
        done=("filed", "built_up"),
        places=("string", "side"),
        consent="nut-filing",
        minutes=1.0,
        short=("nut",),
        example="nut 2 file 0.05mm",
    ),
    PartTerm(
        "bridge-post",
        ways=(RAISE,),
        done=_RAISED,
        places=("side",),
        minutes=1.5,
        lifts=True,
        detunes=True,
        short=("post",),
        example="post bass lower 1/8",
    ),
    PartTerm("tailpiece", ways=(RAISE,), done=_RAISED, until_seen=True, example="tailpiece raise 1"),
    PartTerm(
        "saddle-screw",
        ways=(RAISE,),
        done=_RAISED,
        places=("string", "side"),
        minutes=1.5,
        lifts=True,
        detunes=True,
        short=("screw",),
        example="screw 3 raise 1/4",
    ),
    PartTerm(
        "saddle",
        ways=(AWAY, FILE),
        told=("take off", "shim by"),
        done=("taken_down", "shimmed_up"),
        places=("side", "string"),
        consent="saddle-filing",
        minutes=15.0,
        lifts=True,
        detunes=True,
        example="saddle 3 away 4 1/8, or for a fixed saddle: saddle bass file 1.2mm",
    ),
    PartTerm(
        "saddle-position",  # typed as a way of the saddle
        told=("away from the nut", "toward the nut"),
        done=("away", "toward"),
        places=("string", "side"),
        minutes=1.5,
    ),
    PartTerm(
        "pickup-screw",
        ways=(RAISE,),
        done=_RAISED,
        places=("side", "string"),
        minutes=0.5,
        short=("pickup",),
        example="pickup neck bass raise 1/2",
    ),
    PartTerm("frets", measured=False, consent="fret-work", example="frets"),
    PartTerm("tuners", measured=False, example="tuners"),
    PartTerm("instrument", measured=False),
)

PARTS: Mapping[PartWord, PartTerm] = MappingProxyType({term.word: term for term in _TERMS})
"""Every part, in the order in which the card tells of them."""
