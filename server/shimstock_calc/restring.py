"""What another set or another tuning will do to an instrument, told before the first string is cut."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

from ._checks import positive
from .errors import Contradiction, Missing, OutOfRange, Refused
from .fitted import FittedString, pull, refuse_what_breaks, strength_used
from .neck import COUPLING_SD
from .neck_pull import (
    NeckReadings,
    Spread,
    heights_after,
    neck_compliance,
    pull_for_relief_change,
    relief_change_for,
)
from .nut import slot_width_fits
from .response import Response
from .strings import MATERIALS, breaking_words, inharmonicity
from .wire import SHIGLEY, StrengthFit

__all__ = [
    "FittedString",
    "NeckReadings",
    "RestringForecast",
    "Spread",
    "StringForecast",
    "neck_compliance",
    "pull_for_relief_change",
    "refuse_wrong_build",
    "relief_change_for",
    "restring_forecast",
]

SLOT_PLAY = 0.25
"""Width beyond the gauge from which a slot counts as wide; judgement [mm]."""
SAME_PULL = 0.5
"""Change of total pull below which the neck is left alone; below what a reading shows [N]."""

BuiltFor = Literal["steel", "nylon"]
SlotWidths = Mapping[tuple[int, str], float]


@dataclass(frozen=True)
class StringForecast:
    """One string after the restring.

    Parameters
    ----------
    number : int
        Course, 1 = treble side [-].
    member : str
        `principal`, `octave` or `unison` [-].
    tension, old_tension : float, float or None
        Pull after and before; None = there was none [N].
    strength_used : float or None
        Stress over strength; None = not known [-].
    margin : str
        `holds`, `near its limit` or `margin unknown` [-].
    inharmonicity : float or None
        B of the open string; None where core or modulus are not known [-].
    slot : str
        `unchanged`, `wide enough`, `too tight`, `wide`, or `check` where the width is not known [-].
    """

    number: int
    member: str
    tension: float
    old_tension: float | None
    strength_used: float | None
    margin: str
    inharmonicity: float | None
    slot: str


@dataclass(frozen=True)
class RestringForecast:
    """What the restring will do.

    Parameters
    ----------
    strings : tuple of StringForecast
        String by string, treble side first [-].
    old_total, new_total, change : float
        Total pull before, after, and the difference [N].
    change_share : float
        Difference over the pull before; the springs of a floating tremolo need as much more [-].
    compliance : Response
        How far relief follows the pull, and where that comes from [mm/N].
    relief_change : Spread
        Positive = more relief [mm].
    relief, action_bass, action_treble, nut_action_bass, nut_action_treble : Spread or None
        Readings afterwards; None where there was none before [mm].
    notes : tuple of str
        What to know before the first string is cut.
    intonation_again : bool
        Always true: every new string is intonated anew [-].
    """

    strings: tuple[StringForecast, ...]
    old_total: float
    new_total: float
    change: float
    change_share: float
    compliance: Response
    relief_change: Spread
    relief: Spread | None = None
    action_bass: Spread | None = None
    action_treble: Spread | None = None
    nut_action_bass: Spread | None = None
    nut_action_treble: Spread | None = None
    notes: tuple[str, ...] = field(default=())
    intonation_again: bool = True


def restring_forecast(
    old: Sequence[FittedString],
    new: Sequence[FittedString],
    *,
    neck: NeckReadings | None = None,
    compliance: Response | None = None,
    slot_widths: SlotWidths | None = None,
    built_for: BuiltFor = "steel",
    pull_limit: float | None = None,
    coupling_sd: float = COUPLING_SD,
    fit: StrengthFit = SHIGLEY,
) -> RestringForecast:
    """Forecast what another set or another tuning does to an instrument.

    Parameters
    ----------
    old, new : sequence of FittedString
        Sets as tuned before and after; every string of every course.
    neck : NeckReadings, optional
        Geometry and readings; without it only the change of relief is forecast.
    compliance : Response, optional
        Learned for this instrument or model; else the beam estimate [mm/N].
    slot_widths : mapping of (course, member) to float, optional
        Widths of the nut slots where known [mm].
    built_for : str
        `steel` or `nylon` strings: what the instrument is built for [-].
    pull_limit : float, optional
        Largest total pull that the model allows [N].
    coupling_sd : float
        Standard uncertainty of action's coupling to relief [-].
    fit : str
        Which published strength; see `tensile_strength` [-].

    Returns
    -------
    RestringForecast
        Pulls, margins, relief and action to expect, slots, and notes.

    Raises
    ------
    StringBreaking
        When a string would stand at 0.95 of its strength or more.
    Refused
        When steel strings go on an instrument built for nylon, or the total pull exceeds the model's limit.
    Missing
        When a set is empty or a string's mass is not known.
    Contradiction
        When a set holds the same string twice.
    OutOfRange
        When a value lies outside its range.

    Notes
    -----
    Change of relief = compliance × change of total pull; action follows relief, see `heights_after`.
    """
    before, after = _by_key(old, "old"), _by_key(new, "new")
    refuse_wrong_build(new, built_for)
    refuse_what_breaks(new)
    pulls = {key: pull(string) for key, string in after.items()}
    old_pulls = {key: pull(string) for key, string in before.items()}
    total, old_total = sum(pulls.values()), sum(old_pulls.values())
    _refuse_total(total, pull_limit)
    follow = compliance if compliance is not None else neck_compliance(neck)
    more = relief_change_for(total - old_total, follow)
    heights = heights_after(neck, more, coupling_sd)
    strings = tuple(
        _string_forecast(
            after[key],
            before.get(key),
            pulls[key],
            old_pulls.get(key),
            slot_widths=slot_widths or {},
            fit=fit,
        )
        for key in sorted(after, key=lambda key: (key[0], key[1] != "principal"))
    )
    return RestringForecast(
        strings=strings,
        old_total=old_total,
        new_total=total,
        change=total - old_total,
        change_share=total / old_total - 1.0,
        compliance=follow,
        relief_change=more,
        relief=heights.get("relief"),
        action_bass=heights.get("action_bass"),
        action_treble=heights.get("action_treble"),
        nut_action_bass=heights.get("nut_action_bass"),
        nut_action_treble=heights.get("nut_action_treble"),
        notes=_notes(strings, total - old_total, follow, before.keys() - after.keys()),
    )


def _by_key(strings: Sequence[FittedString], name: str) -> dict[tuple[int, str], FittedString]:
    if not strings:
        raise Missing(f"{name} must hold the strings of the set", name)
    found: dict[tuple[int, str], FittedString] = {}
    for string in strings:
        if string.key in found:
            raise Contradiction(f"{name} holds {string.name} twice", name)
        found[string.key] = string
    return found


def refuse_wrong_build(new: Sequence[FittedString], built_for: BuiltFor) -> None:
    """Refuse steel strings on an instrument built for nylon ones.

    Parameters
    ----------
    new : sequence of FittedString
        The set [-].
    built_for : str
        `steel` or `nylon` strings: what the instrument is built for [-].

    Raises
    ------
    Refused
        Naming the strings of steel, plain or in the core.
    OutOfRange
        When the word is neither.
    """
    if built_for not in ("steel", "nylon"):
        raise OutOfRange(f"built_for must be steel or nylon; not {built_for!r}", "built_for")
    if built_for == "nylon":
        metal = [
            each.name for each in new if MATERIALS[each.material].modulus and MATERIALS[each.material].steel
        ]
        if metal:
            raise Refused(
                f"this instrument is built for nylon strings; steel ones ({', '.join(metal)}) can pull it "
                "apart: take a nylon set",
                "new",
            )


def _refuse_total(total: float, pull_limit: float | None) -> None:
    if pull_limit is not None and total > float(positive(pull_limit, "pull_limit", "N")):
        raise Refused(
            f"the set would pull {total:.0f} N in all, and this model allows {pull_limit:.0f} N: "
            "take a lighter set or tune lower",
            "new",
        )


def _string_forecast(
    string: FittedString,
    old: FittedString | None,
    tension: float,
    old_tension: float | None,
    *,
    slot_widths: SlotWidths,
    fit: StrengthFit,
) -> StringForecast:
    share = strength_used(string, fit)
    stiff_core = string.gauge if string.kind == "plain" else string.core
    modulus = MATERIALS[string.material].modulus
    stiffness = None
    if stiff_core is not None and modulus is not None:
        shape = "round" if string.kind == "plain" else string.core_shape
        stiffness = float(inharmonicity(stiff_core, tension, string.scale_length, modulus, shape))
    return StringForecast(
        number=string.number,
        member=string.member,
        tension=tension,
        old_tension=old_tension,
        strength_used=share,
        margin=breaking_words(share),
        inharmonicity=stiffness,
        slot=_slot(string, old, slot_widths.get(string.key)),
    )


def _slot(string: FittedString, old: FittedString | None, width: float | None) -> str:
    if string.gauge is None:
        return "check"
    if width is not None:
        if not slot_width_fits(width, string.gauge):
            return "too tight"
        return "wide" if width > string.gauge + SLOT_PLAY else "wide enough"
    if old is None or old.gauge is None:
        return "check"
    # a slot that took the old string takes a thinner one; a thicker one has to be tried
    if abs(string.gauge - old.gauge) < 1e-6:
        return "unchanged"
    return "wide enough" if 0.0 <= old.gauge - string.gauge <= SLOT_PLAY else "check"


def _notes(
    strings: Sequence[StringForecast], change: float, compliance: Response, gone: set[tuple[int, str]]
) -> tuple[str, ...]:
    def told(wanted: str, attribute: str) -> str:
        return ", ".join(_name(each) for each in strings if getattr(each, attribute) == wanted)

    notes = []
    if near := told("near its limit", "margin"):
        notes.append(f"near the breaking point, tune up slowly, eyes protected: {near}")
    if unknown := told("margin unknown", "margin"):
        notes.append(
            f"margin unknown, core not known or not steel: {unknown}; nobody can say how near it stands to "
            "breaking: tune up slowly, eyes protected, no higher than its maker says"
        )
    if tight := told("too tight", "slot"):
        notes.append(
            f"nut slot too tight, opening it cannot be undone and needs the owner's consent: {tight}"
        )
    if wide := told("wide", "slot"):
        notes.append(f"nut slot wide for this gauge, the string may rattle or wander: {wide}")
    if check := told("check", "slot"):
        notes.append(f"try the string in its nut slot before tuning up: {check}")
    if gone:
        notes.append(
            "left off: " + ", ".join(f"string {number}, {member}" for number, member in sorted(gone))
        )
    if abs(change) >= SAME_PULL:
        notes.append(
            f"total pull {'up' if change > 0 else 'down'} by {abs(change):.0f} N; relief and action follow, "
            f"read them again once the neck has settled ({compliance.source})"
        )
    notes.append("intonation must be set again for every string")
    return tuple(notes)


def _name(string: StringForecast) -> str:
    return f"string {string.number}" + ("" if string.member == "principal" else f", {string.member}")
