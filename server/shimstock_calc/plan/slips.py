"""Readings that do not fit: which other they contradict, and the slip that is likeliest to be behind them."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from typing import TYPE_CHECKING

from ..belief.expected import Expected
from ..belief.surprise import Surprise
from ..vocabulary import QUANTITIES
from .contradictions import Contradicted
from .goals import Spot
from .inputs import Reading
from .outputs import Meant, OtherReading, Slip, SlipCode, SurprisingReading
from .records import as_read, tool_of
from .words import Measure, MeasureKind, Sentence, say

if TYPE_CHECKING:
    from .draft import Draft

FITS = 2.0
"""How far from what was expected the value meant may lie [standard deviations]; judgement."""

UNITS: tuple[tuple[float, str], ...] = (
    (25.4, "{meant} would fit: inches and mm mixed up?"),
    (10.0, "{meant} would fit: the decimal point?"),
)
"""Factors by which a reading is off, either way, when its unit was mistaken."""
RULE = 25.4 / 64.0, "{meant} would fit: 64ths of an inch and mm mixed up?"
THOU = 2.54, "{meant} would fit: thousandths of an inch and hundredths of a mm mixed up?"

MOST_DIGITS = 200
"""Most values that are tried as what a slip of the digits was made from [-]."""

WORDS: dict[SlipCode, str] = {
    "this-reading": "likeliest this reading is wrong (chance {chance})",
    "other-reading": "likeliest the earlier reading is wrong (chance {chance})",
    "moved": "likeliest something moved that was not recorded (chance {chance})",
    "nothing": "it may well be right (chance {chance})",
}
"""What is said of the likeliest."""

EITHER = "this reading or the earlier one is wrong (chance {chance})"


def surprising_readings(draft: Draft) -> tuple[SurprisingReading, ...]:
    """Say of every reading of the job that did not fit what it showed, and what is likely behind it.

    Parameters
    ----------
    draft : Draft
        The plan while it is being made, its readings weighed.

    Returns
    -------
    tuple of SurprisingReading
        Those that do not fit what was known before them, then those that cannot all be true of one string.
    """
    return (
        *(_surprising(draft, each) for each in draft.weighed.surprises),
        *(_contradicting(each) for each in draft.contradicted),
    )


# ---------------------------------------------------------------- against what was known before


def _surprising(draft: Draft, found: Surprise) -> SurprisingReading:
    found = replace(found, expected=_as_shown(found.expected))
    shown = found.expected
    reading, spot = shown.reading, shown.spot
    earlier = {name: odds for name, odds in found.wrong.items() if name != reading.id}
    other = None
    if earlier:
        likeliest = max(earlier, key=lambda name: earlier[name])
        other = _other(next(each for each in draft.plan_input.readings if each.id == likeliest), spot)
    slips = [
        Slip("this-reading", round(found.wrong.get(reading.id, 0.0), 4), reading.id),
        *(Slip("other-reading", round(odds, 4), name) for name, odds in earlier.items()),
        Slip("moved", round(found.moved, 4)),
    ]
    slips.append(Slip("nothing", round(max(1.0 - sum(each.chance for each in slips), 0.0), 4)))
    meant = _meant(draft, found)
    text = _text(found, other, slips)
    if meant is not None and found.aside in (None, reading.id):
        text = Sentence(f"{text.template}; {meant.text.template}", (*text.values, *meant.text.values))
    return SurprisingReading(
        reading.id, *spot,
        value=shown.value,
        expected=round(shown.expected, 6),
        spread=round(shown.spread, 6),
        other=other,
        slips=tuple(slips),
        meant=meant,
        open=found.open,
        aside=found.aside,
        text=text,
    )  # fmt: skip


def _text(found: Surprise, other: OtherReading | None, slips: list[Slip]) -> Sentence:
    """Both numbers, and what is likeliest behind them."""
    shown, kind = found.expected, _kind(found.expected.spot)
    before = None if other is None else other.value
    after = "" if before is None else " after {before}"
    if before is not None and shown.after_turn:
        after = " after the turn, {before} before it"
    likeliest = max(slips, key=lambda each: each.chance)
    words, chance = WORDS[likeliest.code], likeliest.chance
    this = sum(each.chance for each in slips if each.code == "this-reading")
    earlier = sum(each.chance for each in slips if each.code == "other-reading")
    if likeliest.code in {"this-reading", "other-reading"} and 2.0 * min(this, earlier) > chance:
        words, chance = EITHER, this + earlier
    return say(
        "it reads {read} where about {expected} was expected"
        + (after if before is not None else "")
        + ": "
        + words,
        read=Measure(kind, shown.value),
        expected=Measure(kind, shown.expected),
        before=Measure(kind, before or 0.0),
        chance=Measure("probability", chance),
    )


def _as_shown(expected: Expected) -> Expected:
    """The same with the bench's offset, as the tool showed it."""
    reading = expected.reading
    if reading.offset is None or reading.zero_or_less:
        return expected
    by = reading.offset.mean
    return expected._replace(value=round(expected.value + by, 6), expected=expected.expected + by)


def _other(reading: Reading, spot: Spot) -> OtherReading:
    return OtherReading(reading.id, *spot, value=as_read(reading))


def _kind(spot: Spot) -> MeasureKind:
    return spot.quantity


