"""A plan as a technician reads it, on a wide screen and on a narrow one; nothing is said by colour alone."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from itertools import groupby
from typing import TYPE_CHECKING, Any

from rich.padding import Padding
from rich.table import Table

from .._trade import SIGNED
from ._tables import Text

if TYPE_CHECKING:
    from .. import (
        CardLook,
        Change,
        NotAsked,
        Quantity,
        ReadingWanted,
        Recommendation,
        Step,
        Surprise,
        Verdict,
    )
    from ._tables import Console

_SAID_WITH = {
    "look-over": "shimstock read --looked-over --at-pitch, with --found FINDING for each thing found",
    "balance": "shimstock read --found plate-level --at-pitch (or plate-tail-high, plate-tail-low)",
}
"""How what a step looks at is entered, where no reading says it."""

NARROW = 64
"""Columns below which marks go to a line of their own."""
INDENT = 3


def print_plan(console: Console, plan: Recommendation, *, title: str = "") -> None:
    """Print verdicts, steps and notes."""
    if title:
        console.print(Text(title, style="bold"))
    print_verdicts(console, plan.verdicts)
    for line in learned_lines(plan.verdicts):
        _line(console, line)
    for one in plan.surprises:
        if one.set_aside is not None:
            _line(console, surprise_line(one))
    for step in plan.steps:
        console.print()
        print_step(console, step)
    for note in plan.notes:
        console.print()
        _line(console, note.text, lead="note: ")
        for alternative in note.alternatives:
            _line(console, alternative, lead="· ")
        if note.quote:
            _line(console, "beyond a setup: make the owner a quote")
    console.print()
    for line in _ending(plan):
        console.print(Text(line))


def surprise_line(one: Surprise) -> str:
    """Write why a reading does not fit, and what became of it."""
    line = f"{where(one)}: {one.text}"
    if one.set_aside is None:
        return f"Does not fit: {line}"
    return f"Set aside: {'this' if one.set_aside == one.reading else 'the earlier'} reading, {line}"


def not_asked_line(not_asked: Sequence[NotAsked]) -> str:
    """Write what is left alone, with the chance of being in spec tomorrow."""
    groups: dict[tuple[str, str | None], list[NotAsked]] = {}
    for one in not_asked:
        groups.setdefault((one.quantity, one.pickup), []).append(one)
    told = (f"{_places(alike)} {chance(min(one.probability for one in alike))}" for alike in groups.values())
    return "Not asked for now (chance of being in spec tomorrow): " + "; ".join(told)


def _ending(plan: Recommendation) -> Iterator[str]:
    if plan.not_asked:
        yield not_asked_line(plan.not_asked)
    settling = plan.settling
    if settling is not None and settling.state == "waiting":
        yield f"Settling: {settling.reason or 'the neck has not settled yet'}"
    if plan.rest_until is not None:
        yield _rest_of(plan.rest_until, plan.read_after_rest)
    if plan.complete:
        surely = all(one.verdict == "in spec" or one.accepted for one in plan.verdicts)
        lead = "Everything is in spec or accepted" if surely else "Nothing is left to do"
        yield f"{lead}: shimstock final-check, then shimstock ready."
    elif plan.finished:
        yield "Nothing more can be done here; what is left is said above."


def _rest_of(until: datetime, asked: Sequence[ReadingWanted]) -> str:
    """Say until when the neck rests, by this machine's clock, and what is read then."""
    from ._layout import local

    if until > datetime.now(UTC):
        return f"The neck rests until {local(until)}, then read {asked_line(asked)}: shimstock settle"
    return f"The neck has rested since {local(until)}: read {asked_line(asked)}"


# ---------------------------------------------------------------- verdicts


def print_verdicts(console: Console, verdicts: Sequence[Verdict]) -> None:
    """Print each quantity with its reading, its spec and the verdict in words."""
    if not verdicts:
        return
    table = Table(box=None, padding=(0, 2, 0, 0), show_edge=False, header_style="underline")
    narrow = console.width < NARROW
    for name, justify in (("quantity", "left"), ("reading", "right"), ("spec", "left"), ("verdict", "left")):
        if not (narrow and name == "spec"):
            # numbers are never cut short: where it is tight the words beside them wrap
            numbers = name in {"reading", "spec"}
            least = len("out of spec") if name == "verdict" else None
            table.add_column(name, justify=justify, no_wrap=numbers, min_width=least)  # type: ignore[arg-type]
    for alike in _unread_together(verdicts):
        one = alike[0]
        cells = [_places(alike), reading_of(one), spec_of(one), verdict_of(one)]
        if narrow:
            del cells[2]
        table.add_row(*(Text(cell) for cell in cells), style="bold" if one.verdict == "out of spec" else "")
    console.print(table)


