"""What the tools of a bench show."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from shimstock_calc.plan.model import Quantity, ReadingWanted
from tests import cases

from .hidden import Hidden
from .instruments import Scenario
from .policy import Spot, Tool, spot_of

SLIPS = 0.01
"""Share of readings that are misread, of the neighbouring string, or in another unit."""

THOU_AS_HUNDREDTHS = 1.0 / 2.54
"""20 thou written as 0.20 mm."""

PLAUSIBLE: dict[str, tuple[float, float]] = {
    "relief": (-1.5, 2.5),
    "action": (0.5, 6.0),
    "nut-action": (0.0, 2.0),
    "pickup-height": (0.3, 10.0),
    "intonation": (-60.0, 60.0),
    "saddle-out": (0.0, 8.0),
}
"""What lies outside is refused when it is entered, and read again at once; common practice [mm; cents]."""

_QUANTITIES = ("relief", "twist", "action", "nut-action", "pickup-height", "intonation", "saddle-out")


def _tool(plain: Mapping[str, object]) -> Tool:
    return Tool(str(plain["tool"]), float(plain["resolution"]), float(plain["repeatability"]))  # type: ignore[arg-type]


FEELERS, DIAL, DEPTH, STROBE = (
    _tool(each) for each in (cases.FEELERS, cases.DIAL, cases.DEPTH, cases.STROBE)
)
TUNER = Tool("ordinary tuner at fret 12", 1.0, 1.2)
"""Resolution and repeatability from memory."""


@dataclass
class Tools:
    """The tools of one bench, and the streams of their errors.

    Every spot has a stream of its own: the third reading of a spot has the same error whatever the policy
    read before it, so that policies meet the same luck.
    """

    seed: int
    scenario: Scenario
    streams: dict[Spot, np.random.Generator] = field(default_factory=dict)

    def __post_init__(self) -> None:
        rng = np.random.default_rng([self.seed, 1])
        relief = (FEELERS, DIAL) if rng.random() < 0.6 else (DIAL,)
        tuners = (TUNER, STROBE) if rng.random() < 0.15 else (STROBE,)
        self.of: dict[Quantity, tuple[Tool, ...]] = {
            "relief": relief,
            "twist": (DIAL,),
            "action": (DEPTH,),
            "nut-action": (DEPTH,),
            "pickup-height": (DEPTH,),
            "saddle-out": (DEPTH,),
            "intonation": tuners,
        }
        self.noise: dict[str, float] = {}
        for tool in (FEELERS, DIAL, DEPTH, STROBE, TUNER):
            drawn = float(rng.uniform(0.5, 1.0))
            self.noise[tool.name] = drawn if self.scenario.noise is None else self.scenario.noise
        # ten jobs tell a tool's noise to about a tenth
        learned = rng.normal(1.0, 0.1, len(self.noise))
        self.known = (
            {
                name: float(each) * factor
                for (name, factor), each in zip(self.noise.items(), learned, strict=True)
            }
            if self.scenario.noise_known
            else {}
        )

    def used(self, wanted: ReadingWanted) -> Tool:
        """Tool that a reading is taken with."""
        tools = self.of[wanted.quantity]
        if wanted.method == "straightedge":
            return DIAL
        return tools[-1] if wanted.finest else tools[0]

    def shown(self, hidden: Hidden, wanted: ReadingWanted, tool: Tool) -> float | None:
        """What a tool shows, in its own steps; None for a string that touches. [mm; cents]."""
        spot = spot_of(wanted)
        stream = self.streams.get(spot)
        if stream is None:
            side = {None: 0, "bass": 1, "treble": 2}[spot.side]
            pickup = [None, *[each.name for each in hidden.plan_input.instrument.pickups]].index(spot.pickup)
            key = [self.seed, 2, _QUANTITIES.index(spot.quantity), side, spot.string or 0, pickup]
            stream = self.streams[spot] = np.random.default_rng(key)
        error, slip, kind, size = stream.normal(), stream.random(), stream.random(), stream.random()
        right = hidden.value(wanted) + error * self.noise[tool.name] * tool.repeatability
        value = right
        if slip < SLIPS:
            value = self._slipped(hidden, wanted, right, kind, size)
            low, high = PLAUSIBLE.get(wanted.quantity, (-9.0, 9.0))
            value = value if low <= value <= high else right
        value = round(round(value / tool.resolution) * tool.resolution, 6)
        if wanted.quantity in {"nut-action", "action", "saddle-out", "pickup-height"}:
            value = max(value, 0.0)
        touches = wanted.quantity == "relief" and wanted.method != "straightedge" and value <= 0.0
        return None if touches else value

    def _slipped(
        self, hidden: Hidden, wanted: ReadingWanted, right: float, kind: float, size: float
    ) -> float:
        cents = wanted.quantity == "intonation"
        if kind < 0.25 and wanted.quantity in {"action", "nut-action", "intonation"}:
            number = wanted.string or hidden.outermost(wanted.side)
            other = number + 1 if number == hidden.numbers[0] else number - 1
            return (
                right
                - hidden.value(wanted)
                + hidden.value(ReadingWanted(wanted.quantity, string=other, fret=wanted.fret))
            )
        if kind < 0.5 and not cents:
            return right * THOU_AS_HUNDREDTHS
        if cents and kind < 0.5:
            return -right
        digit = (1 + int(size * 5)) * (1.0 if cents else 0.1)
        if size > 0.8:
            digit = 10.0 if cents else 1.0
        return right + (digit if kind < 0.75 else -digit)
