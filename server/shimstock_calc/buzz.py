"""Where to look first when an owner complains of buzz."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from .errors import Contradiction, Missing, OutOfRange


@dataclass(frozen=True)
class BuzzCause:
    """A place to look at: its code, and a sentence for the bench."""

    code: str
    text: str


NUT_SLOT = BuzzCause("nut-slot", "only the open string buzzes: the nut slot is too low or badly shaped")
TOO_STRAIGHT = BuzzCause("too-straight", "frets 1 to 5 buzz: too little relief, or back-bow")
HIGH_FRET = BuzzCause("high-fret", "one note buzzes: the next fret up is high, or this one is low")
HIGH_END = BuzzCause(
    "high-end", "notes above the 12th fret buzz: the board rises at its end, or the saddle is low"
)
BREAKING_POINT = BuzzCause(
    "breaking-point", "the buzz sits near an end: look at the string's breaking point on nut or saddle"
)
HARDWARE = BuzzCause(
    "hardware", "the buzz comes from elsewhere: tuners, screws, springs, pickup, braces, string ends"
)


def buzz_causes(positions: Sequence[int], heard_at: str = "frets") -> list[BuzzCause]:
    """Causes of a buzz by where it shows, the likeliest first.

    Parameters
    ----------
    positions : sequence of int
        Fretted positions of one string at which it buzzes; 0 = open, up to 36.
    heard_at : str
        Where the noise comes from: `frets`, `end` (nut or saddle) or `elsewhere`.

    Returns
    -------
    list of BuzzCause
        At least one.

    Raises
    ------
    Missing
        When the noise comes from the frets and no position is given.
    OutOfRange
        When a position or the place is none that exists.
    Contradiction
        When a position is named twice.

    Notes
    -----
    Common practice, no published source: open only = nut slot; frets 1 to 5 = too little relief or
    back-bow; one note = the next fret up is high; above 12 = rise at the end or saddle low; near an end =
    breaking point; elsewhere = hardware. A rule of where to look first; the eye and the ear decide.

    >>> [cause.code for cause in buzz_causes([0])]
    ['nut-slot']
    """
    if heard_at not in {"frets", "end", "elsewhere"}:
        raise OutOfRange(f"heard_at must be frets, end or elsewhere; {heard_at!r} was given", "heard_at")
    if heard_at == "end":
        return [BREAKING_POINT]
    if heard_at == "elsewhere":
        return [HARDWARE]
    if not positions:
        raise Missing("positions must name at least one fretted position that buzzes, 0 = open", "positions")
    if any(not 0 <= position <= 36 for position in positions):
        raise OutOfRange("positions must be from 0 (open) to 36", "positions")
    if len(set(positions)) != len(positions):
        raise Contradiction("positions must name each fretted position once", "positions")
    fretted = sorted(position for position in positions if position > 0)
    if not fretted:
        return [NUT_SLOT]
    causes = []
    if len(fretted) == 1:
        causes.append(HIGH_FRET)
    if any(position <= 5 for position in fretted) and len(fretted) > 1:
        causes.append(TOO_STRAIGHT)
    if any(position > 12 for position in fretted) and len(fretted) > 1:
        causes.append(HIGH_END)
    return causes or [HIGH_FRET, TOO_STRAIGHT]