def _meant(draft: Draft, found: Surprise) -> Meant | None:
    """The value that was likely meant: in another unit, of another string, or with its digits in order."""
    shown = found.expected
    if shown.reading.zero_or_less:
        return None
    low, high = (shown.expected + sign * FITS * shown.spread for sign in (-1.0, 1.0))
    cents = QUANTITIES[shown.spot.quantity].unit == "cents"
    units = UNITS[1:] if cents else (*UNITS, RULE if QUANTITIES[shown.spot.quantity].by_rule else THOU)
    for factor, template in units:
        for value in (shown.value * factor, shown.value / factor):
            if low <= value <= high:
                return Meant("unit", value, say(template, meant=Measure(_kind(shown.spot), value)))
    if cents and low <= -shown.value <= high:
        meant = Measure("intonation", -shown.value)
        return Meant("digit", -shown.value, say("{meant} would fit: the sign?", meant=meant))
    elsewhere = _elsewhere(draft, found)
    if elsewhere is not None:
        return elsewhere
    return _digits(shown.value, low, high, shown.reading, _kind(shown.spot))


def _elsewhere(draft: Draft, found: Surprise) -> Meant | None:
    """A neighbour string, or the other side, that should read what was read here."""
    shown = found.expected
    near = []
    for spot in draft.known:
        if _beside(spot, shown.spot) and spot in draft.tomorrow:
            value = _expected_at(draft, spot, shown.reading)
            if abs(value - shown.value) <= FITS * shown.spread:
                near.append((abs(value - shown.value), value, spot))
    if not near:
        return None
    _, value, spot = min(near, key=lambda each: each[0])
    at_string = spot.string is not None
    text = say(
        "{value} is expected {where}: the wrong {wrong}?",
        value=Measure(_kind(spot), value),
        where=f"at string {spot.string}" if at_string else f"on the {spot.side} side",
        wrong="string" if at_string else "side",
    )
    return Meant("string", round(value, 6), text)


def _expected_at(draft: Draft, spot: Spot, reading: Reading) -> float:
    """What a spot was expected to show when another was read, or shows where it was not read since."""
    for each in draft.belief.expected:
        if each.spot == spot and each.reading.order >= reading.order and not each.first:
            return _as_shown(each).expected
    return draft.belief.shows(spot, reading).mean


def _beside(spot: Spot, other: Spot) -> bool:
    if spot.quantity != other.quantity or spot.pickup != other.pickup:
        return False
    if spot.string is not None and other.string is not None:
        return abs(spot.string - other.string) == 1
    return spot != other and spot.side is not None and other.side is not None


def _digits(value: float, low: float, high: float, reading: Reading, kind: MeasureKind) -> Meant | None:
    """A value near what was expected, two of whose digits were swapped, or one of which was left out."""
    decimals = 1 if kind == "intonation" else 2
    unit = 10.0**-decimals
    typed = _digits_of(abs(value), decimals)
    if value < 0.0 or abs(value - round(value, decimals)) > 1e-9:
        return None
    first, last = math.ceil(max(low, 0.0) / unit), math.floor(high / unit)
    middle = 0.5 * (low + high)
    step = max(round((tool_of(reading)[0] or unit) / unit), 1)
    tried = [whole for whole in range(first, min(last, first + MOST_DIGITS) + 1) if whole % step == 0]
    for whole in sorted(tried, key=lambda each: abs(each * unit - middle)):
        meant_digits = _digits_of(whole * unit, decimals)
        if meant_digits != typed and typed in _slips_of(meant_digits, decimals):
            meant = Measure(kind, round(whole * unit, decimals))
            text = say("{meant} would fit: a digit swapped or left out?", meant=meant)
            return Meant("digit", meant.value, text)
    return None


def _digits_of(value: float, decimals: int) -> str:
    """Digits of a value with its point, as they are typed: trailing zeros left out."""
    text = f"{value:.{decimals}f}"
    return text.rstrip("0").rstrip(".")


def _slips_of(text: str, decimals: int) -> Iterator[str]:
    """What a slip makes of typed digits: two neighbours swapped, or one left out."""
    whole, _, part = text.partition(".")
    digits, point = whole + part, len(whole)
    for place in range(len(digits) - 1):
        swapped = digits[:place] + digits[place + 1] + digits[place] + digits[place + 2 :]
        yield _digits_of(float(f"{swapped[:point]}.{swapped[point:]}0"), decimals)
    for place in range(len(digits)):
        left = digits[:place] + digits[place + 1 :]
        at = point - 1 if place < point else point
        yield _digits_of(float(f"{left[:at] or '0'}.{left[at:]}0"), decimals)


# ---------------------------------------------------------------- against each other


def _contradicting(found: Contradicted) -> SurprisingReading:
    first, second = found.several[:2]
    chance = round(found.chance, 4)
    reading = first.verdict.reading or ""
    names = QUANTITIES[first.spot.quantity].name, QUANTITIES[second.spot.quantity].name
    return SurprisingReading(
        reading, *first.spot,
        value=first.verdict.as_read or 0.0,
        expected=None,
        spread=None,
        other=OtherReading(second.verdict.reading or "", *second.spot, value=second.verdict.as_read),
        slips=(
            Slip("this-reading", chance, reading),
            Slip("other-reading", round(1.0 - chance, 4), second.verdict.reading),
        ),
        meant=None,
        open=True,
        aside=None,
        text=say(
            f"{found.side} side: {names[0]} {{first}} and {names[1]} {{second}} do not fit: {found.message}; "
            f"likeliest {names[0]} is wrong (chance {{chance}})",
            first=Measure(_kind(first.spot), first.verdict.as_read or 0.0),
            second=Measure(_kind(second.spot), second.verdict.as_read or 0.0),
            chance=Measure("probability", chance),
        ),
    )  # fmt: skip