def learned_lines(verdicts: Sequence[Verdict]) -> Iterator[str]:
    """Say where ± comes from, where a study of this bench found it."""
    found: dict[str, dict[str, None]] = {}
    for one in verdicts:
        if one.uncertainty_source and "this bench" in one.uncertainty_source:
            found.setdefault(one.uncertainty_source, {})[one.quantity.replace("-", " ")] = None
    for source, quantities in found.items():
        yield f"± of {_and(quantities)}: {source}"


def _unread_together(verdicts: Sequence[Verdict]) -> Iterator[list[Verdict]]:
    """Group neighbours of one quantity that are not read yet and have the same spec."""

    def sort(one: Verdict) -> tuple[Any, ...]:
        unread = one.value is None and not one.zero_or_less and one.reading is None
        return (one.quantity, one.pickup, spec_of(one), one.string is None) if unread else (id(one),)

    for _, alike in groupby(verdicts, key=sort):
        yield list(alike)


def where(one: Verdict | Change | ReadingWanted | Surprise, *, frets: bool = False) -> str:
    """Name a quantity and its place: "action, bass side"."""
    parts = [one.quantity.replace("-", " ")]
    if one.pickup:
        parts[0] = f"{one.pickup} {parts[0]}"
    if one.side:
        parts.append(f"{one.side} side")
    if one.string is not None:
        parts.append(f"string {one.string}")
    if frets:
        frets_held, fret = getattr(one, "held", []), getattr(one, "fret", None)
        if frets_held:
            parts.append(held(frets_held))
        if fret is not None:
            parts.append(f"at fret {fret}")
    return ", ".join(parts)


def held(frets: Sequence[int]) -> str:
    """Write where a string is held down: "held 1–22", "held at 22"."""
    return ("held at " if len(frets) == 1 else "held ") + "–".join(str(fret) for fret in frets)


def reading_of(one: Verdict) -> str:
    """Write a reading with its standard uncertainty, and what the bench's offset changed of it."""
    if one.zero_or_less:
        return "zero or less"
    if one.value is None:
        return "–"
    told = number(one.value, signed=one.quantity in SIGNED)
    if one.uncertainty is not None:
        told = f"{told} ± {number(one.uncertainty)} {unit(one.value)}"
    else:
        told += spaced_unit(one.value)
    off = one.taken_off
    if off is None or not off.value:
        return told
    size = number(replace(off, value=abs(off.value)))
    return f"{told} ({size} {'taken off' if off.value > 0 else 'added'})"


def spec_of(one: Verdict | Change) -> str:
    """Write target and limits."""
    return (
        f"{number(one.target)}, {limits(one.lower, one.upper)}"
        if one.target
        else limits(one.lower, one.upper)
    )


def limits(lower: Quantity | None, upper: Quantity | None) -> str:
    """Write limits: "0.10 … 0.30", "at least 2.00"."""
    if lower is None and upper is None:
        return "no limits"
    if upper is None:
        return f"at least {number(lower)}"
    if lower is None:
        return f"at most {number(upper)}"
    return f"{number(lower)} … {number(upper)}"


def verdict_of(one: Verdict) -> str:
    """Write the verdict, or why there is none."""
    if one.verdict is not None and one.usable and not one.stale:
        return one.verdict + (", accepted" if one.accepted else "") + tomorrow_of(one)
    if one.stale and one.tomorrow is not None:
        return f"moved; tomorrow {chance(one.tomorrow.probability)}"
    if one.stale:
        return "read again"
    if one.value is None and not one.zero_or_less:
        return "not read yet"
    return one.reason or one.verdict or "cannot be used"


TELLS = 0.05
"""Difference between the chance now and tomorrow from which tomorrow's is shown; judgement."""


def tomorrow_of(one: Verdict | CardLook) -> str:
    """Write tomorrow's chance where it is another than today's."""
    if one.now is None or one.tomorrow is None:
        return ""
    differs = abs(one.now.probability - one.tomorrow.probability) >= TELLS
    return f"; tomorrow {chance(one.tomorrow.probability)}" if differs else ""


def chance(probability: float) -> str:
    """Write a chance.

    >>> chance(0.871), chance(0.004), chance(1.0)
    ('0.87', '< 0.01', '> 0.99')
    """
    if probability < 0.01:
        return "< 0.01"
    return "> 0.99" if probability > 0.99 else f"{probability:.2f}"


# ---------------------------------------------------------------- steps


def print_step(console: Console, step: Step) -> None:
    """Print one step: what, from and to, what else it changes, why, care, and what to read then."""
    mark = mark_of(step)
    head = Text(step.what, style="bold" if step.do_now else "")
    if console.width < NARROW or not mark:
        _hanging(console, f"{step.number}", head)
        if mark:
            _line(console, mark, style="bold")
    else:
        grid = Table.grid(expand=True, padding=(0, 0))
        grid.add_column(width=INDENT, no_wrap=True)
        grid.add_column(ratio=1)
        grid.add_column(justify="right", no_wrap=True)
        grid.add_row(Text(str(step.number)), head, Text(f"  {mark}", style="bold" if step.do_now else ""))
        console.print(grid)
    for line in step_lines(step):
        _line(console, line)


