"""One side of the neck before and after, solved into curves that can be drawn."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from shimstock_calc.errors import CalculationError
from shimstock_calc.neck import action_at, curvature_from_relief, neck_height, string_line
from shimstock_calc.scale import fret_position

from .content import CardContent, Line, Look, Side

OCTAVE = 12
USUAL_RELIEF_FRET = 8
SLACK = 1.0
"""How far the three readings may contradict each other and the string still be drawn [mm]."""

Gap = Literal[
    "no_relief", "zero_relief", "unjudged_relief",
    "no_action", "unjudged_action",
    "no_nut_action", "unjudged_nut_action",
    "contradiction",
]  # fmt: skip
Point = tuple[float, float]
_UNREAD = Look()


@dataclass(frozen=True)
class Curves:
    """What is known of one side at one time. Heights over the plane of the fret tops on the body [mm]."""

    relief: Look
    action: Look
    curvature: float
    """Of the neck; 0 where relief is not known [1/mm]."""
    string: tuple[Point, Point] | None
    """Ends of the open string; None when it cannot be drawn from nut to saddle."""
    string_height: float | None
    """Of the string over the action fret; None when action was not read."""
    gaps: tuple[Gap, ...]

    @property
    def bent(self) -> bool:
        """Whether the bend of the neck is known."""
        return not any(gap.endswith("_relief") for gap in self.gaps)


@dataclass(frozen=True)
class SideView:
    """Geometry of one side, and its two states [mm]."""

    side: Side
    scale_length: float
    body_joint_fret: float
    frets: int
    relief_held: tuple[int, int]
    relief_fret: int
    action_fret: int
    before: Curves
    after: Curves
    relief_side: Side | None = None
    """The side that relief was read on; None = the whole neck, or not read."""

    def at(self, fret: float) -> float:
        """Distance of a fret from the nut [mm]."""
        return float(fret_position(fret, self.scale_length))

    def top(self, curves: Curves, position: float) -> float:
        """Height of the fret tops at a distance from the nut [mm]."""
        return float(neck_height(position, curves.curvature, self.at(self.body_joint_fret)))

    def chord(self, curves: Curves, position: float) -> float:
        """Height of the straight line between the two held frets [mm]."""
        start, end = (self.at(fret) for fret in self.relief_held)
        low, high = self.top(curves, start), self.top(curves, end)
        return low + (high - low) * (position - start) / (end - start)

    def heights(self, curves: Curves) -> list[float]:
        """Every height that the drawing must have room for [mm]."""
        found = [self.top(curves, float(x)) for x in np.linspace(0.0, self.scale_length, 5)]
        if curves.string is not None:
            found += [height for _, height in curves.string]
        elif curves.string_height is not None:
            found.append(curves.string_height)
        return found


def side_view(content: CardContent, side: Side) -> SideView:
    """Solve the readings of one side into curves."""
    geometry = content.geometry
    scale = geometry.scale_bass if side == "bass" else geometry.scale_treble
    relief = content.relief_of(side)
    action, nut = (content.line_of(name, side) for name in ("action", "nut-action"))
    held = relief.held if relief is not None and len(relief.held) == 2 else (1, geometry.frets)
    place = (held[0], held[1])
    relief_fret = (relief.fret if relief is not None else None) or USUAL_RELIEF_FRET
    action_fret = (action.fret if action is not None else None) or OCTAVE

    def curves(when: Literal["before", "after"]) -> Curves:
        return _solve(
            *(_look(line, when) for line in (relief, action, nut)),
            scale=scale,
            joint=geometry.body_joint_fret,
            held=place,
            relief_fret=relief_fret,
            action_fret=action_fret,
        )

    return SideView(
        side, scale, geometry.body_joint_fret, geometry.frets, place, relief_fret, action_fret,
        curves("before"), curves("after"), relief.side if relief is not None else None,
    )  # fmt: skip


def _look(line: Line | None, when: Literal["before", "after"]) -> Look:
    if line is None:
        return _UNREAD
    return line.before if when == "before" else line.after


def _number(look: Look) -> float | None:
    """A value that can be drawn."""
    return look.value if look.usable and not look.zero_or_less else None


def _solve(
    relief: Look,
    action: Look,
    nut: Look,
    *,
    scale: float,
    joint: float,
    held: tuple[int, int],
    relief_fret: int,
    action_fret: int,
) -> Curves:
    gaps: list[Gap] = []
    bend, height_over_fret, height_over_first = _number(relief), _number(action), _number(nut)
    curvature = 0.0
    if bend is not None:
        curvature = float(curvature_from_relief(bend, scale, joint, held, relief_fret))
    elif relief.zero_or_less:
        gaps.append("zero_relief")
    else:
        gaps.append("unjudged_relief" if relief.is_read else "no_relief")
    if height_over_fret is None:
        gaps.append("unjudged_action" if action.is_read else "no_action")
        return Curves(relief, action, curvature, None, None, tuple(gaps))
    joint_at = float(fret_position(joint, scale))
    action_at_x = float(fret_position(action_fret, scale))
    height = height_over_fret + float(neck_height(action_at_x, curvature, joint_at))
    if height_over_first is None:
        gaps.append("unjudged_nut_action" if nut.is_read else "no_nut_action")
        return Curves(relief, action, curvature, None, height, tuple(gaps))
    try:
        solved = string_line(
            bend or 0.0, height_over_first, height_over_fret, scale_length=scale, body_joint_fret=joint,
            held=held, fret=relief_fret, action_fret=action_fret, slack=SLACK,
        )  # fmt: skip
    except CalculationError:
        return Curves(relief, action, curvature, None, height, (*gaps, "contradiction"))
    at_nut = float(action_at(solved, 0, scale, joint)) + float(neck_height(0.0, curvature, joint_at))
    string = ((0.0, at_nut), (scale, float(solved.saddle)))
    return Curves(relief, action, curvature, string, height, tuple(gaps))
