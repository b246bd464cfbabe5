"""Cards made from data alone; every name and number is invented."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from typing import Any

from shimstock_calc.plan.words import say
from shimstock_server.cards.content import (
    Air,
    CardContent,
    Geometry,
    InstrumentFacts,
    Line,
    Look,
    Offer,
    Refusal,
    Work,
)
from shimstock_server.cards.language import language
from shimstock_server.cards.speech import Speech

DAY = date(2026, 3, 12)
NOTES = ("E4", "B3", "G3", "D3", "A2", "E2")
HOSTILE = "<script>alert(1)</script>\" onload='x' & Ünïcödé with a name that goes on and on for a while"


def speech(units: str = "mm", tag: str = "en") -> Speech:
    """How a card speaks."""
    return Speech(language(tag), units)


def look(value: float, probability: float, **more: Any) -> Look:
    """A reading with the verdict that follows from its probability (0.95 and 0.05)."""
    verdict: Any = (
        "in spec" if probability >= 0.95 else "out of spec" if probability <= 0.05 else "too close to call"
    )
    return Look(value, 0.03, probability, verdict, read_on=DAY, **more)


def row(
    quantity: str, spec: tuple[float, float | None, float | None], before: Look, after: Look, **at: Any
) -> Line:
    """One item: target, lower and upper limit, and both readings."""
    return Line(quantity, *spec, before=before, after=after, **at)


GOOD, BAD = 0.999, 0.001
RELIEF = row("relief", (0.2, 0.1, 0.3), look(0.45, BAD), look(0.2, GOOD), held=(1, 22), fret=9)
NUT = tuple(
    row("nut-action", spec, look(before, GOOD), look(after, GOOD), side=side, fret=1)
    for side, spec, before, after in (
        ("bass", (0.45, 0.35, 0.60), 0.50, 0.42),
        ("treble", (0.35, 0.25, 0.50), 0.40, 0.33),
    )
)
ACTION = tuple(
    row("action", spec, look(before, BAD), look(after, GOOD), side=side, fret=12)
    for side, spec, before, after in (
        ("bass", (1.7, 1.45, 1.95), 2.20, 1.72),
        ("treble", (1.5, 1.25, 1.75), 1.90, 1.47),
    )
)
PICKUPS = tuple(
    row(
        "pickup-height",
        (2.0, 1.6, 2.4),
        look(1.5, BAD),
        look(2.0, GOOD),
        side=side,
        pickup=pickup,
        held=(22,),
    )
    for pickup in ("neck", "bridge")
    for side in ("bass", "treble")
)
TWIST = row("twist", (0.0, -0.1, 0.1), look(0.02, GOOD), look(0.01, GOOD))
INTONATION = tuple(
    row("intonation", (0.0, -3.0, 3.0), look(before, BAD), look(after, GOOD if abs(after) < 1.4 else 0.84),
        string=number, fret=12)
    for number, before, after in (
        (1, 8.2, 0.4), (2, 5.5, -0.6), (3, 14.0, 2.0), (4, 6.0, 0.1), (5, -6.0, -0.3), (6, 7.0, 0.8),
    )
)  # fmt: skip

ELECTRIC = CardContent(
    job_id="01a20fe1-c4eb-7144-959f-d1626d31dac7",
    number=128,
    state="ready",
    shop="Lindenhof Guitar Bench",
    shop_place="Bremen",
    owner="Mara Oswin",
    instrument=InstrumentFacts(
        "Harrow & Pike", "Standard Two", "electric", "Blue one", "HP-004417", 1998,
        "Nickel ten to forty-six", 0.254, 1.1684, DAY, "Standard", NOTES,
    ),
    geometry=Geometry(628.65, 628.65, 22, 16),
    lines=(RELIEF, *NUT, *ACTION, *PICKUPS, TWIST, *INTONATION),
    received_on=date(2026, 3, 10),
    read_before_on=DAY,
    read_after_on=date(2026, 3, 13),
    ready_on=date(2026, 3, 13),
    final=True,
    works=(
        Work("truss-rod", turns=0.25),
        Work("truss-rod", turns=0.25),
        Work("truss-rod", turns=0.125),
        Work("strings", string_set="Nickel ten to forty-six", tuning="Standard"),
        Work("bridge-post", side="bass", turns=-0.125),
        Work("pickup-screw", pickup="neck", side="bass", turns=-1.5),
        Work("pickup-screw", pickup="neck", side="treble", turns=-1.5),
        Work("saddle-position", string=6, turns=5.25),
        Work("saddle-position", string=2, turns=4.125),
        Work("saddle-position", string=5, turns=-4.5),
    ),
    refusals=(Refusal("nut-filing", DAY, "phone"),),
    offers=(Offer("Level and crown the frets", 180.0, "EUR", approved=False),),
    room=Air(21.0, 46.0),
    strings_due_on=date(2026, 6, 10),
)  # fmt: skip
"""Everything was read, all but one string in spec."""

UNREAD = replace(
    ELECTRIC,
    state="received",
    lines=tuple(replace(line, before=Look(), after=Look()) for line in ELECTRIC.lines),
    works=(), refusals=(), offers=(), final=False, owner=None, room=None,
    read_before_on=None, read_after_on=None, ready_on=None, strings_due_on=None,
)  # fmt: skip
"""Checked in, nothing read."""


def _partly(line: Line) -> Line:
    if line.quantity == "relief":
        return replace(line, before=Look(verdict="out of spec", zero_or_less=True), after=look(0.12, 0.8))
    if line.quantity == "nut-action":
        return replace(line, before=Look())
    if line.quantity == "action" and line.side == "treble":
        return replace(line, after=Look(1.5, reason=say("taken off pitch: kept, but no plan is built on it")))
    if line.string == 6:
        return replace(line, after=Look())
    return line


PARTLY = replace(ELECTRIC, lines=tuple(_partly(line) for line in ELECTRIC.lines))
"""Zero or less before, no nut action before, treble action off pitch, one string not read."""

TWELVE = replace(
    ELECTRIC,
    shop=HOSTILE, owner=HOSTILE,
    instrument=replace(
        ELECTRIC.instrument, maker=HOSTILE, nickname=HOSTILE, serial="X" * 60, strings=12,
        notes=("E4", "E4", "B3", "B3", "G4", "G3", "D4", "D3", "A3", "A2", "E3", "E2"),
    ),
    lines=(RELIEF, *NUT, *ACTION, TWIST, *(
        row("intonation", (0.0, -3.0, 3.0), look(-12.5 + number, BAD), look(0.1 * number, GOOD),
            string=number, fret=12)
        for number in range(1, 13)
    )),
)  # fmt: skip
"""Twelve strings, and every text as hostile and long as it may be."""

NYLON = replace(
    ELECTRIC,
    instrument=replace(ELECTRIC.instrument, kind="classical-nylon", model="Concert", delicate_finish=True),
    geometry=Geometry(650.0, 650.0, 19, 12),
    lines=(
        row("relief", (0.25, 0.1, 0.4), look(-0.12, BAD), look(0.25, GOOD), held=(1, 19), fret=8),
        *(row("nut-action", (0.75, 0.6, 0.95), look(1.2, BAD), look(0.75, GOOD), side=side, fret=1)
          for side in ("bass", "treble")),
        *(row("action", (4.0, 3.6, 4.4), look(5.6, BAD), look(4.6, BAD), side=side, fret=12)
          for side in ("bass", "treble")),
        row("saddle-out", (2.5, 1.5, None), look(3.2, GOOD), look(1.6, 0.9), side="bass"),
    ),
    works=(Work("saddle", side="bass", amount=1.2), Work("saddle", side="treble", amount=1.2)),
)  # fmt: skip
"""High action, back-bow before, one limit only, and action that stays too high."""


def nut_by_string(targets: Sequence[float]) -> tuple[Line, ...]:
    """Nut action read string by string, each with limits of its own."""
    return tuple(
        row("nut-action", (target, target - 0.1, target + 0.15), look(target + 0.3, BAD), look(target, GOOD),
            string=number, fret=1)
        for number, target in enumerate(targets, start=1)
    )  # fmt: skip


EACH_NUT = replace(
    ELECTRIC,
    lines=(RELIEF, *nut_by_string((0.35, 0.35, 0.37, 0.40, 0.43, 0.45)), *ACTION, *PICKUPS, *INTONATION),
)
"""The nut read string by string."""

EIGHT = replace(
    EACH_NUT,
    instrument=replace(ELECTRIC.instrument, strings=8, notes=(*NOTES, "B1", "F#1")),
    lines=(
        RELIEF, *nut_by_string((0.35, 0.35, 0.37, 0.40, 0.43, 0.45, 0.50, 0.55)), *ACTION, *PICKUPS,
        *INTONATION, *(replace(INTONATION[0], string=number) for number in (7, 8)),
    ),
)  # fmt: skip
"""Eight strings."""

FULLEST = replace(
    ELECTRIC,
    instrument=replace(ELECTRIC.instrument, strings=12, notes=TWELVE.instrument.notes),
    lines=(
        *(_partly(line) for line in (RELIEF, *ACTION)), *PICKUPS, TWIST,
        *nut_by_string([0.35 + 0.01 * number for number in range(12)]),
        *(line for line in TWELVE.lines if line.quantity == "intonation"),
    ),
)  # fmt: skip
"""All that a card may hold at once."""

ALL = {
    "electric": ELECTRIC, "unread": UNREAD, "partly": PARTLY, "twelve": TWELVE, "nylon": NYLON,
    "each-nut": EACH_NUT, "eight": EIGHT, "fullest": FULLEST,
}  # fmt: skip