def mark_of(step: Step) -> str:
    """Say where a step stands: to do now, blocked, or only forecast."""
    if step.blocked_by:
        return "blocked"
    if step.do_now:
        return "do now"
    return "forecast" if step.changes_instrument else ""


def step_lines(step: Step) -> Iterator[str]:
    """Yield what stands below a step's first line."""
    if step.changes:
        yield changes_line(step)
    if step.forecasts:
        yield "will also bring " + _and(_group(step.forecasts, after_only=True))
    if step.why:
        yield f"why: {step.why}"
    if step.worth is not None:
        yield f"worth it: saves about {minutes(step.worth.saves)} for {minutes(step.worth.costs)}"
    if step.confidence:
        yield f"sure: {step.confidence}"
    for block in step.blocked_by:
        yield f"blocked: {block.text}"
    if step.irreversible:
        yield "cannot be undone" + (
            f"; needs the owner's {step.needs_consent} consent" if step.needs_consent else ""
        )
    if step.consent_step and any("consent" in block.code for block in step.blocked_by):
        yield f"the owner's answer: shimstock consent {step.consent_step} yes (or no)"
    if not step.changes_instrument and step.kind in _SAID_WITH:
        yield f"say so: {_SAID_WITH[step.kind]}"
    for caution in step.cautions:
        yield f"care: {caution.text}"
    if step.readings_next:
        yield ("then read " if step.changes_instrument else "read ") + asked_line(step.readings_next)


def changes_line(step: Step) -> str:
    """Write from → to of what a step is for, with the spec, and the total when it is done in parts."""
    line = _and(_group(step.changes))
    whole = [
        f"{turns(move.total_turns)} in all"
        for move in step.moves
        if move.total_turns is not None and move.turns is not None and move.total_turns != move.turns
    ]
    sides = dict.fromkeys(limits(one.lower, one.upper) for one in step.changes if _has_limits(one))
    told = [" / ".join(sides)] if sides else []
    beside = [*(f"spec {one}" for one in told), *whole[:1]]
    if step.total and whole:
        beside[-1] += ", to " + _and(_after(step.total))
    return line + (f" ({'; '.join(beside)})" if beside else "")


def _alike(changes: Iterable[Change]) -> Iterator[list[Change]]:
    """Put the changes of one quantity together: those of sides, and those of strings."""
    groups: dict[tuple[str, str | None, bool], list[Change]] = {}
    for change in changes:
        groups.setdefault((change.quantity, change.pickup, change.string is None), []).append(change)
    yield from groups.values()


def _after(changes: Iterable[Change]) -> Iterator[str]:
    for alike in _alike(changes):
        signed = alike[0].quantity in SIGNED
        yield " / ".join(number(one.after, signed=signed) for one in alike) + spaced_unit(alike[0].after)


def _has_limits(change: Change) -> bool:
    return change.lower is not None or change.upper is not None


def _group(changes: Iterable[Change], *, after_only: bool = False) -> Iterator[str]:
    for alike in _alike(changes):
        yield _write_group(alike, after_only=after_only)


def _write_group(alike: Sequence[Change], *, after_only: bool) -> str:
    first = alike[0]
    name = first.quantity.replace("-", " ")
    if first.pickup:
        name = f"{first.pickup} {name}"
    strings = [str(one.string) for one in alike if one.string is not None]
    if strings:
        name += f" of string{'s' if len(strings) > 1 else ''} {', '.join(strings)}"
    elif len(alike) == 1 and first.side:
        name += f" {first.side} side"
    signed = first.quantity in SIGNED
    after = " / ".join(number(one.after, signed=signed) for one in alike)
    if after_only:
        return f"{name} to {after}{spaced_unit(first.after)}"
    before = " / ".join(number(one.before, signed=signed) for one in alike)
    return f"{name} {before} → about {after}{spaced_unit(first.after)}"


def asked_line(asked: Sequence[ReadingWanted]) -> str:
    """Write which readings are asked for: "action, bass and treble side; intonation, strings 1–6"."""
    groups: dict[tuple[Any, ...], list[ReadingWanted]] = {}
    for one in asked:
        groups.setdefault((one.quantity, one.pickup, tuple(one.held), one.fret, one.finest), []).append(one)
    return "; ".join(
        _places(alike, frets=True)
        + (", with the finest tool" if alike[0].finest else "")
        + _should_show(alike)
        for alike in groups.values()
    )


