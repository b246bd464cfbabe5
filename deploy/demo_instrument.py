"""An electric guitar that exists only as geometry, and the tools that read it: what the demo's bench holds.

Relief, action and nut action come from one bent neck and straight strings (`shimstock_calc.neck`), so that
every turn of a screw shows up in all of them as on a real instrument. What the service does not know is in
here too: how this rod answers, how slowly the neck follows, and each tool's own scatter.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass, field

import numpy as np

from shimstock_calc.bridge import string_changes
from shimstock_calc.intonation import intonation_after_move
from shimstock_calc.neck import StringLine, action_at, relief_per_curvature, string_line
from shimstock_calc.scale import fret_position

SIDES = ("bass", "treble")


@dataclass(frozen=True)
class DemoTool:
    """A measuring tool: its divisions, and how well it repeats."""

    resolution: float
    repeatability: float

    def read(self, true_value: float, chance: random.Random) -> float:
        """Return what the tool shows: the true value, scattered, on the nearest division."""
        seen = chance.gauss(true_value, self.repeatability)
        return round(round(seen / self.resolution) * self.resolution, 4)


FEELERS = DemoTool(resolution=0.05, repeatability=0.03)
DEPTH_GAUGE = DemoTool(resolution=0.01, repeatability=0.03)
STROBE_TUNER = DemoTool(resolution=0.1, repeatability=1.0)


@dataclass(frozen=True)
class DemoGeometry:
    """What is known of the model: lengths in mm."""

    scale_length: float = 628.65
    body_joint_fret: float = 16.0
    frets: int = 22
    post_spacing: float = 74.0
    string_spread: float = 52.0
    post_pitch: float = 1.25
    saddle_pitch: float = 0.5
    relief_fret: int = 9
    pickup_pitch: float = 0.5
    pickup_places: tuple[tuple[str, float], ...] = (("neck", 475.0), ("bridge", 590.0))
    """How far from the nut each pickup's poles lie."""


