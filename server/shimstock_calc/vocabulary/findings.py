"""What a look over can find: each finding with what it means for the job.

A word stands here three times: for the type checker, as a member of the enum, and in its record.
Common practice, no published source.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType
from typing import Literal, TypeAlias

FindingWord: TypeAlias = Literal[
    "frets-worn",
    "fret-high",
    "fret-loose",
    "fret-ends-sharp",
    "rise-at-the-end",
    "crack",
    "bridge-lifting",
    "belly",
    "neck-angle-low",
    "neck-joint-loose",
    "twist",
    "rod-stiff",
    "rod-creaks",
    "rod-no-response",
    "rod-broken",
    "nut-cracked",
    "nut-slot-low",
    "tuner-slips",
    "string-damaged",
    "plate-level",
    "plate-tail-high",
    "plate-tail-low",
    "saddle-pickup-uneven",
]


class FindingCode(StrEnum):
    """What a look over can find."""

    FRETS_WORN = "frets-worn"
    FRET_HIGH = "fret-high"
    FRET_LOOSE = "fret-loose"
    FRET_ENDS_SHARP = "fret-ends-sharp"
    RISE_AT_THE_END = "rise-at-the-end"
    CRACK = "crack"
    BRIDGE_LIFTING = "bridge-lifting"
    BELLY = "belly"
    NECK_ANGLE_LOW = "neck-angle-low"
    NECK_JOINT_LOOSE = "neck-joint-loose"
    TWIST = "twist"
    ROD_STIFF = "rod-stiff"
    ROD_CREAKS = "rod-creaks"
    ROD_NO_RESPONSE = "rod-no-response"
    ROD_BROKEN = "rod-broken"
    NUT_CRACKED = "nut-cracked"
    NUT_SLOT_LOW = "nut-slot-low"
    TUNER_SLIPS = "tuner-slips"
    STRING_DAMAGED = "string-damaged"
    PLATE_LEVEL = "plate-level"
    PLATE_TAIL_HIGH = "plate-tail-high"
    PLATE_TAIL_LOW = "plate-tail-low"
    SADDLE_PICKUP_UNEVEN = "saddle-pickup-uneven"


@dataclass(frozen=True)
class FindingTerm:
    """What a finding says, what to quote for, and which work it rules out until repaired.

    Parameters
    ----------
    word : str
        As it travels.
    text : str
        In a sentence, with {fret} where it has one; empty where the plan acts on it without a word.
    quote : tuple of str
        What is to be done.
    blocks : tuple of str
        Kinds of work that wait for it.
    within_setup : bool
        Whether what is to be done is no repair: nothing is quoted.
    of_frets : bool
        Whether it is about the frets: work on them ends it, and dry air excuses it.
    """

    word: FindingWord
    text: str = ""
    quote: tuple[str, ...] = ()
    blocks: tuple[str, ...] = ()
    within_setup: bool = False
    of_frets: bool = False


_STRUCTURE = ("restring", "relief", "nut", "action", "saddle-filing")

_TERMS = (
    FindingTerm(
        "frets-worn",
        "frets are worn",
        (
            "level and crown the frets, or replace them, before nut or saddle are filed to them",
            "when the owner says no to fret work the rest is planned on them as they are",
        ),
        ("filing",),
        of_frets=True,
    ),
    FindingTerm(
        "fret-high",
        "fret {fret} is high",
        ("seat it, or level and crown the frets",),
        ("filing",),
        of_frets=True,
    ),
    FindingTerm(
        "fret-loose",
        "fret {fret} is loose",
        ("seat and glue it, then level it",),
        ("filing",),
        of_frets=True,
    ),
    FindingTerm(
        "fret-ends-sharp",
        "fret ends are sharp: the board has dried",
        ("dress the fret ends",),
        of_frets=True,
    ),
    FindingTerm(
        "rise-at-the-end",
        "the board rises at its end",
        ("level the last frets",),
        of_frets=True,
    ),
    FindingTerm("crack", "there is a crack", ("repair the crack before string pull is changed",), _STRUCTURE),
    FindingTerm(
        "bridge-lifting",
        "the bridge lifts",
        ("reglue the bridge before anything else", "the strings stay slack until then"),
        _STRUCTURE,
    ),
    FindingTerm(
        "belly",
        "the top bellies behind the bridge",
        ("check the braces; string pull stays as it is",),
        ("more-pull",),
    ),
    FindingTerm("neck-angle-low", "a straightedge on the frets meets the bridge too low", ("neck angle",)),
    FindingTerm(
        "neck-joint-loose",
        "the neck joint moves",
        ("tighten or reglue the neck joint before anything else", "the strings stay slack until then"),
        _STRUCTURE,
    ),
    FindingTerm("twist", "the neck is twisted", ("fret work or a heat treatment, by a repairer",)),
    FindingTerm(
        "rod-stiff",
        "the truss rod is stiff: it is not forced",
        ("free or replace the truss rod",),
        ("relief",),
    ),
    FindingTerm(
        "rod-creaks",
        "the truss rod creaks: it is not turned further",
        ("free or replace the truss rod",),
        ("relief",),
    ),
    FindingTerm(
        "rod-no-response", "relief does not follow the truss rod", ("repair of the truss rod",), ("relief",)
    ),
    FindingTerm(
        "rod-broken", "the truss rod is broken", ("repair of the truss rod: a major repair",), ("relief",)
    ),
    FindingTerm("nut-cracked", "the nut is cracked", ("a new nut",), ("nut",)),
    FindingTerm("nut-slot-low", "a nut slot is too low", ("fill the slot or replace the nut",)),
    FindingTerm(
        "tuner-slips", "a tuner slips: check the pitch at every reading", ("tighten or replace the tuner",)
    ),
    FindingTerm(
        "string-damaged",
        "a string is damaged and may break: mind your eyes",
        ("fit new strings before intonation is read",),
        within_setup=True,
    ),
    FindingTerm(
        "saddle-pickup-uneven",
        "the undersaddle pickup sounds uneven",
        ("true the slot and the saddle's underside",),
    ),
    FindingTerm("plate-level"),
    FindingTerm("plate-tail-high"),
    FindingTerm("plate-tail-low"),
)

FINDINGS: Mapping[FindingWord, FindingTerm] = MappingProxyType({term.word: term for term in _TERMS})
"""Every finding."""