def _should_show(alike: Sequence[ReadingWanted]) -> str:
    """Write what a tool should show at once, where that is known of all of them."""
    shown = [one.expected_now for one in alike if one.expected_now is not None]
    spreads = [one.uncertainty for one in shown if one.uncertainty is not None]
    if len(shown) < len(alike) or not spreads:
        return ""
    signed = alike[0].quantity in SIGNED
    values = " / ".join(number(one.value, signed=signed) for one in shown)
    spread = max(spreads, key=lambda one: one.value)
    return f" (should show {values} ± {number(spread)}{spaced_unit(spread)})"


def _places(alike: Sequence[ReadingWanted | Verdict | NotAsked], *, frets: bool = False) -> str:
    """Name one quantity at several places."""
    first = alike[0]
    parts = [first.quantity.replace("-", " ")]
    if first.pickup:
        parts[0] = f"{first.pickup} {parts[0]}"
    sides = list(dict.fromkeys(one.side for one in alike if one.side))
    if sides:
        parts.append(f"{' and '.join(sides)} side")
    strings = sorted({one.string for one in alike if one.string is not None})
    if strings:
        parts.append(f"string{'s' if len(strings) > 1 else ''} {spans(strings)}")
    frets_held, fret = getattr(first, "held", []), getattr(first, "fret", None)
    if frets and frets_held:
        parts.append(held(frets_held))
    if frets and fret is not None:
        parts.append(f"at fret {fret}")
    return ", ".join(parts)


def spans(numbers: Sequence[int]) -> str:
    """Write whole numbers in spans.

    >>> spans([1, 2, 3, 5])
    '1–3, 5'
    """
    found: list[list[int]] = []
    for one in numbers:
        if found and one == found[-1][1] + 1:
            found[-1][1] = one
        else:
            found.append([one, one])
    return ", ".join(f"{low}–{high}" if high > low else str(low) for low, high in found)


# ---------------------------------------------------------------- numbers and lines

_DECIMALS = {"mm": 2, "thou": 1, "in/64": 1, "in": 3, "cents": 1, "turn": 3, "N": 0, "min": 0}


def number(quantity: Quantity | None, *, signed: bool = False) -> str:
    """Write a number as fine as its unit deserves."""
    if quantity is None:
        return "–"
    places = _DECIMALS.get(quantity.unit, 2)
    text = f"{quantity.value:+.{places}f}" if signed else f"{quantity.value:.{places}f}"
    return text.lstrip("+-") if float(text) == 0 else text


def unit(quantity: Quantity | None) -> str:
    """Write a unit."""
    if quantity is None:
        return ""
    return {"in/64": "/64 in", "percent": "%", "degC": "°C", "degF": "°F"}.get(quantity.unit, quantity.unit)


def spaced_unit(quantity: Quantity | None) -> str:
    """Write a unit as it stands behind its number: " mm", but "/64 in"."""
    told = unit(quantity)
    return told if told.startswith("/") else f" {told}"


def minutes(quantity: Quantity | None) -> str:
    """Write a time at the bench: "14 min", "0.5 min".

    >>> from shimstock_client import Quantity
    >>> minutes(Quantity(13.7, "min")), minutes(Quantity(0.52, "min"))
    ('14 min', '0.5 min')
    """
    if quantity is None:
        return "–"
    return f"{quantity.value:.0f} min" if quantity.value >= 10.0 else f"{quantity.value:.1f} min"


def turns(quantity: Quantity | None) -> str:
    """Write turns in eighths: "1/4 turn", "1 3/8 turns".

    >>> from shimstock_client import Quantity
    >>> turns(Quantity(-1.375, "turn"))
    '1 3/8 turns'
    """
    if quantity is None:
        return "–"
    size = abs(quantity.value)
    eighths = round(size * 8)
    if abs(size * 8 - eighths) > 0.01:
        return f"{size:.2f} turn{'s' if size > 1 else ''}"
    whole, rest = divmod(eighths, 8)
    part = {0: "", 1: "1/8", 2: "1/4", 3: "3/8", 4: "1/2", 5: "5/8", 6: "3/4", 7: "7/8"}[rest]
    return " ".join(one for one in (str(whole) if whole or not rest else "", part) if one) + (
        " turns" if size > 1 else " turn"
    )


def _and(parts: Iterable[str]) -> str:
    listed = list(parts)
    return listed[0] if len(listed) == 1 else ", ".join(listed[:-1]) + " and " + listed[-1]


def _line(console: Console, text: str, *, lead: str = "", style: str = "") -> None:
    console.print(Padding(Text(lead + text, style=style), (0, 0, 0, INDENT), expand=False))


def _hanging(console: Console, lead: str, text: Text) -> None:
    grid = Table.grid(padding=(0, 0))
    grid.add_column(width=INDENT, no_wrap=True)
    grid.add_column()
    grid.add_row(Text(lead), text)
    console.print(grid)