@dataclass
class DemoInstrument:
    """The instrument: where its neck, slots, posts and saddles stand.

    Parameters
    ----------
    relief, action, nut_action, intonation, pickup_height : float, tuples from bass to treble or string 1 to 6
        As it comes in; they fix the hidden geometry [mm; cents].
    twist : float
        Relief on the bass side minus that on the treble side; nothing changes it [mm].
    rod_response : float
        True change of relief for one turn of tightening [mm/turn].
    slow_share, slow_minutes : float
        Part of the answer that comes late, and its time constant [-; min].
    seed : int
        For the tools' scatter [-].
    """

    relief: float = 0.45
    action: tuple[float, float] = (2.2, 1.9)
    nut_action: tuple[float, float] = (0.50, 0.40)
    intonation: tuple[float, ...] = (1.0, 5.5, 7.5, -0.5, -6.0, 6.5)
    pickup_height: dict[str, tuple[float, float]] = field(
        default_factory=lambda: {"neck": (2.6, 2.3), "bridge": (2.0, 1.9)}
    )
    twist: float = 0.02
    rod_response: float = -0.44
    slow_share: float = 0.2
    slow_minutes: float = 20.0
    seed: int = 17
    geometry: DemoGeometry = field(default_factory=DemoGeometry)

    def __post_init__(self) -> None:
        self._chance = random.Random(self.seed)  # scatter of tools, not a secret
        self._clock = 0.0
        self._turns: list[tuple[float, float]] = []  # when, how far
        place = self.geometry
        lines = [
            string_line(
                self.relief,
                nut,
                action,
                scale_length=place.scale_length,
                body_joint_fret=place.body_joint_fret,
                held=(1, place.frets),
                fret=place.relief_fret,
            )
            for action, nut in zip(self.action, self.nut_action, strict=True)
        ]
        self._slots = [float(line.slot) for line in lines]
        self._saddles = [float(line.saddle) for line in lines]
        self._cents = list(self.intonation)
        self._pickups = {
            (name, side): self._string_over(name, side) - gap
            for name, gaps in self.pickup_height.items()
            for side, gap in zip(SIDES, gaps, strict=True)
        }

    # ------------------------------------------------------------ time and work

    def wait(self, minutes: float) -> None:
        """Let time pass; the neck goes on moving."""
        self._clock += minutes

    def turn_rod(self, turns: float) -> None:
        """Turn the truss rod; positive = tighten."""
        self._turns.append((self._clock, turns))

    def turn_post(self, side: str, turns: float) -> None:
        """Turn a bridge post; positive = raise. The strings lie between the posts, so both ends answer."""
        height = turns * self.geometry.post_pitch
        bass, treble = (height if one == side else 0.0 for one in SIDES)
        raised = string_changes(bass, treble, self.geometry.post_spacing, self.geometry.string_spread)
        self._saddles = [self._saddles[0] + float(raised.bass), self._saddles[1] + float(raised.treble)]

    def move_saddle(self, string: int, turns: float) -> None:
        """Turn a saddle's intonation screw; positive = away from the nut."""
        move = turns * self.geometry.saddle_pitch
        before = self._cents[string - 1]
        self._cents[string - 1] = float(intonation_after_move(before, move, self.geometry.scale_length))

    def turn_pickup(self, pickup: str, side: str, turns: float) -> None:
        """Turn a pickup's screw; positive = raise."""
        self._pickups[pickup, side] += turns * self.geometry.pickup_pitch

    def file_slot(self, string: int | None, side: str | None, amount: float) -> None:
        """Take something off the bottom of a nut slot; only the outer strings are read here."""
        for index, outer in ((0, 6), (1, 1)):
            if side == SIDES[index] or string == outer:
                self._slots[index] -= amount

    # ------------------------------------------------------------ truth

    def true_relief(self) -> float:
        """Relief at this moment [mm]."""
        return self.relief + sum(self._answer(self._clock - at) * turns for at, turns in self._turns)

    def _answer(self, minutes: float) -> float:
        late = self.slow_share * math.exp(-minutes / self.slow_minutes)
        return self.rod_response * (1.0 - late)

    def true_height(self, side: str, fret: int) -> float:
        """Height of an outer string above a fret at this moment [mm]."""
        place, index = self.geometry, SIDES.index(side)
        per_curvature = relief_per_curvature(
            place.scale_length, place.body_joint_fret, (1, place.frets), place.relief_fret
        )
        line = StringLine(
            curvature=self.true_relief() / per_curvature,
            slot=np.asarray(self._slots[index]),
            saddle=np.asarray(self._saddles[index]),
        )
        return float(action_at(line, fret, place.scale_length, place.body_joint_fret))

    # ------------------------------------------------------------ what the tools show

    def _string_over(self, pickup: str, side: str) -> float:
        """Height of an outer string, held at the last fret, above the body's plane at a pickup [mm]."""
        place = self.geometry
        last = float(fret_position(place.frets, place.scale_length))
        share = (dict(place.pickup_places)[pickup] - last) / (place.scale_length - last)
        return self._saddles[SIDES.index(side)] * share

    def true_pickup_height(self, pickup: str, side: str) -> float:
        """Gap from a pickup's pole to an outer string held at the last fret [mm]."""
        return self._string_over(pickup, side) - self._pickups[pickup, side]

    def read(
        self,
        quantity: str,
        *,
        side: str | None = None,
        string: int | None = None,
        fret: int | None = None,
        pickup: str | None = None,
    ) -> float:
        """Read one quantity with the tool that the bench uses for it.

        Raises
        ------
        KeyError
            When this instrument has no such quantity.
        """
        if quantity == "relief":
            return FEELERS.read(self.true_relief(), self._chance)
        if quantity == "twist":
            return FEELERS.read(self.twist, self._chance)
        if quantity == "intonation":
            return STROBE_TUNER.read(self._cents[int(string or 0) - 1], self._chance)
        outer = side or ("bass" if string == 6 else "treble")
        if quantity == "action":
            return DEPTH_GAUGE.read(self.true_height(outer, fret or 12), self._chance)
        if quantity == "nut-action":
            return DEPTH_GAUGE.read(self.true_height(outer, 1), self._chance)
        if quantity == "pickup-height" and pickup is not None:
            return DEPTH_GAUGE.read(self.true_pickup_height(pickup, outer), self._chance)
        raise KeyError(quantity)
