"""What stands on a card, before it is put into words: plain records in mm, cents, turns, degC and % RH."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from typing import Literal

from shimstock_calc.plan.model import Believed, Sentence

Side = Literal["bass", "treble"]
SIDES: tuple[Side, Side] = ("bass", "treble")


@dataclass(frozen=True)
class Look:
    """What was read of one item at one end of the job, converted to the spec's frets."""

    value: float | None = None
    """What the tool showed, the bench's offset included; not converted when `verdict` is None."""
    uncertainty: float | None = None
    probability: float | None = None
    """That the true value lies inside the limits."""
    verdict: Literal["in spec", "out of spec", "too close to call"] | None = None
    zero_or_less: bool = False
    accepted: bool = False
    stale: bool = False
    reason: Sentence | None = None
    """Why there is no verdict, or what was converted."""
    read_on: date | None = None
    now: Believed | None = None
    """What all of the job says of the quantity, as it is now; `value` is what the tool showed."""
    tomorrow: Believed | None = None

    @property
    def is_read(self) -> bool:
        """Whether there is anything to show."""
        return self.value is not None or self.zero_or_less

    @property
    def usable(self) -> bool:
        """Whether it can be drawn and judged."""
        return self.verdict is not None

    @property
    def settled_on(self) -> bool:
        """Whether nothing is left to do for it."""
        return self.verdict == "in spec" or (self.verdict is not None and self.accepted)


@dataclass(frozen=True)
class Line:
    """One item of the setup spec, with its reading before and after."""

    quantity: str
    target: float
    lower: float | None = None
    upper: float | None = None
    side: Side | None = None
    string: int | None = None
    pickup: str | None = None
    fret: int | None = None
    held: tuple[int, ...] = ()
    source: str = ""
    before: Look = field(default_factory=Look)
    after: Look = field(default_factory=Look)


@dataclass(frozen=True)
class Work:
    """One thing that was done. Signs: tighten, raise, away from the nut and taken off are positive."""

    part: str
    side: Side | None = None
    string: int | None = None
    pickup: str | None = None
    turns: float | None = None
    amount: float | None = None
    string_set: str | None = None
    tuning: str | None = None
    note: str | None = None
    """Only for work that has no measure: it is the description."""


@dataclass(frozen=True)
class Refusal:
    """A step that the owner said no to."""

    covers: str
    """The kind of consent that was refused."""
    on: date
    how: str
    note: str | None = None


@dataclass(frozen=True)
class Offer:
    """What a setup does not cure, with its price and the owner's answer."""

    work: str
    amount: float
    currency: str
    approved: bool | None = None


@dataclass(frozen=True)
class Remark:
    """Something that the plan says plainly, with the alternatives."""

    code: str
    text: Sentence
    alternatives: tuple[Sentence, ...] = ()


@dataclass(frozen=True)
class InstrumentFacts:
    """Which instrument it is."""

    maker: str
    model: str
    kind: str
    nickname: str | None = None
    serial: str | None = None
    made_in: int | None = None
    string_set: str | None = None
    thinnest: float | None = None
    """Gauges of the outermost strings [mm]."""
    thickest: float | None = None
    strings_fitted_on: date | None = None
    tuning: str | None = None
    notes: tuple[str, ...] = ()
    """Open notes from string 1."""
    strings: int = 6
    delicate_finish: bool = False


@dataclass(frozen=True)
class Geometry:
    """What the drawing needs; lengths in mm."""

    scale_bass: float
    scale_treble: float
    frets: int
    body_joint_fret: float


@dataclass(frozen=True)
class Air:
    """The room [degC, % RH]."""

    temperature: float
    relative_humidity: float


@dataclass(frozen=True)
class CardContent:
    """Everything that a card tells."""

    job_id: str
    number: int
    state: str
    shop: str
    instrument: InstrumentFacts
    geometry: Geometry
    lines: tuple[Line, ...]
    shop_place: str | None = None
    owner: str | None = None
    received_on: date | None = None
    read_before_on: date | None = None
    read_after_on: date | None = None
    ready_on: date | None = None
    final: bool = False
    """Whether the work is done, and nothing was moved after it was last read."""
    works: tuple[Work, ...] = ()
    refusals: tuple[Refusal, ...] = ()
    offers: tuple[Offer, ...] = ()
    remarks: tuple[Remark, ...] = ()
    offsets: tuple[Sentence, ...] = ()
    """Benches whose tools are known to read too high or too low: verdicts allow for it, numbers do not."""
    returned_because: str | None = None
    room: Air | None = None
    settling: bool = False
    """Whether the neck is still moving after a turn of the rod or new strings."""
    look_again_on: date | None = None
    strings_due_on: date | None = None
    humidity: tuple[float, float] = (40.0, 55.0)
    """Room air that suits wooden instruments [% RH]."""

    @property
    def rows(self) -> tuple[Line, ...]:
        """The lines that are told one by one: those of a side, a pickup or the whole neck."""
        return tuple(line for line in self.lines if line.string is None)

    def strips(self) -> tuple[tuple[str, tuple[Line, ...]], ...]:
        """The lines that are told string by string, quantity by quantity."""
        found: dict[str, list[Line]] = {}
        for line in self.lines:
            if line.string is not None:
                found.setdefault(line.quantity, []).append(line)
        return tuple(
            (quantity, tuple(sorted(lines, key=lambda line: line.string or 0)))
            for quantity, lines in found.items()
        )

    def line_of(self, quantity: str, side: Side) -> Line | None:
        """The line of a quantity for a side: its own, its outermost string's, else that of the whole neck."""
        outermost = self.instrument.strings if side == "bass" else 1
        found = [line for line in self.lines if line.quantity == quantity]
        wanted = ((side, None), (None, outermost), (None, None))
        return next((line for each in wanted for line in found if (line.side, line.string) == each), None)

    def relief_of(self, side: Side) -> Line | None:
        """The relief of a side; a neck of which one side was read is taken to bend alike on both."""
        lines = [self.line_of("relief", each) for each in (side, *SIDES)]
        there = [line for line in lines if line is not None]
        read = [line for line in there if line.before.usable or line.after.usable]
        return next(iter([*read, *there]), None)
