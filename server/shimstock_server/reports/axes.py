"""A small panel with its axes, drawn as SVG: a title, a scale below, one at the left."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from xml.etree import ElementTree as ET

from shimstock_server.web.svg import FONT, element, label, line, width_of, wrapped, written

WIDTH = 320.0
LEFT, RIGHT = 40.0, 10.0
TITLE, TEXT = 12.5, 11.0
BELOW, END = 18.0, 24.0
"""Where texts of the scale below stand under it, and where the drawing ends; some faces reach far down."""
INK, SOFT, PALE, EDGE, BAND, GRID = "#1f1d1a", "#55514a", "#c3ccd3", "#6f7a83", "#f0e8d5", "#e2ded6"
DASHES = "4 3"


Limits = tuple[float | None, float | None, float]
"""Lower and upper limit of a spec, and its target."""


@dataclass(frozen=True)
class Scale:
    """From values to a place in the drawing."""

    low: float
    high: float
    start: float
    stop: float

    def __call__(self, value: float) -> float:
        share = (value - self.low) / (self.high - self.low)
        return self.start + share * (self.stop - self.start)


def ticks(low: float, high: float, most: int) -> list[float]:
    """Return round values between two, at most so many.

    >>> ticks(0.93, 2.71, 5)
    [1.0, 1.5, 2.0, 2.5]
    """
    if not high > low:
        return [low]
    rough = (high - low) / most
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(
        times * power for times in (1.0, 2.0, 2.5, 5.0, 10.0, 20.0) if fits(low, high, times * power, most)
    )
    first = math.ceil(low / step - 1e-9)
    last = math.floor(high / step + 1e-9)
    return [round(number * step, 10) for number in range(first, last + 1)]


def fits(low: float, high: float, step: float, most: int) -> bool:
    """Whether not more than so many multiples of a step lie between two values."""
    return math.floor(high / step + 1e-9) - math.ceil(low / step - 1e-9) + 1 <= most


def tick_texts(values: Sequence[float]) -> list[str]:
    """Write the values of a scale with as many decimals as tell them apart.

    >>> tick_texts([1.0, 1.5, -2.0])
    ['1.0', '1.5', '−2.0']
    """
    decimals = next((n for n in range(5) if all(abs(round(value, n) - value) < 1e-9 for value in values)), 5)
    return [f"{value:.{decimals}f}".replace("-", "\N{MINUS SIGN}") for value in values]


class Panel:
    """One panel: its root, and where its plot begins and ends.

    Parameters
    ----------
    title : str
        What is shown.
    small : str
        Where it was read, its unit, how many readings.
    tall : float
        Height of the plot itself.
    says : str
        What a reader who does not see it is told.
    left : float
        Room for what stands at the left.
    """

    def __init__(self, title: str, small: str, tall: float, says: str, *, left: float = LEFT) -> None:
        self.root = element(None, "svg", role="img", aria_label=says)
        self.canvas = element(self.root, "g", font_family=FONT, fill=INK)
        self.left, self.right = left, WIDTH - RIGHT
        at = 15.0
        for text in wrapped(title, TITLE, WIDTH - 2.0, bold=True):
            label(self.canvas, (1.0, at), text, size=TITLE, font_weight=600)
            at += 17.0
        for text in wrapped(small, TEXT, WIDTH - 2.0):
            label(self.canvas, (1.0, at), text, size=TEXT, fill=SOFT)
            at += 14.5
        self.top = at + 2.0
        self.bottom = self.top + tall
        self.end = self.bottom

    def across(self, low: float, high: float) -> Scale:
        """Draw the scale below, and return it."""
        scale = Scale(low, high, self.left, self.right)
        line(self.canvas, (self.left, self.bottom), (self.right, self.bottom), stroke=SOFT)
        values = ticks(low, high, 6)
        for value, text in zip(values, tick_texts(values), strict=True):
            x = scale(value)
            half = width_of(text, TEXT) / 2.0
            line(self.canvas, (x, self.bottom), (x, self.bottom + 4.0), stroke=SOFT)
            middle = min(max(x, half), WIDTH - half)
            label(self.canvas, (middle, self.bottom + BELOW), text, size=TEXT, anchor="middle", fill=SOFT)
        self.end = self.bottom + END
        return scale

    def upward(self, low: float, high: float, *, most: int = 4, sign: str = "") -> Scale:
        """Draw the scale at the left with its lines, and return it."""
        scale = Scale(low, high, self.bottom, self.top)
        values = ticks(low, high, most)
        for value, text in zip(values, tick_texts(values), strict=True):
            y = scale(value)
            line(self.canvas, (self.left, y), (self.right, y), stroke=GRID)
            label(self.canvas, (self.left - 5.0, y + 4.0), text + sign, size=TEXT, anchor="end", fill=SOFT)
        return scale

    def band(
        self, scale: Scale, spec: tuple[float | None, float | None, float], top: float, bottom: float
    ) -> None:
        """Draw the spec's band: its limits dashed, its target as a line."""
        lower, upper, target = spec
        start = scale.start if lower is None else scale(lower)
        stop = scale.stop if upper is None else scale(upper)
        if lower is not None or upper is not None:
            rectangle(self.canvas, start, top, stop, bottom, fill=BAND)
        for limit in (lower, upper):
            if limit is not None:
                x = scale(limit)
                line(self.canvas, (x, top), (x, bottom), stroke=SOFT, stroke_dasharray=DASHES)
        x = scale(target)
        line(self.canvas, (x, top), (x, bottom), stroke=SOFT)

    def written(self) -> str:
        """Return the panel as text."""
        self.root.set("viewBox", f"0 0 {WIDTH:g} {self.end:g}")
        return written(self.root)


def rectangle(parent: ET.Element, x1: float, y1: float, x2: float, y2: float, **attributes: object) -> None:
    """Add a rectangle between two corners."""
    left, right, top, bottom = min(x1, x2), max(x1, x2), min(y1, y2), max(y1, y2)
    element(parent, "rect", x=left, y=top, width=right - left, height=bottom - top, **attributes)
