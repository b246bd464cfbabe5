"""Shapes of a bent neck, and the strings over it.

Body frame: x from the nut, y up from the plane of the fret tops over the body; the neck is straight beyond
its joint. Curvature peaks between frets 5 and 10, so that no bend here is the arc of a circle.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

MOST_FRETS = 24
ALONG: list[float] = [1.0 - 2.0 ** (-fret / 12.0) for fret in range(MOST_FRETS + 1)]
"""Distance from the nut as a share of the scale length, equal temperament [-]."""

_PIECES = 240


def shape(joint: int, peak: float, evenness: float) -> list[float]:
    """Height of the fret tops for curvature that rises from nut to `peak` and falls to the joint.

    `evenness` is the part that is constant along the neck. Scale length 1, mean curvature 1.
    """
    end, top = ALONG[joint], 1.0 - 2.0 ** (-peak / 12.0)
    at = (np.arange(_PIECES) + 0.5) / _PIECES * end
    bump = 2.0 * np.where(at < top, at / top, (end - at) / (end - top))
    curvature = (evenness + (1.0 - evenness) * bump) * (end / _PIECES)
    lever = np.maximum(at[None, :] - np.array(ALONG)[:, None], 0.0)
    return [float(height) for height in (lever * curvature).sum(axis=1)]


def gap_under_chord(tops: list[float], held: tuple[int, int], fret: int) -> float:
    """Gap between a string held down at two frets and the top of one between them."""
    low, high = held
    share = (ALONG[fret] - ALONG[low]) / (ALONG[high] - ALONG[low])
    return tops[low] + (tops[high] - tops[low]) * share - tops[fret]


@dataclass
class Neck:
    """Fret tops as the sum of what strings and rod bend and of how uneven the frets are."""

    by_strings: list[float]
    """Heights for one millimetre of relief that the strings bend."""
    by_rod: list[float]
    """Heights for one millimetre of relief that the rod bends."""
    uneven: list[float]
    strings_bend: float = 0.0
    rod_bend: float = 0.0

    def tops(self) -> list[float]:
        """Height of every fret top; that of fret 0 is where the nut stands."""
        a, b = self.strings_bend, self.rod_bend
        return [a * s + b * r + u for s, r, u in zip(self.by_strings, self.by_rod, self.uneven, strict=True)]

    def top(self, fret: int) -> float:
        """Height of one fret top [mm]."""
        return (
            self.strings_bend * self.by_strings[fret] + self.rod_bend * self.by_rod[fret] + self.uneven[fret]
        )


def make_neck(rng: np.random.Generator, joint: int, held: tuple[int, int], fret: int) -> Neck:
    """Bend that strings and rod share only in part, over frets uneven by up to 0.05 mm."""
    shapes = []
    for _ in range(2):
        heights = shape(joint, float(rng.uniform(5.0, 10.0)), float(rng.uniform(0.0, 0.7)))
        of_one = gap_under_chord(heights, held, fret)
        shapes.append([height / of_one for height in heights])
    worst = float(rng.uniform(0.0, 0.05))
    uneven = [float(each) for each in rng.uniform(0.0, worst, MOST_FRETS + 1)]
    uneven[0] = 0.0
    return Neck(shapes[0], shapes[1], uneven)
