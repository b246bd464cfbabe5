"""A truss rod with play, and the neck's slow answer."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal, TypeAlias

Health: TypeAlias = Literal["healthy", "dead", "reversed"]

DAY = 24 * 60.0


@dataclass
class Rod:
    """Relief follows the nut only past the play, not evenly, less on the way back, and a part of it late."""

    health: Health
    response: float
    """Change of relief per turn of tightening, late part included [mm per turn]; negative."""
    growth: float
    """Relative growth of the response per turn of tightening [-]."""
    back: float
    """Response on loosening as a share of that on tightening [-]."""
    play: float
    """Turns lost on a reversal."""
    slack: float
    """Turns of play left in the direction of tightening."""
    late: float
    """Share of a change that comes late [-]."""
    time_constant: float
    """Of the late part [min]."""
    turned: float = 0.0
    past_play: float = 0.0
    """Turns past the play so far, both ways."""
    to_come: float = 0.0
    """Relief still to come [mm]."""

    def turn(self, clockwise: float) -> float:
        """Turn the nut; return the change of relief that comes at once [mm]."""
        way = -clockwise if self.health == "reversed" else clockwise
        room = self.slack if way > 0 else self.play - self.slack
        lost = min(abs(way), room)
        self.slack -= math.copysign(lost, way)
        moved = math.copysign(abs(way) - lost, way)
        self.past_play += abs(moved)
        middle = self.turned + moved / 2.0
        self.turned += moved
        if self.health == "dead":
            return 0.0
        change = moved * self.response * max(1.0 + self.growth * middle, 0.3)
        if moved < 0:
            change *= self.back
        return self.give(change)

    def give(self, change: float) -> float:
        """Split a change of relief; return the part that comes at once [mm]."""
        self.to_come += self.late * change
        return (1.0 - self.late) * change

    def wait(self, minutes: float) -> float:
        """Change of relief that comes within so many minutes [mm]."""
        comes = self.to_come * (1.0 - math.exp(-minutes / self.time_constant))
        self.to_come -= comes
        return comes
